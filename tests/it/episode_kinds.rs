//! The numbers of each kind of episode, against what can be derived for the record.

use EpisodeKind::{Disturbance, Hold, SetpointStep};
use TuneOutcome::{Tuned, Unchanged, Unknown};

use emberline::analysis::{
    Episode, EpisodeKind, Mark, Mode, Options, Told, Trace, TuneEnd, TuneOutcome, find_episodes,
};

/// One record, a row a second.
struct Record {
    time_s: Vec<f64>,
    pv: Vec<f64>,
    setpoint: Vec<f64>,
    output: Vec<f64>,
}

impl Record {
    fn of(
        seconds: u32,
        pv: impl Fn(f64) -> f64,
        setpoint: impl Fn(f64) -> f64,
        output: impl Fn(f64) -> f64,
    ) -> Self {
        let time_s: Vec<f64> = (0..seconds).map(f64::from).collect();
        let column = |value: &dyn Fn(f64) -> f64| time_s.iter().map(|t| value(*t)).collect();
        Self {
            pv: column(&pv),
            setpoint: column(&setpoint),
            output: column(&output),
            time_s,
        }
    }

    fn trace(&self) -> Trace<'_> {
        Trace {
            time_s: &self.time_s,
            pv: &self.pv,
            setpoint: Some(&self.setpoint),
            output: Some(&self.output),
            autotune: None,
        }
    }

    fn episodes(&self, options: &Options) -> Vec<Episode> {
        find_episodes(&self.trace(), options).unwrap()
    }
}

fn band(band: f64) -> Options {
    Options {
        band: Some(band),
        ..Options::default()
    }
}

fn told(told: Told) -> Options {
    Options { told, ..band(2.0) }
}

fn kinds(episodes: &[Episode]) -> Vec<EpisodeKind> {
    episodes.iter().map(|episode| episode.kind).collect()
}

fn only(episodes: &[Episode], kind: EpisodeKind) -> &Episode {
    let mut all = episodes.iter().filter(|episode| episode.kind == kind);
    let first = all.next().unwrap();
    assert_eq!(all.next(), None, "one {kind:?} is in the record");
    first
}

fn has_note(episode: &Episode, code: &str, about: &str) -> bool {
    let mut notes = episode.notes.iter();
    notes.any(|note| (note.code, note.about) == (code, about))
}

fn near(own: Option<f64>, known: f64, within: f64) {
    let off = own.map(|own| (own - known).abs());
    assert!(
        off <= Some(within) && off.is_some(),
        "{own:?}, known {known}"
    );
}

#[test]
fn a_ramp_is_followed_behind_by_rate_times_lag() {
    // A first-order lag of 30 s follows a ramp of 0.1 degree/s by 3 degrees behind, once the start
    // has died away: y - r = -3 (1 - exp(-t/30)), and after the ramp -3 exp(-t/30).
    let lag = |t: f64| -3.0 * (1.0 - (-t / 30.0).exp());
    let setpoint = |t: f64| 100.0 + 0.1 * (t - 600.0).clamp(0.0, 900.0);
    let pv = |t: f64| match t {
        ..600.0 => 100.0,
        600.0..1500.0 => setpoint(t) + lag(t - 600.0),
        _ => 190.0 - 3.0 * (-(t - 1500.0) / 30.0).exp(),
    };
    let found = Record::of(3000, pv, setpoint, |_| 50.0).episodes(&band(1.0));
    let ramp = only(&found, EpisodeKind::Ramp);
    assert_eq!((ramp.start_s, ramp.end_s), (601.0, 1500.0));
    assert_eq!((ramp.from, ramp.to), (Some(100.0), Some(190.0)));
    near(ramp.own.ramp.rate_per_min, 60.0 * 90.0 / 899.0, 1e-9);
    // The mean over 900 s: -3 (1 - 30/900 (1 - e^-30)).
    near(
        ramp.own.ramp.following_mean,
        -3.0 * (1.0 - 30.0 / 900.0),
        0.01,
    );
    near(ramp.own.ramp.following_max, -3.0, 1e-9);
    // From 3 degrees off to 1: 30 ln 3.
    near(ramp.numbers.settling_s, 30.0 * 3.0_f64.ln(), 0.02);
    near(ramp.numbers.overshoot, 0.0, 0.0);
    assert!(has_note(ramp, "none", "peak_s"));
    let soak = only(&found, EpisodeKind::Soak);
    near(Some(soak.start_s), 1500.0 + 30.0 * 3.0_f64.ln(), 0.02);
    near(soak.own.hold.in_band_s, 2999.0 - soak.start_s, 1e-9);
    // What is left of the approach: from 189 to 190.
    near(soak.own.hold.peak_to_peak, 1.0, 0.05);
}

