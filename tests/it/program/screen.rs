//! The live screen on a pseudo-terminal, read as a terminal would show it.

use std::fs::File;
use std::io::{Read as _, Write as _};
use std::num::NonZero;
use std::os::unix::process::CommandExt as _;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

use mock_device::registers::Annealer;
use mock_device::wire::listen::Framing;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags};
use rustix::process::{Pid, Signal, WaitOptions, kill_process, waitpid};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Action, Winsize, tcflow, tcgetattr, tcsetwinsize};
use tempfile::tempdir;

use super::device::{Device, LOOP, Plug};
use super::{AT_ONCE, LOOK_EVERY, LOOKS, events, recording_in, states, until};

const ROWS: NonZero<u16> = NonZero::new(24).unwrap();
const COLUMNS: NonZero<u16> = NonZero::new(80).unwrap();
/// How often a window that shows nothing new looks whether it was closed.
const WINDOW_LOOKS_EVERY: Timespec = Timespec {
    tv_sec: 0,
    tv_nsec: 20_000_000,
};

/// Killed if a test ends early.
struct Program(Child);

/// The program on a terminal of its own.
struct OnScreen {
    keys: File,
    /// Our hold on the program's end, to see its modes.
    terminal: File,
    parser: Arc<Mutex<vt100::Parser>>,
    reader: JoinHandle<()>,
    is_closed: Arc<AtomicBool>,
    /// Whether anything came that is not plain text.
    has_escapes: Arc<AtomicBool>,
    program: Program,
}

impl OnScreen {
    fn start(words: &[&str]) -> Self {
        let mut command = Command::new(env!("CARGO_BIN_EXE_emberline"));
        command.args(words).env("TERM", "xterm-256color");
        Self::run(command, true)
    }

