//! What became of the machine's clocks, in words.

use std::time::Duration;

use chrono::{DateTime, SecondsFormat, Utc};

use crate::clock::{Change, Stamp};
use crate::sample::{Event, Happening};

/// The event of a change; it concerns every loop.
pub(super) fn event(change: Change) -> Event {
    let (stamp, what, text) = match change {
        Change::Step { from, to } => {
            let stamp = Stamp { time: to, ..from };
            let by_s = (to - from.time).as_seconds_f64();
            let text = format!(
                "the system's clock moved by {by_s:+.3} s, from {} to {}: rows from elapsed_s \
                 {:.3} on have the new time; adding {by_s:+.3} s corrects earlier ones",
                time(from.time),
                time(to),
                from.elapsed.as_secs_f64()
            );
            (stamp, Happening::ClockStep, text)
        }
        Change::Away {
            from,
            to,
            is_asleep,
        } => {
            let length = to.elapsed.saturating_sub(from.elapsed);
            let length = humantime::format_duration(Duration::from_secs(length.as_secs()));
            let why = if is_asleep {
                "the machine slept"
            } else {
                "nothing ran: the program was stopped, or the machine slept,"
            };
            let text = format!("{why} for {length} from {}", time(from.time));
            (to, Happening::Suspended, text)
        }
    };
    Event {
        of: None,
        stamp,
        what,
        text,
    }
}

fn time(time: DateTime<Utc>) -> String {
    time.to_rfc3339_opts(SecondsFormat::Millis, true)
}
