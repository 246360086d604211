//! A session beside another master, on wires in memory, in virtual time.

use std::fmt::Write as _;
use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::task::{Context, Poll as Polled};
use std::time::Duration;

use emberline::clock::{Clock, Simulated};
use emberline::line::{Manner, Opened, Opener, Pace, PortError, Start};
use emberline::sample::{Entry, Event, Happening, Reading, Sample, Settings, State, Why};
use emberline::session::{Opening, Session};
use emberline::setup::{LineSetup, Setup};
use futures_util::FutureExt as _;
use mock_device::registers::{Annealer, Layout as _};
use mock_device::wire::{Adapter, Bus, Fault, Faults, Master, Timing, Unit, in_memory, sealed};
use mock_device::{LEFT_OVER_TUNING, Oven, Panel};
use tokio::io::{AsyncRead, AsyncWrite, AsyncWriteExt as _, DuplexStream, ReadBuf};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

const SECOND: Duration = Duration::from_secs(1);
const LISTEN_FIRST: Manner = Manner::ListenFirst(Duration::from_secs(3));

/// What the annealer's map reads at every poll, and some of its slow points.
const TREND: &str = "1:3:0:5 every 250ms";
const SLOW: [&str; 2] = ["1:3:10:3 every 2s", "1:3:20:4 every 3s"];

/// A wire that counts what is sent on it.
struct Counted {
    wire: DuplexStream,
    sent: Arc<AtomicUsize>,
}

impl AsyncRead for Counted {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Polled<io::Result<()>> {
        Pin::new(&mut self.wire).poll_read(context, into)
    }
}

impl AsyncWrite for Counted {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Polled<io::Result<usize>> {
        self.sent.fetch_add(bytes.len(), Ordering::Relaxed);
        Pin::new(&mut self.wire).poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Polled<io::Result<()>> {
        Pin::new(&mut self.wire).poll_flush(context)
    }

    fn poll_shutdown(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Polled<io::Result<()>> {
        Pin::new(&mut self.wire).poll_shutdown(context)
    }
}

/// Gives a wire at each opening, while there is one.
type Plug = Box<dyn FnMut() -> Option<DuplexStream> + Send>;

/// Lines with an annealer each, whose wires `plugs` give.
struct Bench {
    setup: Setup,
    sent: Arc<AtomicUsize>,
    plugs: Vec<Plug>,
    remarks: Vec<String>,
    /// Whose clocks it goes by, if it is somebody's.
    machine: Option<Arc<Simulated>>,
}

impl Bench {
    fn of(plugs: Vec<Plug>) -> Self {
        let mut text = "schema = 1\n".to_owned();
        for line in 0..plugs.len() {
            writeln!(text, "[lines.l{line}]\nserial = \"bench-{line}\"").unwrap();
            writeln!(
                text,
                "[[loops]]\nname = \"oven-{line}\"\nline = \"l{line}\""
            )
            .unwrap();
            text += "unit_number = 1\nmap = \"map\"\nevery = \"1 s\"\n";
        }
        let map = |_: &str| io::Result::Ok(Annealer.map_text().to_owned());
        Self {
            setup: Setup::parse(&text, "bench", "bench", &map).unwrap(),
            sent: Arc::default(),
            plugs,
            remarks: Vec::new(),
            machine: None,
        }
    }

    /// One line with this wire.
    fn on(wire: DuplexStream) -> Self {
        let mut wire = Some(wire);
        Self::of(vec![Box::new(move || wire.take())])
    }

    fn sent(&self) -> usize {
        self.sent.load(Ordering::Relaxed)
    }

