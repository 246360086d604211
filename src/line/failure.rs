//! Why an exchange gave no answer.

use std::time::Duration;

use crate::map::{Place, Table};
use crate::sample::Why;
use crate::setup::UnitId;

/// Why an exchange gave no answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Failure {
    /// Nothing came in time.
    NoAnswer,
    /// What came had a wrong checksum or length.
    Damaged,
    /// The unit answered with this exception code.
    Refused(u8),
    /// Only another unit or another function answered.
    Foreign {
        /// Who was heard.
        unit: u8,
        /// With which function.
        function: u8,
    },
    /// The port or connection is gone; the system's words.
    PortLost(String),
}

impl Failure {
    /// The reason as samples carry it.
    pub fn why(&self) -> Why {
        match self {
            Self::NoAnswer => Why::NoAnswer,
            Self::Damaged => Why::Damaged,
            Self::Refused(code) => Why::Refused(*code),
            Self::Foreign { .. } => Why::Foreign,
            Self::PortLost(_) => Why::PortLost,
        }
    }

    /// A sentence with what, where and what to do next.
    pub fn explain(
        &self,
        unit: UnitId,
        port: &str,
        asked: Place,
        answer_within: Duration,
    ) -> String {
        let (unit, place) = (unit.get(), describe(asked));
        let within = humantime::format_duration(answer_within);
        match self {
            Self::NoAnswer => format!(
                "unit {unit} on {port} sent nothing for {within} ({place})\n\
                 help: check A/B wiring, baud rate, parity and the unit number, and that the controller's protocol is Modbus RTU"
            ),
            Self::Damaged => format!(
                "unit {unit} on {port} answered with damaged frames ({place})\n\
                 help: check parity and stop bits, the line's termination, and that no two units share a number"
            ),
            Self::Refused(code) => format!(
                "unit {unit} on {port} refused {place}: exception {code:02X}, {}\n\
                 help: check the map's table and address (tables count from 0 or 1), and its max_words and bridge_gaps",
                exception_name(*code)
            ),
            Self::Foreign {
                unit: other,
                function,
            } => format!(
                "unit {unit} on {port} did not answer, but unit {other} was heard with function {function:02X} ({place})\n\
                 help: check the unit number, and whether a panel or PLC already polls this line"
            ),
            Self::PortLost(reason) => format!(
                "{port} was lost while asking unit {unit}: {reason}\nhelp: check the adapter's plug and the gateway's supply"
            ),
        }
    }
}

/// The standard's name of an exception code (Modbus application protocol V1.1b3, section 7).
pub fn exception_name(code: u8) -> &'static str {
    match code {
        0x01 => "illegal function",
        0x02 => "illegal data address",
        0x03 => "illegal data value",
        0x04 => "server device failure",
        0x05 => "acknowledge",
        0x06 => "server device busy",
        0x08 => "memory parity error",
        0x0A => "gateway path unavailable",
        0x0B => "gateway target device failed to respond",
        _ => "not a code of the standard",
    }
}

fn describe(place: Place) -> String {
    let table = match place.table {
        Table::Coil => "coils",
        Table::Discrete => "discrete inputs",
        Table::Input => "input registers",
        Table::Holding => "holding registers",
    };
    let first = place.address.0;
    let last = u32::from(first) + u32::from(place.count.max(1)) - 1;
    if u32::from(first) == last {
        format!("{table} {first}")
    } else {
        format!("{table} {first}..={last}")
    }
}
