//! `emberline mark`: a note on the time axis of a running recording.

use std::io::{self, Write as _};
use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::read::chosen;
use super::running::runtime;
use super::{Exit, Stop, target};
use crate::hands::{Key, reach};
use crate::name::Name;
use crate::record::Opened;

/// Put a note on the time axis of a running recording.
///
/// Works from any terminal of the machine that records, for the user who records.
///
/// Example: emberline mark recordings/2027-03-04T06-00-00Z_oven "door opened"
#[derive(Debug, Args)]
pub(super) struct MarkArgs {
    /// The recording's folder.
    recording: PathBuf,
    /// What happened.
    #[arg(value_parser = note)]
    text: String,
    /// Only at this loop; at all loops without it.
    #[arg(long = "loop", value_name = "NAME")]
    only: Option<Name>,
    /// One JSON document.
    #[arg(long)]
    json: bool,
}

/// A line of its own in `events.csv`, and short enough for a screen to show.
const LONGEST: usize = 400;

fn note(text: &str) -> Result<String, String> {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    match text.chars().count() {
        0 => Err("say what happened, in a few words".to_owned()),
        1..=LONGEST if !text.contains(char::is_control) => Ok(text),
        1..=LONGEST => Err("a note is text on one line".to_owned()),
        long => Err(format!(
            "a note has at most {LONGEST} characters, not {long}"
        )),
    }
}

pub(super) fn run(args: &MarkArgs) -> Result<Exit, Stop> {
    let opened = target::recording(&args.recording)?;
    if args.only.is_some() {
        chosen(&opened.setup, args.only.as_ref())?;
    }
    let time = runtime()?.block_on(async {
        let reached = reach(&Key::recording(&args.recording)).await;
        let mut owner = reached.ok_or_else(|| nobody(&opened))?;
        let marked = owner.mark(args.only.as_ref(), &args.text).await;
        marked.map_err(|error| {
            let text = format!(
                "{} did not take the mark: {error}\nhelp: see that it still records, then try again",
                owner.owner
            );
            Stop::new(Exit::Files, text)
        })
    })?;
    let mut out = io::stdout().lock();
    if args.json {
        let line = json!({ "time": time, "loop": args.only, "text": args.text });
        writeln!(out, "{line}")?;
    } else {
        writeln!(out, "{time}  {}", args.text)?;
    }
    Ok(Exit::Done)
}

fn nobody(opened: &Opened) -> Stop {
    let folder = opened.folder.display();
    let text = match opened.facts.ended {
        Some(ended) => format!(
            "{folder} takes no more marks: it ended at {}\nhelp: marks go into a recording that is running",
            ended.to_rfc3339_opts(chrono::SecondsFormat::Secs, true)
        ),
        None => format!(
            "nobody here is recording into {folder}\n\
             help: run this on the machine that records, as the user who records; \
             a recording that was not closed goes on with the 'emberline record' that began it"
        ),
    };
    Stop::new(Exit::Files, text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_note_is_one_short_line() {
        assert_eq!(note("  door\n opened "), Ok("door opened".to_owned()));
        for text in ["", " \t ", "bell \u{7}", &"x".repeat(401)] {
            assert!(note(text).is_err(), "{text:?}");
        }
    }
}
