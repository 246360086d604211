//! What `map check` prints for people.

use std::fmt::Write as _;
use std::io::{self, Write};
use std::time::Duration;

use super::super::wrapped;
use super::check::points_in;
use crate::figures;
use crate::line::{PlannedRead, ReadPlan};
use crate::map::Map;
use crate::setup::Port;
use crate::spanned::Warning;

/// So many columns for the points of a read, behind 48 of where it is, before the line is broken.
const WIDEST: usize = wrapped::WIDTH - 48;

/// The reads of the map, and what they take.
pub(super) fn tell(
    file: &str,
    map: &Map,
    plan: &ReadPlan,
    port: &Port,
    out: &mut dyn Write,
) -> io::Result<()> {
    let points = map.points.len();
    writeln!(out, "{file}: {}, {points} points", map.title)?;
    let setting = port.setting().unwrap_or_default();
    for (what, reads, takes) in [
        ("every poll", &plan.trend, plan.poll_takes()),
        (
            "settings, now and then",
            &plan.settings,
            plan.settings_take(),
        ),
    ] {
        if reads.is_empty() {
            continue;
        }
        let count = match reads.len() {
            1 => "1 read".to_owned(),
            several => format!("{several} reads"),
        };
        writeln!(out, "\n{what}: {count}, {} at {setting}", time(takes))?;
        for read in reads {
            out.write_all(line(map, read).as_bytes())?;
        }
    }
    let turnaround = time(ReadPlan::TURNAROUND);
    writeln!(
        out,
        "\nAddresses as they go over the wire. The controller is taken to need {turnaround}\n\
         before each answer."
    )?;
    if plan
        .trend
        .iter()
        .chain(&plan.settings)
        .any(|read| !read.is_unique)
    {
        let lateness = time(map.access.late_at_most);
        writeln!(
            out,
            "* Another read has the same length: when an answer fails to come, {lateness} are\n  \
             waited before the next question, unless the controller answers function 08."
        )?;
    }
    Ok(())
}

fn line(map: &Map, read: &PlannedRead) -> String {
    let place = read.place;
    let (first, last) = (place.address.0, place.end() - 1);
    let range = match place.count {
        1 => first.to_string(),
        _ => format!("{first} to {last}"),
    };
    let what = match (place.table.is_bits(), place.count) {
        (true, 1) => "bit",
        (true, _) => "bits",
        (false, 1) => "word",
        (false, _) => "words",
    };
    let mark = if read.is_unique { ' ' } else { '*' };
    let mut text = format!(
        "  {:<8} {range:>14}  {:>4} {what:<5} {:>7} {mark} ",
        place.table.word(),
        place.count,
        time(read.takes)
    );
    let indent = text.chars().count();
    let mut column = 0;
    for point in points_in(map, read) {
        let name = point.name.as_str();
        if column > 0 && column + name.len() > WIDEST {
            text.truncate(text.trim_end().len());
            // Writing to a string cannot fail.
            let _ = write!(text, "\n{:indent$}", "");
            column = 0;
        }
        let _ = write!(text, "{name} ");
        column += name.len() + 1;
    }
    text.truncate(text.trim_end().len());
    text + "\n"
}

/// A time on the line, as people say it.
pub(super) fn time(duration: Duration) -> String {
    let ms = duration.as_secs_f64() * 1000.0;
    match ms {
        // From there on milliseconds would round to a second.
        999.5.. => figures::duration(duration.as_secs_f64()),
        _ => format!("{ms:.0} ms"),
    }
}

/// What may not be meant, on standard error.
pub(super) fn warn(warnings: &[Warning]) {
    let mut err = io::stderr().lock();
    for warning in warnings {
        // A courtesy; a closed standard error stops nothing.
        let _ = writeln!(err, "\nwarning: {}", warning.problem);
    }
    let _ = match warnings.len() {
        0 => writeln!(err, "\nno mistakes, nothing doubtful"),
        1 => writeln!(err, "\nno mistakes, 1 warning"),
        several => writeln!(err, "\nno mistakes, {several} warnings"),
    };
}
