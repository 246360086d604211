//! The program itself on a terminal of its own, with eight loops, in real time.

use std::fs::File;
use std::io::Read as _;
use std::process::{Child, Command};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::Duration;

use emberline::clock::Stopwatch;
use rustix::fs::{Mode, OFlags};
use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};

use crate::common::Report;
use crate::usage::Usage;
use crate::{ovens, tell};

/// Until everything has begun.
const FIRST: Duration = Duration::from_secs(5);
const MEASURED: Duration = Duration::from_mins(1);
const PERCENT_AT_MOST: f64 = 2.0;

pub(crate) fn measure(report: &mut Report) {
    let folder = tempfile::tempdir().unwrap();
    ovens::write_setup(folder.path());
    let keys = File::from(openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap());
    rustix::io::fcntl_setfd(&keys, rustix::io::FdFlags::CLOEXEC).unwrap();
    grantpt(&keys).unwrap();
    unlockpt(&keys).unwrap();
    let name = ptsname(&keys, Vec::new()).unwrap();
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
    let terminal = File::from(rustix::fs::open(name, flags, Mode::empty()).unwrap());
    let size = Winsize {
        ws_row: 40,
        ws_col: 120,
        ws_xpixel: 0,
        ws_ypixel: 0,
    };
    tcsetwinsize(&terminal, size).unwrap();
    let end = || terminal.try_clone().unwrap();
    let mut program = Command::new(env!("CARGO_BIN_EXE_emberline"))
        .args(["watch", "setup.toml", "--into", ".", "--listen-first", "0s"])
        .current_dir(folder.path())
        .env("TERM", "xterm-256color")
        .env("LC_ALL", "C.UTF-8")
        .stdin(end())
        .stdout(end())
        .stderr(end())
        .spawn()
        .unwrap();
    drop(terminal);
    let sent = count(keys);
    thread::sleep(FIRST);
    let (before, bytes) = (Usage::of(&program), sent.load(Ordering::SeqCst));
    let watch = Stopwatch::start();
    thread::sleep(MEASURED);
    let (after, took_s) = (Usage::of(&program), watch.elapsed().as_secs_f64());
    let bytes = sent.load(Ordering::SeqCst) - bytes;
    stop(&mut program);
    let what = "the program with 8 loops at one second, recording, 120x40: sent a second";
    tell(report, what, None, bytes as f64 / took_s, "bytes");
    if let Some((before, after)) = before.zip(after) {
        let used = |it: &Usage| (it.user + it.system).as_secs_f64();
        let percent = 100.0 * (used(&after) - used(&before)) / took_s;
        let what = "the same: of one core";
        tell(report, what, Some(PERCENT_AT_MOST), percent, "%");
        tell(report, "the same: most memory", None, after.most_mb, "MB");
    }
}

/// Reads everything that is shown, and counts it.
fn count(mut shown: File) -> Arc<AtomicUsize> {
    let sent = Arc::new(AtomicUsize::new(0));
    let counted = Arc::clone(&sent);
    thread::spawn(move || {
        let mut bytes = [0; 4096];
        // It ends with an error once nobody holds the other end any more.
        while let Ok(count @ 1..) = shown.read(&mut bytes) {
            counted.fetch_add(count, Ordering::SeqCst);
        }
    });
    sent
}

fn stop(program: &mut Child) {
    kill_process(Pid::from_child(program), Signal::TERM).unwrap();
    assert!(program.wait().unwrap().success());
}
