//! Example records: second-order step responses by formula, so that their numbers are known.

use emberline::evidence::{Comparison, Pair, Side, Wanted, pair};
use emberline::record::{LoopRecord, RecordedEvent, RecordedSetting, RecordingFacts, WallClock};
use emberline::sample::Happening;
use emberline::setup::Job;

/// A second-order loop after a setpoint step.
#[derive(Clone, Copy)]
pub(crate) struct Response {
    pub(crate) from: f64,
    pub(crate) to: f64,
    pub(crate) damping: f64,
    /// Natural frequency, rad/s.
    pub(crate) frequency: f64,
}

pub(crate) const BAND: f64 = 2.0;
/// Seconds before the first step, between the steps, and after each.
pub(crate) const LEAD_S: f64 = 300.0;
pub(crate) const WINDOW_S: f64 = 3600.0;

pub(crate) const BEFORE: Response = Response {
    from: 490.0,
    to: 510.0,
    damping: 0.13,
    frequency: 0.011,
};
pub(crate) const AFTER: Response = Response {
    from: 490.0,
    to: 510.0,
    damping: 0.66,
    frequency: 0.0078,
};

impl Response {
    /// Process value so many seconds after the step: the closed form of a standard second-order
    /// system.
    pub(crate) fn at(self, t: f64) -> f64 {
        if t <= 0.0 {
            return self.from;
        }
        let root = (1.0 - self.damping * self.damping).sqrt();
        let phase = self.frequency * root * t;
        let fall = (-self.damping * self.frequency * t).exp();
        let share = 1.0 - fall * (phase.cos() + self.damping / root * phase.sin());
        self.from + (self.to - self.from) * share
    }

    /// Overshoot in degrees: the closed form.
    pub(crate) fn overshoot(self) -> f64 {
        let root = (1.0 - self.damping * self.damping).sqrt();
        (self.to - self.from).abs() * (-std::f64::consts::PI * self.damping / root).exp()
    }
}

/// One recording with a step before, an autotune, and the same step after.
pub(crate) struct Session {
    pub(crate) record: LoopRecord,
    pub(crate) facts: RecordingFacts,
    pub(crate) pair: Pair,
}

impl Session {
    pub(crate) fn new(before: Response, after: Response) -> Self {
        let first = LEAD_S;
        let second = first + WINDOW_S + TUNE_S + LEAD_S;
        let mut record = empty_record();
        let mut noise = Noise(7);
        for second_of in 0..(second + WINDOW_S) as u32 {
            let t = f64::from(second_of);
            let (pv, setpoint, output) = if t < second - TUNE_S - LEAD_S {
                sampled(before, t - first)
            } else if t < second - LEAD_S {
                tuning(before, t - (second - TUNE_S - LEAD_S))
            } else {
                sampled(after, t - second)
            };
            record.time_s.push(t);
            record
                .pv
                .push(((pv + 0.06 * noise.next()) * 10.0).round() / 10.0);
            push(&mut record.setpoint, setpoint);
            push(&mut record.output, (output * 10.0).round() / 10.0);
            let active = t >= second - TUNE_S - LEAD_S && t < second - LEAD_S;
            record.autotune.get_or_insert_default().push(active);
        }
        record.rows = record.time_s.len();
        record.events = events(first, second);
        record.settings = settings(second - LEAD_S);
        Self::of_record(record)
    }

    /// A session of any record with two steps.
    pub(crate) fn of_record(record: LoopRecord) -> Self {
        Self {
            pair: pair(&record, &record, true, Wanted::default()).unwrap(),
            record,
            facts: facts(),
        }
    }

    pub(crate) fn comparison(&self) -> Comparison<'_> {
        let side = |episode| Side {
            source: "2027-03-04T06-00-00Z_annealer",
            facts: Some(&self.facts),
            record: &self.record,
            episode,
        };
        Comparison {
            before: side(&self.pair.before),
            after: side(&self.pair.after),
            criteria: None,
        }
    }
}

const TUNE_S: f64 = 2400.0;

fn push<T>(column: &mut Option<Vec<T>>, value: T) {
    column.get_or_insert_default().push(value);
}

