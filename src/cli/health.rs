//! How well a line answers, and what to check about it: as text and as JSON.

use std::io::{self, Write as _};

use serde_json::{Value, json};

use crate::notice::Advice;
use crate::record::LineHealth;
use crate::sample::Health;

/// A loop's health, in the names `recording.toml` has too.
pub(super) fn health_json(health: &Health) -> Value {
    json!(LineHealth::of(health))
}

/// Advice as a note.
pub(super) fn note_json(advice: &Advice) -> Value {
    let text = format!("{}; first check {}", advice.what(), advice.first());
    json!({ "code": advice.pattern.code(), "about": advice.about, "text": text })
}

/// Says it on standard error.
pub(super) fn tell_advice(advice: &Advice) {
    // A courtesy; a closed standard error stops nothing.
    let _ = writeln!(
        io::stderr(),
        "{}\nhelp: check {}",
        advice.what(),
        advice.first()
    );
}