    /// Everything that a session of so many seconds tells, or why there is none.
    async fn run(&mut self, manner: Manner, seconds: u64) -> Result<Vec<Entry>, PortError> {
        let stop = CancellationToken::new();
        let (mut plugs, sent) = (std::mem::take(&mut self.plugs).into_iter(), &self.sent);
        let mut opener = |line: &LineSetup| {
            let plug = plugs.next().unwrap();
            counting(plug, sent.clone(), Pace::of(&line.port))
        };
        let mut opening = Opening::new(&self.setup, manner, &mut opener, &stop);
        for line in std::mem::take(&mut opening.lines) {
            tokio::spawn(line);
        }
        opening
            .wait(|remark| self.remarks.push(remark.to_owned()))
            .await?;
        let clock = match &self.machine {
            Some(machine) => Clock::on(machine.clone()),
            None => Clock::starting_at(chrono::DateTime::UNIX_EPOCH),
        };
        let start = Start {
            end: Some(Duration::from_secs(seconds)),
            ..Start::of(clock)
        };
        let Session { hub, live, .. } = opening.begin(&self.setup, start, None);
        let mut entries = live.subscribe();
        drop(live);
        tokio::spawn(hub);
        let mut told = Vec::new();
        while let Ok(entry) = entries.recv().await {
            told.push(entry);
        }
        Ok(told)
    }
}

fn counting(mut plug: Plug, sent: Arc<AtomicUsize>, pace: Pace) -> Opener {
    Box::new(move || {
        let sent = sent.clone();
        let opened = plug().map(|wire| Opened {
            wire: Box::new(Counted { wire, sent }),
            pace,
        });
        let opened = opened.ok_or_else(|| PortError {
            what: "gone".to_owned(),
            help: "plug it in".to_owned(),
        });
        std::future::ready(opened).boxed()
    })
}

/// An annealer at 490 degC on a wire at 9600 baud.
fn bus() -> Bus {
    let panel = Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), 1.0);
    let mut bus = Bus::new(vec![Unit::new(1, &Annealer, panel)]);
    bus.timing = Timing::at_baud(9600, Duration::from_millis(5));
    bus
}

/// The same, with another master that polls.
fn polled(polls: &[&str]) -> DuplexStream {
    in_memory(bus().with_master(master(polls)))
}

fn master(polls: &[&str]) -> Master {
    Master::new(polls.iter().map(|poll| poll.parse().unwrap()).collect())
}

/// A wire on which `bytes` come after half a second, and then nothing.
fn with_noise(bytes: &'static [u8]) -> DuplexStream {
    let (near, mut far) = tokio::io::duplex(4096);
    let mut units = in_memory(bus());
    tokio::spawn(async move {
        tokio::time::sleep(SECOND / 2).await;
        far.write_all(bytes).await.unwrap();
        // A wire that is dropped is no wire: it ends with the test.
        let _ = tokio::io::copy_bidirectional(&mut far, &mut units).await;
    });
    near
}

fn samples(told: &[Entry]) -> Vec<&Sample> {
    fn sample(entry: &Entry) -> Option<&Sample> {
        match entry {
            Entry::Sample(sample) => Some(sample),
            _ => None,
        }
    }
    told.iter().filter_map(sample).collect()
}

fn states(told: &[Entry]) -> Vec<&'static str> {
    samples(told).iter().map(|it| it.state.word()).collect()
}

#[tokio::test(start_paused = true)]
async fn a_session_stops_before_a_byte_is_sent_where_another_master_talks() {
    let mut bench = Bench::on(polled(&[TREND, "9:4:100:2 every 1s"]));
    let refused = bench.run(LISTEN_FIRST, 5).await.unwrap_err();
    assert_eq!(
        refused.what,
        "another master talks on bench-0 9600 8E1: heard in 3 s: unit 1 function 03, \
         unit 9 function 04, one request every 200 ms"
    );
    assert!(refused.help.contains("--listen-only"), "{refused}");
    assert_eq!(bench.sent(), 0);
    let listening = "listening for somebody else on bench-0 for 3 s";
    assert_eq!(bench.remarks, [listening]);
}

#[tokio::test(start_paused = true)]
async fn a_quiet_line_is_polled_after_the_listening_and_a_line_with_noise_too() {
    for (noise, remarks) in [(&[][..], 1), (&[0x00, 0xFF], 1), (&[0x5A; 40], 2)] {
        let mut bench = Bench::on(with_noise(noise));
        let began = Instant::now();
        let told = bench.run(LISTEN_FIRST, 3).await.unwrap();
        assert_eq!(states(&told), ["good"; 3]);
        assert!(began.elapsed() >= SECOND * 5, "{:?}", began.elapsed());
        assert_eq!(bench.remarks.len(), remarks, "{:?}", bench.remarks);
        let warned = |it: &String| it.contains("40 bytes and no sound frame came on bench-0");
        assert_eq!(bench.remarks.iter().any(warned), remarks == 2);
    }
}