    fn run(mut command: Command, has_keyboard: bool) -> Self {
        let keys = File::from(openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap());
        // A program that holds its own keyboard never sees its window closed.
        rustix::io::fcntl_setfd(&keys, rustix::io::FdFlags::CLOEXEC).unwrap();
        grantpt(&keys).unwrap();
        unlockpt(&keys).unwrap();
        let name = ptsname(&keys, Vec::new()).unwrap();
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let terminal = File::from(rustix::fs::open(name, flags, Mode::empty()).unwrap());
        let size = Winsize {
            ws_row: ROWS.get(),
            ws_col: COLUMNS.get(),
            ws_xpixel: 0,
            ws_ypixel: 0,
        };
        tcsetwinsize(&terminal, size).unwrap();
        let end = || terminal.try_clone().unwrap();
        let keyboard = if has_keyboard {
            end().into()
        } else {
            Stdio::null()
        };
        let child = command
            // As a shell does it: what is stopped is this job, not the tests.
            .process_group(0)
            .env("LC_ALL", "C.UTF-8")
            .env("TZ", "UTC")
            .stdin(keyboard)
            .stdout(end())
            .stderr(end())
            .spawn()
            .unwrap();
        let parser = Arc::new(Mutex::new(vt100::Parser::new(ROWS, COLUMNS, 0)));
        let mut output = keys.try_clone().unwrap();
        let shown = Arc::clone(&parser);
        let is_closed = Arc::new(AtomicBool::new(false));
        let closed = Arc::clone(&is_closed);
        let has_escapes = Arc::new(AtomicBool::new(false));
        let escaped = Arc::clone(&has_escapes);
        let reader = std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while !closed.load(Ordering::SeqCst) {
                let mut ready = [PollFd::new(&output, PollFlags::IN)];
                if poll(&mut ready, Some(&WINDOW_LOOKS_EVERY)).unwrap() == 0 {
                    continue;
                }
                // It ends with an error once nobody holds the other end any more.
                let Ok(count @ 1..) = output.read(&mut bytes) else {
                    return;
                };
                escaped.fetch_or(bytes[..count].contains(&0x1b), Ordering::SeqCst);
                shown.lock().unwrap().process(&bytes[..count]);
            }
        });
        Self {
            keys,
            terminal,
            parser,
            reader,
            is_closed,
            has_escapes,
            program: Program(child),
        }
    }

    /// Closes the window; gives the program, which goes on without it.
    fn close(self) -> Program {
        self.is_closed.store(true, Ordering::SeqCst);
        self.reader.join().unwrap();
        self.program
    }

    /// From now on the terminal takes nothing.
    fn hang(&self) {
        tcflow(&self.terminal, Action::OOff).unwrap();
    }

    fn press(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
    }

    fn text(&self) -> String {
        self.parser.lock().unwrap().screen().contents()
    }

    /// Waits until all these texts stand on the screen.
    #[track_caller]
    fn shows(&self, texts: &[&str]) {
        let mut text = String::new();
        for _ in 0..LOOKS {
            text = self.text();
            if texts.iter().all(|part| text.contains(part)) {
                return;
            }
            std::thread::sleep(LOOK_EVERY);
        }
        panic!("{texts:?} did not come on\n{text}");
    }

    /// Waits for the end; gives the exit code, and checks that the terminal is as it was.
    fn end(mut self) -> Option<i32> {
        let code = self.program.0.wait().unwrap().code();
        let modes = || tcgetattr(&self.terminal).unwrap().local_modes;
        assert!(modes().contains(rustix::termios::LocalModes::ICANON));
        assert!(modes().contains(rustix::termios::LocalModes::ECHO));
        until("the first screen", || (!self.is_taken()).then_some(()));
        code
    }

    /// Whether the program holds the second screen or the cursor.
    fn is_taken(&self) -> bool {
        let parser = self.parser.lock().unwrap();
        parser.screen().alternate_screen() || parser.screen().hide_cursor()
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn watch(device: &Device, folder: &Path, options: &[&str]) -> OnScreen {
    let setup = device.setup(folder);
    let words = ["watch", setup.to_str().unwrap()];
    OnScreen::start(&[&words, &AT_ONCE, options].concat())
}

fn device() -> Device {
    Device::start(Plug::Tcp(Framing::Rtu), &Annealer)
}

#[test]
fn the_screen_shows_values_explains_its_keys_and_gives_the_terminal_back() {
    let folder = tempdir().unwrap();
    let device = device();
    let mut screen = watch(&device, folder.path(), &[]);
    screen.shows(&[
        LOOP,
        "degC   setpoint 490.0",
        "in band for",
        "not recording",
    ]);
    screen.shows(&["lost of", "m mark", "? help", "q quit"]);
    screen.press("?");
    screen.shows(&["write a mark; it stands where", "Esc close help"]);
    screen.press("\x1b");
    until("help to close", || {
        (!screen.text().contains("close help")).then_some(())
    });
    screen.press("q");
    assert_eq!(screen.end(), Some(0));
}

#[test]
fn an_unplugged_line_is_a_sentence_and_a_gap_and_the_screen_goes_on_when_it_is_back() {
    let mut device = device();
    let folder = tempdir().unwrap();
    let mut screen = watch(&device, folder.path(), &[]);
    screen.shows(&["in band for"]);
    device.unplug();
    screen.shows(&["port lost for", "----", "last value 490", " is gone", "╳"]);
    device.plug_in();
    screen.shows(&["in band for 00:00:0", " is back", "╳"]);
    screen.press("q");
    assert_eq!(screen.end(), Some(0));
}

#[test]
fn a_mark_typed_at_the_screen_is_in_the_recording_and_quitting_asks_first() {
    let folder = tempdir().unwrap();
    let into = folder.path().join("recordings");
    let options = ["--into", into.to_str().unwrap()];
    let device = device();
    let mut screen = watch(&device, folder.path(), &options);
    screen.shows(&["rec 00:00:", "in band for"]);
    screen.press("mdoor opened\r");
    screen.shows(&["mark: door opened"]);
    screen.press("q");
    screen.shows(&["Stop the recording and leave?"]);
    screen.press("y");
    assert_eq!(screen.end(), Some(0));
    let recording = recording_in(&into);
    assert!(states(&recording, LOOP).iter().all(|state| state == "good"));
    let happened = events(&recording, LOOP);
    assert_eq!(happened, ["recording-began", "mark", "recording-ended"]);
}

#[test]
fn ctrl_z_gives_the_terminal_back_until_the_program_is_continued() {
    let device = device();
    let folder = tempdir().unwrap();
    let mut screen = watch(&device, folder.path(), &[]);
    screen.shows(&["in band for"]);
    screen.press("\x1a");
    let id = Pid::from_child(&screen.program.0);
    let stopped = || waitpid(Some(id), WaitOptions::UNTRACED | WaitOptions::NOHANG).unwrap();
    until("the stop", || {
        stopped().filter(|(_, status)| status.stopped())
    });
    until("the first screen", || (!screen.is_taken()).then_some(()));
    kill_process(id, Signal::CONT).unwrap();
    until("the screen again", || screen.is_taken().then_some(()));
    screen.shows(&["in band for", "q quit"]);
    screen.press("q");
    assert_eq!(screen.end(), Some(0));
}

#[test]
fn a_signal_ends_the_screen_in_order() {
    let folder = tempdir().unwrap();
    let device = device();
    let screen = watch(&device, folder.path(), &[]);
    screen.shows(&["in band for"]);
    kill_process(Pid::from_child(&screen.program.0), Signal::TERM).unwrap();
    assert_eq!(screen.end(), Some(0));
}

#[test]
fn a_recording_that_is_followed_says_how_it_ended() {
    let folder = tempdir().unwrap();
    let into = folder.path().join("recordings");
    let device = device();
    let setup = device.setup(folder.path());
    let words = [
        "record",
        setup.to_str().unwrap(),
        "--into",
        into.to_str().unwrap(),
    ];
    let words = [&words[..], &AT_ONCE].concat();
    let mut recorder = super::Running::start(&words);
    let recording = recording_in(&into);
    let recording = recording.to_str().unwrap();
    let follow = ["watch", "--follow", recording];
    let mut screen = OnScreen::start(&follow);
    screen.shows(&["in band for"]);
    recorder.kill();
    screen.shows(&[
        "Nobody writes this recording: last row 20",
        "at the end: in band for",
    ]);
    // It goes on, and so does the screen.
    let recorder = super::Running::start(&words);
    until("the rest", || {
        (!screen.text().contains("at the end")).then_some(())
    });
    screen.shows(&["in band for"]);
    recorder.signal("TERM");
    screen.shows(&["The recording ended 20", "closed in order.", "at the end: "]);
    screen.press("q");
    assert_eq!(screen.end(), Some(0));
    assert_eq!(recorder.end().code, Some(0));
    // Long afterwards it is shown at once as it ended.
    let mut screen = OnScreen::start(&follow);
    screen.shows(&["The recording ended 20", "at the end: in band for"]);
    assert!(
        !screen.text().contains("nothing heard"),
        "{}",
        screen.text()
    );
    screen.press("q");
    assert_eq!(screen.end(), Some(0));
}

#[test]
fn a_closed_window_ends_the_recording_in_order() {
    let folder = tempdir().unwrap();
    let into = folder.path().join("recordings");
    let options = ["--into", into.to_str().unwrap()];
    let device = device();
    let screen = watch(&device, folder.path(), &options);
    screen.shows(&["in band for"]);
    let mut program = screen.close();
    assert_eq!(program.0.wait().unwrap().code(), Some(0));
    let happened = events(&recording_in(&into), LOOP);
    assert_eq!(happened, ["recording-began", "recording-ended"]);
}

#[test]
fn a_closed_window_stops_no_recording_that_is_to_be_kept() {
    let folder = tempdir().unwrap();
    let into = folder.path().join("recordings");
    let options = ["--into", into.to_str().unwrap(), "--keep-recording"];
    let device = device();
    let mut screen = watch(&device, folder.path(), &options);
    screen.shows(&["in band for"]);
    screen.press("?");
    let process = screen.program.0.id();
    screen.shows(&[&format!("Process {process} goes on recording")]);
    let mut program = screen.close();
    let recording = recording_in(&into);
    let rows = || states(&recording, LOOP).len();
    let closed = rows();
    until("three more rows", || (rows() > closed + 3).then_some(()));
    // A shell that ends tells its jobs so, perhaps for the second time.
    let pid = Pid::from_child(&program.0);
    kill_process(pid, Signal::HUP).unwrap();
    // Whoever comes back and begins once more is told how to end it.
    let setup = folder.path().join("setup.toml");
    let words = [
        "record",
        setup.to_str().unwrap(),
        "--into",
        into.to_str().unwrap(),
    ];
    let refused = super::emberline(&[&words[..], &AT_ONCE].concat());
    let way = format!("'kill -TERM {}' ends it in order", program.0.id());
    refused.failed_with(4, &[&way]);
    let told = rows();
    until("three rows more", || (rows() > told + 3).then_some(()));
    kill_process(pid, Signal::TERM).unwrap();
    assert_eq!(program.0.wait().unwrap().code(), Some(0));
    let happened = events(&recording, LOOP);
    assert_eq!(happened, ["recording-began", "recording-ended"]);
}

/// A program without a screen hears of it by a signal.
#[test]
fn a_closed_window_ends_a_recording_without_a_screen_in_order() {
    let folder = tempdir().unwrap();
    let into = folder.path().join("recordings");
    let device = device();
    let setup = device.setup(folder.path());
    let words = ["record", setup.to_str().unwrap()];
    let into_words = ["--into", into.to_str().unwrap()];
    let window = OnScreen::start(&[&words[..], &AT_ONCE, &into_words].concat());
    window.shows(&["recording into"]);
    let mut program = window.close();
    kill_process(Pid::from_child(&program.0), Signal::HUP).unwrap();
    assert_eq!(program.0.wait().unwrap().code(), Some(0));
    let happened = events(&recording_in(&into), LOOP);
    assert_eq!(happened, ["recording-began", "recording-ended"]);
}

#[test]
fn a_terminal_that_takes_nothing_keeps_no_recorder_from_ending_in_order() {
    let folder = tempdir().unwrap();
    let into = folder.path().join("recordings");
    let options = ["--into", into.to_str().unwrap()];
    let device = device();
    let mut screen = watch(&device, folder.path(), &options);
    screen.shows(&["in band for"]);
    screen.hang();
    kill_process(Pid::from_child(&screen.program.0), Signal::TERM).unwrap();
    assert_eq!(screen.program.0.wait().unwrap().code(), Some(0));
    let happened = events(&recording_in(&into), LOOP);
    assert_eq!(happened, ["recording-began", "recording-ended"]);
}

#[test]
fn a_screen_never_comes_up_where_the_line_is_not_to_be_had() {
    let folder = tempdir().unwrap();
    let into = folder.path().join("recordings");
    let into_words = ["--into", into.to_str().unwrap()];
    let refused = |setup: &Path, texts: &[&str]| {
        let words = ["watch", setup.to_str().unwrap(), "--listen-first", "1s"];
        let screen = OnScreen::start(&[&words[..], &into_words].concat());
        screen.shows(texts);
        assert_eq!(screen.end(), Some(3));
        assert!(!into.exists(), "something was left behind");
    };
    let polled = Device::polled_by_another(Plug::Tcp(Framing::Rtu), &["1:3:0:5 every 250ms"]);
    let setup = polled.setup(folder.path());
    refused(&setup, &["another master talks on", "--listen-only"]);
    let setup = super::device::setup(folder.path(), "serial", "no-such-port", &Annealer);
    refused(&setup, &["no-such-port", "help: plug the adapter in"]);
}

/// The program for a terminal of this kind.
fn for_terminal(program: &str, words: &[&str], term: &str) -> Command {
    let mut command = Command::new(program);
    command.args(words).env("TERM", term);
    command
}

#[test]
fn a_dumb_terminal_gets_plain_lines() {
    let folder = tempdir().unwrap();
    let setup = device().setup(folder.path());
    let words = ["watch", setup.to_str().unwrap()];
    let emberline = env!("CARGO_BIN_EXE_emberline");
    let screen = OnScreen::run(for_terminal(emberline, &words, "dumb"), true);
    screen.shows(&["TERM=dumb", "help: 'emberline read --repeat'"]);
    assert!(!screen.has_escapes.load(Ordering::SeqCst));
    assert_eq!(screen.end(), Some(2));
    let out = folder.path().join("demo");
    let words = ["demo", "--out", out.to_str().unwrap()];
    let screen = OnScreen::run(for_terminal(emberline, &words, "dumb"), true);
    screen.shows(&["Improved.", "report: "]);
    assert!(!screen.has_escapes.load(Ordering::SeqCst));
    assert_eq!(screen.end(), Some(0));
}

/// `setsid` takes the keyboard of whoever runs the tests away.
#[cfg(target_os = "linux")]
#[test]
fn a_screen_without_a_keyboard_is_refused_in_words() {
    let folder = tempdir().unwrap();
    let setup = device().setup(folder.path());
    let emberline = env!("CARGO_BIN_EXE_emberline");
    let words = ["--wait", emberline, "watch", setup.to_str().unwrap()];
    let screen = OnScreen::run(for_terminal("setsid", &words, "xterm"), false);
    screen.shows(&[
        "there is no keyboard: standard input is no terminal",
        "help: ",
    ]);
    assert!(!screen.has_escapes.load(Ordering::SeqCst));
    assert_eq!(screen.end(), Some(2));
}
