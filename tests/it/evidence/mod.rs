//! The evidence report: what it says, and that it is one well-formed page that needs nothing else.

mod command;
mod example;
mod well_formed;

use emberline::evidence::{Comparison, Criteria, Limit, Measure, PairError, Verdict, Wanted};
use emberline::evidence::{pair, render};
use emberline::record::LoopRecord;
use example::{AFTER, BEFORE, LEAD_S, Response, Session, empty_record};
use well_formed::{complaints, plain_text};

/// What a person reads on the page, after it was found to be well-formed. The page stays in
/// `target/tmp` to be looked at.
fn text_of(name: &str, comparison: &Comparison<'_>) -> String {
    let html = render(comparison);
    let path = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::write(path, &html).unwrap();
    assert_eq!(complaints(&html), Vec::<String>::new());
    plain_text(&html)
}

fn assert_says(text: &str, wanted: &[&str]) {
    for sentence in wanted {
        assert!(text.contains(sentence), "{sentence:?} is not in:\n{text}");
    }
}

fn limits(overshoot: f64, settling: f64) -> Criteria {
    Criteria {
        name: "criteria.toml".to_owned(),
        limits: vec![
            Limit {
                measure: Measure::Overshoot,
                most: overshoot,
            },
            Limit {
                measure: Measure::Settling,
                most: settling,
            },
        ],
        ..Criteria::default()
    }
}

#[test]
fn the_first_page_says_which_oven_what_came_of_it_and_what_was_changed() {
    let session = Session::new(BEFORE, AFTER);
    let text = text_of("evidence.html", &session.comparison());
    // Closed form: 20 exp(-pi 0.13 / sqrt(1 - 0.13^2)) = 13.2 and, for 0.66, 1.3 degrees.
    assert!((BEFORE.overshoot() - 13.25).abs() < 0.01);
    assert!((AFTER.overshoot() - 1.27).abs() < 0.01);
    assert_says(
        &text,
        &[
            "Annealing oven 2",
            "Setpoint step 490.0 to 510.0 \u{b0}C, before and after: loop annealer-top",
            "Improved. Better: overshoot, settling time and IAE.",
            "before 13.4 \u{b0}C",
            "after 1.4 \u{b0}C",
            "12.0 \u{b0}C less: better",
            "into \u{b1}2.0 \u{b0}C, to stay",
            "tuned itself; at 2027-03-04 07:45:00 UTC it had tuned",
            "Also different, and listed with all settings below: result.",
            "Proportional, \u{b0}C",
            "never tuned (0)",
            "tuned (2)",
            "Emberline watches; it does not protect.",
            "no significance is claimed",
            "25 min after the step: somebody looked in",
            "10 200, all good",
        ],
    );
}

#[test]
fn the_same_comparison_gives_the_same_bytes() {
    let first = render(&Session::new(BEFORE, AFTER).comparison());
    let second = render(&Session::new(BEFORE, AFTER).comparison());
    assert!(first == second);
}

#[test]
fn a_page_stays_small_however_long_the_record() {
    let session = Session::new(BEFORE, AFTER);
    let size = render(&session.comparison()).len();
    assert!(size < 400_000, "{size} bytes");
}

#[test]
fn criteria_decide_pass_or_fail_line_by_line() {
    let session = Session::new(BEFORE, AFTER);
    let generous = limits(2.0, 900.0);
    let passing = Comparison {
        criteria: Some(&generous),
        ..session.comparison()
    };
    assert_eq!(passing.judge().verdict, Verdict::Pass);
    let text = text_of("evidence-pass.html", &passing);
    assert_says(
        &text,
        &[
            "Pass. The step after meets all 2 criteria.",
            "at most 2.0 \u{b0}C",
            "at most 15.0 min",
            "\u{2713} met",
            "Criteria for the step after, from criteria.toml",
        ],
    );
    let strict = limits(2.0, 60.0);
    let failing = Comparison {
        criteria: Some(&strict),
        ..session.comparison()
    };
    assert_eq!(failing.judge().verdict, Verdict::Fail);
    let text = text_of("evidence-fail.html", &failing);
    assert_says(
        &text,
        &[
            "Fail. The step after misses 1 of 2 criteria: settling time.",
            "\u{2717} not met",
        ],
    );
}

