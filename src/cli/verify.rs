//! `emberline verify`: is a recording whole and as it was written.

use std::fmt::Write as _;
use std::io::{self, Write as _};
use std::path::PathBuf;

use chrono::SecondsFormat;
use clap::Args;
use serde_json::{Value, json};

use super::{Exit, Stop};
use crate::figures;
use crate::record::{FileState, Verified, VerifiedLoop, verify};

/// So many gaps of a loop are listed; `--json` has them all.
const LISTED: usize = 10;

/// Check whether a recording is whole and as it was written.
///
/// Compares every closed file with its checksum, the checksums with their chain, and rows with
/// scheduled polls. Restarts and gaps are told; exit code 1 only when something is missing or altered.
///
/// Example: emberline verify recordings/2027-03-04T06-00-00Z_oven
#[derive(Debug, Args)]
pub(super) struct VerifyArgs {
    /// A recording's folder.
    recording: PathBuf,
    /// One JSON document.
    #[arg(long)]
    json: bool,
}

pub(super) fn run(args: &VerifyArgs) -> Result<Exit, Stop> {
    let verified = verify(&args.recording)?;
    let mut out = io::stdout().lock();
    if args.json {
        writeln!(out, "{}", as_json(&verified))?;
    } else {
        out.write_all(text(&verified).as_bytes())?;
    }
    out.flush()?;
    Ok(if verified.is_whole() {
        Exit::Done
    } else {
        Exit::NotMet
    })
}

fn word(state: FileState) -> &'static str {
    match state {
        FileState::Whole => "whole",
        FileState::Altered => "altered",
        FileState::Missing => "missing",
        FileState::Open => "open",
        FileState::Added => "added",
    }
}

fn as_json(verified: &Verified) -> Value {
    let files = verified.files.iter();
    let files: Vec<Value> = files
        .map(|(name, state)| json!({ "name": name, "state": word(*state) }))
        .collect();
    let loops: Vec<Value> = verified.loops.iter().map(loop_json).collect();
    json!({
        "recording": verified.folder,
        "whole": verified.is_whole(),
        "began": rfc3339(verified.facts.began),
        "ended": verified.facts.ended.map(rfc3339),
        "files": files,
        "chain_whole": verified.is_chain_whole,
        "chain": verified.last_link,
        "loops": loops,
    })
}

fn loop_json(it: &VerifiedLoop) -> Value {
    let gaps: Vec<Value> = it
        .gaps
        .iter()
        .map(|(start, duration_s, state)| {
            json!({ "start": rfc3339(*start), "duration_s": (duration_s * 1e3).round() / 1e3, "state": state })
        })
        .collect();
    let steps: Vec<Value> = it
        .clock_steps
        .iter()
        .map(|(from_s, time, by_s)| json!({ "from_s": from_s, "time": rfc3339(*time), "by_s": by_s }))
        .collect();
    let off: Vec<Value> = it
        .off_the_grid
        .iter()
        .map(|(before, missing)| json!({ "before": rfc3339(*before), "missing": missing }))
        .collect();
    json!({
        "loop": it.name,
        "rows": it.rows,
        "scheduled": it.scheduled,
        "states": it.states,
        "gaps": gaps,
        "off_the_grid": off,
        "backwards": it.backwards,
        "clock_steps": steps,
        "off_time": it.off_time,
    })
}

fn rfc3339(time: chrono::DateTime<chrono::Utc>) -> String {
    time.to_rfc3339_opts(SecondsFormat::Millis, true)
}

/// Writing to a String cannot fail.
fn text(verified: &Verified) -> String {
    let mut text = String::new();
    let verdict = match (verified.is_whole(), verified.facts.ended) {
        (true, Some(_)) => "whole, and as it was written",
        (true, None) => "not closed (it is running, or was cut off); whole as far as it goes",
        (false, _) => "NOT WHOLE",
    };
    let _ = writeln!(text, "{}: {verdict}", verified.folder.display());
    for (name, state) in &verified.files {
        let what = match state {
            FileState::Whole | FileState::Open => continue,
            FileState::Altered => "was altered: its checksum is another",
            FileState::Missing => "is missing",
            FileState::Added => "was added: it is not among the checksums",
        };
        let _ = writeln!(text, "  {name} {what}");
    }
    if !verified.is_chain_whole {
        let _ = writeln!(
            text,
            "  SHA256SUMS was altered: a line was removed, replaced or added"
        );
    }
    let of = |wanted| {
        verified
            .files
            .iter()
            .filter(|(_, it)| *it == wanted)
            .count()
    };
    let _ = writeln!(
        text,
        "  {} files agree with their checksums, {} have none yet",
        of(FileState::Whole),
        of(FileState::Open)
    );
    for it in &verified.loops {
        loop_text(&mut text, it);
    }
    if let Some(link) = &verified.last_link {
        let _ = writeln!(
            text,
            "\nChecksums show damage. That nobody has written everything anew is proved only where\n\
             this line was lodged with somebody else in time:\n  chain {link}"
        );
    }
    text
}

fn loop_text(text: &mut String, it: &VerifiedLoop) {
    let states: Vec<String> = it
        .states
        .iter()
        .map(|(state, count)| format!("{state} {}", figures::fixed(*count as f64, 0)))
        .collect();
    let _ = writeln!(
        text,
        "  {}: {} rows for {} scheduled polls: {}",
        it.name,
        figures::fixed(it.rows as f64, 0),
        figures::fixed(it.scheduled as f64, 0),
        states.join(", ")
    );
    for (time, missing) in it.off_the_grid.iter().take(LISTED) {
        let what = if *missing > 0 { "missing" } else { "too many" };
        let count = missing.unsigned_abs();
        let _ = writeln!(text, "    {count} rows {what} before {}", rfc3339(*time));
    }
    if it.backwards > 0 {
        let _ = writeln!(text, "    {} rows are before the row above", it.backwards);
    }
    if it.off_time > 0 {
        let count = it.off_time;
        let _ = writeln!(
            text,
            "    {count} rows have a time that no clock step explains"
        );
    }
    for (from_s, time, by_s) in it.clock_steps.iter().take(LISTED) {
        let time = rfc3339(*time);
        let _ = writeln!(
            text,
            "    the clock moved by {by_s:+.3} s to {time}, from elapsed_s {from_s} on"
        );
    }
    if it.clock_steps.len() > LISTED {
        let more = it.clock_steps.len() - LISTED;
        let _ = writeln!(text, "    and {more} clock steps more (--json)");
    }
    for (start, duration_s, state) in it.gaps.iter().take(LISTED) {
        let duration = figures::duration(*duration_s);
        let _ = writeln!(text, "    {state} for {duration} from {}", rfc3339(*start));
    }
    if it.gaps.len() > LISTED {
        let _ = writeln!(
            text,
            "    and {} gaps more (--json)",
            it.gaps.len() - LISTED
        );
    }
}
