//! What the recorder costs the machine it runs on: the program itself, started as a person starts it,
//! with 8 loops on two lines at one row a second, in real time.
#![expect(
    clippy::unwrap_used,
    reason = "a benchmark that cannot go on should stop"
)]

mod common;

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, ExitCode, Output, Stdio};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use common::Report;
use emberline::clock::Stopwatch;
use emberline::record::verify;
use mock_device::registers::{Annealer, Layout as _};
use mock_device::wire::listen::{self, Framing};
use mock_device::wire::{Bus, Unit};
use mock_device::{LEFT_OVER_TUNING, Oven, Panel};
use tokio::net::TcpListener;
use tokio::runtime::Builder;

const LINES: u8 = 2;
const UNITS: u8 = 4;
/// Until everything has begun.
const FIRST: Duration = Duration::from_secs(5);
const MEASURED: Duration = Duration::from_mins(1);
const CORE_AT_MOST: f64 = 0.005;
const MB_AT_MOST: f64 = 20.0;

const TITLE: &str =
    "Own cost: 'record' with 8 loops at one row a second each, 60 s in real time, synced every 5 s";
const COLUMNS: [&str; 4] = ["rows", "of one core", "of it in the system", "most memory"];

fn main() -> ExitCode {
    let mut report = Report::new(TITLE, &COLUMNS);
    let folder = tempfile::tempdir().unwrap();
    let setup = setup();
    fs::write(folder.path().join("setup.toml"), setup).unwrap();
    fs::write(folder.path().join("map.toml"), Annealer.map_text()).unwrap();
    let recorder = record(folder.path());
    thread::sleep(FIRST);
    let before = Usage::of(&recorder);
    let watch = Stopwatch::start();
    thread::sleep(MEASURED);
    let (after, took) = (Usage::of(&recorder), watch.elapsed());
    let rows = rows(recorder.wait_with_output().unwrap(), folder.path());
    let Some((before, after)) = before.zip(after) else {
        let unknown = || "cannot be read here".to_owned();
        report.row([rows.to_string(), unknown(), unknown(), unknown()]);
        return report.print();
    };
    let share = |after: Duration, before: Duration| {
        after.saturating_sub(before).as_secs_f64() / took.as_secs_f64()
    };
    let system = share(after.system, before.system);
    let core = share(after.user, before.user) + system;
    report.row([
        rows.to_string(),
        format!("{:.2} %", 100.0 * core),
        format!("{:.2} %", 100.0 * system),
        format!("{:.1} MB", after.most_mb),
    ]);
    report.expect(
        core < CORE_AT_MOST,
        format!("{:.2} % of one core", 100.0 * core),
    );
    report.expect(
        after.most_mb < MB_AT_MOST,
        format!("{:.1} MB", after.most_mb),
    );
    report.print()
}

fn record(folder: &Path) -> Child {
    let seconds = (FIRST + MEASURED + Duration::from_secs(2)).as_secs();
    Command::new(env!("CARGO_BIN_EXE_emberline"))
        .args([
            "record",
            "setup.toml",
            "--into",
            ".",
            "--listen-first",
            "0s",
        ])
        .args(["--for", &format!("{seconds}s")])
        .current_dir(folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Lines to ovens that answer on TCP ports of this machine, in threads of this process.
fn setup() -> String {
    let mut text = "schema = 1\n".to_owned();
    for line in 1..=LINES {
        writeln!(text, "[lines.line-{line}]\nrtu_over_tcp = \"{}\"", ovens()).unwrap();
        for unit in 1..=UNITS {
            write!(
                text,
                "[[loops]]\nname = \"loop-{line}-{unit}\"\nline = \"line-{line}\"\n"
            )
            .unwrap();
            write!(
                text,
                "unit_number = {unit}\nmap = \"map.toml\"\nevery = \"1 s\"\n"
            )
            .unwrap();
        }
    }
    text
}

fn ovens() -> String {
    let panel = Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), 1.0);
    let units = (1..=UNITS).map(|number| Unit::new(number, &Annealer, panel.clone()));
    let bus = Bus::new(units.collect());
    let (open, opened) = mpsc::channel();
    thread::spawn(move || {
        let runtime = Builder::new_current_thread().enable_all().build();
        runtime.unwrap().block_on(async {
            let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
            open.send(listener.local_addr().unwrap().to_string())
                .unwrap();
            listen::serve(listener, bus, Framing::Rtu).await.unwrap();
        });
    });
    opened.recv().unwrap()
}

/// The program's recording is whole and has a row for every poll: so many.
fn rows(ended: Output, folder: &Path) -> u64 {
    assert!(ended.status.success(), "{ended:?}");
    let name = String::from_utf8(ended.stdout).unwrap();
    let verified = verify(&folder.join(name.trim())).unwrap();
    assert!(verified.is_whole(), "{verified:?}");
    verified.loops.iter().map(|it| it.rows).sum()
}

/// What Linux tells of a process (proc_pid_stat(5), fields 14 and 15, in hundredths of a second;
/// proc_pid_status(5), VmHWM); elsewhere nothing is told.
struct Usage {
    user: Duration,
    system: Duration,
    most_mb: f64,
}

impl Usage {
    fn of(process: &Child) -> Option<Self> {
        let tell = |what: &str| fs::read_to_string(format!("/proc/{}/{what}", process.id())).ok();
        let (stat, status) = (tell("stat")?, tell("status")?);
        let (_, fields) = stat.rsplit_once(')')?;
        let mut fields = fields.split_whitespace().skip(11);
        let mut ticks = || {
            Some(Duration::from_millis(
                10 * fields.next()?.parse::<u64>().ok()?,
            ))
        };
        let most = status
            .lines()
            .find_map(|line| line.strip_prefix("VmHWM:"))?;
        let kb: f64 = most.trim().strip_suffix("kB")?.trim().parse().ok()?;
        Some(Self {
            user: ticks()?,
            system: ticks()?,
            most_mb: kb * 1024.0 / 1e6,
        })
    }
}
