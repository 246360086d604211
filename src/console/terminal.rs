//! The terminal, and the promise to give it back as it was.

use std::io::{self, Stdout, Write, stdout};
use std::panic;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::cursor::Show;
use ratatui::crossterm::execute;
use ratatui::crossterm::terminal::{
    Clear, ClearType, EnterAlternateScreen, LeaveAlternateScreen, disable_raw_mode, enable_raw_mode,
};
use ratatui::layout::Size;
use tokio::sync::watch;

use super::app::App;

/// Whether the terminal is ours at the moment; a panic hook has no other way to know.
static IS_OPEN: AtomicBool = AtomicBool::new(false);

type Hook = dyn Fn(&panic::PanicHookInfo<'_>) + Send + Sync;

/// The terminal while the screen is on it; given back when dropped, and by the panic hook.
pub(super) struct Screen {
    terminal: Terminal<CrosstermBackend<Stdout>>,
    panics: watch::Receiver<bool>,
    hook_before: Arc<Hook>,
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
            terminal: opened?,
            panics,
            hook_before,
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

    /// Shows the screen as it is now; only cells that changed are sent.
    pub(super) fn draw(&mut self, app: &mut App) -> io::Result<()> {
        if IS_OPEN.load(Ordering::SeqCst) {
            self.terminal.draw(|frame| app.draw(frame))?;
        }
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
    execute!(stdout(), EnterAlternateScreen, Clear(ClearType::All))?;
    Terminal::new(CrosstermBackend::new(stdout()))
}

/// Gives the terminal back, once.
fn give_back() {
    if IS_OPEN.swap(false, Ordering::SeqCst) {
        // Nothing can be done, or said, if the terminal is gone.
        let _ = execute!(stdout(), LeaveAlternateScreen, Show);
        let _ = disable_raw_mode();
    }
}