#[tokio::test(start_paused = true)]
async fn several_lines_are_listened_to_side_by_side() {
    let plug = || {
        let mut wire = Some(in_memory(bus()));
        Box::new(move || wire.take()) as Plug
    };
    let mut bench = Bench::of((0..5).map(|_| plug()).collect());
    let began = Instant::now();
    bench.run(LISTEN_FIRST, 1).await.unwrap();
    assert!(began.elapsed() < SECOND * 6, "{:?}", began.elapsed());
    assert_eq!(bench.remarks.len(), 5);
}

/// A bench on an adapter that is pulled out for this time of its session.
fn pulled_out(bus: Bus, from_ms: u64, to_ms: u64) -> Bench {
    let adapter = Adapter::on(in_memory(bus));
    let pulled = adapter.clone();
    tokio::spawn(async move {
        tokio::time::sleep(Duration::from_millis(from_ms)).await;
        pulled.plug(false);
        tokio::time::sleep(Duration::from_millis(to_ms - from_ms)).await;
        pulled.plug(true);
    });
    Bench::of(vec![Box::new(move || adapter.open())])
}

#[tokio::test(start_paused = true)]
async fn a_port_that_comes_back_is_not_listened_to_again() {
    let mut bench = pulled_out(bus(), 5500, 6700);
    let told = bench.run(LISTEN_FIRST, 6).await.unwrap();
    let expected = ["good", "good", "good", "port-lost", "good", "good"];
    assert_eq!(states(&told), expected);
    assert_eq!(bench.remarks.len(), 1);
}

#[tokio::test(start_paused = true)]
async fn what_another_master_reads_makes_the_rows_and_nothing_is_sent() {
    let mut bench = Bench::on(polled(&[&[TREND], &SLOW[..]].concat()));
    let told = bench.run(Manner::ListenOnly, 12).await.unwrap();
    assert_eq!(bench.sent(), 0);
    let samples = samples(&told);
    assert_eq!(samples.len(), 12);
    assert_eq!(states(&told), ["good"; 12]);
    for (n, sample) in (0..).zip(&samples) {
        let period = SECOND * n..SECOND * (n + 1);
        assert!(period.contains(&sample.stamp.elapsed), "{sample:?}");
        let setpoint = sample.readings[1].value();
        assert_eq!(setpoint, Some(490.0), "{sample:?}");
    }
}

#[tokio::test(start_paused = true)]
async fn points_that_nobody_asks_for_are_missing_and_a_value_is_never_put_together() {
    let mut bench = Bench::on(polled(&["1:3:0:2 every 500ms"]));
    let told = bench.run(Manner::ListenOnly, 6).await.unwrap();
    let last = samples(&told)[5].clone();
    assert_eq!(last.state, State::Partial);
    assert!(last.readings[0].value().is_some() && last.readings[1].value().is_some());
    assert!(matches!(last.readings[2], Reading::Absent(_)), "{last:?}");
}

#[tokio::test(start_paused = true)]
async fn why_a_row_has_nothing_is_told() {
    let all = |fault| Faults::new(1).with(fault, 1.0);
    let damaged = bus().with_faults(all(Fault::Corrupted));
    let lost = bus().with_faults(all(Fault::Lost));
    let refused = bus().with_faults(all(Fault::Exception));
    let other = "9:3:0:5 every 250ms";
    for (bus, poll, word) in [
        (damaged, TREND, "damaged"),
        (lost, TREND, "no-answer"),
        (refused, TREND, "refused"),
        (bus(), other, "foreign"),
        (bus(), "1:3:0:5 every 1h", "no-answer"),
    ] {
        let mut bench = Bench::on(in_memory(bus.with_master(master(&[poll]))));
        let told = bench.run(Manner::ListenOnly, 6).await.unwrap();
        assert_eq!(states(&told)[4..], [word; 2], "{poll}");
        assert_eq!(bench.sent(), 0);
    }
}

