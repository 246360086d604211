//! The screen on a real terminal: keys, news and time in, pictures out.

use std::io;
use std::time::Duration;

use tokio::time::{Instant, sleep_until};

use super::app::App;
use super::news::{Item, News};
use super::session::{Ending, Session};
use super::terminal::Screen;

/// At most ten pictures a second.
const BETWEEN_PICTURES: Duration = Duration::from_millis(100);

/// Shows the screen until the person quits or the program is asked to end.
///
/// It must run on a runtime whose time is real: keys come from outside. Samples may come from a
/// simulation elsewhere, at any speed. The terminal is as it was before when this returns, and
/// after a panic anywhere in the program.
///
/// # Errors
/// When the terminal cannot be set up or written to. One that could be and cannot any more is gone:
/// an ending, not an error.
pub async fn run(session: Session) -> io::Result<Ending> {
    let mut screen = Screen::open()?;
    let mut app = App::new(session.screen.clone(), session.clock.now(), screen.size()?);
    if let Some(written) = &session.written {
        app.on_written(*written.borrow());
    }
    let mut news = News::of(session, screen.panics())?;
    screen.draw(&mut app)?;
    let shown = show(&mut screen, &mut app, &mut news).await;
    Ok(shown.unwrap_or(Ending::TerminalGone))
}

async fn show(screen: &mut Screen, app: &mut App, news: &mut News) -> io::Result<Ending> {
    let mut next_picture = Instant::now() + BETWEEN_PICTURES;
    let mut is_dirty = false;
    loop {
        if is_dirty && Instant::now() >= next_picture {
            if app.rings() {
                screen.ring()?;
            }
            screen.draw(app)?;
            next_picture = Instant::now() + BETWEEN_PICTURES;
            is_dirty = false;
        }
        let item = tokio::select! {
            item = news.next() => item,
            () = sleep_until(next_picture), if is_dirty => continue,
        };
        if let Item::End(ending) = item {
            return Ok(ending);
        }
        is_dirty |= news.tell(app, item);
        #[cfg(unix)]
        if app.takes_suspend() {
            screen.suspend().await?;
            app.on_resize(screen.size()?);
        }
        if app.has_quit() {
            return Ok(Ending::Quit);
        }
    }
}
