//! 64 lines with 31 units each, polled once a second in real time: is every poll made, and what does
//! it cost the machine? Each line has a thread of its own, as `emberline record` gives it; the units
//! answer at once, in memory, on one thread whose time is counted apart.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

mod common;
#[path = "common/memory.rs"]
mod memory;
#[path = "common/processor.rs"]
mod processor;

use std::collections::HashMap;
use std::fmt::Write as _;
use std::io;
use std::process::ExitCode;
use std::thread;
use std::time::Duration;

use common::Report;
use emberline::clock::{Clock, Stopwatch};
use emberline::line::{Manner, Opened, Opener, Pace, Start};
use emberline::sample::{Entry, State};
use emberline::session::{Opening, Session};
use emberline::setup::{LineSetup, Setup};
use mock_device::wire::sealed;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream};
use tokio::runtime::{Builder, Runtime};
use tokio::sync::broadcast::{self, error::RecvError};
use tokio_util::sync::CancellationToken;

const LINES: u32 = 64;
const UNITS: u32 = 31;
const POLLS: u32 = 20;
const EVERY: Duration = Duration::from_secs(1);
/// Share of one core.
const CORE_AT_MOST: f64 = 0.5;
const MB_AT_MOST: f64 = 100.0;

const TITLE: &str = "Scale: 64 lines x 31 units, one poll a second each, 20 s in real time";
const COLUMNS: [&str; 6] = [
    "polls due",
    "good",
    "latest after it was due",
    "of one core",
    "units, of one core",
    "resident, units too",
];

fn main() -> ExitCode {
    let mut report = Report::new(TITLE, &COLUMNS);
    let Outcome { seen, took, usage } = poll();
    let due = u64::from(LINES * UNITS * POLLS);
    let of_core = |time: Duration| time.as_secs_f64() / took.as_secs_f64();
    let (ours, units, resident) = match &usage {
        Some(usage) => (
            format!("{:.1} %", 100.0 * of_core(usage.ours)),
            format!("{:.1} %", 100.0 * of_core(usage.units)),
            format!("{:.0} MB", usage.resident_mb),
        ),
        None => ["cannot be read here"; 3].map(ToOwned::to_owned).into(),
    };
    report.row([
        due.to_string(),
        seen.good.to_string(),
        format!("{} ms", seen.latest.as_millis()),
        ours,
        units,
        resident,
    ]);
    report.expect(seen.good == due && seen.samples == due, format!("{seen:?}"));
    if let Some(usage) = usage {
        let (core, mb) = (of_core(usage.ours), usage.resident_mb);
        report.expect(core < CORE_AT_MOST, format!("{core:.2} of one core"));
        report.expect(mb < MB_AT_MOST, format!("{mb:.0} MB resident"));
    }
    report.print()
}

/// What a listener saw.
#[derive(Debug, Default)]
struct Seen {
    samples: u64,
    good: u64,
    /// How long after it was due the latest came.
    latest: Duration,
}

struct Outcome {
    seen: Seen,
    took: Duration,
    /// `None` where the system does not tell.
    usage: Option<Usage>,
}

struct Usage {
    /// Processor time of everything but the units.
    ours: Duration,
    /// Processor time of the units' thread.
    units: Duration,
    resident_mb: f64,
}

fn poll() -> Outcome {
    let setup = setup();
    let (mut wires, units) = plugged(&setup);
    let mut opener = |line: &LineSetup| opener(line, wires.remove(line.name.as_str()));
    let stop = CancellationToken::new();
    let mut opening = Opening::new(&setup, Manner::Ask, &mut opener, &stop);
    let lines: Vec<_> = std::mem::take(&mut opening.lines)
        .into_iter()
        .map(|line| thread::spawn(move || runtime().block_on(line)))
        .collect();
    let (before, watch) = (processor::time_so_far(), Stopwatch::start());
    let seen = runtime().block_on(seen(&setup, opening));
    let (took, after) = (watch.elapsed(), processor::time_so_far());
    let resident_mb = memory::resident_mb();
    for line in lines {
        line.join().unwrap();
    }
    let units = units.join().unwrap();
    let usage = before.zip(after).zip(units).zip(resident_mb);
    let usage = usage.map(|(((before, after), units), resident_mb)| Usage {
        ours: after.saturating_sub(before + units),
        units,
        resident_mb,
    });
    Outcome { seen, took, usage }
}

