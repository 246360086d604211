//! Tells a service manager how a recorder is doing (sd_notify(3)); where there is none, nothing.

use std::path::Path;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::{Instant, sleep};

use crate::figures;
use crate::record::Progress;
use crate::setup::Setup;

/// How often the state in words is told.
const STATUS_EVERY: Duration = Duration::from_secs(10);
/// Rows come that much later than they are due; common practice, no source.
const LATE: Duration = Duration::from_secs(10);

/// The recording has begun.
pub(super) fn began(folder: &Path) {
    let status = format!("recording into {}", folder.display());
    manager::tell(&[State::Ready, State::Status(&status)]);
}

/// The recording is being closed.
pub(super) fn ending() {
    manager::tell(&[State::Stopping, State::Status("closing the recording")]);
}

/// Tells how it goes while it goes; never returns. The watchdog is fed only while rows come from the
/// recorder: onto the disk, or into memory while the disk takes none, which a restart would lose.
pub(super) async fn report(progress: Option<watch::Receiver<Progress>>, setup: &Setup) -> ! {
    let Some(progress) = progress.filter(|_| manager::is_there()) else {
        std::future::pending().await
    };
    let watchdog = manager::watchdog();
    // Half of it: the manager's own advice (sd_watchdog_enabled(3)).
    let every = watchdog.map_or(STATUS_EVERY, |it| STATUS_EVERY.min(it / 2));
    let slowest = setup.loops.iter().map(|it| it.every).max();
    let mut pulse = Pulse::new(2 * slowest.unwrap_or_default() + LATE);
    loop {
        sleep(every).await;
        let now = *progress.borrow();
        let beats = pulse.beats(now);
        let status = status(now, beats);
        let state = State::Status(&status);
        if beats && watchdog.is_some() {
            manager::tell(&[state, State::Watchdog]);
        } else {
            manager::tell(&[state]);
        }
    }
}

/// Whether rows come.
#[derive(Debug)]
struct Pulse {
    rows: u64,
    since: Instant,
    patience: Duration,
}

impl Pulse {
    fn new(patience: Duration) -> Self {
        Self {
            rows: 0,
            since: Instant::now(),
            patience,
        }
    }

    fn beats(&mut self, now: Progress) -> bool {
        if now.rows() > self.rows {
            self.rows = now.rows();
            self.since = Instant::now();
        }
        self.since.elapsed() < self.patience
    }
}

fn status(now: Progress, beats: bool) -> String {
    let rows = figures::fixed(now.written as f64, 0);
    match (beats, now.waiting) {
        (false, _) => format!("{rows} rows written; no more come"),
        (true, 0) => format!("{rows} rows written"),
        (true, waiting) => {
            format!("{rows} rows written; {waiting} wait in memory, the disk takes none")
        }
    }
}

#[cfg(unix)]
use sd_notify::NotifyState as State;

#[cfg(unix)]
mod manager {
    use std::time::Duration;

    use sd_notify::NotifyState;

    pub(super) fn is_there() -> bool {
        std::env::var_os("NOTIFY_SOCKET").is_some()
    }

    /// How long the manager waits for a sign of life, if it does.
    pub(super) fn watchdog() -> Option<Duration> {
        sd_notify::watchdog_enabled().filter(|it| !it.is_zero())
    }

    pub(super) fn tell(states: &[NotifyState<'_>]) {
        // A manager that does not listen stops no recording.
        let _ = sd_notify::notify(states);
    }
}

#[cfg(not(unix))]
use manager::State;

#[cfg(not(unix))]
mod manager {
    use std::time::Duration;

    /// What could be told.
    pub(super) enum State<'a> {
        Ready,
        Stopping,
        Watchdog,
        #[expect(dead_code, reason = "nobody is there to be told")]
        Status(&'a str),
    }

    pub(super) fn is_there() -> bool {
        false
    }

    pub(super) fn watchdog() -> Option<Duration> {
        None
    }

    pub(super) fn tell(_: &[State<'_>]) {}
}

#[cfg(test)]
mod tests {
    use tokio::time::advance;

    use super::*;

    #[tokio::test(start_paused = true)]
    async fn the_watchdog_is_fed_only_while_rows_come() {
        let mut pulse = Pulse::new(Duration::from_secs(12));
        let rows = |written, waiting| Progress { written, waiting };
        assert!(pulse.beats(rows(1, 0)));
        advance(Duration::from_secs(11)).await;
        assert!(pulse.beats(rows(1, 0)), "none was due yet");
        advance(Duration::from_secs(2)).await;
        assert!(!pulse.beats(rows(1, 0)));
        assert!(
            pulse.beats(rows(1, 1)),
            "the disk is full, the recorder well"
        );
        advance(Duration::from_secs(11)).await;
        assert!(
            pulse.beats(rows(2, 0)),
            "written later is no new row, but soon enough"
        );
        advance(Duration::from_secs(2)).await;
        assert!(!pulse.beats(rows(2, 0)));
    }
}
