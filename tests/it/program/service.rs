//! `record` under a service manager, and what keeps the machine awake.

use std::fs::{self, Permissions};
use std::os::unix::fs::PermissionsExt as _;
use std::os::unix::net::UnixDatagram;
use std::path::Path;
use std::process::Stdio;
use std::time::Duration;

use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use tempfile::tempdir;

use super::device::{Device, Plug};
use super::{AT_ONCE, Running, emberline, program, recording_in, until};

/// How long a message may take on a busy machine.
const PATIENCE: Duration = Duration::from_mins(1);

/// `record` into `folder/recordings`, with these variables.
fn record(device: &Device, folder: &Path, variables: &[(&str, &str)], options: &[&str]) -> Running {
    let setup = device.setup(folder);
    let into = folder.join("recordings");
    let child = program()
        .arg("record")
        .arg(setup)
        .arg("--into")
        .arg(into)
        .args(AT_ONCE)
        .args(options)
        .envs(variables.iter().copied())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    Running(Some(child.unwrap()))
}

fn device() -> Device {
    Device::start(Plug::Tcp(Framing::Rtu), &Annealer)
}

struct Manager(UnixDatagram);

impl Manager {
    fn on(path: &Path) -> Self {
        let socket = UnixDatagram::bind(path).unwrap();
        socket.set_read_timeout(Some(PATIENCE)).unwrap();
        Self(socket)
    }

    /// The next message, line by line.
    fn hears(&self) -> Vec<String> {
        let mut message = [0; 4096];
        let length = self.0.recv(&mut message).unwrap();
        let text = String::from_utf8(message[..length].to_vec()).unwrap();
        text.lines().map(str::to_owned).collect()
    }
}

#[test]
fn a_service_manager_hears_that_it_is_ready_lives_and_stops() {
    let folder = tempdir().unwrap();
    let path = folder.path().join("notify");
    let manager = Manager::on(&path);
    let variables = [
        ("NOTIFY_SOCKET", path.to_str().unwrap()),
        ("WATCHDOG_USEC", "200000"),
    ];
    let device = device();
    let running = record(&device, folder.path(), &variables, &["--allow-sleep"]);
    let first = manager.hears();
    let recording = recording_in(&folder.path().join("recordings"));
    let status = format!("STATUS=recording into {}", recording.display());
    assert_eq!(first, ["READY=1".to_owned(), status]);
    let mut rows = 0;
    for _ in 0..3 {
        let message = manager.hears();
        assert!(message.contains(&"WATCHDOG=1".to_owned()), "{message:?}");
        let status = message.iter().find_map(|it| it.strip_prefix("STATUS="));
        let (count, rest) = status.unwrap().split_once(' ').unwrap();
        assert_eq!(rest, "rows written");
        let count: u64 = count
            .replace(|it: char| !it.is_ascii_digit(), "")
            .parse()
            .unwrap();
        assert!(count >= rows, "{count} after {rows}");
        rows = count;
    }
    assert!(rows > 0);
    running.signal("TERM");
    let last = until("STOPPING=1", || {
        Some(manager.hears()).filter(|it| it.contains(&"STOPPING=1".to_owned()))
    });
    assert_eq!(last.len(), 2, "{last:?}");
    let ended = running.end();
    assert_eq!(ended.code, Some(0), "{ended}");
}

/// A folder with a helper of this name that does this.
fn with_helper(folder: &Path, script: &str) -> String {
    for name in ["systemd-inhibit", "caffeinate"] {
        let path = folder.join(name);
        fs::write(&path, format!("#!/bin/sh\n{script}\n")).unwrap();
        fs::set_permissions(&path, Permissions::from_mode(0o755)).unwrap();
    }
    let path = std::env::var("PATH").unwrap_or_default();
    format!("{}:{path}", folder.display())
}

#[test]
fn the_machine_is_kept_awake_exactly_as_long_as_the_recorder_lives() {
    for signal in ["TERM", "KILL"] {
        let folder = tempdir().unwrap();
        let home = folder.path().display();
        let script = format!("echo $$ > {home}/held; cat; echo > {home}/let-go");
        let path = with_helper(folder.path(), &script);
        let device = device();
        let running = record(&device, folder.path(), &[("PATH", &path)], &[]);
        until("the helper", || {
            fs::metadata(folder.path().join("held")).ok()
        });
        recording_in(&folder.path().join("recordings"));
        assert!(!folder.path().join("let-go").exists());
        running.signal(signal);
        let ended = running.end();
        until("its end", || {
            fs::metadata(folder.path().join("let-go")).ok()
        });
        assert!(!ended.err.contains("falling asleep"), "{ended}");
    }
}

#[test]
fn a_machine_that_does_not_let_itself_be_kept_awake_is_told_and_records() {
    let folder = tempdir().unwrap();
    let path = with_helper(folder.path(), "echo access denied >&2; exit 1");
    let device = device();
    let variables = [("PATH", path.as_str())];
    let ended = record(&device, folder.path(), &variables, &["--for", "1s"]).end();
    assert_eq!(ended.code, Some(0), "{ended}");
    assert!(
        ended.err.contains("not kept from falling asleep"),
        "{ended}"
    );
    assert!(ended.err.contains("access denied"), "{ended}");
    let recording = recording_in(&folder.path().join("recordings"));
    assert_eq!(
        emberline(&["verify", recording.to_str().unwrap()]).code,
        Some(0)
    );

    let folder = tempdir().unwrap();
    let options = ["--for", "1s", "--allow-sleep"];
    let ended = record(&device, folder.path(), &variables, &options).end();
    assert!(!ended.err.contains("asleep"), "{ended}");
}