/// What comes of the session from its beginning to its end, on this thread.
async fn seen(setup: &Setup, mut opening: Opening) -> Seen {
    opening.wait(|_| {}).await.unwrap();
    let clock = Clock::of_this_machine();
    let start = Start {
        end: Some(EVERY * POLLS),
        ..Start::of(clock)
    };
    let Session { hub, live, .. } = opening.begin(setup, start, None);
    let counting = counted(live.subscribe());
    drop(live);
    let ((), seen) = tokio::join!(hub, counting);
    seen
}

async fn counted(mut entries: broadcast::Receiver<Entry>) -> Seen {
    let (mut seen, mut polls) = (Seen::default(), HashMap::new());
    loop {
        match entries.recv().await {
            Ok(Entry::Sample(sample)) => {
                let poll: &mut u32 = polls.entry(sample.of).or_default();
                let after = sample.stamp.elapsed.saturating_sub(EVERY * *poll);
                *poll += 1;
                seen.samples += 1;
                seen.good += u64::from(sample.state == State::Good);
                seen.latest = seen.latest.max(after);
            }
            Ok(_) => {}
            Err(RecvError::Lagged(missed)) => unreachable!("{missed} entries were missed"),
            Err(RecvError::Closed) => return seen,
        }
    }
}

fn runtime() -> Runtime {
    Builder::new_current_thread().enable_all().build().unwrap()
}

fn setup() -> Setup {
    let mut text = "schema = 1\n".to_owned();
    for line in 1..=LINES {
        write!(text, "[lines.line-{line}]\nserial = \"wire-{line}\"\n").unwrap();
        writeln!(text, "baud = 19200\nparity = \"even\"").unwrap();
    }
    for (line, unit) in (1..=LINES).flat_map(|line| (1..=UNITS).map(move |unit| (line, unit))) {
        write!(text, "[[loops]]\nname = \"loop-{line}-{unit}\"\n").unwrap();
        write!(text, "line = \"line-{line}\"\nunit_number = {unit}\n").unwrap();
        writeln!(text, "map = \"map\"\nevery = \"1 s\"").unwrap();
    }
    let mut map = "schema = 1\ntitle = \"Three registers\"\n".to_owned();
    for (address, role) in ["process-value", "setpoint", "output"].iter().enumerate() {
        writeln!(map, "[points.p{address}]\nrole = \"{role}\"").unwrap();
        writeln!(
            map,
            "table = \"holding\"\naddress = {address}\nencoding = \"u16\""
        )
        .unwrap();
    }
    Setup::parse(&text, "scale", "scale", &|_| io::Result::Ok(map.clone())).unwrap()
}

/// Our end of each line's wire, and the thread of the units on the other ends: it ends with the
/// wires, and gives its processor time.
fn plugged(
    setup: &Setup,
) -> (
    HashMap<String, DuplexStream>,
    thread::JoinHandle<Option<Duration>>,
) {
    let (mut ours, mut theirs) = (HashMap::new(), Vec::new());
    for line in &setup.lines {
        let (near, far) = tokio::io::duplex(256);
        ours.insert(line.name.to_string(), near);
        theirs.push(far);
    }
    let units = thread::spawn(move || {
        runtime().block_on(async {
            let units: Vec<_> = theirs
                .into_iter()
                .map(|far| tokio::spawn(answer(far)))
                .collect();
            for unit in units {
                unit.await.unwrap();
            }
        });
        system::time_of_this_thread()
    });
    (ours, units)
}

/// Answers every read of registers at once, whatever the unit.
async fn answer(mut wire: DuplexStream) {
    let mut request = [0; 8];
    while wire.read_exact(&mut request).await.is_ok() {
        let count = request[5];
        let mut answer = vec![request[0], request[1], 2 * count];
        answer.extend((0..count).flat_map(|register| [0, register]));
        if wire.write_all(&sealed(answer)).await.is_err() {
            return;
        }
    }
}

fn opener(line: &LineSetup, wire: Option<DuplexStream>) -> Opener {
    let pace = Pace::of(&line.port).exact();
    let mut wire = wire;
    Box::new(move || {
        let wire = Box::new(wire.take().unwrap());
        Box::pin(async move { Ok(Opened { wire, pace }) })
    })
}

/// What Linux tells of this process; elsewhere nothing is told.
mod system {
    use std::fs;
    use std::time::Duration;

    /// Processor time of the thread that asks (/proc/thread-self/schedstat, first field, ns).
    pub(super) fn time_of_this_thread() -> Option<Duration> {
        let stat = fs::read_to_string("/proc/thread-self/schedstat").ok()?;
        stat.split_whitespace()
            .next()?
            .parse()
            .ok()
            .map(Duration::from_nanos)
    }
}
