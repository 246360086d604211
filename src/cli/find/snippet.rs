//! What was found, as a setup that `read` and `record` take once the maps are written.

use std::fmt::Write as _;
use std::time::Duration;

use crate::line::{Found, Outcome, PresentPort, lasting_name};
use crate::setup::Port;

/// An answer may take this much in a setup that does not say; slower units need to be given more.
const USUAL_WAIT: Duration = Duration::from_millis(500);

/// A setup with one loop for each unit at the setting where most were found; `None` when there is
/// none. A line has one setting: units found at others are left out.
pub(super) fn setup_text(outcome: &Outcome, present: &[PresentPort]) -> Option<String> {
    let port = best_port(outcome)?;
    let units: Vec<&Found> = outcome.found.iter().filter(|it| it.port == *port).collect();
    let mut text = format!("schema = 1\n\n[lines.line-1]\n{}", line_keys(port, present));
    let slowest = units
        .iter()
        .map(|found| found.took)
        .max()
        .unwrap_or_default();
    if 2 * slowest > USUAL_WAIT {
        let needed = (2 * slowest.as_millis()).div_ceil(500) * 500;
        // Writing to a string cannot fail.
        let _ = writeln!(text, "answer_within = \"{needed} ms\"");
    }
    for found in units {
        let unit = found.unit.get();
        let _ = write!(
            text,
            "\n[[loops]]\nname = \"unit-{unit}\"\nline = \"line-1\"\nunit_number = {unit}\n\
             map = \"maps/controller.toml\"  # to be written: what its registers mean\n"
        );
    }
    Some(text)
}

/// The setting at which most units were found, the first of several.
pub(super) fn best_port(outcome: &Outcome) -> Option<&Port> {
    let count = |port: &Port| outcome.found.iter().filter(|it| it.port == *port).count();
    let ports = outcome.found.iter().map(|found| &found.port);
    ports.rev().max_by_key(|port| count(port))
}

fn line_keys(port: &Port, present: &[PresentPort]) -> String {
    match port {
        Port::Serial {
            path,
            baud,
            parity,
            stop_bits,
        } => {
            let here = present.iter().find(|port| port.name == *path);
            let lasting = here.map_or_else(|| path.clone(), |port| lasting_name(port, present));
            let remark = if lasting == *path {
                String::new()
            } else {
                format!("  # now {path}")
            };
            format!(
                "serial = {}{remark}\nbaud = {baud}\nparity = \"{}\"\nstop_bits = {}\n",
                quoted(&lasting),
                parity.word(),
                stop_bits.count()
            )
        }
        Port::RtuOverTcp(address) => format!("rtu_over_tcp = {}\n", quoted(address)),
        Port::Tcp(address) => format!("tcp = {}\n", quoted(address)),
    }
}

/// A text as TOML writes it.
pub(super) fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

/// Units that the setup leaves out, with their setting.
pub(super) fn left_out(outcome: &Outcome) -> Vec<String> {
    let best = best_port(outcome);
    let elsewhere = outcome.found.iter().filter(|it| Some(&it.port) != best);
    elsewhere
        .map(|found| format!("unit {} on {}", found.unit.get(), found.port))
        .collect()
}
