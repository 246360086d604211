//! What a setup says, after every check.

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use crate::map::Map;
use crate::name::Name;

/// A whole setup: every loop's line exists, and every loop's map could be read.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// The setup file's name without its ending; recordings are named after it.
    pub name: String,
    /// The file's text, as it goes into recordings.
    pub text: String,
    /// Free text about the job.
    pub job: Job,
    /// The lines, in the order of the file.
    pub lines: Vec<LineSetup>,
    /// The loops, in the order of the file.
    pub loops: Vec<LoopSetup>,
}

impl Setup {
    /// The lines that a loop hangs on.
    pub fn used_lines(&self) -> impl Iterator<Item = &LineSetup> {
        let is_used = |line: &&LineSetup| self.loops.iter().any(|it| it.line == line.name);
        self.lines.iter().filter(is_used)
    }
}

/// Free text about the job; goes into recordings and reports.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Job {
    /// Which oven.
    pub equipment: String,
    /// Work order.
    pub work_order: String,
    /// Who does it.
    pub technician: String,
    /// The controller's serial number.
    pub controller: String,
    /// The sensor's identity and when its calibration is due.
    pub sensor: String,
    /// The independent over-temperature cut-out and its setting.
    pub cutout: String,
}

/// One line and how to talk on it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineSetup {
    /// Its name.
    pub name: Name,
    /// What it is plugged into.
    pub port: Port,
    /// How long an answer may take.
    pub answer_within: Duration,
}

/// What a line is plugged into.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Port {
    /// A serial port, always with 8 data bits.
    Serial {
        /// Port name or the adapter's identity.
        path: String,
        /// Bits per second.
        baud: u32,
        /// Parity.
        parity: Parity,
        /// Stop bits.
        stop_bits: StopBits,
    },
    /// RTU frames through a TCP connection, `host:port`.
    RtuOverTcp(String),
    /// Modbus TCP, `host:port`.
    Tcp(String),
}

impl Port {
    /// Its name or address.
    pub fn name(&self) -> &str {
        match self {
            Self::Serial { path, .. } => path,
            Self::RtuOverTcp(address) | Self::Tcp(address) => address,
        }
    }

    /// How characters go over a serial line, as people say it: `9600 8E1`; `None` where the port is
    /// a connection, which does not say.
    pub fn setting(&self) -> Option<String> {
        let Self::Serial {
            baud,
            parity,
            stop_bits,
            ..
        } = self
        else {
            return None;
        };
        let parity = match parity {
            Parity::Even => 'E',
            Parity::Odd => 'O',
            Parity::None => 'N',
        };
        Some(format!("{baud} 8{parity}{}", stop_bits.count()))
    }
}

impl fmt::Display for Port {
    /// As people say it: `/dev/ttyUSB0 9600 8E1`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Serial { path, .. } => {
                write!(f, "{path} {}", self.setting().unwrap_or_default())
            }
            Self::RtuOverTcp(address) => write!(f, "RTU over TCP {address}"),
            Self::Tcp(address) => write!(f, "Modbus TCP {address}"),
        }
    }
}

/// Parity of a serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[expect(missing_docs, reason = "the trade's own words")]
pub enum Parity {
    #[default]
    Even,
    Odd,
    None,
}

/// Stop bits of a serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[expect(missing_docs, reason = "the trade's own words")]
pub enum StopBits {
    #[default]
    One,
    Two,
}

impl StopBits {
    /// How many.
    pub fn count(self) -> u32 {
        match self {
            Self::One => 1,
            Self::Two => 2,
        }
    }
}

/// A Modbus unit identifier, 1 to 247.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
#[serde(try_from = "u8", into = "u8")]
pub struct UnitId(u8);

impl TryFrom<u8> for UnitId {
    type Error = &'static str;

    fn try_from(number: u8) -> Result<Self, Self::Error> {
        Self::new(number).ok_or("unit numbers go from 1 to 247")
    }
}

impl From<UnitId> for u8 {
    fn from(unit: UnitId) -> Self {
        unit.get()
    }
}

impl UnitId {
    /// The identifier, unless it is 0 (broadcast) or reserved (248 to 255).
    pub fn new(number: u8) -> Option<Self> {
        (1..=247).contains(&number).then_some(Self(number))
    }

    /// As it goes over the wire.
    pub fn get(self) -> u8 {
        self.0
    }
}

impl LoopSetup {
    /// The number of its first poll that is due at `from` or later; number n is due at n times
    /// `every` after the beginning.
    pub fn first_poll_from(&self, from: Duration) -> u32 {
        let polls = from.as_nanos().div_ceil(self.every.as_nanos().max(1));
        u32::try_from(polls).unwrap_or(u32::MAX)
    }
}

/// One control loop.
#[derive(Clone, Debug, PartialEq)]
pub struct LoopSetup {
    /// Its name.
    pub name: Name,
    /// The line it hangs on.
    pub line: Name,
    /// Its unit on that line.
    pub unit: UnitId,
    /// Its controller's map.
    pub map: Arc<Map>,
    /// The map's path as the setup gives it.
    pub map_path: String,
    /// The map file's text, as it goes into recordings.
    pub map_text: Arc<str>,
    /// One poll every so often.
    pub every: Duration,
    /// Degrees around the setpoint that count as in band; always above 0.
    pub band: Option<f64>,
    /// Where a person puts the setpoint to stop everything; kept with the recording, acts on nothing.
    pub stop_setpoint: Option<f64>,
    /// Above this a person stops an autotune; kept with the recording, acts on nothing.
    pub stop_above: Option<f64>,
}
