//! Why an exchange gave no answer.

use std::time::Duration;

use crate::figures;
use crate::map::{Place, Table};
use crate::sample::Why;
use crate::setup::UnitId;

/// Why an exchange gave no answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Failure {
    /// Nothing came in time.
    NoAnswer,
    /// The gateway answered, with this exception code: the unit behind it did not.
    BehindGateway(u8),
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
            Self::NoAnswer | Self::BehindGateway(_) => Why::NoAnswer,
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
        let within = figures::wait(answer_within);
        match self {
            Self::NoAnswer => format!(
                "unit {unit} on {port} sent nothing for {within} ({place})\n\
                 help: check A/B wiring, baud rate, parity and the unit number, and that the controller's protocol is Modbus RTU"
            ),
            Self::BehindGateway(code) => format!(
                "a gateway on {port} answered that unit {unit} behind it did not: exception {code:02X}, {} ({place})\n\
                 help: check the unit number, the wires behind the gateway, and the baud rate and parity set in the gateway",
                exception_name(*code)
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

/// A place as people say it.
pub(crate) fn describe(place: Place) -> String {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::Address;

    fn explained(failure: &Failure) -> String {
        let place = Place {
            table: Table::Holding,
            address: Address(0),
            count: 5,
        };
        let unit = UnitId::new(9).unwrap();
        failure.explain(
            unit,
            "Modbus TCP bench:502",
            place,
            Duration::from_millis(500),
        )
    }

    #[test]
    fn a_number_and_its_unit_stand_apart() {
        let text = explained(&Failure::NoAnswer);
        assert!(
            text.contains("sent nothing for 500 ms (holding registers 0..=4)"),
            "{text}"
        );
    }

    #[test]
    fn a_gateway_that_answers_for_a_silent_unit_is_said_to() {
        let failure = Failure::BehindGateway(0x0B);
        assert_eq!(failure.why(), Why::NoAnswer);
        let text = explained(&failure);
        for part in [
            "gateway on Modbus TCP bench:502",
            "unit 9 behind it did not",
            "exception 0B",
        ] {
            assert!(text.contains(part), "no {part:?} in {text}");
        }
    }
}
