//! Which samples count, beside the holds that `find_episodes` finds with the whole record before it.

use emberline::analysis::{
    EpisodeKind, Options, Steady, SteadyOptions, Trace, find_episodes, steady,
};

use super::{codes, noise};

/// A record of one sample a second that follows its setpoint in first order.
struct Record {
    time_s: Vec<f64>,
    pv: Vec<f64>,
    setpoint: Vec<f64>,
    autotune: Vec<bool>,
}

impl Record {
    fn of(seconds: u32, tau_s: f64, seed: u64, setpoint: impl Fn(f64) -> f64) -> Self {
        let time_s: Vec<f64> = (0..seconds).map(f64::from).collect();
        let setpoint: Vec<f64> = time_s.iter().map(|t| setpoint(*t)).collect();
        let (mut y, mut chance) = (setpoint[0], noise(seed));
        let follow = |target: &f64| {
            y += (target - y) / tau_s;
            (10.0 * (y + 0.1 * chance())).round() / 10.0
        };
        Self {
            pv: setpoint.iter().map(follow).collect(),
            autotune: vec![false; time_s.len()],
            time_s,
            setpoint,
        }
    }

    fn trace(&self) -> Trace<'_> {
        Trace {
            time_s: &self.time_s,
            pv: &self.pv,
            setpoint: Some(&self.setpoint),
            output: None,
            autotune: Some(&self.autotune),
        }
    }

    fn steady(&self, band: Option<f64>) -> Steady {
        let options = SteadyOptions {
            band,
            ..SteadyOptions::default()
        };
        steady(&self.trace(), &options).unwrap()
    }

    /// Seconds in holds, and how many holds, by `find_episodes`.
    fn held(&self, band: Option<f64>) -> (f64, usize) {
        let options = Options {
            band,
            ..Options::default()
        };
        let found = find_episodes(&self.trace(), &options).unwrap();
        let holds = found
            .iter()
            .filter(|it| matches!(it.kind, EpisodeKind::Hold | EpisodeKind::Soak));
        let lengths: Vec<f64> = holds.map(|it| it.end_s - it.start_s).collect();
        (lengths.iter().sum(), lengths.len())
    }

    /// Both find the same time, but for a sample at each end of a hold.
    fn assert_same(&self, band: Option<f64>, what: &str) -> Steady {
        let found = self.steady(band);
        let (held_s, holds) = self.held(band);
        let off = held_s - found.counted_s;
        let most = 2.0 * holds as f64;
        assert!(
            (0.0..=most).contains(&off),
            "{what}: {held_s} s in {holds}, {} s",
            found.counted_s
        );
        let all = found.counted_s + found.excluded_s;
        assert!(
            (all - (self.time_s.len() - 1) as f64).abs() < 1e-6,
            "{what}: {all}"
        );
        found
    }
}

#[test]
fn holds_are_those_of_find_episodes_whatever_the_setpoint_does() {
    for seed in 1..=40_u64 {
        // Up to eight steps of up to 30 degrees, 5 to 45 minutes apart.
        let mut chance = noise(seed + 1000);
        let mut at_s = 0.0;
        let steps: Vec<(f64, f64)> = (0..8)
            .map(|_| {
                at_s += (1500.0 + 600.0 * chance()).clamp(300.0, 2700.0).round();
                (at_s, (500.0 + 10.0 * chance()).round())
            })
            .collect();
        let setpoint = |t: f64| {
            let last = steps.iter().rfind(|(at_s, _)| *at_s <= t);
            last.map_or(500.0, |(_, value)| *value)
        };
        let tau_s = 20.0 + 15.0 * seed as f64;
        let record = Record::of(14_400, tau_s, seed, setpoint);
        record.assert_same(Some(2.0), &format!("seed {seed}"));
    }
}

#[test]
fn keyed_digits_are_one_change_and_a_small_one_excludes_nothing_but_itself() {
    let keyed = Record::of(7200, 60.0, 1, |t| match t {
        ..2000.0 => 490.0,
        ..2004.0 => 5.0,
        ..2009.0 => 51.0,
        _ => 510.0,
    });
    let found = keyed.assert_same(Some(2.0), "keyed");
    assert_eq!(found.around, Some(510.0));
    assert!(codes(&found).contains(&"several-setpoints"));
    let small = Record::of(7200, 60.0, 2, |t| if t < 2000.0 { 510.0 } else { 510.5 });
    let found = small.assert_same(Some(2.0), "small");
    assert!(found.excluded_s < 3.0, "{}", found.excluded_s);
}

