//! What the readers and the schemas make of an input, and where they differ.

use std::fs;
use std::path::Path;

use emberline::map::Map;
use emberline::setup::{FileErrors, Setup};
use jsonschema::Validator;
use serde_json::Value;

use super::inputs::Inputs;

/// The readers and the schemas.
#[derive(Debug)]
pub(crate) struct Judge {
    pub(crate) inputs: Inputs,
    full_map: String,
    map: Validator,
    setup: Validator,
}

/// How many inputs were what.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Count {
    pub(crate) inputs: u64,
    /// Good TOML.
    pub(crate) toml: u64,
    pub(crate) maps: u64,
    pub(crate) setups: u64,
    /// Good by a schema, whether a reader took it or not.
    pub(crate) by_schema: u64,
}

impl Judge {
    /// Reads the good files of this package.
    pub(crate) fn new() -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let read = |path: &str| fs::read_to_string(root.join(path)).unwrap();
        let full_map = read("tests/files/good/maps/full.toml");
        let inputs = Inputs {
            good: vec![
                full_map.clone(),
                read("tests/files/good/setup.toml"),
                read("configs/maps/annealer.toml"),
                read("src/cli/map/start.toml"),
                read("configs/annealing-oven.toml"),
            ],
            schemas: [Map::schema(), Setup::schema()],
        };
        let [map, setup] = [0, 1].map(|at| jsonschema::draft7::new(&inputs.schemas[at]).unwrap());
        Self {
            inputs,
            full_map,
            map,
            setup,
        }
    }

    /// Has an input read as a map and as a setup. Each gives something or says what is wrong, and
    /// agrees with its schema; where not, this says so.
    pub(crate) fn judge(&self, text: &str, count: &mut Count) -> Result<(), String> {
        let document: Option<Value> = toml::from_str(text).ok();
        count.inputs += 1;
        count.toml += u64::from(document.is_some());
        let map = Map::check(text, "map.toml").map(|(map, _)| map);
        count.maps += u64::from(map.is_ok());
        let full_map = |_: &str| Ok(self.full_map.clone());
        let setup = Setup::parse(text, "setup.toml", "setup", &full_map);
        count.setups += u64::from(setup.is_ok());
        let verdicts = [
            ("map", map.map(drop), &self.map),
            ("setup", setup.map(drop), &self.setup),
        ];
        for (what, read, schema) in verdicts {
            if let Err(errors) = &read
                && (errors.count() == 0 || errors.to_string().is_empty())
            {
                return Err(format!("{what}: refused without a reason"));
            }
            let Some(document) = &document else {
                continue;
            };
            let is_valid = schema.is_valid(document);
            count.by_schema += u64::from(is_valid);
            differ(&read, is_valid).map_err(|how| format!("{what}: {how}"))?;
        }
        Ok(())
    }
}

/// What a reader takes is good by its schema; and what a reader says of a file that is good by its
/// schema is never about keys and types alone.
fn differ(read: &Result<(), FileErrors>, is_valid: bool) -> Result<(), String> {
    match read {
        Ok(()) if !is_valid => Err("read, but not good by the schema".to_owned()),
        Err(errors) if is_valid => {
            let mut said = errors
                .problems()
                .iter()
                .map(|problem| problem.what.as_str());
            let structural = said.find(|what| is_structural(what));
            structural.map_or(Ok(()), |what| {
                Err(format!("good by the schema, but: {what}"))
            })
        }
        Ok(()) | Err(_) => Ok(()),
    }
}

fn is_structural(what: &str) -> bool {
    // Other keys stand in for these, or what they may be depends on another table.
    let depends = ["'table' is missing", "'encoding' is missing", "'address'"];
    // For JSON 4.0 is a whole number.
    let is_float = what.ends_with("must be a whole number, not a number with decimals");
    let structural = [
        "unknown key",
        "' must be ",
        "is missing",
        "contradict each other",
        "lists tables",
    ];
    structural.iter().any(|part| what.contains(part))
        && !is_float
        && !depends.iter().any(|part| what.contains(part))
}
