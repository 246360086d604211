//! Whether a loop has settled at its setpoint, and whether it has left it again.
//!
//! It has settled once it stayed in the band for the dwell: ten samples, a twentieth of the time since
//! the setpoint moved, and one period of its swings, whichever is longest. The period is twice the time
//! between two entries into the band, because a swing enters it from either side; where noise makes
//! several entries of one, the longest counts. Before there was a swing, a loop that is only passing
//! through is told by its slope: it must not be about to leave the band within the time it took to come
//! there (a quarter of a period at least), and must have stayed for half of that time.

use super::Finding;
use crate::figures;
use crate::roles::Roles;
use crate::sample::{Happening, Sample};

/// The least that counts as staying.
const STAYS: u32 = 10;
/// Of the time since the setpoint moved.
const DWELL_SHARE: f64 = 0.05;
/// One sample outside is a row; so many in a row are an event (common practice, no source).
const LEFT_AFTER: u32 = 3;
/// So many polls in a row may bring nothing before nobody knows where it was (common practice, no
/// source).
const FEW_POLLS: f64 = 5.0;

/// Follows one loop's place in its band.
#[derive(Debug)]
pub(super) struct BandWatch {
    roles: Roles,
    /// Degrees around the setpoint; a loop without a band is not watched.
    band: Option<f64>,
    every_s: f64,
    setpoint: Option<f64>,
    unit: Option<std::sync::Arc<str>>,
    last_s: Option<f64>,
    approach: Approach,
}

/// The way to the setpoint since it moved, since a tune ended or since the band was left.
#[derive(Debug, Default)]
struct Approach {
    began_s: f64,
    /// What made it begin was seen; at first sight a loop that is in band needs no word.
    cause: Option<&'static str>,
    /// The samples since it came into the band, if it is there.
    inside: Option<Stay>,
    entered_s: Option<f64>,
    /// After how long it came into the band for the first time.
    first_came_in_s: Option<f64>,
    /// Twice the time between two entries.
    period_s: f64,
    has_settled: bool,
    outside: u32,
}

/// The samples of a stay in the band, for the straight line through them.
#[derive(Debug, Default)]
struct Stay {
    since_s: f64,
    samples: u32,
    /// Sums over time since then and distance from the setpoint.
    time: f64,
    time_squared: f64,
    distance: f64,
    product: f64,
}

impl BandWatch {
    pub(super) fn new(roles: Roles, band: Option<f64>, every: std::time::Duration) -> Self {
        Self {
            roles,
            band,
            every_s: every.as_secs_f64(),
            setpoint: None,
            unit: None,
            last_s: None,
            approach: Approach::default(),
        }
    }

    pub(super) fn on(&mut self, sample: &Sample) -> Option<Finding> {
        let band = self.band?;
        let pv = self.roles.pv(sample)?;
        let setpoint = self.roles.setpoint(sample)?;
        let at_s = sample.stamp.elapsed.as_secs_f64();
        let unit = sample.units.get(self.roles.pv).cloned().flatten();
        let before_s = self.last_s.replace(at_s);
        if before_s.is_none() || unit != self.unit {
            // At first sight, and in another unit.
            self.approach = Approach::beginning(at_s, None);
            self.unit = unit;
            self.setpoint = Some(setpoint);
        }
        let moved = self.setpoint.replace(setpoint);
        if moved.is_some_and(|before| (before - setpoint).abs() > f64::EPSILON) {
            self.approach = Approach::beginning(at_s, Some("the setpoint moved"));
        }
        if self.roles.autotune(sample) == Some(true) {
            // Its swings are its own.
            self.approach = Approach::beginning(at_s, Some("the autotune ended"));
            return None;
        }
        if before_s.is_some_and(|last_s| at_s - last_s > FEW_POLLS * self.every_s + 1.0) {
            self.approach.inside = None;
        }
        // A binary difference of two decimals may be off by its last bit.
        let is_inside = (pv - setpoint).abs() <= band * (1.0 + 1e-9);
        if is_inside {
            return self.approach.inside(at_s, pv - setpoint, band);
        }
        if self.approach.outside() {
            // It swings as it did before.
            let period_s = self.approach.period_s;
            self.approach = Approach {
                period_s,
                ..Approach::beginning(at_s, Some("it left the band"))
            };
            let text = format!("left the band: {pv:.1}, setpoint {setpoint:.1}, band {band}");
            return Some((Happening::LeftBand, text));
        }
        None
    }
}

impl Approach {
    fn beginning(began_s: f64, cause: Option<&'static str>) -> Self {
        Self {
            began_s,
            cause,
            ..Self::default()
        }
    }

    /// A sample in the band: whether it has settled just now.
    fn inside(&mut self, at_s: f64, distance: f64, band: f64) -> Option<Finding> {
        let outside = std::mem::take(&mut self.outside);
        // A sample or two outside are no swing.
        if (self.entered_s.is_none() || outside >= LEFT_AFTER)
            && let Some(before_s) = self.entered_s.replace(at_s)
        {
            self.period_s = self.period_s.max(2.0 * (at_s - before_s));
        }
        let stay = self.inside.get_or_insert_with(|| Stay {
            since_s: at_s,
            ..Stay::default()
        });
        stay.take(at_s, distance);
        let came_in_s = stay.since_s - self.began_s;
        let first_s = *self.first_came_in_s.get_or_insert(came_in_s);
        if self.has_settled || stay.samples < STAYS {
            return None;
        }
        let stayed_s = at_s - stay.since_s;
        let swing_s = self.period_s.max(first_s / 2.0);
        let dwell_s = (DWELL_SHARE * (at_s - self.began_s)).max(swing_s);
        let is_passing = self.period_s < first_s && stay.in_future(first_s).abs() > band;
        if stayed_s < dwell_s || is_passing {
            return None;
        }
        self.has_settled = true;
        let cause = self.cause?;
        let text = format!(
            "settled: in band for {}, {} after {cause}",
            figures::duration(stayed_s),
            figures::duration(came_in_s)
        );
        Some((Happening::Settled, text))
    }

    /// A sample outside: whether it has left the band just now.
    fn outside(&mut self) -> bool {
        self.inside = None;
        self.outside += 1;
        self.has_settled && self.outside == LEFT_AFTER
    }
}

impl Stay {
    fn take(&mut self, at_s: f64, distance: f64) {
        let time = at_s - self.since_s;
        self.samples += 1;
        self.time += time;
        self.time_squared += time * time;
        self.distance += distance;
        self.product += time * distance;
    }

    /// The distance from the setpoint so long after the latest of equally spaced samples, on the
    /// straight line through them (least squares).
    fn in_future(&self, later_s: f64) -> f64 {
        let count = f64::from(self.samples);
        let spread = self.time_squared - self.time * self.time / count;
        let slope = (self.product - self.time * self.distance / count) / spread;
        let last_s = 2.0 * self.time / count;
        self.distance / count + slope * (last_s - self.time / count + later_s)
    }
}
