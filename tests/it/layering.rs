//! Who may know whom: a textual check of the imports in `src`, failing with file and line.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

/// Each module with the modules of this crate it may name.
const MAY_KNOW: &[(&str, &[&str])] = &[
    ("clock", &[]),
    ("name", &[]),
    ("number", &[]),
    ("figures", &[]),
    ("trace", &[]),
    ("heat", &[]),
    ("signals", &[]),
    ("process", &[]),
    ("sample", &["clock", "name", "number", "unit"]),
    ("roles", &["map", "sample"]),
    ("spanned", &["name"]),
    ("unit", &["number", "spanned"]),
    ("map", &["name", "number", "sample", "spanned", "unit"]),
    ("setup", &["map", "name", "spanned"]),
    (
        "line",
        &[
            "clock", "figures", "map", "name", "number", "sample", "setup",
        ],
    ),
    (
        "notice",
        &[
            "clock", "figures", "heat", "line", "map", "name", "number", "roles", "sample",
            "setup", "unit",
        ],
    ),
    (
        "record",
        &[
            "clock", "map", "name", "number", "process", "sample", "setup", "trace", "unit",
        ],
    ),
    (
        "session",
        &[
            "clock", "line", "name", "notice", "record", "sample", "setup",
        ],
    ),
    (
        "hands",
        &[
            "clock", "line", "map", "name", "process", "sample", "session", "setup",
        ],
    ),
    (
        "trend",
        &["clock", "map", "name", "number", "roles", "sample", "setup"],
    ),
    ("analysis", &["figures", "heat", "trace"]),
    (
        "console",
        &[
            "analysis", "clock", "figures", "map", "name", "notice", "number", "roles", "sample",
            "setup", "signals", "trace", "trend", "unit",
        ],
    ),
    (
        "evidence",
        &[
            "analysis", "figures", "name", "number", "record", "sample", "setup", "spanned",
            "trace", "unit",
        ],
    ),
];

/// Crates (and parts of std) that only the named modules may use.
const ONLY_IN: &[(&str, &[&str])] = &[
    ("tokio_modbus", &["line"]),
    ("tokio_serial", &["line"]),
    ("ratatui", &["console"]),
    ("crossterm", &["console"]),
    ("clap", &["cli"]),
    ("mock_device", &["demo"]),
    ("interprocess", &["hands"]),
    ("std::fs", &["spanned", "record", "hands", "cli", "demo"]),
];

#[test]
fn modules_name_only_what_stands_above_them() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut broken = String::new();
    for file in rust_files(&root) {
        let module = module_of(&file, &root);
        let text = fs::read_to_string(&file).unwrap();
        for (number, line) in text.lines().enumerate() {
            for complaint in complaints(&module, line) {
                writeln!(broken, "{}:{}: {complaint}", file.display(), number + 1).unwrap();
            }
        }
    }
    assert!(broken.is_empty(), "\n{broken}");
}

fn complaints(module: &str, line: &str) -> Vec<String> {
    let code = line.split("//").next().unwrap_or_default();
    let mut found = Vec::new();
    if let Some((_, allowed)) = MAY_KNOW.iter().find(|(name, _)| *name == module) {
        for other in code.split("crate::").skip(1).map(first_word) {
            if other != module && !allowed.contains(&other.as_str()) {
                found.push(format!("{module} must not know {other}"));
            }
        }
    }
    for (krate, users) in ONLY_IN {
        let named = code.contains(&format!("{krate}::"));
        if named && !users.contains(&module) {
            found.push(format!("{module} must not use {krate}"));
        }
    }
    found
}

fn first_word(text: &str) -> String {
    text.chars()
        .take_while(|c| c.is_alphanumeric() || *c == '_')
        .collect()
}

fn module_of(file: &Path, root: &Path) -> String {
    let inside = file.strip_prefix(root).unwrap();
    let first = inside
        .components()
        .next()
        .unwrap()
        .as_os_str()
        .to_string_lossy();
    first.trim_end_matches(".rs").to_owned()
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(rust_files(&path));
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
    found
}
