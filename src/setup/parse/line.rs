//! One `[lines.NAME]` table, and all of them.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use serde_json::{Value, json};

use super::keys::{Line as Keys, PORTS, SERIAL_ONLY, SetupFile};
use crate::setup::AdapterId;
use crate::setup::model::{LineSetup, Parity, Port, StopBits};
use crate::spanned::{Item, Kind, Section};

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
    let tables = file.require(&SetupFile::LINES).unwrap_or_default();
    let mut used = BTreeMap::new();
    Lines {
        names: tables.iter().map(|(item, _)| item.key()).collect(),
        setups: tables
            .iter()
            .filter_map(|(item, section)| read_line(item, section.as_ref()?, &mut used))
            .collect(),
    }
}

fn read_line<'a>(
    item: &Item<'a>,
    section: &Section<'a>,
    used: &mut BTreeMap<String, &'a str>,
) -> Option<LineSetup> {
    let name = item.key_name();
    let port = port(section);
    let answer_within = section.read(&Keys::ANSWER_WITHIN).unwrap_or(USUAL_WAIT);
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
    let named = section.present(PORTS.keys);
    let (baud, parity, stop_bits) = serial_keys(section, &named);
    if section.contradicts(&PORTS) {
        return None;
    }
    let Some(item) = named.into_iter().next() else {
        let help = "add serial = \"/dev/ttyUSB0\" (or \"COM3\"), rtu_over_tcp = \"host:port\" \
                    or tcp = \"host:port\"";
        section.note_structure("what is it plugged into?", help);
        return None;
    };
    let serial = section.read(&Keys::SERIAL).map(|path| Port::Serial {
        path,
        baud,
        parity,
        stop_bits,
    });
    let over_tcp = || section.read(&Keys::RTU_OVER_TCP).map(Port::RtuOverTcp);
    let tcp = || section.read(&Keys::TCP).map(Port::Tcp);
    Some((item, serial.or_else(over_tcp).or_else(tcp)?))
}

/// The name of a serial port, or an adapter's identity.
#[derive(Clone, Copy, Debug)]
pub(super) struct PortName;

impl Kind for PortName {
    type Value<'a> = String;

    fn read(&self, item: &Item<'_>) -> Option<String> {
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

    fn schema(&self) -> Value {
        json!({ "type": "string", "pattern": r"\S" })
    }
}

/// `host:port`; an address with colons stands in brackets.
#[derive(Clone, Copy, Debug)]
pub(super) struct HostPort {
    /// The port in the example of its message.
    pub(super) usual: u16,
}

impl Kind for HostPort {
    type Value<'a> = String;

    fn read(&self, item: &Item<'_>) -> Option<String> {
        host_and_port(item, self.usual)
    }

    fn schema(&self) -> Value {
        json!({ "type": "string", "pattern": r"^[!-.0-~]+:\+?[0-9]+$" })
    }
}

fn host_and_port(item: &Item<'_>, usual: u16) -> Option<String> {
    let text = item.text()?;
    let parts = text.rsplit_once(':').and_then(|(host, port)| {
        let port: u16 = port.parse().ok()?;
        let is_host = !host.is_empty()
            // What cannot be seen is no part of a name, and a path none of a host.
            && host.chars().all(|c| c.is_ascii_graphic() && c != '/')
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
    let baud = section.read(&Keys::BAUD);
    let parity = section.read(&Keys::PARITY);
    let stop_bits = section.read(&Keys::STOP_BITS);
    if let [port] = ports
        && port.key() != "serial"
    {
        for item in section.present(SERIAL_ONLY) {
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
