//! Map and setup files that nobody would write, each from a number.

use std::fmt::Write as _;

use serde_json::{Map as Object, Value};

use super::random::Random;

/// What is put into good files, and what texts and keys are made of.
const PIECES: [&str; 44] = [
    "",
    "0",
    "-1",
    "1",
    "65535",
    "65536",
    "1e308",
    "-0.0",
    "nan",
    "inf",
    "0x7FFF",
    "1_000",
    "\"",
    "'",
    "\n",
    "[",
    "]",
    "{",
    "}",
    "=",
    ".",
    ",",
    "#",
    "\\",
    "\u{0}",
    "°",
    "炉",
    "\u{feff}",
    "\r",
    "\"\"\"",
    "\"f64\"",
    "\"coil\"",
    "\"reference\"",
    "[[a]]",
    "[points.pv]",
    "bits = \"0..63\"\n",
    "decimals_from = \"pv\"\n",
    "fault_from = \"pv\"\n",
    "unit_from = \"pv\"\n",
    "99999999999999999999",
    "1979-05-27",
    "true",
    "{ a = 1 }",
    "[1, 2]",
];
const TEXTS: [&str; 22] = [
    "pv",
    "sp",
    "shop",
    "maps/full.toml",
    "degC",
    "degF",
    "%",
    " ",
    "",
    "250 ms",
    "1h 30m",
    "5",
    "0s",
    "4..7",
    "7..4",
    "/dev/ttyUSB0",
    "usb:0403:6001",
    "192.0.2.7:502",
    "40001",
    "000001",
    "x y",
    "\u{1b}[2J",
];
const NAMES: [&str; 12] = [
    "pv", "sp", "out", "0", "1", "-1", "0x7FFF", "32767", "-999.0", "start", "x y", "",
];

/// The files that are changed.
#[derive(Debug)]
pub(crate) struct Inputs {
    pub(crate) good: Vec<String>,
    pub(crate) schemas: [Value; 2],
}

impl Inputs {
    /// The text that goes with a number.
    pub(crate) fn of(&self, number: u64) -> String {
        let mut random = Random::new(number);
        let good: Vec<&str> = self.good.iter().map(String::as_str).collect();
        match number % 4 {
            0 => with_pieces(random.pick(&good), &mut random),
            1 => with_other_lines(random.pick(&good), &good, &mut random),
            2 => any_text(&mut random),
            _ => {
                let schemas: Vec<&Value> = self.schemas.iter().collect();
                let document = value(random.pick(&schemas), 4, &mut random);
                let mut text = String::new();
                write_file(&document, &mut text);
                text
            }
        }
    }
}

/// Stretches replaced by pieces.
fn with_pieces(text: &str, random: &mut Random) -> String {
    let mut characters: Vec<char> = text.chars().collect();
    for _ in 0..=random.below(8) {
        let start = random.below(characters.len() + 1);
        let length = if random.in_percent(50) {
            0
        } else {
            random.below(40)
        };
        let end = (start + length).min(characters.len());
        characters.splice(start..end, random.pick(&PIECES).chars());
    }
    characters.into_iter().collect()
}

/// Lines left out, doubled, exchanged, or with another line's value.
fn with_other_lines(text: &str, others: &[&str], random: &mut Random) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    for _ in 0..=random.below(5) {
        if lines.is_empty() {
            break;
        }
        let (at, to) = (random.below(lines.len()), random.below(lines.len()));
        let other = random.pick(others).lines().nth(to).unwrap_or_default();
        match random.below(5) {
            0 => drop(lines.remove(at)),
            1 => lines.insert(to, lines[at].clone()),
            2 => lines.swap(at, to),
            3 => lines.insert(at, other.to_owned()),
            _ => {
                let key = lines[at].split('=').next().unwrap_or_default().to_owned();
                let value = other.split_once('=').map_or(other, |(_, value)| value);
                lines[at] = format!("{key}={value}");
            }
        }
    }
    lines.join("\n")
}

fn any_text(random: &mut Random) -> String {
    let piece = |random: &mut Random| match random.below(4) {
        0 => random.pick(&PIECES).to_owned(),
        1 => random.pick(&TEXTS).to_owned(),
        2 => char::from_u32(random.below(0x11_0000) as u32).map_or(String::new(), String::from),
        _ => char::from(random.below(128) as u8).to_string(),
    };
    (0..random.below(100)).map(|_| piece(random)).collect()
}

