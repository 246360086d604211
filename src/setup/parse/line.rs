//! One `[lines.NAME]` table, and all of them.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use crate::setup::AdapterId;
use crate::setup::model::{LineSetup, Parity, Port, StopBits};
use crate::spanned::{Item, Section};

/// How long an answer may take when the setup does not say.
const USUAL_WAIT: Duration = Duration::from_millis(500);
const USUAL_BAUD: u32 = 9600;

/// The lines of a setup.
pub(super) struct Lines<'a> {
    /// Those that could be read, in the order of the file.
    pub(super) setups: Vec<LineSetup>,
    /// The names of all, those that could not be read included.
    pub(super) names: BTreeSet<&'a str>,
}

/// Reads every line.
pub(super) fn read_all<'a>(file: &Section<'a>) -> Lines<'a> {
    let help = "add [lines.NAME] with serial = \"...\", rtu_over_tcp = \"...\" or tcp = \"...\"";
    let items = file
        .require("lines", help, |item| item.section("[lines]"))
        .map(|section| section.entries())
        .unwrap_or_default();
    let mut used = BTreeMap::new();
    Lines {
        names: items.iter().map(Item::key).collect(),
        setups: items
            .iter()
            .filter_map(|item| read_line(item, &mut used))
            .collect(),
    }
}

fn read_line<'a>(item: &Item<'a>, used: &mut BTreeMap<String, &'a str>) -> Option<LineSetup> {
    let section = item.section(&format!("line '{}'", item.key()))?;
    let name = item.key_name();
    let port = port(&section);
    let wait = Duration::from_millis(1)..=Duration::from_mins(1);
    let answer_within = section
        .read("answer_within", |item| item.duration(wait))
        .unwrap_or(USUAL_WAIT);
    section.finish();
    let (place, port) = port?;
    let target = place.text().unwrap_or_default().to_owned();
    if let Some(other) = used.get(&target) {
        let what = format!("{target:?} is already line '{other}'");
        place.note_structure(&what, "one port is one line: put its loops on that line");
    }
    used.entry(target).or_insert(item.key());
    Some(LineSetup {
        name: name?,
        port,
        answer_within,
    })
}

fn port<'a>(section: &Section<'a>) -> Option<(Item<'a>, Port)> {
    let kinds = ["serial", "rtu_over_tcp", "tcp"];
    let named: Vec<Item<'_>> = kinds
        .into_iter()
        .filter_map(|key| section.get(key))
        .collect();
    let serial = serial_keys(section, &named);
    match named.as_slice() {
        [] => {
            let help = "add serial = \"/dev/ttyUSB0\" (or \"COM3\"), rtu_over_tcp = \"host:port\" \
                        or tcp = \"host:port\"";
            section.note_structure("what is it plugged into?", help);
            None
        }
        [item] => Some((item.clone(), one_port(item, serial)?)),
        [first, second, ..] => {
            let what = format!(
                "'{}' and '{}' contradict each other",
                first.key(),
                second.key()
            );
            second.note_key_structure(&what, "a line has one port: keep one, or make two lines");
            None
        }
    }
}

fn one_port(item: &Item<'_>, (baud, parity, stop_bits): SerialKeys) -> Option<Port> {
    match item.key() {
        "serial" => Some(Port::Serial {
            path: port_name(item)?,
            baud,
            parity,
            stop_bits,
        }),
        "tcp" => host_and_port(item, 502).map(Port::Tcp),
        _ => host_and_port(item, 4001).map(Port::RtuOverTcp),
    }
}

fn port_name(item: &Item<'_>) -> Option<String> {
    let text = item.text()?;
    if text.trim().is_empty() {
        let help = "write the port's name, for example \"/dev/ttyUSB0\" or \"COM3\"";
        item.note("'serial' is empty", help);
        return None;
    }
    if let Some(Err(_)) = AdapterId::parse(text) {
        let what = format!("{text:?} is no adapter's identity");
        item.note(&what, AdapterId::NOTATION);
        return None;
    }
    Some(text.to_owned())
}

fn host_and_port(item: &Item<'_>, usual: u16) -> Option<String> {
    let text = item.text()?;
    let parts = text.rsplit_once(':').and_then(|(host, port)| {
        let port: u16 = port.parse().ok()?;
        let is_host = !host.is_empty()
            && !host.contains(|c: char| c.is_whitespace() || c == '/')
            // An address with colons stands in brackets, or its last part would be taken for a port.
            && (!host.contains(':') || host.starts_with('[') && host.ends_with(']'));
        (port > 0 && is_host).then_some(text)
    });
    if parts.is_none() {
        let help = format!(
            "write host and port, for example \"192.0.2.7:{usual}\" or \"[2001:db8::7]:{usual}\""
        );
        item.note(&format!("{text:?} is no host:port"), help);
    }
    parts.map(str::to_owned)
}

type SerialKeys = (u32, Parity, StopBits);

/// Reads the keys that only a serial port has; on another port they are noted.
fn serial_keys(section: &Section<'_>, ports: &[Item<'_>]) -> SerialKeys {
    let baud = section.read("baud", |item| item.whole(110..=4_000_000));
    let parity = section.read("parity", Item::word);
    let stop_bits = section.read("stop_bits", |item| item.whole(1..=2));
    if let [port] = ports
        && port.key() != "serial"
    {
        let serial_only = ["baud", "parity", "stop_bits"].map(|key| section.get(key));
        for item in serial_only.into_iter().flatten() {
            let what = format!("a line with '{}' has no '{}'", port.key(), item.key());
            let help = "leave it out here; it is set in the serial adapter";
            item.note_key_structure(&what, help);
        }
    }
    let stop_bits = match stop_bits {
        Some(2) => StopBits::Two,
        _ => StopBits::One,
    };
    let baud = baud.map_or(USUAL_BAUD, |baud| baud as u32);
    (baud, parity.unwrap_or_default(), stop_bits)
}