#[test]
fn a_ramp_that_overshoots_has_its_peak_after_its_end() {
    let setpoint = |t: f64| 100.0 + 0.1 * (t - 600.0).clamp(0.0, 600.0);
    let pv = |t: f64| match t {
        ..1200.0 => setpoint(t),
        1200.0..1300.0 => 160.0 + 4.0 * ((t - 1200.0) / 100.0 * std::f64::consts::PI).sin(),
        _ => 160.0,
    };
    let found = Record::of(2400, pv, setpoint, |_| 50.0).episodes(&band(1.0));
    let ramp = only(&found, EpisodeKind::Ramp);
    near(ramp.numbers.overshoot, 4.0, 1e-9);
    near(ramp.numbers.overshoot_pct, 100.0 * 4.0 / 60.0, 1e-9);
    // At 1250 s, and the ramp began at 601 s.
    near(ramp.numbers.peak_s, 649.0, 0.0);
    // A ramp that never settles has no soak.
    let off = |t: f64| if t < 1200.0 { setpoint(t) } else { 165.0 };
    let found = Record::of(2400, off, setpoint, |_| 50.0).episodes(&band(1.0));
    assert_eq!(kinds(&found), [Hold, EpisodeKind::Ramp]);
    assert!(has_note(&found[1], "not-settled", "settling_s"));
}

/// At rest at 510 but for a door that was open from 1000 s to 1060 s.
fn door(t: f64) -> f64 {
    match t {
        1000.0..1060.0 => 510.0 - 0.2 * (t - 1000.0),
        1060.0..1120.0 => 498.0 + 0.25 * (t - 1060.0),
        1120.0..1180.0 => 513.0 - 0.05 * (t - 1120.0),
        _ => 510.0,
    }
}

#[test]
fn a_door_is_a_disturbance_with_depth_return_and_overshoot() {
    let record = Record::of(3000, door, |_| 510.0, |_| 50.0);
    let found = record.episodes(&band(2.0));
    assert_eq!(kinds(&found), [Hold, Disturbance]);
    let one = &found[1];
    // Out at 508 after 10 s; past 512 at 1116 s, so back to stay where it falls to 512 again.
    near(Some(one.start_s), 1010.0, 1e-9);
    near(one.own.disturbance.depth, -12.0, 1e-9);
    near(Some(one.end_s), 1140.0, 1e-9);
    near(one.own.disturbance.return_s, 130.0, 1e-9);
    near(one.numbers.overshoot, 3.0, 1e-9);
    // Trapezoids and triangles: 2..12 in 50 s, 12..0 in 48 s, 0..3 in 12 s, 3..2 in 20 s.
    near(one.numbers.iae, 350.0 + 288.0 + 18.0 + 50.0, 1e-9);
    assert_eq!((one.from, one.to), (Some(510.0), Some(510.0)));
    assert!(
        record.episodes(&Options::default())[0]
            .notes
            .iter()
            .any(|note| note.code == "no-band")
    );
}

#[test]
fn what_still_comes_from_a_tune_is_no_disturbance() {
    // Out of the tune it swings from 509 to 515, so that it is in the band of 2 for a minute at a time,
    // until 1600 s.
    let swing = |t: f64| 3.0 * (t / 120.0 * std::f64::consts::TAU).sin();
    let pv = |t: f64| match t {
        ..1600.0 => 512.0 + swing(t),
        2500.0..2560.0 => 502.0,
        _ => 510.0,
    };
    let record = Record::of(4000, pv, |_| 510.0, |_| 50.0);
    let active: Vec<bool> = record.time_s.iter().map(|t| *t < 1000.0).collect();
    let trace = Trace {
        autotune: Some(&active),
        ..record.trace()
    };
    let found = find_episodes(&trace, &band(2.0)).unwrap();
    let door = only(&found, Disturbance);
    near(Some(door.start_s), 2499.25, 1e-9);
}

#[test]
fn a_mark_begins_a_new_hold_and_leaves_steps_and_disturbances_whole() {
    let mark = |at_s, text: &str| Mark {
        at_s,
        text: text.to_owned(),
    };
    let setpoint = |t: f64| if t < 400.0 { 490.0 } else { 510.0 };
    let pv = |t: f64| {
        if t < 400.0 {
            490.0
        } else {
            door(t).min(490.0 + 0.2 * (t - 400.0))
        }
    };
    let record = Record::of(3000, pv, setpoint, |_| 50.0);
    let marks = vec![
        mark(450.0, "started"),
        mark(1030.0, "door open"),
        mark(1100.0, "shut"),
    ];
    let plain = record.episodes(&band(2.0));
    let found = record.episodes(&told(Told {
        marks,
        ..Told::default()
    }));
    assert_eq!(kinds(&found), [Hold, SetpointStep, Hold, Disturbance, Hold]);
    assert_eq!(found[1], plain[1], "the step is whole");
    assert_eq!(found[3], *only(&plain, Disturbance));
    near(Some(found[2].end_s), 1030.0, 0.0);
    // 70 s between the marks are no hold.
    assert_eq!((found[4].start_s, found[4].end_s), (1100.0, 2999.0));
    let note = found[4]
        .notes
        .iter()
        .find(|note| note.code == "mark")
        .unwrap();
    assert_eq!(note.text, "begins with a mark: shut");
    assert!(!has_note(&found[2], "mark", ""));
}

