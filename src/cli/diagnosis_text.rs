//! What a loop's figures look like, in sentences: dangers first, history last.

use std::io::{self, Write};

use super::wrapped;
use crate::analysis::{Diagnosis, TuneOutcome, TunedSince};

/// Writes each diagnosis with its evidence, and a line behind them; nothing where there is none.
/// `when` says a time of the record.
pub(super) fn write(
    found: &[Diagnosis],
    when: &dyn Fn(f64) -> String,
    out: &mut dyn Write,
) -> io::Result<()> {
    let mut ordered: Vec<&Diagnosis> = found.iter().collect();
    ordered.sort_by_key(|it| (!it.is_danger, it.tuned_since.is_some()));
    for one in ordered {
        let word = match one.tuned_since {
            _ if one.is_danger => "DANGER".to_owned(),
            Some(tune) => format!(
                "Before the autotune that ended {} it looked like",
                when(tune.at_s)
            ),
            None => "Looks like".to_owned(),
        };
        wrapped::write("", &format!("{word}: {}.", one.text), out)?;
        let first = one
            .start_s
            .map_or_else(String::new, |at_s| format!("from {} on: ", when(at_s)));
        let history = one.tuned_since.map_or("", is_history);
        wrapped::write("  ", &format!("{first}{}{history}", one.evidence), out)?;
    }
    if !found.is_empty() {
        writeln!(out)?;
    }
    Ok(())
}

/// What became of it.
fn is_history(tune: TunedSince) -> &'static str {
    match tune.outcome {
        TuneOutcome::Tuned => "; that is history: the loop has another tuning since",
        _ => "; it may be history: whether that autotune changed the tuning is not known",
    }
}
