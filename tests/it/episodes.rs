//! Finding episodes in records with known truth.

use EpisodeKind::{Autotune, Hold, Ramp, SetpointStep, Soak};
use proptest::prelude::*;

use emberline::analysis::{
    AnalysisError, Episode, EpisodeKind, GivenStep, Options, Trace, find_episodes,
};

/// One record, a row a second.
struct Record {
    time_s: Vec<f64>,
    pv: Vec<f64>,
    setpoint: Vec<f64>,
    autotune: Vec<bool>,
}

impl Record {
    /// A process value that follows the setpoint with a time constant of 40 s, overshooting nothing.
    fn of(seconds: u32, setpoint: impl Fn(f64) -> f64) -> Self {
        let time_s: Vec<f64> = (0..seconds).map(f64::from).collect();
        let setpoint: Vec<f64> = time_s.iter().map(|t| setpoint(*t)).collect();
        let mut y = setpoint[0];
        let follow = |target: &f64| {
            y += (target - y) / 40.0;
            y
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

    fn episodes(&self) -> Vec<Episode> {
        find_episodes(&self.trace(), &Options::default()).unwrap()
    }
}

fn kinds(episodes: &[Episode]) -> Vec<(EpisodeKind, f64)> {
    let kind = |episode: &Episode| (episode.kind, episode.start_s.round());
    episodes.iter().map(kind).collect()
}

#[test]
fn a_setpoint_keyed_digit_by_digit_is_one_step() {
    let record = Record::of(1000, |t| match t {
        ..400.0 => 490.0,
        ..403.0 => 5.0,
        ..407.0 => 51.0,
        _ => 510.0,
    });
    let found = record.episodes();
    assert_eq!(found[1].kind, SetpointStep);
    assert_eq!((found[1].start_s, found[1].end_s), (407.0, 999.0));
    assert_eq!((found[1].from, found[1].to), (Some(490.0), Some(510.0)));
    let steps = found.iter().filter(|one| one.kind == SetpointStep);
    assert_eq!(steps.count(), 1);
}

#[test]
fn a_step_before_the_last_one_settled_ends_its_window() {
    let record = Record::of(1500, |t| match t {
        ..400.0 => 100.0,
        ..440.0 => 200.0,
        _ => 250.0,
    });
    let found = record.episodes();
    let first = &found[1];
    assert_eq!((first.kind, first.end_s), (SetpointStep, 440.0));
    assert_eq!(first.numbers.window_s, Some(40.0));
    assert_eq!(first.numbers.settling_s, None);
    assert!(first.notes.iter().any(|note| note.code == "not-settled"));
    // The second starts from where the process value is, not from the setpoint before.
    let second = &found[2];
    assert_eq!(second.from, Some(200.0));
    // Its start is averaged over the 40 s since the first began, not over a minute.
    let mean = record.pv[400..=440].iter().sum::<f64>() / 41.0;
    assert!((second.numbers.initial.unwrap() - mean).abs() < 1e-9);
}

#[test]
fn an_autotune_bounds_the_step_before_it_and_swallows_what_its_setpoint_does() {
    let mut record = Record::of(3000, |t| match t {
        ..500.0 => 100.0,
        1200.0..1500.0 => 180.0,
        _ => 200.0,
    });
    record.autotune[1000..2000].fill(true);
    let found = record.episodes();
    let settled = 500.0 + found[1].numbers.settling_s.unwrap().round();
    assert_eq!(
        kinds(&found),
        [
            (Hold, 0.0),
            (SetpointStep, 500.0),
            (Hold, settled),
            (Autotune, 1000.0),
            (Hold, 2000.0),
        ]
    );
    assert_eq!((found[1].end_s, found[3].end_s), (1000.0, 2000.0));
}

#[test]
fn a_ramp_is_one_episode_and_not_hundreds_of_steps() {
    // Two degrees a second are each larger than the smallest step.
    let record = Record::of(2000, |t| 20.0 + 2.0 * (t - 400.0).clamp(0.0, 200.0));
    let found = record.episodes();
    let (ramp, settled) = (&found[1], found[1].numbers.settling_s.unwrap());
    assert_eq!(
        kinds(&found),
        [
            (Hold, 0.0),
            (Ramp, 401.0),
            (Soak, (600.0 + settled).round())
        ]
    );
    assert_eq!((ramp.from, ramp.to), (Some(20.0), Some(420.0)));
    assert_eq!(ramp.numbers.overshoot, Some(0.0));
}

#[test]
fn a_nudge_is_no_step_but_ends_the_window() {
    let record = Record::of(2000, |t| match t {
        ..400.0 => 100.0,
        ..1200.0 => 150.0,
        _ => 150.5,
    });
    let found = record.episodes();
    let steps: Vec<_> = found
        .iter()
        .filter(|one| one.kind == SetpointStep)
        .collect();
    assert_eq!(steps.len(), 1);
    assert_eq!((steps[0].start_s, steps[0].end_s), (400.0, 1200.0));
}

#[test]
fn a_record_without_setpoint_takes_the_target_it_is_told() {
    let record = Record::of(800, |t| if t < 100.0 { 400.0 } else { 450.0 });
    let trace = Trace {
        setpoint: None,
        ..record.trace()
    };
    let given = |at_s, target| Options {
        given: Some(GivenStep { at_s, target }),
        ..Options::default()
    };
    let found = find_episodes(&trace, &given(Some(100.0), Some(450.0))).unwrap();
    let step = found.iter().find(|one| one.kind == SetpointStep).unwrap();
    let own = record.episodes();
    let seen = own.iter().find(|one| one.kind == SetpointStep).unwrap();
    assert_eq!(
        step.numbers, seen.numbers,
        "told or seen, the numbers are the same"
    );

    let missing = find_episodes(&trace, &given(Some(100.0), None));
    assert_eq!(missing, Err(AnalysisError::NoTarget { at_s: 100.0 }));
    let outside = find_episodes(&trace, &given(Some(900.0), Some(450.0)));
    assert!(matches!(outside, Err(AnalysisError::StepOutside { .. })));
}

#[test]
fn a_later_disturbance_is_neither_overshoot_nor_unsettles() {
    let mut record = Record::of(3000, |t| if t < 400.0 { 100.0 } else { 150.0 });
    for (index, dip) in (2000..2060).zip((0..30).chain((0..30).rev())) {
        record.pv[index] -= f64::from(dip);
    }
    for pv in &mut record.pv[2100..2150] {
        *pv += 5.0;
    }
    let step = &record.episodes()[1];
    assert_eq!(step.numbers.overshoot, Some(0.0));
    assert!(step.numbers.settling_s.unwrap() < 200.0);
}

#[test]
fn a_trace_that_is_no_trace_is_refused() {
    let find = |time_s: &[f64], pv: &[f64]| {
        let trace = Trace {
            time_s,
            pv,
            setpoint: None,
            output: None,
            autotune: None,
        };
        find_episodes(&trace, &Options::default())
    };
    assert_eq!(find(&[], &[]), Ok(vec![]));
    assert_eq!(find(&[5.0], &[1.0]), Ok(vec![]));
    assert!(matches!(
        find(&[0.0, 2.0, 1.0], &[0.0; 3]),
        Err(AnalysisError::TimeBackwards { index: 2, .. })
    ));
    assert!(matches!(
        find(&[0.0, 1.0], &[0.0, f64::NAN]),
        Err(AnalysisError::NotFinite { index: 1, .. })
    ));
    assert!(matches!(
        find(&[0.0, 1.0], &[0.0]),
        Err(AnalysisError::Length { .. })
    ));
}

#[test]
fn repeated_times_are_counted_and_change_nothing() {
    let mut record = Record::of(1000, |t| if t < 400.0 { 100.0 } else { 150.0 });
    let plain = record.episodes();
    let double = 600;
    record.time_s.insert(double, record.time_s[double]);
    record.pv.insert(double, record.pv[double]);
    record.setpoint.insert(double, record.setpoint[double]);
    record.autotune.insert(double, false);
    let doubled = record.episodes();
    assert_eq!(plain[1].numbers.iae, doubled[1].numbers.iae);
    assert!(
        doubled[1]
            .notes
            .iter()
            .any(|note| note.code == "repeated-times")
    );
}

proptest! {
    /// Repeated times, gaps, missing setpoints, steps anywhere: numbers or nothing, never NaN.
    #[test]
    fn any_trace_gives_finite_numbers(
        rows in prop::collection::vec(
            (0_u8..4, -50.0..600.0_f64, 0_u8..5, any::<bool>(), 0.0..100.0_f64),
            0..120,
        ),
        at in prop::option::of(0.0..300.0_f64),
        band in prop::option::of(0.1..20.0_f64),
    ) {
        let mut now = 0.0;
        let time_s: Vec<f64> = rows.iter().map(|row| { now += f64::from(row.0); now }).collect();
        let pv: Vec<f64> = rows.iter().map(|row| row.1).collect();
        let setpoint: Vec<f64> = rows
            .iter()
            .map(|row| if row.2 == 0 { f64::NAN } else { 100.0 * f64::from(row.2 / 2) })
            .collect();
        let autotune: Vec<bool> = rows.iter().map(|row| row.3 && row.2 == 4).collect();
        let has_autotune = rows.len() % 2 == 0;
        // Two levels now and then, or any.
        let output: Vec<f64> = rows
            .iter()
            .map(|row| if row.3 { row.4 } else { 100.0 * f64::from(row.2 / 3) })
            .collect();
        let trace = Trace {
            time_s: &time_s,
            pv: &pv,
            setpoint: Some(&setpoint),
            output: Some(&output),
            autotune: has_autotune.then_some(&autotune),
        };
        let given = at.map(|at| GivenStep { at_s: Some(at), target: Some(100.0) });
        let options = Options { band, given, ..Options::default() };
        let Ok(found) = find_episodes(&trace, &options) else {
            prop_assert!(at.is_some_and(|at| !time_s.is_empty() && at > now || time_s.first().is_some_and(|first| at < *first)));
            return Ok(());
        };
        for episode in found {
            prop_assert!(episode.start_s <= episode.end_s);
            let json = numbers(&episode);
            // JSON has no NaN: a number that is `Some` but not finite would be `null`.
            let shown = json.values().filter(|value| !value.is_null()).count();
            let text = format!("{:?} {:?}", episode.numbers, episode.own);
            prop_assert_eq!(shown, text.matches("Some(").count(), "{}", text);
            for (name, value) in &json {
                let applies = episode.kind.numbers().contains(&name.as_str());
                let is_explained = episode.notes.iter().any(|note| note.about == name);
                prop_assert_eq!(applies, !value.is_null() || is_explained, "{} {:?}", name, episode);
            }
        }
    }
}

/// Every number of an episode, by its JSON name.
fn numbers(episode: &Episode) -> serde_json::Map<String, serde_json::Value> {
    let object = |value: serde_json::Value| value.as_object().unwrap().clone();
    let mut all = object(serde_json::to_value(&episode.numbers).unwrap());
    all.extend(object(serde_json::to_value(&episode.own).unwrap()));
    all
}
