//! How much a switched output works.

use super::super::gaps::Gaps;
use super::result::Relay;

const DAY_S: f64 = 86_400.0;

/// Time with the output known, and of it strictly between nothing and everything.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Switching {
    known_s: f64,
    between_s: f64,
    /// Time and output of the last sample.
    last: Option<(f64, f64)>,
}

impl Switching {
    /// An output holds until the next sample; what it was in a gap is not known.
    #[inline]
    pub(super) fn add(&mut self, time_s: f64, output: f64, gaps: Gaps) {
        if let Some((from_s, before)) = self.last
            && !before.is_nan()
            && !gaps.is_between(from_s, time_s)
        {
            self.known_s += time_s - from_s;
            if before > 0.0 && before < 100.0 {
                self.between_s += time_s - from_s;
            }
        }
        self.last = Some((time_s, output));
    }

    /// `None` where the output is never known.
    pub(super) fn relay(&self, cycle_time_s: f64, life: Option<f64>) -> Option<Relay> {
        let part = self.between_s / self.known_s;
        let operations = part * DAY_S / cycle_time_s;
        (self.known_s > 0.0).then(|| Relay {
            switching_pct: 100.0 * part,
            operations_per_day: operations,
            life_days: life
                .filter(|_| operations > 0.0)
                .map(|life| life / operations),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_an_output_between_the_ends_makes_operations() {
        // A quarter of the time in between; the gap after 40 s does not count.
        let mut switching = Switching::default();
        for (at, output) in [
            (0.0, 100.0),
            (10.0, 50.0),
            (20.0, 0.0),
            (30.0, 0.0),
            (40.0, 30.0),
            (500.0, 0.0),
        ] {
            switching.add(at, output, Gaps::of_period(10.0));
        }
        let relay = switching.relay(20.0, Some(108_000.0)).unwrap();
        assert_eq!(
            (relay.switching_pct, relay.operations_per_day),
            (25.0, 1080.0)
        );
        assert_eq!(relay.life_days, Some(100.0));
        assert_eq!(Switching::default().relay(20.0, None), None);
    }
}
