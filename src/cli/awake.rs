//! Keeps the machine from falling asleep by itself while it records, where it lets itself be kept.
//!
//! A helper of the system does it, for as long as its standard input is open: however this program
//! ends, the system closes that. A person who puts the machine to sleep, or closes its lid, is obeyed.

use std::io::{self, Read as _};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;

use clap::Args;

use super::listening::tell;

/// systemd-inhibit(1) and caffeinate(8) hold the machine for as long as what they run; cat(1) runs
/// until its input ends.
#[cfg(target_os = "linux")]
const HELPER: &[&str] = &[
    "systemd-inhibit",
    "--what=sleep:idle",
    "--who=emberline",
    "--why=a recording is being written",
    "cat",
];
#[cfg(target_os = "macos")]
const HELPER: &[&str] = &["caffeinate", "-i", "cat"];
#[cfg(not(any(target_os = "linux", target_os = "macos")))]
const HELPER: &[&str] = &[];

/// Whether the machine may fall asleep.
#[derive(Debug, Args)]
pub(super) struct SleepArgs {
    /// Do not keep the machine from falling asleep while it records.
    #[arg(long)]
    allow_sleep: bool,
}

/// The machine is kept awake, or it has been said that it cannot be.
#[derive(Debug)]
pub(super) struct Awake {
    is_over: Arc<AtomicBool>,
    /// Closing it is what ends the helper.
    _held: ChildStdin,
}

impl SleepArgs {
    /// Keeps the machine awake until what is returned is dropped; says so where it cannot.
    pub(super) fn keep_awake(&self) -> Option<Awake> {
        self.keep_awake_or(say)
    }

    /// The same beneath a screen, where nothing can be said.
    pub(super) fn keep_awake_silently(&self) -> Option<Awake> {
        self.keep_awake_or(|_| ())
    }

    fn keep_awake_or(&self, say: fn(&str)) -> Option<Awake> {
        if self.allow_sleep {
            return None;
        }
        let kept = keep_awake(say);
        kept.map_err(|error| say(&error.to_string())).ok()
    }
}

fn keep_awake(say: fn(&str)) -> io::Result<Awake> {
    let [helper, words @ ..] = HELPER else {
        let why = if cfg!(windows) {
            "on Windows only its power plan does that"
        } else {
            "nothing here is known to prevent it"
        };
        return Err(io::Error::other(why));
    };
    let mut command = Command::new(helper);
    command
        .args(words)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    #[cfg(unix)]
    {
        use std::os::unix::process::CommandExt as _;
        // Ctrl-C is for us: rows are written until it is done.
        command.process_group(0);
    }
    let missing = |error: io::Error| io::Error::new(error.kind(), format!("{helper}: {error}"));
    let mut child = command.spawn().map_err(missing)?;
    let held = child.stdin.take();
    let held = held.ok_or_else(|| io::Error::other(format!("{helper} takes no input")))?;
    let is_over = Arc::new(AtomicBool::new(false));
    let ended = is_over.clone();
    thread::Builder::new()
        .name("awake".to_owned())
        .spawn(move || attend(child, helper, &ended, say))?;
    Ok(Awake {
        is_over,
        _held: held,
    })
}

/// Waits for the helper's end, and says so if it came too early.
fn attend(mut child: Child, helper: &str, is_over: &AtomicBool, say: fn(&str)) {
    let mut said = String::new();
    if let Some(mut stderr) = child.stderr.take() {
        // Whatever it said is a courtesy.
        let _ = stderr.read_to_string(&mut said);
    }
    let ended = child.wait();
    if is_over.load(Ordering::Relaxed) {
        return;
    }
    let why = match (said.trim(), ended) {
        ("", Ok(status)) => status.to_string(),
        ("", Err(error)) => error.to_string(),
        (said, _) => said.replace('\n', "; "),
    };
    say(&format!("{helper}: {why}"));
}

fn say(why: &str) {
    tell(&format!(
        "the machine is not kept from falling asleep ({why}); --allow-sleep if it need not be"
    ));
}

impl Drop for Awake {
    fn drop(&mut self) {
        self.is_over.store(true, Ordering::Relaxed);
    }
}