fn sampled(of: Response, t: f64) -> (f64, f64, f64) {
    let slope = (of.at(t + 1.0) - of.at(t - 1.0)) / 2.0;
    let pv = of.at(t);
    let setpoint = if t < 0.0 { of.from } else { of.to };
    let output = 42.0 + 0.04 * (pv - 490.0) + 260.0 * slope + 1.2 * (setpoint - pv);
    (pv, setpoint, output.clamp(0.0, 100.0))
}

/// A relay's limit cycle, roughly.
fn tuning(of: Response, t: f64) -> (f64, f64, f64) {
    let phase = t / 480.0 * std::f64::consts::TAU;
    let output = if phase.sin() > 0.0 { 0.0 } else { 100.0 };
    (of.to + 4.0 * phase.sin(), of.to, output)
}

/// Roughly normal numbers, the same on every run.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }

    fn uniform(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
}

pub(crate) fn empty_record() -> LoopRecord {
    LoopRecord {
        name: "annealer-top".to_owned(),
        controller: Some("Annealer controller".to_owned()),
        unit: Some("degC".to_owned()),
        band: Some(BAND),
        wall: Some(WallClock::beginning(
            "2027-03-04T06:00:00Z".parse().unwrap(),
        )),
        first_s: None,
        time_s: Vec::new(),
        pv: Vec::new(),
        setpoint: None,
        output: None,
        autotune: None,
        rows: 0,
        bad_rows: Vec::new(),
        events: Vec::new(),
        settings: Vec::new(),
    }
}

fn facts() -> RecordingFacts {
    RecordingFacts {
        began: "2027-03-04T06:00:00Z".parse().unwrap(),
        ended: "2027-03-04T09:50:00Z".parse().ok(),
        program: "0.1.0".to_owned(),
        job: Job {
            equipment: "Annealing oven 2".to_owned(),
            work_order: "WO 1187".to_owned(),
            technician: "R. Okafor".to_owned(),
            controller: "ser. 40-1182".to_owned(),
            sensor: "TC-07, calibration due 2027-09".to_owned(),
            cutout: "separate limiter, 580 \u{b0}C".to_owned(),
        },
    }
}

fn events(first: f64, second: f64) -> Vec<RecordedEvent> {
    let tune = second - LEAD_S - TUNE_S;
    let event = |time_s, what, text: &str| RecordedEvent {
        time_s,
        what: Some(what),
        text: text.to_owned(),
    };
    vec![
        event(0.0, Happening::RecordingBegan, "recording began"),
        event(first, Happening::SetpointChanged, "setpoint 490.0 -> 510.0"),
        event(
            first + 1500.0,
            Happening::Mark,
            "somebody looked in through the sight glass",
        ),
        event(tune, Happening::AutotuneBegan, "autotune began"),
        event(
            second - LEAD_S,
            Happening::AutotuneTuned,
            "tuned: band 12.0 -> 31.5",
        ),
        event(
            second,
            Happening::SetpointChanged,
            "setpoint 490.0 -> 510.0",
        ),
        event(
            second + WINDOW_S,
            Happening::RecordingEnded,
            "recording ended",
        ),
    ]
}

fn settings(tuned: f64) -> Vec<RecordedSetting> {
    let line =
        |time_s, cause: &str, point: &str, role: &str, value: &str, unit: &str| RecordedSetting {
            time_s,
            cause: cause.to_owned(),
            point: point.to_owned(),
            role: role.to_owned(),
            value: value.to_owned(),
            unit: unit.to_owned(),
            meaning: match (point, value) {
                ("result", "0") => Some("never tuned".to_owned()),
                ("result", "2") => Some("tuned".to_owned()),
                _ => None,
            },
        };
    vec![
        line(0.5, "start", "output_max", "output-high", "100.0", "%"),
        line(0.5, "start", "band", "proportional", "12.0", "degC"),
        line(0.5, "start", "reset", "integral", "95", "s"),
        line(0.5, "start", "rate", "derivative", "0", "s"),
        line(0.5, "start", "cycle", "cycle-time", "20", "s"),
        line(
            tuned,
            "autotune-ended",
            "band",
            "proportional",
            "31.5",
            "degC",
        ),
        line(tuned, "autotune-ended", "reset", "integral", "412", "s"),
        line(0.5, "start", "result", "other", "0", ""),
        line(tuned, "autotune-ended", "result", "other", "2", ""),
        line(tuned, "autotune-ended", "rate", "derivative", "68.5", "s"),
    ]
}
