//! Everything that is counted about the samples of holds.

use super::super::gaps::Gaps;
use super::allan::Allan;
use super::band::Band;
use super::bins::Bins;
use super::cells::Cells;
use super::cycle::Quick;
use super::moments::Moments;
use super::quantiles::Quantiles;

/// Samples are worked through so many at once.
const AT_ONCE: usize = 4096;
/// So many different setpoints are told apart.
const SETPOINTS: usize = 64;

/// The samples of holds, worked through as they come.
pub(super) struct Tally {
    gaps: Gaps,
    half_width: Option<f64>,
    /// Onto this setpoint all others are moved: the first one.
    pub(super) reference: Option<f64>,
    /// What the values of this hold are moved by.
    moved: f64,
    waiting: Run,
    /// Setpoint, time of the first sample and the last sample of the present hold.
    present: Option<Present>,
    pub(super) counted_s: f64,
    pub(super) missing_s: f64,
    /// Samples at the time of the one before.
    pub(super) repeated: u64,
    /// Setpoints and how long each was held.
    pub(super) held: Vec<(f64, f64)>,
    pub(super) moments: Moments,
    pub(super) quantiles: Quantiles,
    pub(super) band: Option<Band>,
    pub(super) cells: Cells,
    pub(super) bins: Bins,
    pub(super) quick: Quick,
    pub(super) allan: Allan,
    pub(super) output: Moments,
    scratch: Vec<f64>,
}

/// Samples side by side.
#[derive(Default)]
struct Run {
    times: Vec<f64>,
    values: Vec<f64>,
    outputs: Vec<f64>,
}

#[derive(Clone, Copy)]
struct Present {
    setpoint: f64,
    began_s: Option<f64>,
    last: Option<(f64, f64)>,
}

/// A part of a run without a gap in it, within one hour.
#[derive(Clone, Copy)]
struct Piece<'a> {
    times: &'a [f64],
    values: &'a [f64],
    outputs: &'a [f64],
}

impl Tally {
    pub(super) fn new(period_s: f64, half_width: Option<f64>, wall: Vec<(f64, f64)>) -> Self {
        Self {
            gaps: Gaps::of_period(period_s),
            half_width,
            reference: None,
            moved: 0.0,
            waiting: Run::default(),
            present: None,
            counted_s: 0.0,
            missing_s: 0.0,
            repeated: 0,
            held: Vec::new(),
            moments: Moments::default(),
            quantiles: Quantiles::default(),
            band: None,
            cells: Cells::new(wall),
            bins: Bins::new(period_s),
            quick: Quick::new(period_s),
            allan: Allan::default(),
            output: Moments::default(),
            scratch: Vec::new(),
        }
    }

    /// A hold begins with the next sample; NaN where no setpoint is known.
    pub(super) fn begin_hold(&mut self, setpoint: f64) {
        self.end_hold();
        let reference = *self.reference.get_or_insert(setpoint);
        // Not exactly nothing would cost the values their decimals.
        self.moved = if setpoint.to_bits() == reference.to_bits() {
            0.0
        } else {
            reference - setpoint
        };
        if let (None, Some(half_width)) = (&self.band, self.half_width)
            && !reference.is_nan()
        {
            self.band = Some(Band::new(reference, half_width));
        }
        self.present = Some(Present {
            setpoint,
            began_s: None,
            last: None,
        });
    }

    /// A sample of the present hold.
    #[inline]
    pub(super) fn take(&mut self, time_s: f64, value: f64, output: f64) {
        self.waiting.times.push(time_s);
        self.waiting.values.push(value + self.moved);
        self.waiting.outputs.push(output);
        if self.waiting.times.len() == AT_ONCE {
            self.work();
        }
    }

    /// The hold ended with the last sample.
    pub(super) fn end_hold(&mut self) {
        self.work();
        let Some(present) = self.present.take() else {
            return;
        };
        if let (Some(began_s), Some((last_s, _))) = (present.began_s, present.last) {
            if let Some(band) = &mut self.band {
                band.end(last_s);
            }
            self.note_held(present.setpoint, last_s - began_s);
        }
    }

    fn note_held(&mut self, setpoint: f64, seconds: f64) {
        let same = |(known, _): &(f64, f64)| known.to_bits() == setpoint.to_bits();
        match self.held.iter().position(same) {
            Some(at) => self.held[at].1 += seconds,
            None if self.held.len() < SETPOINTS => self.held.push((setpoint, seconds)),
            None => {}
        }
    }

    /// Works through what waits.
    fn work(&mut self) {
        let mut run = std::mem::take(&mut self.waiting);
        let mut from = 0;
        while from < run.times.len() {
            let until_s = self.cells.turn_to(run.times[from]);
            let follows = |two: &[f64]| two[1] < until_s && !self.gaps.is_between(two[0], two[1]);
            let rest = run.times[from..].windows(2);
            let end = from + 1 + rest.take_while(|two| follows(two)).count();
            self.piece(Piece {
                times: &run.times[from..end],
                values: &run.values[from..end],
                outputs: &run.outputs[from..end],
            });
            from = end;
        }
        run.times.clear();
        run.values.clear();
        run.outputs.clear();
        self.waiting = run;
    }

    fn piece(&mut self, piece: Piece<'_>) {
        let (Some(first_s), Some(last_s)) = (piece.times.first(), piece.times.last()) else {
            return;
        };
        let before = self.present.and_then(|it| it.last);
        let breaks = before.is_none_or(|(at_s, _)| self.gaps.is_between(at_s, *first_s));
        let from_s = before.map_or(*first_s, |it| it.0);
        let time_s = last_s - from_s;
        self.counted_s += time_s;
        if breaks {
            self.missing_s += first_s - from_s;
        }
        if before.is_none() {
            self.quick.break_off();
        }
        let inside_s = self.inside_s(before, piece);
        self.moments.add(piece.values, breaks);
        self.quantiles.add(piece.values);
        let centre = self.moments.centre();
        self.cells
            .add(piece.values, piece.outputs, centre, (time_s, inside_s));
        self.bins.add(piece.times, piece.values, piece.outputs);
        self.quick.add(piece.times, piece.values);
        self.scratch.clear();
        self.scratch
            .extend(piece.values.iter().map(|value| value - centre));
        self.allan.add(&self.scratch, breaks);
        self.scratch.clear();
        self.scratch
            .extend(piece.outputs.iter().filter(|it| !it.is_nan()));
        self.output.add(&self.scratch, breaks);
        let repeated = piece.times.windows(2).filter(|two| two[1] <= two[0]);
        self.repeated += repeated.count() as u64;
        self.repeated += u64::from(before.is_some_and(|(at_s, _)| *first_s <= at_s));
        if let Some(present) = &mut self.present {
            present.began_s.get_or_insert(*first_s);
            present.last = piece.values.last().map(|value| (*last_s, *value));
        }
    }

    /// How long the lines up to the piece's last sample are inside the band.
    fn inside_s(&mut self, before: Option<(f64, f64)>, piece: Piece<'_>) -> f64 {
        let Some(band) = &mut self.band else {
            return 0.0;
        };
        let (times, values) = (piece.times, piece.values);
        if let Some(before) = before {
            return band.inside_s(before, times, values);
        }
        band.begin(times[0], values[0]);
        band.inside_s((times[0], values[0]), &times[1..], &values[1..])
    }
}
