//! `--on EVENT COMMAND`: a command of the person's own when something happens.
//!
//! It holds nothing up: events are taken as a screen takes them, and commands run beside the session,
//! a few at once.

use std::collections::{HashMap, VecDeque};
use std::io::{self, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::{ExitStatus, Stdio};
use std::time::Duration;

use clap::Args;
use tokio::process::Command;
use tokio::sync::broadcast::{self, error::RecvError};
use tokio::task::JoinSet;
use tokio::time::timeout;

use super::record::rfc3339;
use super::{Exit, Stop};
use crate::name::Name;
use crate::roles::Roles;
use crate::sample::{Entry, Event, Happening, Sample};
use crate::session::Hand;
use crate::setup::Setup;

/// So many commands run at once.
const AT_ONCE: usize = 4;
/// So many more wait for their turn.
const WAITING: usize = 64;
/// Commands that run when the session has ended are waited for so long.
pub(super) const LEFT_AFTER: Duration = Duration::from_secs(10);

/// The events that a command can be run on, with the word for each.
const EVENTS: [(&str, &[Happening]); 13] = [
    ("tuned", &[Happening::AutotuneTuned]),
    (
        "tune-ended",
        &[
            Happening::AutotuneTuned,
            Happening::AutotuneUnchanged,
            Happening::AutotuneUnknown,
        ],
    ),
    ("settled", &[Happening::Settled]),
    ("left-band", &[Happening::LeftBand]),
    ("fault", &[Happening::FaultBegan]),
    ("no-answer", &[Happening::AnswersLost]),
    ("port-lost", &[Happening::PortLost]),
    ("no-response", &[Happening::NoResponse]),
    ("heating-without-output", &[Happening::HeatingWithoutOutput]),
    ("heating-without-sensor", &[Happening::HeatingWithoutSensor]),
    ("mark", &[Happening::Mark]),
    ("disk-low", &[Happening::DiskLow]),
    ("disk-failed", &[Happening::DiskFailed]),
];

const HELP: &str = "\
Run a command when something happens; may be given several times. Events:
tuned, tune-ended (however it ended), settled, left-band, fault (of the sensor), no-answer, port-lost,
no-response (full output for 10 min and no rise), heating-without-output (a rise 10 min after the
output went to 0), heating-without-sensor, mark, disk-low, disk-failed.
It is run by the shell, with EMBERLINE_EVENT, _LOOP, _TIME, _TEXT, _PV, _SP, _OUT, _UNIT and
_RECORDING in its environment. It is no protection: it may come late or not at all";

/// Commands to run.
#[derive(Clone, Debug, Args)]
pub(super) struct OnArgs {
    #[arg(long, num_args = 2, value_names = ["EVENT", "COMMAND"], action = clap::ArgAction::Append,
          help = HELP)]
    on: Vec<String>,
}

/// A command and what it is run on.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Hook {
    word: &'static str,
    events: &'static [Happening],
    command: String,
}

impl OnArgs {
    /// # Errors
    /// A word that is no event.
    fn hooks(&self) -> Result<Vec<Hook>, Stop> {
        let hook = |pair: &[String]| {
            let [word, command] = pair else {
                return Err(Stop::new(
                    Exit::WrongUse,
                    "--on takes an event and a command",
                ));
            };
            let known = EVENTS.iter().find(|(known, _)| known == word);
            let Some((word, events)) = known else {
                let words: Vec<&str> = EVENTS.iter().map(|(word, _)| *word).collect();
                let text = format!(
                    "--on {word}: there is no such event\nhelp: events are {}",
                    words.join(", ")
                );
                return Err(Stop::new(Exit::WrongUse, text));
            };
            Ok(Hook {
                word,
                events,
                command: command.clone(),
            })
        };
        self.on.chunks(2).map(hook).collect()
    }

    /// What runs the commands; nothing where there are none.
    ///
    /// # Errors
    /// A word that is no event.
    pub(super) fn runner(&self, setup: &Setup, has_screen: bool) -> Result<Option<Runner>, Stop> {
        let hooks = self.hooks()?;
        let roles = |it: &crate::setup::LoopSetup| (it.name.clone(), Roles::of(&it.map));
        Ok((!hooks.is_empty()).then(|| Runner {
            hooks,
            roles: setup.loops.iter().map(roles).collect(),
            latest: HashMap::new(),
            recording: PathBuf::new(),
            // A screen must not be written over.
            is_mute: has_screen && io::stderr().is_terminal(),
        }))
    }
}

/// Runs commands on what happens.
#[derive(Debug)]
pub(super) struct Runner {
    hooks: Vec<Hook>,
    roles: HashMap<Name, Roles>,
    latest: HashMap<Name, Sample>,
    recording: PathBuf,
    is_mute: bool,
}

/// A command that is to be run.
#[derive(Debug)]
struct Due {
    of: Option<Name>,
    /// For people: `'notify.sh' (on tuned)`.
    what: String,
    command: Command,
}

impl Runner {
    pub(super) fn recording(&mut self, folder: Option<&Path>) {
        self.recording = folder.map(Path::to_owned).unwrap_or_default();
    }

    /// Runs until the session has ended, and what runs then is done.
    pub(super) async fn run(mut self, mut live: broadcast::Receiver<Entry>, hand: Hand) {
        let mut waiting: VecDeque<Due> = VecDeque::new();
        let mut running = JoinSet::new();
        loop {
            tokio::select! {
                biased;
                Some(ended) = running.join_next() => self.tell(ended.ok().flatten(), &hand).await,
                entry = live.recv() => match entry {
                    Ok(entry) => self.take(&entry, &mut waiting, &hand).await,
                    Err(RecvError::Lagged(_)) => {}
                    Err(RecvError::Closed) => break,
                }
            }
            while running.len() < AT_ONCE
                && let Some(due) = waiting.pop_front()
            {
                running.spawn(run(due));
            }
        }
        for due in waiting {
            running.spawn(run(due));
        }
        let rest = async {
            while let Some(ended) = running.join_next().await {
                self.tell(ended.ok().flatten(), &hand).await;
            }
        };
        if timeout(LEFT_AFTER, rest).await.is_err() {
            self.say("note: a command that --on began still runs; it is left alone");
            running.detach_all();
        }
    }

