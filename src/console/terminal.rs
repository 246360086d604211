//! The terminal, and the promise to give it back as it was.

use std::fmt;
use std::io::{self, Stdout, Write, stdout};
#[cfg(unix)]
use std::mem;
use std::mem::ManuallyDrop;
use std::panic;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
#[cfg(unix)]
use std::time::Duration;

use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::Command;
use ratatui::crossterm::cursor::Show;
use ratatui::crossterm::event::DisableMouseCapture;
use ratatui::crossterm::execute;
use ratatui::crossterm::style::Print;
use ratatui::crossterm::terminal::{
    Clear, ClearType, EnterAlternateScreen, LeaveAlternateScreen, SetTitle, disable_raw_mode,
    enable_raw_mode,
};
use ratatui::layout::Size;
use tokio::sync::watch;

use super::app::App;

/// Whether the terminal is ours at the moment; a panic hook has no other way to know.
static IS_OPEN: AtomicBool = AtomicBool::new(false);

/// A program that asks to be stopped is stopped long before this.
#[cfg(unix)]
const STOPS_WITHIN: Duration = Duration::from_millis(200);
/// Puts the window's title away, and takes it out again (XTWINOPS 22 and 23 of xterm's control
/// sequences); terminals that cannot do it keep our last title.
const KEEP_TITLE: &str = "\x1b[22;2t";
const OLD_TITLE: &str = "\x1b[23;2t";

/// Asks the terminal to tell of buttons, drags and the wheel, in a form that has room for wide windows
/// (modes 1000, 1002 and 1006 of xterm's control sequences); not of every move, which a slow link would
/// carry for nothing.
struct HearMouse;

impl Command for HearMouse {
    fn write_ansi(&self, f: &mut impl fmt::Write) -> fmt::Result {
        f.write_str("\x1b[?1000h\x1b[?1002h\x1b[?1006h")
    }

    #[cfg(windows)]
    fn execute_winapi(&self) -> io::Result<()> {
        ratatui::crossterm::event::EnableMouseCapture.execute_winapi()
    }

    #[cfg(windows)]
    fn is_ansi_code_supported(&self) -> bool {
        false
    }
}

type Hook = dyn Fn(&panic::PanicHookInfo<'_>) + Send + Sync;

/// The terminal while the screen is on it; given back when dropped, and by the panic hook.
pub(super) struct Screen {
    /// Not dropped: it would tell standard error that it could not show the cursor, which panics where
    /// that is the terminal that is gone. [`give_back`] shows the cursor.
    terminal: ManuallyDrop<Terminal<CrosstermBackend<Stdout>>>,
    panics: watch::Receiver<bool>,
    hook_before: Arc<Hook>,
    title: String,
}

impl Screen {
    /// Takes the terminal over.
    pub(super) fn open() -> io::Result<Self> {
        let (panicked, panics) = watch::channel(false);
        let hook_before: Arc<Hook> = Arc::from(panic::take_hook());
        let before = Arc::clone(&hook_before);
        panic::set_hook(Box::new(move |info| {
            // First the terminal, so that the message can be read.
            give_back();
            before(info);
            // A panic in a spawned task would leave the others running without a screen.
            panicked.send_replace(true);
        }));
        IS_OPEN.store(true, Ordering::SeqCst);
        let opened = take_over();
        if opened.is_err() {
            give_back();
        }
        Ok(Self {
            terminal: ManuallyDrop::new(opened?),
            panics,
            hook_before,
            title: String::new(),
        })
    }

    /// Becomes true when any part of the program panics.
    pub(super) fn panics(&self) -> watch::Receiver<bool> {
        self.panics.clone()
    }

    pub(super) fn size(&self) -> io::Result<Size> {
        self.terminal.size()
    }

    /// Rings the bell.
    #[expect(clippy::unused_self, reason = "only who has the terminal may ring")]
    pub(super) fn ring(&mut self) -> io::Result<()> {
        let mut out = stdout();
        out.write_all(b"\x07")?;
        out.flush()
    }

    /// Shows the screen as it is now; only cells that changed are sent, and the title if it did.
    pub(super) fn draw(&mut self, app: &mut App) -> io::Result<()> {
        if IS_OPEN.load(Ordering::SeqCst) {
            self.terminal.draw(|frame| app.draw(frame))?;
            let title = app.title();
            if title != self.title {
                execute!(stdout(), SetTitle(&title))?;
                self.title = title;
            }
        }
        Ok(())
    }

    /// Gives the terminal back and stops, until the shell continues the program.
    #[cfg(unix)]
    pub(super) async fn suspend(&mut self) -> io::Result<()> {
        use rustix::process::{Signal, kill_current_process_group};
        use tokio::signal::unix::{SignalKind, signal};
        let mut continued = signal(SignalKind::from_raw(Signal::CONT.as_raw()))?;
        give_back();
        // To the whole group, as the terminal itself does it.
        kill_current_process_group(Signal::TSTP)?;
        // Another thread may be the one that is stopped first. Where nobody could continue it, the
        // system does not stop a program at all.
        let _ = tokio::time::timeout(STOPS_WITHIN, continued.recv()).await;
        IS_OPEN.store(true, Ordering::SeqCst);
        let ours = ManuallyDrop::new(take_over()?);
        drop(ManuallyDrop::into_inner(mem::replace(
            &mut self.terminal,
            ours,
        )));
        self.title.clear();
        Ok(())
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        give_back();
        // The hook cannot be changed while a panic is under way.
        if !std::thread::panicking() {
            let before = Arc::clone(&self.hook_before);
            panic::set_hook(Box::new(move |info| before(info)));
        }
    }
}

fn take_over() -> io::Result<Terminal<CrosstermBackend<Stdout>>> {
    enable_raw_mode()?;
    // Not ratatui's own `clear`, which asks the terminal a question and waits for the answer.
    execute!(
        stdout(),
        Print(KEEP_TITLE),
        EnterAlternateScreen,
        HearMouse,
        Clear(ClearType::All)
    )?;
    Terminal::new(CrosstermBackend::new(stdout()))
}

/// Gives the terminal back, once.
fn give_back() {
    if IS_OPEN.swap(false, Ordering::SeqCst) {
        // Nothing can be done, or said, if the terminal is gone.
        let _ = execute!(
            stdout(),
            DisableMouseCapture,
            LeaveAlternateScreen,
            Show,
            Print(OLD_TITLE)
        );
        let _ = disable_raw_mode();
    }
}