#[test]
fn a_peak_that_missing_samples_may_hide_does_not_pass() {
    let mut session = Session::new(BEFORE, AFTER);
    let peak_s = session.pair.after.start_s + session.pair.after.numbers.peak_s.unwrap();
    drop_rows(&mut session.record, peak_s - 60.0, peak_s + 30.0);
    let session = Session::of_record(session.record);
    let criteria = limits(2.0, 900.0);
    let comparison = Comparison {
        criteria: Some(&criteria),
        ..session.comparison()
    };
    let text = text_of("evidence-gap.html", &comparison);
    assert_eq!(comparison.judge().verdict, Verdict::Fail);
    assert_says(
        &text,
        &[
            "not shown: the peak may lie in missing samples",
            "the overshoot is a lower bound",
            "Grey: no samples came.",
        ],
    );
}

fn drop_rows(record: &mut LoopRecord, from_s: f64, to_s: f64) {
    let keep: Vec<bool> = record
        .time_s
        .iter()
        .map(|t| *t < from_s || *t >= to_s)
        .collect();
    let thin = |column: &mut Vec<f64>| {
        let mut kept = keep.iter();
        column.retain(|_| *kept.next().unwrap());
    };
    thin(&mut record.time_s);
    thin(&mut record.pv);
    record.setpoint.as_mut().map(thin);
    record.output.as_mut().map(thin);
    let mut kept = keep.iter();
    if let Some(active) = &mut record.autotune {
        active.retain(|_| *kept.next().unwrap());
    }
    let gone = keep.iter().filter(|kept| !**kept).count();
    record.bad_rows.push(("no-answer".to_owned(), gone));
}

#[test]
fn a_step_that_never_settles_says_so_in_words() {
    let ringing = Response {
        damping: 0.0,
        ..BEFORE
    };
    let session = Session::new(ringing, AFTER);
    let text = text_of("evidence-ringing.html", &session.comparison());
    assert_says(
        &text,
        &[
            "before not reached within 1 h",
            "Improved. Better: overshoot, settling time and IAE.",
        ],
    );
}

#[test]
fn nothing_better_is_called_not_improved() {
    let session = Session::new(AFTER, BEFORE);
    assert_eq!(session.comparison().judge().verdict, Verdict::NotImproved);
    let text = text_of("evidence-worse.html", &session.comparison());
    assert_says(
        &text,
        &["Not improved. Worse: overshoot, settling time and IAE."],
    );
}

#[test]
fn another_target_or_output_limit_is_no_verdict() {
    let higher = Response { to: 520.0, ..AFTER };
    let session = Session::new(BEFORE, higher);
    let criteria = limits(20.0, 3600.0);
    let comparison = Comparison {
        criteria: Some(&criteria),
        ..session.comparison()
    };
    assert_eq!(comparison.judge().verdict, Verdict::NoVerdict);
    let text = text_of("evidence-other-target.html", &comparison);
    assert_says(
        &text,
        &[
            "No verdict. Before and after cannot be compared with each other:",
            "The target temperatures differ: 510 before, 520 after, in \u{b0}C.",
        ],
    );
    assert!(!text.contains("better"), "{text}");

    let mut limited = Session::new(BEFORE, AFTER);
    let mut line = limited.record.settings[0].clone();
    line.time_s = 5000.0;
    line.value = "60.0".to_owned();
    limited.record.settings.push(line);
    let text = text_of("evidence-other-limit.html", &limited.comparison());
    assert_says(
        &text,
        &["The upper output limit differs: 100.0 % before, 60.0 % after."],
    );
}

#[test]
fn an_output_that_looks_limited_is_a_hint_and_no_obstacle() {
    let mut session = Session::new(BEFORE, AFTER);
    session.record.settings.clear();
    // Held at 55 % while the process value is still on its way.
    let after_s = session.pair.after.start_s;
    let output = session.record.output.as_mut().unwrap();
    for (t, u) in session.record.time_s.iter().zip(output) {
        *u = if *t < after_s { *u } else { u.min(55.0) };
    }
    let text = text_of("evidence-hint.html", &session.comparison());
    assert_says(
        &text,
        &[
            "Improved.",
            "Going by the output alone, the output limits differ",
        ],
    );
}

