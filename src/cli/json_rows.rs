//! JSON objects of one shape as rows of a CSV: the names are the columns.

use std::fmt;
use std::io::{self, Write};

use serde::Serialize;
use serde::de::{Deserialize, Deserializer, MapAccess, Visitor};
use serde_json::Value;

/// An object's names and values in the order they were written.
struct Row(Vec<(String, Value)>);

/// Writes a header and one row for each object (RFC 4180, LF line ends); `null` is an empty cell, a list
/// of notes their texts, one after the other. No object, no header.
pub(super) fn write<T: Serialize>(
    objects: impl IntoIterator<Item = T>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let mut writer = csv::Writer::from_writer(out);
    let mut has_header = false;
    for object in objects {
        let Row(row) = serde_json::from_str(&serde_json::to_string(&object)?)?;
        if !has_header {
            writer.write_record(row.iter().map(|(name, _)| name))?;
            has_header = true;
        }
        writer.write_record(row.iter().map(|(_, value)| cell(value)))?;
    }
    writer.flush()
}

fn cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(notes) => {
            // What only says that there is no such thing is an empty cell already.
            let told = notes.iter().filter(|note| note["code"] != "none");
            let texts: Vec<String> = told.map(|note| cell(&note["text"])).collect();
            texts.join("; ")
        }
        other => other.to_string(),
    }
}

impl<'de> Deserialize<'de> for Row {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        deserializer.deserialize_map(Names)
    }
}

struct Names;

impl<'de> Visitor<'de> for Names {
    type Value = Row;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Row, A::Error> {
        let mut row = Vec::new();
        while let Some(named) = map.next_entry()? {
            row.push(named);
        }
        Ok(Row(row))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn names_are_columns_and_null_is_an_empty_cell() {
        #[derive(Serialize)]
        struct Object {
            kind: &'static str,
            a_s: Option<f64>,
            notes: Value,
        }
        let object = |a_s| Object {
            kind: "a, b",
            a_s,
            notes: json!([{"text": "one"}, {"code": "none", "text": "no"}, {"text": "two"}]),
        };
        let mut out = Vec::new();
        write([object(Some(1.5)), object(None)], &mut out).unwrap();
        let text = String::from_utf8(out).unwrap();
        let expected = "kind,a_s,notes\n\"a, b\",1.5,one; two\n\"a, b\",,one; two\n";
        assert_eq!(text, expected);
    }
}
