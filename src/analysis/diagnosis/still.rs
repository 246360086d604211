//! A process value that does not move at all.

/// A value must stay the very same for so long, and over so many samples, to be called still.
pub(super) const STILL_S: f64 = 600.0;
const STILL_SAMPLES: usize = 60;
/// Meanwhile the output must have moved by so much, in percent: a well controlled oven on a coarse
/// sensor stands still too, but then nothing moves its output.
pub(super) const OUTPUT_MOVED: f64 = 20.0;
/// A longer gap than this ends a run.
const GAP_S: f64 = 60.0;

/// The present run of equal values.
#[derive(Clone, Copy, Debug)]
pub(super) struct Still {
    pv: f64,
    began_s: f64,
    last_s: f64,
    samples: usize,
    least: f64,
    most: f64,
}

impl Still {
    pub(super) fn new() -> Self {
        Self::beginning(f64::NAN, f64::NEG_INFINITY, f64::NAN)
    }

    fn beginning(pv: f64, at_s: f64, output: f64) -> Self {
        Self {
            pv,
            began_s: at_s,
            last_s: at_s,
            samples: 1,
            least: output,
            most: output,
        }
    }

    /// Takes a sample; how long the value has been frozen, once it is.
    pub(super) fn take(&mut self, at_s: f64, pv: f64, output: f64) -> Option<f64> {
        let goes_on = (pv - self.pv).abs() <= 0.0 && at_s - self.last_s <= GAP_S;
        if !goes_on {
            *self = Self::beginning(pv, at_s, output);
            return None;
        }
        self.last_s = at_s;
        self.samples += 1;
        self.least = self.least.min(output);
        self.most = self.most.max(output);
        let lasts_s = at_s - self.began_s;
        let is_frozen = lasts_s >= STILL_S
            && self.samples >= STILL_SAMPLES
            && self.most - self.least >= OUTPUT_MOVED;
        is_frozen.then_some(lasts_s)
    }
}