/// Something that mostly fits a schema.
fn value(schema: &Value, depth: usize, random: &mut Random) -> Value {
    if random.in_percent(2) || depth == 0 {
        return odd(random);
    }
    if let Some(words) = schema["enum"].as_array() {
        return words[random.below(words.len())].clone();
    }
    if let Some(choices) = schema["anyOf"].as_array() {
        return value(&choices[random.below(choices.len())], depth, random);
    }
    if schema["const"].is_number() {
        return schema["const"].clone();
    }
    let kind = match &schema["type"] {
        Value::Array(kinds) => kinds[random.below(kinds.len())].as_str(),
        kind => kind.as_str(),
    };
    match kind {
        Some("object") => object(schema, depth, random).into(),
        Some("array") => {
            let length = schema["minItems"].as_u64().unwrap_or(0) as usize + random.below(2);
            let items = (0..length).map(|_| value(&schema["items"], depth - 1, random));
            items.collect::<Vec<_>>().into()
        }
        Some("integer") => whole(schema, random).into(),
        Some("number") => (whole(schema, random) as f64 / 8.0).into(),
        Some("boolean") => random.in_percent(50).into(),
        _ => random.pick(&TEXTS).into(),
    }
}

fn whole(schema: &Value, random: &mut Random) -> i64 {
    let end = |key: &str, usual: i64| schema[key].as_i64().unwrap_or(usual);
    let (low, high) = (end("minimum", -9), end("maximum", 40));
    match random.below(20) {
        0 => low - 1,
        1 => high,
        _ => {
            low + random
                .below((high - low + 1).min(60) as usize)
                .cast_signed() as i64
        }
    }
}

fn odd(random: &mut Random) -> Value {
    match random.below(5) {
        0 => i64::MAX.into(),
        1 => (-0.5).into(),
        2 => Value::Array(Vec::new()),
        3 => Value::Object(Object::new()),
        _ => random.pick(&TEXTS).into(),
    }
}

fn object(schema: &Value, depth: usize, random: &mut Random) -> Object<String, Value> {
    let mut object = Object::new();
    let required = schema["required"].as_array();
    for (key, inner) in schema["properties"].as_object().into_iter().flatten() {
        let is_required = required.is_some_and(|keys| keys.iter().any(|it| it == key));
        let chance = if is_required { 98 } else { 30 };
        if random.in_percent(chance) {
            object.insert(key.clone(), value(inner, depth, random));
        }
    }
    let others = &schema["additionalProperties"];
    if others.is_object() {
        for _ in 0..=random.below(4) {
            let key = random.pick(&NAMES).to_owned();
            object.insert(key, value(others, depth - 1, random));
        }
    }
    object
}

/// A document as TOML: tables of tables under headings, as people write them.
fn write_file(document: &Value, text: &mut String) {
    let plain = |value: &&Value| !value.is_object();
    let entries = || document.as_object().into_iter().flatten();
    for (key, value) in entries().filter(|(_, value)| plain(value)) {
        write_line(key, value, text);
    }
    for (key, table) in entries().filter(|(_, value)| !plain(value)) {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "[{key}]");
        let inner = || table.as_object().into_iter().flatten();
        for (key, value) in inner().filter(|(_, value)| plain(value)) {
            write_line(key, value, text);
        }
        for (name, table) in inner().filter(|(_, value)| !plain(value)) {
            let _ = writeln!(text, "[{key}.{name:?}]");
            for (key, value) in table.as_object().into_iter().flatten() {
                write_line(key, value, text);
            }
        }
    }
}

fn write_line(key: &str, value: &Value, text: &mut String) {
    let _ = write!(text, "{key:?} = ");
    write_value(value, text);
    text.push('\n');
}

fn write_value(value: &Value, text: &mut String) {
    match value {
        Value::Object(object) => {
            text.push('{');
            for (at, (key, value)) in object.iter().enumerate() {
                let comma = if at > 0 { ", " } else { "" };
                let _ = write!(text, "{comma}{key:?} = ");
                write_value(value, text);
            }
            text.push('}');
        }
        Value::Array(items) => {
            text.push('[');
            for item in items {
                write_value(item, text);
                text.push(',');
            }
            text.push(']');
        }
        // JSON's notation of texts and numbers is TOML's too.
        other => drop(write!(text, "{other}")),
    }
}
