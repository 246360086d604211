//! The evidence report: what it says, and that it is one well-formed page that needs nothing else.

mod example;
mod well_formed;

use emberline::evidence::{Criteria, Limit, Measure, Verdict, render};
use example::{AFTER, BEFORE, Response, Session};
use well_formed::{complaints, plain_text};

/// The page of a session; checked to be well-formed, and left in `target/tmp` to be looked at.
fn page_of(name: &str, session: &Session) -> String {
    keep(name, render(&session.comparison()))
}

fn keep(name: &str, html: String) -> String {
    assert_eq!(complaints(&html), Vec::<String>::new());
    let path = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::write(path, &html).unwrap();
    html
}

#[test]
fn the_first_page_says_which_oven_and_what_changed() {
    let session = Session::new(BEFORE, AFTER);
    let html = page_of("evidence.html", &session);
    let text = plain_text(&html);
    for wanted in [
        "Annealing oven 2",
        "Setpoint step 490.0 to 510.0 \u{b0}C, before and after: loop annealer-top",
        "Improved. Better: overshoot, settling time and accumulated error (IAE).",
        "before 13.2 \u{b0}C",
        "after 1.3 \u{b0}C",
    ] {
        assert!(text.contains(wanted), "{wanted:?} is not in:\n{text}");
    }
}
