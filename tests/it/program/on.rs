//! `--on EVENT COMMAND`: the person's own commands beside a recorder.

use std::fs;
use std::path::{Path, PathBuf};

use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use tempfile::{TempDir, tempdir};

use super::device::{Device, LOOP, Plug};
use super::{AT_ONCE, Running, emberline, events, recording_in, states, table, until};

/// A recorder at work that runs commands.
struct Bench {
    device: Device,
    recording: PathBuf,
    folder: TempDir,
    recorder: Running,
}

fn start(commands: impl Fn(&Path) -> Vec<[String; 2]>) -> Bench {
    let device = Device::start(Plug::Tcp(Framing::Rtu), &Annealer);
    let folder = tempdir().unwrap();
    let setup = device.setup(folder.path());
    let into = folder.path().join("recordings");
    let (setup, into_text) = (setup.to_str().unwrap(), into.to_str().unwrap());
    let mut words = vec!["record", setup, "--into", into_text];
    words.extend(AT_ONCE);
    let commands = commands(folder.path());
    for [event, command] in &commands {
        words.extend(["--on", event, command]);
    }
    let recorder = Running::start(&words);
    let recording = recording_in(&into);
    Bench {
        device,
        recording,
        folder,
        recorder,
    }
}

impl Bench {
    fn mark(&self, text: &str) {
        let words = ["mark", self.recording.to_str().unwrap(), text];
        until("an owner", || {
            (emberline(&words).code == Some(0)).then_some(())
        });
    }

    /// The lines of a file that a command writes, once there are so many.
    fn lines(&self, file: &str, count: usize) -> Vec<String> {
        until(file, || {
            let text = fs::read_to_string(self.folder.path().join(file)).ok()?;
            let lines: Vec<String> = text.lines().map(str::to_owned).collect();
            (lines.len() >= count).then_some(lines)
        })
    }
}

#[test]
fn a_command_runs_when_it_happens_with_the_facts_in_its_environment() {
    let bench = start(|folder| {
        let file = folder.join("facts").display().to_string();
        let command =
            format!("env | grep ^EMBERLINE_ | sort > '{file}.new'; mv '{file}.new' '{file}'");
        vec![["fault".to_owned(), command]]
    });
    until("a value", || {
        states(&bench.recording, LOOP)
            .contains(&"good".to_owned())
            .then_some(())
    });
    bench.device.panel.break_sensor();
    let facts = bench.lines("facts", 9);
    let fact = |name: &str| {
        let key = format!("EMBERLINE_{name}=");
        let line = facts.iter().find_map(|line| line.strip_prefix(&key));
        line.unwrap_or_else(|| panic!("no {name} in {facts:?}"))
            .to_owned()
    };
    assert_eq!(fact("EVENT"), "fault");
    assert_eq!(fact("LOOP"), LOOP);
    assert!(fact("TEXT").contains("sensor open"), "{facts:?}");
    assert!(
        chrono::DateTime::parse_from_rfc3339(&fact("TIME")).is_ok(),
        "{facts:?}"
    );
    assert_eq!(fact("RECORDING"), bench.recording.to_str().unwrap());
    assert_eq!(
        [fact("PV"), fact("SP"), fact("UNIT")],
        ["", "490.0", "degC"]
    );
}

#[test]
fn a_few_commands_run_at_once_and_the_others_in_their_turn() {
    let bench = start(|folder| {
        let log = folder.join("log").display().to_string();
        let command = format!("echo + >> '{log}'; sleep 0.5; echo - >> '{log}'");
        vec![
            ["mark".to_owned(), command.clone()],
            ["mark".to_owned(), command],
        ]
    });
    for n in 0..5 {
        bench.mark(&n.to_string());
    }
    let log = bench.lines("log", 20);
    let mut running = 0;
    let mut most = 0;
    for line in &log {
        running += if line == "+" { 1 } else { -1 };
        most = most.max(running);
    }
    assert_eq!((log.len(), running), (20, 0));
    assert!(most <= 4, "{most} at once: {log:?}");
    // The recorder went on meanwhile.
    assert!(
        states(&bench.recording, LOOP)
            .iter()
            .all(|state| state == "good")
    );
}

#[test]
fn a_command_that_fails_is_an_event_and_what_it_says_goes_to_standard_error() {
    let bench = start(|_| {
        vec![[
            "mark".to_owned(),
            "echo out; echo err >&2; exit 3".to_owned(),
        ]]
    });
    bench.mark("x");
    until("the failure", || {
        events(&bench.recording, LOOP)
            .contains(&"command-failed".to_owned())
            .then_some(())
    });
    let rows = table(&bench.recording.join(LOOP).join("events.csv"));
    let failed = rows.iter().find(|row| row[2] == "command-failed").unwrap();
    assert!(
        failed[3].contains("(on mark) failed: exit status: 3"),
        "{failed:?}"
    );
    bench.recorder.signal("TERM");
    let ended = bench.recorder.end();
    assert_eq!(ended.code, Some(0), "{ended}");
    assert!(ended.err.contains("\nout\nerr\n"), "{ended}");
    assert!(!ended.out.contains("out\n"), "{ended}");
}

#[test]
fn an_event_that_is_none_is_refused_with_those_that_are() {
    let folder = tempdir().unwrap();
    let setup = super::device::setup(folder.path(), "serial", "no-such-port", &Annealer);
    let setup = setup.to_str().unwrap();
    for words in [
        &["record", setup, "--into", "x", "--on", "lunch", "true"][..],
        &["watch", setup, "--on", "lunch", "true"],
    ] {
        emberline(words).failed_with(2, &["--on lunch", "help: events are tuned, tune-ended"]);
    }
    emberline(&["record", setup, "--into", "x", "--on", "tuned"]).failed_with(2, &["--on"]);
}

/// Longer than the rest of an end takes.
#[cfg(unix)]
#[test]
fn a_command_that_runs_when_a_signal_ends_the_recorder_is_waited_for() {
    // Without the recorder's own outputs: whoever reads these waits for all that have them.
    let begin_and_end = "exec >begun 2>&1; echo; sleep 4; echo >ended";
    let bench = start(|folder| {
        let command = format!("cd '{}'; {begin_and_end}", folder.display());
        vec![["mark".to_owned(), command]]
    });
    bench.mark("door opened");
    bench.lines("begun", 1);
    bench.recorder.signal("TERM");
    assert_eq!(bench.recorder.end().code, Some(0));
    assert!(bench.folder.path().join("ended").exists());
}
