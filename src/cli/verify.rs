//! `emberline verify`: is a recording whole and as it was written.

use std::io::{self, Write as _};
use std::path::PathBuf;

use chrono::SecondsFormat;
use clap::Args;
use serde_json::{Value, json};

use super::{Exit, Stop, wrapped};
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
        write_text(&verified, &mut out)?;
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

fn write_text(verified: &Verified, out: &mut dyn io::Write) -> io::Result<()> {
    let verdict = match (verified.is_whole(), verified.facts.ended) {
        (true, Some(_)) => "whole, and as it was written",
        (true, None) => "not closed (it is running, or was cut off); whole as far as it goes",
        (false, _) => "NOT WHOLE",
    };
    let folder = verified.folder.display();
    wrapped::write("", &format!("{folder}: {verdict}"), out)?;
    for (name, state) in &verified.files {
        let what = match state {
            FileState::Whole | FileState::Open => continue,
            FileState::Altered => "was altered: its checksum is another",
            FileState::Missing => "is missing",
            FileState::Added => "was added: it is not among the checksums",
        };
        wrapped::write("  ", &format!("{name} {what}"), out)?;
    }
    if !verified.is_chain_whole {
        let altered = "SHA256SUMS was altered: a line was removed, replaced or added";
        wrapped::write("  ", altered, out)?;
    }
    let of = |wanted| {
        let states = verified.files.iter().map(|(_, state)| *state);
        states.filter(|it| *it == wanted).count()
    };
    let sums = format!(
        "{} files agree with their checksums, {} have none yet",
        of(FileState::Whole),
        of(FileState::Open)
    );
    wrapped::write("  ", &sums, out)?;
    for it in &verified.loops {
        write_loop(it, out)?;
    }
    if let Some(link) = &verified.last_link {
        writeln!(out)?;
        let proof = "Checksums show damage. That nobody has written everything anew is proved only \
                     where this line was lodged with somebody else in time:";
        wrapped::write("", proof, out)?;
        // Whole, to be copied.
        writeln!(out, "  chain {link}")?;
    }
    Ok(())
}

fn write_loop(it: &VerifiedLoop, out: &mut dyn io::Write) -> io::Result<()> {
    let states = it.states.iter();
    let states: Vec<String> = states
        .map(|(state, count)| format!("{state} {}", figures::fixed(*count as f64, 0)))
        .collect();
    let rows = format!(
        "{}: {} rows for {} scheduled polls: {}",
        it.name,
        figures::fixed(it.rows as f64, 0),
        figures::fixed(it.scheduled as f64, 0),
        states.join(", ")
    );
    wrapped::write("  ", &rows, out)?;
    write_grid(it, out)?;
    for (start, duration_s, state) in it.gaps.iter().take(LISTED) {
        let duration = figures::duration(*duration_s);
        let text = format!("{state} for {duration} from {}", rfc3339(*start));
        wrapped::write("    ", &text, out)?;
    }
    and_more(it.gaps.len(), "gaps", out)
}

/// Rows that are not where the schedule and the clock would have them.
fn write_grid(it: &VerifiedLoop, out: &mut dyn io::Write) -> io::Result<()> {
    for (time, missing) in it.off_the_grid.iter().take(LISTED) {
        let what = if *missing > 0 { "missing" } else { "too many" };
        let count = missing.unsigned_abs();
        let text = format!("{count} rows {what} before {}", rfc3339(*time));
        wrapped::write("    ", &text, out)?;
    }
    if it.backwards > 0 {
        let text = format!("{} rows are before the row above", it.backwards);
        wrapped::write("    ", &text, out)?;
    }
    if it.off_time > 0 {
        let count = it.off_time;
        let text = format!("{count} rows have a time that no clock step explains");
        wrapped::write("    ", &text, out)?;
    }
    for (from_s, time, by_s) in it.clock_steps.iter().take(LISTED) {
        let time = rfc3339(*time);
        let text = format!("the clock moved by {by_s:+.3} s to {time}, from elapsed_s {from_s} on");
        wrapped::write("    ", &text, out)?;
    }
    and_more(it.clock_steps.len(), "clock steps", out)
}

/// What is not listed.
fn and_more(count: usize, what: &str, out: &mut dyn io::Write) -> io::Result<()> {
    if count <= LISTED {
        return Ok(());
    }
    let text = format!("and {} {what} more (--json)", count - LISTED);
    wrapped::write("    ", &text, out)
}