#[test]
fn a_tune_does_not_count_and_neither_does_a_short_rest() {
    let mut record = Record::of(7200, 60.0, 3, |_| 510.0);
    for (tuning, pv) in record.autotune[2000..3000]
        .iter_mut()
        .zip(&mut record.pv[2000..3000])
    {
        (*tuning, *pv) = (true, 520.0);
    }
    let found = record.assert_same(Some(2.0), "a tune");
    assert!(found.max < Some(515.0), "{:?}", found.max);
    // 250 s between two changes are no hold.
    let short = Record::of(4000, 5.0, 4, |t| match t {
        ..2000.0 => 500.0,
        ..2250.0 => 530.0,
        _ => 560.0,
    });
    let found = short.assert_same(Some(2.0), "a short rest");
    assert!(
        !found.notes.iter().any(|note| note.text.contains("530")),
        "{:?}",
        found.notes
    );
}

#[test]
fn values_at_another_setpoint_are_moved_onto_the_one_held_longest() {
    let record = Record::of(9000, 10.0, 5, |t| if t < 3000.0 { 480.0 } else { 510.0 });
    let found = record.steady(Some(2.0));
    assert_eq!(found.around, Some(510.0));
    assert!(
        (found.mean.unwrap() - 510.0).abs() < 0.1,
        "{:?}",
        found.mean
    );
    assert!(found.sd.unwrap() < 0.3, "{:?}", found.sd);
    let around = SteadyOptions {
        band: Some(2.0),
        around: Some(510.0),
        ..SteadyOptions::default()
    };
    let all = steady(&record.trace(), &around).unwrap();
    assert_eq!((all.count, all.excluded_s), (9000, 0.0));
    assert!(
        all.mean.unwrap() < 501.0,
        "everything counts: {:?}",
        all.mean
    );
}

#[test]
fn a_loop_that_never_settles_counts_for_nothing_and_is_told() {
    // From the step on it swings by 6 degrees about its setpoint for ever.
    let swing = |t: f64| {
        if t < 2000.0 {
            0.0
        } else {
            6.0 * (t / 50.0).sin()
        }
    };
    let setpoint = |t: f64| if t < 2000.0 { 490.0 } else { 510.0 };
    let mut record = Record::of(20_000, 60.0, 6, setpoint);
    for (t, pv) in record.time_s.iter().zip(&mut record.pv) {
        *pv += swing(*t);
    }
    let found = record.assert_same(Some(2.0), "swings for ever");
    assert_eq!((found.count, found.around), (2000, Some(490.0)));
    assert!(codes(&found).contains(&"not-settled"), "{:?}", found.notes);
    record.setpoint.fill(560.0);
    let found = record.steady(Some(2.0));
    assert_eq!((found.count, found.mean), (0, None));
    assert!(codes(&found).contains(&"no-hold"), "{:?}", found.notes);
}

#[test]
fn a_record_that_begins_with_the_warming_up_counts_from_when_it_has_settled() {
    let mut record = Record::of(7200, 200.0, 7, |_| 510.0);
    let mut y = 20.0;
    for pv in &mut record.pv {
        y += (510.0 - y) / 200.0;
        *pv = y;
    }
    let found = record.steady(Some(2.0));
    // 490 exp(-t/200) = 2 at 1100 s.
    assert!(
        (found.excluded_s - 1100.0).abs() < 20.0,
        "{}",
        found.excluded_s
    );
    assert!(found.min >= Some(508.0), "{:?}", found.min);
}

#[test]
fn a_ramp_does_not_count_until_the_loop_has_settled_at_its_end() {
    let record = Record::of(10_000, 60.0, 8, |t| {
        500.0 + ((t - 2000.0) / 60.0).clamp(0.0, 50.0)
    });
    let found = record.steady(Some(0.8));
    // Up to 2000 s; from the ramp's end at 5000 s, where it lags by 1 degree, until within 0.8.
    let counted = found.counted_s;
    assert!(counted > 6950.0 && counted < 6995.0, "{counted}");
}
