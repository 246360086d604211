//! Which serial ports there are, and under which name an adapter is found now.
//!
//! A port's name goes with the order of plugging in; an adapter's identity stays. Where a setup
//! names an identity, it is looked up at every opening.

use std::path::Path;

use tokio_serial::{SerialPortInfo, SerialPortType};

use super::port::PortError;
use crate::setup::{AdapterId, Port};

/// Where Linux keeps lasting names of adapters.
const LASTING_NAMES: &str = "/dev/serial/by-id";

/// A serial port of this machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PresentPort {
    /// Its name now.
    pub name: String,
    /// The adapter's identity, where it has one.
    pub id: Option<AdapterId>,
    /// What the adapter says it is.
    pub about: Option<String>,
}

impl PresentPort {
    fn of(info: SerialPortInfo) -> Self {
        let usb = match info.port_type {
            SerialPortType::UsbPort(usb) => Some(usb),
            SerialPortType::PciPort | SerialPortType::BluetoothPort | SerialPortType::Unknown => {
                None
            }
        };
        let about = usb.as_ref().and_then(|usb| usb.product.clone());
        Self {
            name: info.port_name,
            id: usb.map(|usb| AdapterId {
                vendor: usb.vid,
                product: usb.pid,
                serial: usb.serial_number.filter(|serial| !serial.is_empty()),
            }),
            about,
        }
    }
}

/// The serial ports of this machine, sorted by name.
pub fn present_ports() -> Vec<PresentPort> {
    // The serial crate panics on a Linux without it, as in some containers.
    if cfg!(target_os = "linux") && !Path::new("/sys/class/tty").is_dir() {
        return Vec::new();
    }
    let ports = tokio_serial::available_ports().unwrap_or_default();
    sorted(ports.into_iter().map(PresentPort::of).collect())
}

/// macOS lists each port twice; the `tty` one waits for a carrier that these lines do not have.
fn sorted(mut ports: Vec<PresentPort>) -> Vec<PresentPort> {
    let names: Vec<String> = ports.iter().map(|port| port.name.clone()).collect();
    ports.retain(|port| match port.name.strip_prefix("/dev/tty.") {
        Some(rest) => !names.contains(&format!("/dev/cu.{rest}")),
        None => true,
    });
    ports.sort_by(|a, b| a.name.cmp(&b.name));
    ports
}

/// How a setup names `port` so that it is found again after replugging: by identity where that
/// tells it from all others present, by the system's lasting name where there is one, else by its
/// name of today.
pub fn lasting_name(port: &PresentPort, present: &[PresentPort]) -> String {
    let by_id = || lasting_link(Path::new(LASTING_NAMES), &port.name);
    match &port.id {
        Some(id) if meant(id, present).count() == 1 => id.to_string(),
        Some(_) | None => by_id().unwrap_or_else(|| port.name.clone()),
    }
}

/// What stays the same about a port, whichever of its names a setup gives: an adapter's identity, or
/// where its links lead; of a connection its address.
pub fn lasting_identity(port: &Port) -> String {
    let named = match port {
        Port::Serial { path, .. } => path,
        Port::RtuOverTcp(address) | Port::Tcp(address) => return address.to_ascii_lowercase(),
    };
    // Of an adapter that is not plugged in its name is all that is known.
    let device = device(port_now(named).unwrap_or_else(|_| named.clone()));
    let present = present_ports();
    match present.iter().find(|port| port.name == device) {
        Some(port) => lasting_name(port, &present).to_ascii_lowercase(),
        None => device,
    }
}

/// Where the links of a port's name lead. A port of Windows is no file, only a name in whichever case:
/// looking for the file would open the port.
fn device(name: String) -> String {
    if cfg!(windows) {
        return name.to_ascii_uppercase();
    }
    let path = Path::new(&name).canonicalize().ok();
    path.as_deref()
        .and_then(Path::to_str)
        .map_or(name, str::to_owned)
}

/// Whether a port is there at all, though it may not let itself be opened.
pub(super) fn is_there(name: &str, present: &[PresentPort]) -> bool {
    if cfg!(windows) {
        is_listed(name, present)
    } else {
        Path::new(name).exists()
    }
}

