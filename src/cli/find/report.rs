//! What a sweep found, for people and for scripts.

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::snippet::{best_port, left_out, setup_text};
use crate::line::{Answer, Found, Outcome, PresentPort, exception_name};
use crate::setup::Port;

/// One JSON document.
pub(super) fn json(outcome: &Outcome, complete: bool, present: &[PresentPort]) -> Value {
    let found: Vec<Value> = outcome.found.iter().map(found_json).collect();
    json!({
        "found": found,
        "complete": complete,
        "setup": setup_text(outcome, present),
    })
}

fn found_json(found: &Found) -> Value {
    let (mut answers, mut refused) = (Vec::new(), Vec::new());
    for (function, answer) in &found.answers {
        let function = format!("{function:02X}");
        match answer {
            Answer::Value(_) => answers.push(function),
            Answer::Refused(code) => refused.push(json!({
                "function": function, "exception": code, "meaning": exception_name(*code),
            })),
        }
    }
    let (baud, parity, stop_bits) = match &found.port {
        Port::Serial {
            baud,
            parity,
            stop_bits,
            ..
        } => (Some(*baud), Some(parity.word()), Some(stop_bits.count())),
        Port::RtuOverTcp(_) | Port::Tcp(_) => (None, None, None),
    };
    json!({
        "unit": found.unit.get(),
        "baud": baud,
        "parity": parity,
        "stop_bits": stop_bits,
        "answers": answers,
        "refused": refused,
        "answer_ms": (found.took.as_secs_f64() * 10_000.0).round() / 10.0,
        "identification": found.identification,
    })
}

/// What was found, as a setup file whose remarks tell the rest.
pub(super) fn text(outcome: &Outcome, present: &[PresentPort]) -> String {
    let Some((port, setup)) = best_port(outcome).zip(setup_text(outcome, present)) else {
        return String::new();
    };
    let units = outcome.found.iter().filter(|it| it.port == *port).count();
    let units = match units {
        1 => "1 unit answers".to_owned(),
        several => format!("{several} units answer"),
    };
    let mut text = format!("# {units} on {port}:\n#\n#   unit  answers in  function\n");
    for found in outcome.found.iter().filter(|it| it.port == *port) {
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "#   {:>4}  {:>7.0} ms  {}",
            found.unit.get(),
            (found.took.as_secs_f64() * 1000.0).max(1.0),
            functions(found)
        );
        if let Some(it) = &found.identification {
            let words = [&it.vendor, &it.product, &it.revision].map(String::as_str);
            let words: Vec<&str> = words.into_iter().filter(|word| !word.is_empty()).collect();
            let _ = writeln!(
                text,
                "#                     it says it is: {}",
                words.join(", ")
            );
        }
    }
    let left_out = left_out(outcome);
    if !left_out.is_empty() {
        let _ = writeln!(
            text,
            "#\n# A line has one setting, so these are not in the setup: {}.",
            left_out.join(", ")
        );
    }
    let _ = write!(text, "#\n# The setup that goes with it:\n\n{setup}");
    text
}

/// What a unit answered to: `03; 04 refused (illegal function)`.
pub(super) fn functions(found: &Found) -> String {
    let said = |(function, answer): &(u8, Answer)| match answer {
        Answer::Value(_) => format!("{function:02X}"),
        Answer::Refused(code) => {
            format!("{function:02X} refused ({})", exception_name(*code))
        }
    };
    let said: Vec<String> = found.answers.iter().map(said).collect();
    said.join("; ")
}

/// What of a port is tried: its setting, where it has any.
pub(super) fn setting(port: &Port) -> String {
    match port {
        Port::RtuOverTcp(address) | Port::Tcp(address) => address.clone(),
        Port::Serial { .. } => port.setting().unwrap_or_default(),
    }
}

/// Signs of trouble that a person should know of whatever was found; a line each.
pub(super) fn remarks(outcome: &Outcome) -> Vec<String> {
    let mut remarks: Vec<String> = outcome.noise.iter().cloned().collect();
    if !outcome.strangers.is_empty() {
        let names: Vec<String> = outcome
            .strangers
            .iter()
            .map(|(unit, function)| format!("unit {unit} function {function:02X}"))
            .collect();
        remarks.push(format!(
            "heard though nobody asked it: {}; another master polls this line",
            names.join(", ")
        ));
    }
    if let Some((port, unit)) = outcome.damaged.first() {
        remarks.push(format!(
            "{} of those asked sent something damaged, unit {} at {} the first: check the setting \
             near it, A/B, the line's termination, and that no two units share a number",
            outcome.damaged.len(),
            unit.get(),
            setting(port)
        ));
    }
    if let Some((port, error)) = outcome.untried.first() {
        remarks.push(format!(
            "not tried to the end at {} of the settings, the first {}: {error}",
            outcome.untried.len(),
            setting(port)
        ));
    }
    remarks
}
