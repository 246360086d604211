//! The program itself: started, polled from another process, spoken to, ended.

#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use mock_device::wire::sealed;

/// A running `mock-device`; killed if a test ends early.
struct Device {
    child: Child,
    input: Option<ChildStdin>,
    output: BufReader<ChildStdout>,
}

impl Drop for Device {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Device {
    fn start(arguments: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_mock-device"))
            .args(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        Self {
            input: child.stdin.take(),
            output: BufReader::new(child.stdout.take().unwrap()),
            child,
        }
    }

    fn line(&mut self) -> String {
        let mut line = String::new();
        self.output.read_line(&mut line).unwrap();
        line
    }

    /// Reads up to the line that begins like this and gives it.
    fn until(&mut self, beginning: &str) -> String {
        loop {
            let line = self.line();
            assert!(!line.is_empty(), "ended before '{beginning}'");
            if line.starts_with(beginning) {
                return line;
            }
        }
    }

    /// The value of a setup key as printed.
    fn reached(&mut self, key: &str) -> String {
        let line = self.until(key);
        line.split('"').nth(1).unwrap().to_owned()
    }

    fn type_line(&mut self, line: &str) {
        writeln!(self.input.as_mut().unwrap(), "{line}").unwrap();
    }
}

fn ask(mut stream: impl Read + Write, request: &[u8], answer: usize) -> Vec<u8> {
    stream.write_all(request).unwrap();
    let mut bytes = vec![0; answer];
    stream.read_exact(&mut bytes).unwrap();
    bytes
}

/// The setpoint of unit 1 of the layout `annealer`, in tenths.
fn setpoint_request() -> Vec<u8> {
    sealed(vec![1, 3, 0, 1, 0, 1])
}

#[test]
fn it_answers_on_tcp_obeys_its_panel_and_quits() {
    let mut device = Device::start(&["--rtu-over-tcp", "127.0.0.1:0"]);
    let address = device.reached("rtu_over_tcp = ");
    let wire = TcpStream::connect(address).unwrap();
    let answer = ask(&wire, &setpoint_request(), 7);
    assert_eq!(answer, sealed(vec![1, 3, 2, 0x13, 0x24]));
    device.type_line("setpoint 510");
    device.until("ok");
    let answer = ask(&wire, &setpoint_request(), 7);
    assert_eq!(answer, sealed(vec![1, 3, 2, 0x13, 0xEC]));
    device.type_line("quit");
    assert_eq!(device.child.wait().unwrap().code(), Some(0));
}

#[test]
fn the_end_of_its_input_does_not_stop_it() {
    let mut device = Device::start(&["--tcp", "127.0.0.1:0", "--speed", "100"]);
    let address = device.reached("tcp = ");
    device.input = None;
    let wire = TcpStream::connect(address).unwrap();
    for transaction in 0..3 {
        let request = [0, transaction, 0, 0, 0, 6, 1, 3, 0, 1, 0, 1];
        let answer = ask(&wire, &request, 11);
        assert_eq!(answer[..2], [0, transaction]);
    }
    assert!(device.child.try_wait().unwrap().is_none());
}

#[test]
fn what_it_cannot_do_is_said_with_the_exit_code_of_its_kind() {
    let run = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_mock-device"))
            .args(arguments)
            .output()
            .unwrap();
        (
            output.status.code(),
            String::from_utf8(output.stderr).unwrap(),
        )
    };
    let (code, text) = run(&["--tcp", "127.0.0.1:0", "--layout", "kiln"]);
    assert_eq!(code, Some(2));
    assert!(text.contains("annealer, floats"), "{text}");
    assert_eq!(run(&[]).0, Some(2));
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    let (code, text) = run(&["--tcp", &address]);
    assert_eq!(code, Some(4));
    assert!(
        text.contains(&format!("cannot listen on {address}")),
        "{text}"
    );
}

#[test]
fn a_layout_from_a_seed_has_a_manual_and_a_setup_whose_map_is_still_to_be_written() {
    let manual = Command::new(env!("CARGO_BIN_EXE_mock-device"))
        .args(["--layout", "random:17", "--print-registers"])
        .output()
        .unwrap();
    assert_eq!(manual.status.code(), Some(0));
    let text = String::from_utf8(manual.stdout).unwrap();
    assert!(
        text.contains("Controller random:17") && text.contains("Notes"),
        "{text}"
    );
    let folder = std::env::temp_dir().join(format!("mock-device-random-{}", std::process::id()));
    let (setup, layout) = (folder.to_str().unwrap(), "random:17");
    let arguments = [
        "--tcp",
        "127.0.0.1:0",
        "--layout",
        layout,
        "--write-setup",
        setup,
    ];
    let mut device = Device::start(&arguments);
    device.until("# its map is yours to write");
    let written = std::fs::read_to_string(folder.join("setup.toml")).unwrap();
    assert!(written.contains("maps/random-17.toml"), "{written}");
    assert!(!folder.join("maps/random-17.toml").exists());
    std::fs::remove_dir_all(&folder).unwrap();
}

#[cfg(unix)]
#[test]
fn a_pseudo_terminal_has_the_name_it_was_given_until_the_end() {
    let folder = std::env::temp_dir().join(format!("mock-device-{}", std::process::id()));
    let link = folder.join("oven");
    let name = link.to_str().unwrap();
    std::fs::create_dir_all(&folder).unwrap();
    let setup = folder.to_str().unwrap();
    let mut device = Device::start(&["--pty", name, "--write-setup", setup, "--unit", "1,2"]);
    assert_eq!(device.reached("serial = "), name);
    let port = std::fs::File::options()
        .read(true)
        .write(true)
        .open(&link)
        .unwrap();
    let answer = ask(&port, &setpoint_request(), 7);
    assert_eq!(answer, sealed(vec![1, 3, 2, 0x13, 0x24]));
    let written = std::fs::read_to_string(folder.join("setup.toml")).unwrap();
    assert!(written.contains("unit_number = 2"), "{written}");
    assert!(folder.join("maps/annealer.toml").exists());
    device.type_line("quit");
    assert_eq!(device.child.wait().unwrap().code(), Some(0));
    assert!(std::fs::symlink_metadata(&link).is_err());
    std::fs::remove_dir_all(&folder).unwrap();
}
