//! The setup that lets emberline poll what this process simulates.

use std::fmt::Write as _;
use std::fs;
use std::io;
use std::path::Path;

use mock_device::registers::{Kind, Layout};
use mock_device::wire::Bus;

/// Where the units are reached, as a setup's line says it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Reached {
    /// `serial`, `tcp` or `rtu_over_tcp`.
    pub(crate) key: &'static str,
    /// Port or address.
    pub(crate) at: String,
    /// Baud rate, where the line must be told.
    pub(crate) baud: Option<u32>,
}

/// A setup with one loop for each unit, its map found in `maps`.
pub(crate) fn setup_text(reached: &Reached, bus: &Bus, maps: &str) -> String {
    let at = basic_string(&reached.at);
    let mut text = format!("schema = 1\n\n[lines.bench]\n{} = {at}\n", reached.key);
    if let Some(baud) = reached.baud {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "baud = {baud}");
    }
    for unit in bus.units() {
        let (number, map) = (unit.number(), map_name(unit.layout()));
        let degrees = |kind, celsius| unit.layout().temperature_unit().of(kind, celsius);
        let _ = write!(
            text,
            "\n[[loops]]\nname = \"oven-{number}\"\nline = \"bench\"\nunit_number = {number}\n\
             map = \"{maps}/{map}\"\nevery = \"1 s\"\nband = {:.1}\nstop_setpoint = {:.1}\n\
             stop_above = {:.1}\n",
            degrees(Kind::Difference, 2.0),
            degrees(Kind::Temperature, 20.0),
            degrees(Kind::Temperature, 560.0),
        );
    }
    text
}

/// What the map of a layout is called; a colon is in no file's name.
fn map_name(layout: &dyn Layout) -> String {
    format!("{}.toml", layout.name().replace(':', "-"))
}

/// Writes `setup.toml` and `maps/NAME.toml` into `folder`, which is made if need be. A layout without
/// a map gets none: somebody is to write it.
pub(crate) fn write_setup(folder: &Path, reached: &Reached, bus: &Bus) -> io::Result<()> {
    let maps = folder.join("maps");
    fs::create_dir_all(&maps)?;
    for unit in bus.units() {
        let layout = unit.layout();
        if !layout.map_text().is_empty() {
            fs::write(maps.join(map_name(layout)), layout.map_text())?;
        }
    }
    fs::write(folder.join("setup.toml"), setup_text(reached, bus, "maps"))
}

/// A TOML basic string (TOML 1.0): backslash and quote escaped, control characters by number.
fn basic_string(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => quoted.extend(['\\', c]),
            c if c.is_control() => {
                let _ = write!(quoted, "\\u{:04X}", u32::from(c));
            }
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn windows_paths_and_quotes_survive_as_toml() {
        assert_eq!(basic_string(r#"C:\a "b""#), r#""C:\\a \"b\"""#);
        assert_eq!(basic_string("a\tb"), r#""a\u0009b""#);
    }
}