#[test]
fn what_people_wrote_cannot_break_the_page() {
    let mut session = Session::new(BEFORE, AFTER);
    let nasty = "</h1><script>alert(\"1\")</script> & 'co' \u{202e}";
    session.facts.job.equipment = nasty.repeat(8);
    session.record.name = format!("{}<b>", "a-very-long-name".repeat(20));
    session.record.events[2].text = nasty.to_owned();
    session.record.settings[1].value = nasty.to_owned();
    let text = text_of("evidence-nasty.html", &session.comparison());
    assert_says(&text, &["&lt;/h1&gt;&lt;script&gt;alert(\"1\")"]);
}

#[test]
fn a_bare_csv_without_setpoint_settings_or_wall_time_still_makes_a_report() {
    let mut session = Session::new(BEFORE, AFTER);
    session.record.output = None;
    session.record.wall = None;
    session.record.unit = None;
    session.record.settings.clear();
    session.record.events.clear();
    let mut comparison = session.comparison();
    comparison.before.facts = None;
    comparison.after.facts = None;
    let text = text_of("evidence-bare.html", &comparison);
    assert_says(
        &text,
        &[
            "The records hold no settings of the controller",
            "5 min after the record began",
            "No events were recorded.",
        ],
    );
}

#[test]
fn a_record_without_samples_makes_a_page_that_says_so() {
    let full = Session::new(BEFORE, AFTER);
    let mut empty = full.pair.clone();
    empty.before.numbers = emberline::analysis::StepNumbers::default();
    empty.after.numbers = emberline::analysis::StepNumbers::default();
    let record = empty_record();
    let mut comparison = full.comparison();
    for (side, episode) in [
        (&mut comparison.before, &empty.before),
        (&mut comparison.after, &empty.after),
    ] {
        side.record = &record;
        side.episode = episode;
    }
    let text = text_of("evidence-empty.html", &comparison);
    assert_says(
        &text,
        &[
            "There is no sample to draw in either step.",
            "The record holds no samples.",
            "before not known",
            "No verdict.",
            "Neither step has numbers.",
        ],
    );
}

#[test]
fn a_step_from_cold_is_shown_again_close_to_the_target() {
    let cold = |damping| Response {
        from: 20.0,
        damping,
        ..AFTER
    };
    let session = Session::new(cold(0.6), cold(0.75));
    let text = text_of("evidence-cold.html", &session.comparison());
    assert_says(&text, &["The same two steps, close to the target."]);
}

#[test]
fn the_steps_before_and_after_the_autotune_are_chosen() {
    let session = Session::new(BEFORE, AFTER);
    assert!((session.pair.before.start_s - LEAD_S).abs() < 0.5);
    assert!((session.pair.after.start_s - 6600.0).abs() < 0.5);
    let windows = [&session.pair.before, &session.pair.after].map(|step| step.numbers.window_s);
    assert!(
        (windows[0].unwrap() - windows[1].unwrap()).abs() < 1.5,
        "{windows:?}"
    );
}

#[test]
fn a_record_with_too_few_steps_is_an_error_with_a_way_out() {
    let session = Session::new(BEFORE, AFTER);
    let mut short = session.record.clone();
    drop_rows(&mut short, 3000.0, 1e9);
    let one = pair(&short, &short, true, Wanted::default()).unwrap_err();
    assert!(matches!(one, PairError::OneStep { .. }), "{one}");
    let wanted = Wanted {
        after: Some(77),
        ..Wanted::default()
    };
    let none = pair(&session.record, &session.record, true, wanted).unwrap_err();
    assert!(none.to_string().contains("its steps are"), "{none}");
    drop_rows(&mut short, 0.0, 1e9);
    let empty = pair(&short, &short, true, Wanted::default()).unwrap_err();
    assert!(matches!(empty, PairError::NoStep { .. }), "{empty}");
}
