//! The JSON Schemas against the readers they were made with, by a validator that knows neither
//! (crate `jsonschema`).

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use emberline::map::Map;
use emberline::setup::Setup;
use jsonschema::Validator;
use serde_json::Value;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn validator(schema: &Value) -> Validator {
    jsonschema::draft7::new(schema).unwrap()
}

/// The TOML files of a folder.
fn files(folder: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(root().join(folder)).unwrap();
    let paths = entries.map(|entry| entry.unwrap().path());
    let mut files: Vec<PathBuf> = paths
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .collect();
    files.sort();
    assert!(!files.is_empty(), "{folder}");
    files
}

fn json_of(path: &Path) -> Option<Value> {
    toml::from_str(&fs::read_to_string(path).unwrap()).ok()
}

#[test]
fn the_schemas_in_configs_are_current() {
    for (file, schema, option) in [
        ("map.schema.json", Map::schema(), ""),
        ("setup.schema.json", Setup::schema(), " --setup"),
    ] {
        let kept = fs::read_to_string(root().join("configs").join(file)).unwrap();
        assert!(
            kept.replace('\r', "") == format!("{schema:#}\n"),
            "run: cargo run -- map schema{option} > configs/{file}"
        );
    }
}

#[test]
fn every_file_in_configs_tells_editors_its_schema() {
    for (folder, header) in [
        ("configs", "#:schema setup.schema.json"),
        ("configs/maps", "#:schema ../map.schema.json"),
    ] {
        for path in files(folder) {
            let text = fs::read_to_string(&path).unwrap();
            let shown = path.display();
            assert_eq!(text.lines().next(), Some(header), "{shown}: its first line");
            let schema = header.trim_start_matches("#:schema ");
            assert!(path.parent().unwrap().join(schema).is_file(), "{shown}");
        }
    }
}

#[test]
fn every_good_map_and_setup_is_good_by_its_schema() {
    let (map, setup) = (validator(&Map::schema()), validator(&Setup::schema()));
    for (folder, by) in [
        ("configs/maps", &map),
        ("tests/files/good/maps", &map),
        ("tests/files/doubtful", &map),
        ("tests/peers/maps", &map),
        ("configs", &setup),
        ("tests/files/good", &setup),
        ("tests/peers", &setup),
    ] {
        for path in files(folder) {
            let document = json_of(&path).unwrap();
            let errors: Vec<String> = by
                .iter_errors(&document)
                .map(|error| format!("{}: {error}", error.instance_path()))
                .collect();
            assert!(errors.is_empty(), "{}: {errors:#?}", path.display());
        }
    }
}

/// Bad files that a schema cannot see through: what is wrong follows from several tables or points,
/// from what a text or number means, or from another file.
const BEYOND_A_SCHEMA: [&str; 22] = [
    "map-bit-without-number",
    "map-columns-that-collide",
    "map-decimals-in-a-circle",
    "map-f32-at-the-last-address",
    "map-f64-past-the-last-address",
    "map-longer-than-one-read",
    "map-one-based-addresses",
    "map-partial-overlap",
    "map-process-value-is-slow",
    "map-role-taken-twice",
    "map-same-bit-twice",
    "map-same-register-twice",
    "map-scaled-bit",
    "map-unit-from-a-point-without-names",
    "map-unknown-points-named",
    "map-valid-upside-down",
    "setup-adapter-identity",
    "setup-map-not-there",
    "setup-map-without-process-value",
    "setup-port-twice",
    "setup-same-loop-twice",
    "setup-unknown-line",
];

#[test]
fn a_bad_file_is_bad_by_its_schema_unless_that_takes_more_than_one_table() {
    let (map, setup) = (validator(&Map::schema()), validator(&Setup::schema()));
    let mut passed = Vec::new();
    for path in files("tests/files/bad") {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let by = if name.starts_with("setup-") {
            &setup
        } else {
            &map
        };
        if json_of(&path).is_some_and(|document| by.is_valid(&document)) {
            passed.push(name);
        }
    }
    assert_eq!(passed, BEYOND_A_SCHEMA);
}

/// Every path of keys that a schema knows; `*` stands for a name a person gives.
fn known_paths(schema: &Value, path: &str, found: &mut BTreeSet<String>) {
    for (key, inner) in schema["properties"].as_object().into_iter().flatten() {
        let path = format!("{path}.{key}");
        known_paths(inner, &path, found);
        found.insert(path);
    }
    if schema["additionalProperties"].is_object() {
        known_paths(&schema["additionalProperties"], &format!("{path}.*"), found);
    }
    if schema["items"].is_object() {
        known_paths(&schema["items"], path, found);
    }
}

/// Every path of keys that stands in a document, as far as the schema tells them from names.
fn used_paths(document: &Value, schema: &Value, path: &str, found: &mut BTreeSet<String>) {
    for item in document.as_array().into_iter().flatten() {
        used_paths(item, &schema["items"], path, found);
    }
    for (key, value) in document.as_object().into_iter().flatten() {
        let known = &schema["properties"][key];
        if known.is_object() {
            let path = format!("{path}.{key}");
            used_paths(value, known, &path, found);
            found.insert(path);
        } else {
            used_paths(
                value,
                &schema["additionalProperties"],
                &format!("{path}.*"),
                found,
            );
        }
    }
}

/// What the readers make of these files is checked in `good_files`; so a key of a schema that no
/// reader knows would be a mistake there, and a key of a reader is in a schema by its making.
#[test]
fn the_good_files_use_every_key_there_is() {
    for (schema, folder) in [
        (Map::schema(), "tests/files/good/maps"),
        (Setup::schema(), "tests/files/good"),
    ] {
        let (mut known, mut used) = (BTreeSet::new(), BTreeSet::new());
        known_paths(&schema, "", &mut known);
        for path in files(folder) {
            used_paths(&json_of(&path).unwrap(), &schema, "", &mut used);
        }
        assert!(known.len() > 20);
        assert_eq!(known, used);
    }
}