#[test]
fn a_hold_that_swings_has_its_cycle_and_others_none() {
    let wave = |t: f64| 510.0 + 1.5 * (t / 200.0 * std::f64::consts::TAU).sin();
    let found = Record::of(3000, wave, |_| 510.0, |_| 50.0).episodes(&band(2.0));
    let hold = only(&found, Hold);
    near(hold.numbers.amplitude, 1.5, 1e-9);
    near(hold.numbers.period_s, 200.0, 1e-9);
    // A sine's standard deviation is its amplitude over the root of 2.
    near(hold.own.hold.sd, 1.5 / 2.0_f64.sqrt(), 1e-3);
    let three = Record::of(800, wave, |_| 510.0, |_| 50.0).episodes(&band(2.0));
    assert!(has_note(&three[0], "none", "amplitude"), "{three:?}");
}

/// A first-order process, 1.2 degrees a percent and 120 s, that begins at rest at this output.
fn first_order(from: f64, output: &dyn Fn(f64) -> f64, seconds: u32) -> Vec<f64> {
    let mut y = 20.0 + 1.2 * from;
    (0..seconds)
        .map(|t| {
            let now = y;
            y = 20.0
                + 1.2 * output(f64::from(t))
                + (y - 20.0 - 1.2 * output(f64::from(t))) * (-1.0_f64 / 120.0).exp();
            now
        })
        .collect()
}

fn manual_step(seconds: u32) -> Record {
    let output = |t: f64| if t < 600.0 { 40.0 } else { 50.0 };
    let mut record = Record::of(seconds, |_| 0.0, |_| 510.0, output);
    record.pv = first_order(40.0, &output, seconds);
    record
}

#[test]
fn an_output_step_shows_by_its_rest_before_and_after() {
    let found = manual_step(3000).episodes(&Options::default());
    assert_eq!(kinds(&found), [Hold, EpisodeKind::OutputStep]);
    let step = &found[1];
    assert_eq!((step.start_s, step.end_s), (600.0, 2999.0));
    let output = &step.own.output;
    assert_eq!(
        (output.output_from, output.output_to),
        (Some(40.0), Some(50.0))
    );
    near(step.from, 68.0, 1e-9);
    near(step.to, 80.0, 1e-6);
    near(step.numbers.rise_s, 120.0 * 9.0_f64.ln(), 0.01);
    near(step.numbers.settling_s, 120.0 * 50.0_f64.ln(), 0.01);
    near(step.numbers.iae, 12.0 * 120.0, 1.0);
}

#[test]
fn an_output_step_that_has_not_come_to_rest_has_no_target() {
    let found = manual_step(950).episodes(&Options::default());
    let step = only(&found, EpisodeKind::OutputStep);
    assert_eq!((step.to, step.numbers.settling_s), (None, None));
    for about in ["to", "rise_s", "settling_s", "iae"] {
        assert!(has_note(step, "not-at-rest", about), "{about}");
    }
    near(step.numbers.initial, 68.0, 1e-9);
}

#[test]
fn the_mode_tells_of_steps_by_hand_that_do_not_rest() {
    // Every 40 s another output: without the mode that is control like any other.
    let output = |t: f64| 40.0 + 6.0 * ((t - 600.0) / 40.0).floor().clamp(0.0, 3.0);
    let mut record = Record::of(1500, |_| 0.0, |_| 510.0, output);
    record.pv = first_order(34.0, &output, 1500);
    let steps = |options: &Options| {
        let found = record.episodes(options);
        let steps = found
            .iter()
            .filter(|one| one.kind == EpisodeKind::OutputStep);
        steps
            .map(|one| (one.start_s, one.end_s))
            .collect::<Vec<_>>()
    };
    let manual = told(Told {
        modes: vec![(0.0, Mode::Automatic), (500.0, Mode::Manual)],
        changes_s: vec![500.0],
        ..Told::default()
    });
    assert_eq!(
        steps(&manual),
        [(640.0, 680.0), (680.0, 720.0), (720.0, 1499.0)]
    );
    assert_eq!(steps(&Options::default()), []);
    let automatic = told(Told {
        modes: vec![(0.0, Mode::Automatic)],
        ..Told::default()
    });
    assert_eq!(steps(&automatic), []);
}

