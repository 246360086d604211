//! The built program, started as a person or a script starts it.
#![expect(clippy::panic, reason = "a test that cannot go on should stop")]

mod awaiting;
mod demo;
mod device;
mod export;
mod find;
#[cfg(target_os = "linux")]
mod full_disk;
mod hands;
mod kills;
mod lines;
mod listening;
mod locate;
mod maps;
mod measured;
#[cfg(unix)]
mod on;
mod people;
mod recordings;
#[cfg(unix)]
mod screen;
#[cfg(unix)]
mod serial;
#[cfg(unix)]
mod service;
mod steady;
mod use_and_misuse;

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::Duration;
use std::{fmt, fs};

use serde_json::Value;

/// How often something awaited is looked for, and how many times at most.
const LOOK_EVERY: Duration = Duration::from_millis(20);
const LOOKS: usize = 3000;

/// For devices that nobody else polls.
const AT_ONCE: [&str; 2] = ["--listen-first", "0s"];

/// How a program ended and what it said.
struct Ended {
    code: Option<i32>,
    out: String,
    err: String,
}

impl Ended {
    fn of(output: std::process::Output) -> Self {
        Self {
            code: output.status.code(),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// The one JSON document it wrote.
    fn json(&self) -> Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error} in\n{self}"))
    }

    /// Checks the exit code and that every text stands in what was said as an error.
    #[track_caller]
    fn failed_with(&self, code: i32, texts: &[&str]) {
        assert_eq!(self.code, Some(code), "{self}");
        for text in texts {
            assert!(self.err.contains(text), "no {text:?} in\n{self}");
        }
    }
}

impl fmt::Display for Ended {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}\n{}\n{}", self.code, self.out, self.err)
    }
}

fn program() -> Command {
    let mut program = Command::new(env!("CARGO_BIN_EXE_emberline"));
    program.stdin(Stdio::null());
    program
}

/// Runs the program to its end.
fn emberline(words: &[impl AsRef<OsStr>]) -> Ended {
    Ended::of(program().args(words).output().unwrap())
}

/// A running program; killed if a test ends early.
struct Running(Option<Child>);

impl Running {
    fn start(words: &[impl AsRef<OsStr>]) -> Self {
        let child = program()
            .args(words)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn();
        Self(Some(child.unwrap()))
    }

    /// Waits until it ends by itself.
    fn end(mut self) -> Ended {
        Ended::of(self.0.take().unwrap().wait_with_output().unwrap())
    }

    #[cfg(unix)]
    fn signal(&self, name: &str) {
        let id = self.0.as_ref().unwrap().id().to_string();
        let sent = Command::new("kill").args(["-s", name, &id]).status();
        assert!(sent.unwrap().success());
    }
}

impl Running {
    /// Ends it without any order.
    fn kill(&mut self) {
        if let Some(child) = &mut self.0 {
            // It may have ended already.
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.kill();
    }
}

/// Looks again and again until there is something.
#[track_caller]
fn until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    for _ in 0..LOOKS {
        if let Some(found) = look() {
            return found;
        }
        thread::sleep(LOOK_EVERY);
    }
    panic!("{what} did not come");
}

/// The only recording in a folder, once there is one.
fn recording_in(folder: &Path) -> PathBuf {
    until("a recording", || {
        let mut entries = fs::read_dir(folder).ok()?;
        let path = entries.next()?.ok()?.path();
        path.join("recording.toml").exists().then_some(path)
    })
}

/// The samples of a loop of a recording, whatever days they lie in.
fn rows(recording: &Path, the_loop: &str) -> Vec<Vec<String>> {
    let mut files: Vec<PathBuf> = fs::read_dir(recording.join(the_loop))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| {
            let name = path.file_name().unwrap().to_string_lossy();
            name.starts_with("20") && name.ends_with(".csv")
        })
        .collect();
    files.sort();
    files.iter().flat_map(|file| table(file)).collect()
}

/// The whole rows of a CSV below its header; the last one may be half written.
fn table(file: &Path) -> Vec<Vec<String>> {
    let text = fs::read_to_string(file).unwrap();
    let whole = text.rfind('\n').map_or("", |end| &text[..end]);
    let cells = |line: &str| line.split(',').map(str::to_owned).collect();
    whole.lines().skip(1).map(cells).collect()
}

/// The states of the polls that a busy machine had time for.
fn states(recording: &Path, the_loop: &str) -> Vec<String> {
    let states = rows(recording, the_loop)
        .into_iter()
        .map(|row| row[2].clone());
    states.filter(|state| state != "skipped").collect()
}

/// The events of a loop of a recording, in order.
fn events(recording: &Path, the_loop: &str) -> Vec<String> {
    let rows = table(&recording.join(the_loop).join("events.csv"));
    rows.into_iter().map(|row| row[2].clone()).collect()
}