#[tokio::test(start_paused = true)]
async fn a_lost_port_is_told_and_listened_to_again_when_it_is_back() {
    let mut bench = pulled_out(bus().with_master(master(&[TREND])), 4500, 6700);
    let told = bench.run(Manner::ListenOnly, 12).await.unwrap();
    let mut states = states(&told);
    assert_eq!(states.len(), 12);
    states.dedup();
    // What was asked while nobody listened may still be answered.
    assert_eq!(states, ["good", "port-lost", "no-answer", "good"]);
    let happened = told.iter().filter_map(|entry| match entry {
        Entry::Event(Event { what, .. }) => Some(*what),
        _ => None,
    });
    let happened: Vec<Happening> = happened.collect();
    assert!(happened.contains(&Happening::PortLost), "{happened:?}");
    assert!(happened.contains(&Happening::PortBack), "{happened:?}");
    assert_eq!(bench.sent(), 0);
}

#[tokio::test(start_paused = true)]
async fn slow_points_are_told_as_they_were_heard() {
    let mut bench = Bench::on(polled(&[&[TREND], &SLOW[..]].concat()));
    let told = bench.run(Manner::ListenOnly, 20).await.unwrap();
    let told: Vec<&Settings> = told
        .iter()
        .filter_map(|entry| match entry {
            Entry::Settings(settings) => Some(settings),
            _ => None,
        })
        .collect();
    let causes: Vec<&str> = told.iter().map(|it| it.cause.word()).collect();
    assert_eq!(causes, ["start", "end"]);
    let came = |it: &&Reading| it.number().is_some();
    // Mode and alarm stand in the block that is trended.
    assert_eq!(
        told[0].readings.iter().filter(came).count(),
        2 + 3 + 4,
        "{told:?}"
    );
    let unasked = |it: &Reading| *it == Reading::Absent(Why::Skipped);
    assert!(
        told[0].readings.iter().all(|it| came(&it) || unasked(it)),
        "{told:?}"
    );
}

#[tokio::test(start_paused = true)]
async fn another_masters_frames_that_come_in_one_piece_are_one_refusal() {
    let request = sealed(vec![9, 3, 0, 0, 0, 2]);
    let answer = sealed(vec![9, 3, 4, 0, 1, 0, 2]);
    let both: &'static [u8] = [request, answer].concat().leak();
    let mut bench = Bench::on(with_noise(both));
    let refused = bench.run(LISTEN_FIRST, 1).await.unwrap_err();
    assert!(
        refused.what.contains("unit 9 function 03, 1 request"),
        "{refused}"
    );
    assert_eq!(bench.sent(), 0);
}

#[tokio::test(start_paused = true)]
async fn polls_that_were_slept_through_say_so_whoever_asks() {
    for (manner, polls) in [(Manner::Ask, &[][..]), (Manner::ListenOnly, &[TREND])] {
        let mut bench = Bench::on(polled(polls));
        let machine = Simulated::starting_at(chrono::DateTime::UNIX_EPOCH);
        bench.machine = Some(machine.clone());
        tokio::spawn(async move {
            tokio::time::sleep(SECOND * 20).await;
            machine.sleep(SECOND * 3600);
        });
        let told = bench.run(manner, 3660).await.unwrap();
        let mut stretches = states(&told);
        assert_eq!(stretches.len(), 3660);
        let away = stretches.iter().filter(|it| **it == "not-running").count();
        assert!((3599..=3601).contains(&away), "{manner:?}: {away}");
        stretches.dedup();
        assert_eq!(stretches, ["good", "not-running", "good"], "{manner:?}");
        let is_told =
            |it: &Entry| matches!(it, Entry::Event(it) if it.what == Happening::Suspended);
        assert_eq!(told.iter().filter(|it| is_told(it)).count(), 1);
    }
}
