//! Whether output and temperature belong together, as samples come.
//!
//! The limits below are common practice, no source: they are chosen so that a sound oven does not
//! reach them.

use std::collections::VecDeque;

/// Full output for so long must show.
pub(crate) const RESPONSE_S: f64 = 600.0;
pub(crate) const FULL_PCT: f64 = 95.0;
/// What "must show" means, in degrees.
const RESPONSE: f64 = 1.0;
/// So long after the output went to 0 the heat that is still on its way has arrived.
pub(crate) const COAST_S: f64 = 600.0;
/// What "still rises" means: so much within so long.
const RISE: f64 = 1.0;
const RISE_S: f64 = 300.0;
/// Values are averaged over so long, and over so many samples, so that noise is no rise.
const STRETCH_S: f64 = 30.0;
const STRETCH_SAMPLES: f64 = 5.0;
/// So many samples in a row may be missing; beyond them nobody knows what happened meanwhile.
const FEW_SAMPLES: f64 = 5.0;

/// Follows process value, setpoint and output, and says whether the heat answers the output.
#[derive(Clone, Debug)]
pub struct HeatWatch {
    period_s: f64,
    /// The latest ten minutes and a bit, oldest first.
    stretches: VecDeque<Stretch>,
    last_s: f64,
    off_by: Option<f64>,
    output: Option<f64>,
}

/// A few samples.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    began_s: f64,
    samples: u32,
    pv_sum: f64,
    output_min: f64,
    output_max: f64,
}

impl HeatWatch {
    /// A watch over samples that usually come every `period_s` seconds.
    ///
    /// ```
    /// use emberline::heat::HeatWatch;
    /// let mut watch = HeatWatch::new(1.0);
    /// // Eleven minutes at full output, and the temperature stays at 20 degrees.
    /// for second in 0..660 {
    ///     watch.take(f64::from(second), Some(20.0), Some(510.0), Some(100.0));
    /// }
    /// assert!(watch.has_no_response() && !watch.rises_unheated());
    /// ```
    pub fn new(period_s: f64) -> Self {
        Self {
            period_s,
            stretches: VecDeque::new(),
            last_s: 0.0,
            off_by: None,
            output: None,
        }
    }

    /// Takes a sample: seconds that never decrease, process value and setpoint in degrees, output
    /// in percent; `None` for what is not known, of which nothing is concluded.
    pub fn take(&mut self, at_s: f64, pv: Option<f64>, setpoint: Option<f64>, output: Option<f64>) {
        self.off_by = pv.zip(setpoint).map(|(pv, setpoint)| pv - setpoint);
        self.output = output;
        let Some((pv, output)) = pv.zip(output) else {
            return;
        };
        if at_s - self.last_s > FEW_SAMPLES * self.period_s + 1.0 {
            self.forget();
        }
        self.last_s = at_s;
        let length_s = STRETCH_S.max(STRETCH_SAMPLES * self.period_s);
        match self.stretches.back_mut() {
            Some(last) if at_s < last.began_s + length_s => last.take(pv, output),
            _ => self.stretches.push_back(Stretch::new(at_s, pv, output)),
        }
        let from_s = at_s - RESPONSE_S.max(COAST_S);
        while self.stretches.get(1).is_some_and(|it| it.began_s <= from_s) {
            self.stretches.pop_front();
        }
    }

    /// Forgets what came before: it cannot be compared with what comes.
    pub fn forget(&mut self) {
        self.stretches.clear();
    }

    /// Full output for ten minutes, and the process value, below its setpoint, does not rise.
    pub fn has_no_response(&self) -> bool {
        let is_full = self.output.is_some_and(|output| output >= FULL_PCT);
        let is_below = self.off_by.is_some_and(|off| off < -RESPONSE);
        is_full
            && is_below
            && self
                .over(RESPONSE_S)
                .is_some_and(|(rise, least, _)| least >= FULL_PCT && rise < RESPONSE)
    }

    /// No output for ten minutes, and the process value still rises.
    pub fn rises_unheated(&self) -> bool {
        let is_off = self.output.is_some_and(|output| output <= 0.0);
        is_off
            && self.over(COAST_S).is_some_and(|(_, _, most)| most <= 0.0)
            && self.over(RISE_S).is_some_and(|(rise, ..)| rise >= RISE)
    }

    /// Over the last `seconds`: how much the process value rose, and the least and the most output;
    /// `None` where less is known.
    fn over(&self, seconds: f64) -> Option<(f64, f64, f64)> {
        let from_s = self.last_s - seconds;
        let first = self.stretches.iter().rposition(|it| it.began_s <= from_s)?;
        let known = || self.stretches.range(first..);
        let least = known()
            .map(|it| it.output_min)
            .fold(f64::INFINITY, f64::min);
        let most = known().map(|it| it.output_max).fold(0.0, f64::max);
        // The present stretch may be one sample: with the one before it noise is no rise.
        let (samples, sum) = known().rev().take(2).fold((0, 0.0), |(samples, sum), it| {
            (samples + it.samples, sum + it.pv_sum)
        });
        let before = self.stretches.get(first)?;
        let rise = sum / f64::from(samples) - before.pv_sum / f64::from(before.samples);
        Some((rise, least, most))
    }
}

impl Stretch {
    fn new(began_s: f64, pv: f64, output: f64) -> Self {
        Self {
            began_s,
            samples: 1,
            pv_sum: pv,
            output_min: output,
            output_max: output,
        }
    }

    fn take(&mut self, pv: f64, output: f64) {
        self.samples += 1;
        self.pv_sum += pv;
        self.output_min = self.output_min.min(output);
        self.output_max = self.output_max.max(output);
    }
}