#[test]
fn control_that_happens_to_rest_is_no_output_step() {
    // Heat is lost and the output goes up to its limit: the process value falls all the same.
    let output = |t: f64| if t < 600.0 { 40.0 } else { 70.0 };
    let falling = |t: f64| 510.0 - 0.02 * (t - 600.0).max(0.0);
    let found = Record::of(1500, falling, |_| 510.0, output).episodes(&Options::default());
    assert_eq!(kinds(&found), [Hold]);
    // The setpoint moved it.
    let mut record = manual_step(3000);
    for (t, r) in record.time_s.iter().zip(&mut record.setpoint) {
        *r = if *t < 595.0 { 70.0 } else { 82.0 };
    }
    let found = record.episodes(&Options::default());
    assert!(!kinds(&found).contains(&EpisodeKind::OutputStep));
}

#[test]
fn the_end_of_a_tune_is_what_was_told_of_it() {
    let mut record = Record::of(3000, |_| 510.0, |_| 510.0, |_| 50.0);
    record.pv[1200] = 510.1;
    let mut active = vec![false; 3000];
    active[600..1000].fill(true);
    active[1500..1700].fill(true);
    active[2900..].fill(true);
    let end = |at_s, outcome| TuneEnd {
        at_s,
        outcome,
        text: format!("{outcome:?}"),
    };
    let options = told(Told {
        tune_ends: vec![end(1002.5, Tuned), end(1700.0, Unchanged)],
        ..Told::default()
    });
    let trace = Trace {
        autotune: Some(&active),
        ..record.trace()
    };
    let found = find_episodes(&trace, &options).unwrap();
    let tunes = found.iter().filter(|one| one.kind == EpisodeKind::Autotune);
    let tunes: Vec<&Episode> = tunes.collect();
    let outcomes: Vec<_> = tunes
        .iter()
        .map(|one| one.own.tune.outcome.unwrap())
        .collect();
    assert_eq!(outcomes, [Tuned, Unchanged, Unknown]);
    let why = |tune: &Episode| {
        let mut notes = tune.notes.iter();
        notes
            .find(|note| note.code == "outcome")
            .unwrap()
            .text
            .clone()
    };
    assert_eq!(why(tunes[0]), "Tuned");
    assert_eq!(why(tunes[2]), "the record ends while it is under way");
    assert!(has_note(tunes[0], "few-cycles", "amplitude"));
}

#[test]
fn a_step_keyed_in_parts_says_so() {
    let setpoint = |t: f64| match t {
        ..600.0 => 490.0,
        ..607.0 => 51.0,
        _ => 510.0,
    };
    let pv = |t: f64| 510.0 - 20.0 * (-(t - 607.0).max(0.0) / 60.0).exp();
    let found = Record::of(2000, pv, setpoint, |_| 50.0).episodes(&band(1.0));
    let step = only(&found, SetpointStep);
    assert!(has_note(step, "merged-changes", ""), "{:?}", step.notes);
}

#[test]
fn a_target_beyond_the_heater_says_so() {
    // At full power the oven comes to 140 degrees; asked are 200.
    let output = |t: f64| if t < 600.0 { 40.0 } else { 100.0 };
    let mut record = Record::of(
        4000,
        |_| 0.0,
        |t| if t < 600.0 { 68.0 } else { 200.0 },
        output,
    );
    record.pv = first_order(40.0, &output, 4000);
    let found = record.episodes(&band(2.0));
    let step = only(&found, SetpointStep);
    assert!(
        has_note(step, "unreachable", "settling_s"),
        "{:?}",
        step.notes
    );
    assert!(has_note(step, "output-at-limit", "rise_s"));
    // On the way there it is not yet said.
    let early = Record {
        time_s: record.time_s[..700].to_vec(),
        pv: record.pv[..700].to_vec(),
        setpoint: record.setpoint[..700].to_vec(),
        output: record.output[..700].to_vec(),
    };
    let found = early.episodes(&band(2.0));
    assert!(!has_note(
        only(&found, SetpointStep),
        "unreachable",
        "settling_s"
    ));
}

#[test]
fn a_sensor_coarser_than_the_band_says_so() {
    let pv = |t: f64| 510.0 - 20.0 * (-(t - 600.0).max(0.0) / 60.0).exp();
    let coarse = |t: f64| (2.0 * pv(t)).round() / 2.0;
    let of = |pv: &dyn Fn(f64) -> f64| {
        let setpoint = |t: f64| if t < 600.0 { 490.0 } else { 510.0 };
        let found = Record::of(2000, pv, setpoint, |_| 50.0).episodes(&band(1.0));
        has_note(only(&found, SetpointStep), "coarse-sensor", "settling_s")
    };
    assert!(of(&coarse) && !of(&pv));
}
