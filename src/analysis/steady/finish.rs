//! Puts together what was found.

use super::Running;
use super::band::Band;
use super::bins::Bin;
use super::cycle::cycle;
use super::drift::{Weighted, drift};
use super::notes;
use super::result::{Steady, SteadyOptions, SteadyOutput};
use super::tally::Tally;
use crate::analysis::diagnosis::of_steady;

const SHARES: [f64; 5] = [0.01, 0.05, 0.50, 0.95, 0.99];

/// Ends the record and works out the rest.
pub(super) fn finish(mut running: Running, options: &SteadyOptions, early: u64) -> Steady {
    let tally = &mut running.tally;
    if let Some(gate) = &mut running.gate {
        gate.finish(running.last_s, tally);
    }
    tally.end_hold();
    let mut about = About::of(tally, options, running.period_s);
    about.facts.early = early;
    let unsettled = running.gate.as_ref().and_then(|gate| gate.unsettled);
    let relay = options
        .cycle_time_s
        .and_then(|cycle| running.switching.relay(cycle, options.relay_life));
    let span_s = running.last_s - running.first_s;
    let mut found = about.figures(running.tally);
    found.excluded_s = (span_s - found.counted_s).max(0.0);
    found.relay = relay;
    found.diagnoses = running.symptoms.found();
    let looks = of_steady(&found, options.cycle_time_s);
    found.diagnoses.extend(looks);
    notes::add(&mut found, &about.facts, unsettled, options);
    found
}

/// What is known of the whole, beside its figures.
#[derive(Clone, Debug)]
pub(super) struct Facts {
    /// The setpoints that were held, the longest first.
    pub(super) setpoints: Vec<f64>,
    pub(super) repeated: u64,
    /// Samples that were left out for being earlier than the one before.
    pub(super) early: u64,
    pub(super) ranks_are_exact: bool,
    /// Longest stretch without a gap, in seconds.
    pub(super) unbroken_s: f64,
}

struct About {
    facts: Facts,
    around: Option<f64>,
    /// What every value is to be moved by.
    shift: f64,
    period_s: f64,
    band: Option<f64>,
}

impl About {
    fn of(tally: &Tally, options: &SteadyOptions, period_s: f64) -> Self {
        let mut held = tally.held.clone();
        held.sort_by(|a, b| b.1.total_cmp(&a.1));
        let setpoints: Vec<f64> = held
            .iter()
            .map(|it| it.0)
            .filter(|it| !it.is_nan())
            .collect();
        let around = options.around.or(setpoints.first().copied());
        let reference = tally.reference.filter(|it| !it.is_nan());
        let shift = around
            .zip(reference)
            .map_or(0.0, |(around, reference)| around - reference);
        Self {
            facts: Facts {
                setpoints,
                repeated: tally.repeated,
                early: 0,
                ranks_are_exact: tally.quantiles.is_exact(),
                unbroken_s: tally.allan.longest as f64 * period_s,
            },
            around,
            shift,
            period_s,
            band: options.band,
        }
    }

    fn figures(&self, mut tally: Tally) -> Steady {
        let moved = |value: Option<f64>| value.map(|value| value + self.shift);
        let [p01, p05, p50, p95, p99] = tally.quantiles.shares(SHARES).map(moved);
        let all = tally.cells.all();
        let centre = tally.moments.centre();
        let has_band = tally.band.is_some();
        let inside = (has_band && all.time_s > 0.0).then(|| 100.0 * all.inside_s / all.time_s);
        let (hours, days) = tally.cells.tables(centre, self.shift, has_band);
        let (excursions, excursion_count) = tally.band.map(Band::excursions).unwrap_or_default();
        let value = |bin: &Bin| (bin.time_s(), bin.value(), f64::from(bin.count));
        let values: Vec<Weighted> = tally.bins.all().iter().map(value).collect();
        Steady {
            count: tally.moments.count(),
            counted_s: tally.counted_s,
            missing_s: tally.missing_s,
            period_s: self.period_s,
            around: self.around,
            band: self.band,
            mean: moved(tally.moments.mean()),
            sd: tally.moments.sd(),
            min: moved(tally.quantiles.least()),
            max: moved(tally.quantiles.greatest()),
            p01,
            p05,
            p50,
            p95,
            p99,
            lag1: tally.moments.lag1(),
            in_band_pct: inside,
            excursions,
            excursion_count,
            drift: drift(&values),
            output: output(&tally.output, tally.bins.all()),
            cycle: cycle(tally.quick, &tally.bins),
            allan: tally.allan.points(self.period_s),
            hours,
            days,
            ..Steady::default()
        }
    }
}

fn output(moments: &super::moments::Moments, bins: &[Bin]) -> Option<SteadyOutput> {
    let mean = moments.mean()?;
    let known = bins.iter().filter(|bin| bin.outputs > 0);
    let value = |bin: &Bin| (bin.time_s(), bin.output(), f64::from(bin.outputs));
    let values: Vec<Weighted> = known.map(value).collect();
    Some(SteadyOutput {
        mean,
        sd: moments.sd(),
        drift: drift(&values),
    })
}