    async fn take(&mut self, entry: &Entry, waiting: &mut VecDeque<Due>, hand: &Hand) {
        let event = match entry {
            Entry::Sample(sample) => {
                self.latest.insert(sample.of.clone(), sample.clone());
                return;
            }
            Entry::Event(event) => event,
            Entry::Settings(_) | Entry::Health(_) => return,
        };
        for hook in &self.hooks {
            if !hook.events.contains(&event.what) {
                continue;
            }
            if waiting.len() < WAITING {
                waiting.push_back(self.due(hook, event));
            } else {
                let what = format!("'{}' (on {})", hook.command, hook.word);
                let text = format!("{what} was not run: {WAITING} commands wait already");
                self.note(event.of.clone(), text, hand).await;
            }
        }
    }

    fn due(&self, hook: &Hook, event: &Event) -> Due {
        let mut command = shell(&hook.command);
        let name = event.of.as_ref().map_or("", Name::as_str);
        command
            .env("EMBERLINE_EVENT", hook.word)
            .env("EMBERLINE_LOOP", name)
            .env("EMBERLINE_TIME", rfc3339(event.stamp))
            .env("EMBERLINE_TEXT", &event.text)
            .env("EMBERLINE_RECORDING", &self.recording);
        for (key, value) in self.values(event.of.as_ref()) {
            command.env(key, value);
        }
        let output = || {
            if self.is_mute {
                Stdio::null()
            } else {
                // Standard output is the program's own data.
                Stdio::from(io::stderr())
            }
        };
        command
            .stdin(Stdio::null())
            .stdout(output())
            .stderr(output());
        Due {
            of: event.of.clone(),
            what: format!("'{}' (on {})", hook.command, hook.word),
            command,
        }
    }

    /// The loop's latest values; empty where there is none.
    fn values(&self, of: Option<&Name>) -> [(&'static str, String); 4] {
        let sample = of.and_then(|name| self.latest.get(name));
        let roles = of.and_then(|name| self.roles.get(name));
        let cell = |index: Option<usize>| {
            let reading = sample.zip(index).and_then(|(it, at)| it.readings.get(at));
            reading.map(ToString::to_string).unwrap_or_default()
        };
        let pv = roles.map(|roles| roles.pv);
        let unit = sample
            .zip(pv)
            .and_then(|(it, at)| it.units.get(at)?.clone());
        [
            ("EMBERLINE_PV", cell(pv)),
            ("EMBERLINE_SP", cell(roles.and_then(|it| it.setpoint))),
            ("EMBERLINE_OUT", cell(roles.and_then(|it| it.output))),
            (
                "EMBERLINE_UNIT",
                unit.map_or(String::new(), |it| it.to_string()),
            ),
        ]
    }

    /// Says how a command ended that did not end well.
    async fn tell(&self, ended: Option<Ended>, hand: &Hand) {
        let Some(Ended { of, what, outcome }) = ended else {
            return;
        };
        let text = match outcome {
            Ok(status) if status.success() => return,
            Ok(status) => format!("{what} failed: {status}"),
            Err(error) => format!("{what} could not be run: {error}"),
        };
        self.note(of, text, hand).await;
    }

    /// In the recording, where it goes on; else here.
    async fn note(&self, of: Option<Name>, text: String, hand: &Hand) {
        let what = Happening::CommandFailed;
        if hand.note(of, what, text.clone()).await.is_none() {
            self.say(&text);
        }
    }

    fn say(&self, text: &str) {
        if !self.is_mute {
            // A courtesy; a closed standard error stops nothing.
            let _ = writeln!(io::stderr(), "{text}");
        }
    }
}

/// How a command ended.
struct Ended {
    of: Option<Name>,
    what: String,
    outcome: io::Result<ExitStatus>,
}

async fn run(mut due: Due) -> Option<Ended> {
    let outcome = match due.command.spawn() {
        Ok(mut child) => child.wait().await,
        Err(error) => Err(error),
    };
    Some(Ended {
        of: due.of,
        what: due.what,
        outcome,
    })
}

/// The command as the system's shell runs it. A Ctrl-C at the terminal is not for it.
#[cfg(unix)]
fn shell(command: &str) -> Command {
    let mut shell = Command::new("sh");
    shell.arg("-c").arg(command).process_group(0);
    shell
}

#[cfg(windows)]
fn shell(command: &str) -> Command {
    let mut shell = Command::new("cmd");
    // As it stands: the shell has its own rules for quotes.
    shell.arg("/C").raw_arg(command);
    shell
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_event_stands_in_the_help_and_no_other_is_taken() {
        for (word, _) in EVENTS {
            assert!(HELP.contains(word), "{word}");
        }
        let args = |words: &[&str]| OnArgs {
            on: words.iter().map(|&word| word.to_owned()).collect(),
        };
        let hooks = args(&["tuned", "a", "fault", "b c"]).hooks().unwrap();
        assert_eq!(hooks[1].command, "b c");
        assert_eq!(hooks[1].events, [Happening::FaultBegan]);
        let stop = args(&["lunch", "a"]).hooks().unwrap_err();
        assert_eq!(stop.exit, Exit::WrongUse);
        assert!(
            stop.text.contains("events are tuned, tune-ended"),
            "{}",
            stop.text
        );
    }
}