/// On Windows a taken port is no file that could be found, but the system lists it.
fn is_listed(name: &str, present: &[PresentPort]) -> bool {
    present.iter().any(|it| it.name.eq_ignore_ascii_case(name))
}

/// The link in `folder` that leads to `port`.
fn lasting_link(folder: &Path, port: &str) -> Option<String> {
    let port = Path::new(port).canonicalize().ok()?;
    let links = folder.read_dir().ok()?.filter_map(Result::ok);
    let mut paths: Vec<String> = links
        .map(|link| link.path())
        .filter(|link| link.canonicalize().is_ok_and(|it| it == port))
        .filter_map(|link| link.to_str().map(str::to_owned))
        .collect();
    paths.sort();
    paths.into_iter().next()
}

fn meant<'a>(
    id: &'a AdapterId,
    present: &'a [PresentPort],
) -> impl Iterator<Item = &'a PresentPort> {
    let is_meant = |port: &&PresentPort| port.id.as_ref().is_some_and(|it| id.means(it));
    present.iter().filter(is_meant)
}

/// The port that `named` is now: itself, or the port of the adapter with this identity.
pub(super) fn port_now(named: &str) -> Result<String, PortError> {
    match AdapterId::parse(named) {
        // The serial crates put it before every name themselves.
        None => Ok(named.strip_prefix(r"\\.\").unwrap_or(named).to_owned()),
        Some(Ok(id)) => port_of(&id, &present_ports()),
        Some(Err(_)) => Err(PortError {
            what: format!("{named:?} is no adapter's identity"),
            help: format!("{}; {}", AdapterId::NOTATION, said(&present_ports())),
        }),
    }
}

fn port_of(id: &AdapterId, present: &[PresentPort]) -> Result<String, PortError> {
    let ports: Vec<&PresentPort> = meant(id, present).collect();
    match ports.as_slice() {
        [] => Err(PortError {
            what: format!("no adapter {id} is plugged in"),
            help: format!("plug it in; {}", said(present)),
        }),
        [only] => Ok(only.name.clone()),
        several => {
            let several: Vec<&str> = several.iter().map(|port| port.name.as_str()).collect();
            Err(PortError {
                what: format!("{id} could be any of {}", several.join(", ")),
                help: "name the port itself, on Linux by its path in /dev/serial/by-id, \
                       or unplug the others"
                    .to_owned(),
            })
        }
    }
}

/// The ports present, as a sentence for help texts.
pub(super) fn said(present: &[PresentPort]) -> String {
    if present.is_empty() {
        return "this machine shows no serial port now".to_owned();
    }
    let names: Vec<String> = present
        .iter()
        .map(|port| match &port.id {
            Some(id) => format!("{} ({id})", port.name),
            None => port.name.clone(),
        })
        .collect();
    format!("this machine has {}", names.join(", "))
}

#[cfg(test)]
mod tests {
    use tokio_serial::UsbPortInfo;

    use super::*;

    fn usb(name: &str, serial: Option<&str>) -> PresentPort {
        PresentPort::of(SerialPortInfo {
            port_name: name.to_owned(),
            port_type: SerialPortType::UsbPort(UsbPortInfo {
                vid: 0x0403,
                pid: 0x6001,
                serial_number: serial.map(str::to_owned),
                manufacturer: None,
                product: Some("RS-485 adapter".to_owned()),
            }),
        })
    }

    fn find(id: &str, present: &[PresentPort]) -> Result<String, PortError> {
        port_of(&AdapterId::parse(id).unwrap().unwrap(), present)
    }

    #[test]
    fn an_adapter_is_found_under_whatever_name_it_has_now() {
        for name in ["/dev/ttyUSB0", "/dev/ttyUSB7", "COM12"] {
            let present = [usb(name, Some("A5")), usb("/dev/ttyUSB3", Some("B6"))];
            for id in ["usb:0403:6001:A5", "usb:0403:6001:a5"] {
                assert_eq!(find(id, &present), Ok(name.to_owned()));
            }
            assert_eq!(lasting_name(&present[0], &present), "usb:0403:6001:A5");
        }
    }

    #[test]
    fn an_adapter_that_is_not_there_is_named_with_those_that_are() {
        let error = find("usb:0403:6001:A5", &[usb("COM4", Some("B6"))]).unwrap_err();
        assert_eq!(
            error.to_string(),
            "no adapter usb:0403:6001:A5 is plugged in\n\
             help: plug it in; this machine has COM4 (usb:0403:6001:B6)"
        );
        let error = find("usb:0403:6001", &[]).unwrap_err();
        assert!(error.help.contains("no serial port"), "{error}");
    }

    #[test]
    fn an_identity_that_two_have_is_no_identity() {
        let twins = [usb("COM4", None), usb("COM5", None)];
        let error = find("usb:0403:6001", &twins).unwrap_err();
        assert!(error.what.contains("any of COM4, COM5"), "{error}");
        assert_eq!(lasting_name(&twins[0], &twins), "COM4");
    }

    #[test]
    fn a_port_of_windows_is_found_by_whichever_of_its_names() {
        assert_eq!(port_now(r"\\.\COM12"), Ok("COM12".to_owned()));
        let present = [usb("COM3", None)];
        assert!(is_listed("com3", &present));
        assert!(!is_listed("COM33", &present));
    }

    #[cfg(windows)]
    #[test]
    fn two_names_of_one_port_are_one_port() {
        let identity = |name: &str| {
            lasting_identity(&Port::Serial {
                path: name.to_owned(),
                baud: 9600,
                parity: crate::setup::Parity::Even,
                stop_bits: crate::setup::StopBits::One,
            })
        };
        assert_eq!(identity("com98"), identity(r"\\.\COM98"));
        assert_ne!(identity("COM98"), identity("COM99"));
    }

    #[test]
    fn a_port_that_the_system_lists_twice_is_one_port() {
        let both = vec![
            usb("/dev/tty.usbserial-A5", Some("A5")),
            usb("/dev/cu.usbserial-A5", Some("A5")),
            usb("/dev/tty.alone", Some("B6")),
        ];
        let names: Vec<String> = sorted(both).into_iter().map(|port| port.name).collect();
        assert_eq!(names, ["/dev/cu.usbserial-A5", "/dev/tty.alone"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_port_is_the_same_by_whichever_link() {
        let folder = tempfile::tempdir().unwrap();
        let port = tempfile::NamedTempFile::new_in(&folder).unwrap();
        let (port, link) = (port.path(), folder.path().join("oven"));
        std::os::unix::fs::symlink(port, &link).unwrap();
        let identity = |path: &Path| {
            lasting_identity(&Port::Serial {
                path: path.to_str().unwrap().to_owned(),
                baud: 9600,
                parity: crate::setup::Parity::Even,
                stop_bits: crate::setup::StopBits::One,
            })
        };
        assert_eq!(identity(&link), identity(port));
        assert_ne!(identity(&folder.path().join("gone")), identity(port));
        let address = |text: &str| lasting_identity(&Port::RtuOverTcp(text.to_owned()));
        assert_eq!(address("Oven:4001"), address("oven:4001"));
    }

    #[cfg(unix)]
    #[test]
    fn a_lasting_link_is_found_by_where_it_leads() {
        let folder = tempfile::tempdir().unwrap();
        let mut named = tempfile::Builder::new();
        named.rand_bytes(0);
        let port = named.prefix("ttyUSB0").tempfile_in(&folder).unwrap();
        let links = named.prefix("by-id").tempdir_in(&folder).unwrap();
        let (port, links) = (port.path(), links.path());
        let link = links.join("usb-adapter-if00-port0");
        std::os::unix::fs::symlink("../ttyUSB0", &link).unwrap();
        std::os::unix::fs::symlink("../gone", links.join("a-stale-one")).unwrap();
        let found = lasting_link(links, port.to_str().unwrap());
        assert_eq!(found.as_deref(), link.to_str());
        assert_eq!(lasting_link(links, "/dev/null"), None);
    }
}
