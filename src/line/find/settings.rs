//! What is tried, in which order.

use std::time::Duration;

use crate::line::Pace;
use crate::setup::{Parity, Port, StopBits, UnitId};

/// Baud rates controllers are set to, likely ones first (common practice, no source).
pub const USUAL_BAUDS: [u32; 8] = [9600, 19_200, 38_400, 57_600, 115_200, 4800, 2400, 1200];

/// Parity and stop bits controllers are set to, likely ones first (common practice; 8E1 is the
/// default of Modbus over Serial Line V1.02, 2.5.1).
pub const USUAL_FORMATS: [(Parity, StopBits); 4] = [
    (Parity::Even, StopBits::One),
    (Parity::None, StopBits::One),
    (Parity::Odd, StopBits::One),
    (Parity::None, StopBits::Two),
];

/// The baud rates and parities that most controllers leave the factory with (common practice, no
/// source).
const LIKELY_BAUDS: [u32; 2] = [9600, 19_200];
const LIKELY_PARITIES: [Parity; 2] = [Parity::Even, Parity::None];

/// Most units have a low number (common practice, no source).
const LIKELY_UNITS: u8 = 10;

/// Characters of a request and its answer: their time is waited for besides.
const CHARACTERS: u32 = 8 + 7;

/// What to look for, and how.
#[derive(Clone, Debug)]
pub struct Search {
    /// The port at each setting it may have, likely ones first.
    pub ports: Vec<Port>,
    /// The unit numbers, in this order.
    pub units: Vec<UnitId>,
    /// How long an answer may take.
    pub answer_within: Duration,
    /// How long to listen for others before the first question.
    pub listen_first: Duration,
    /// Whether other settings are tried after one had an answer.
    pub all_settings: bool,
}

impl Search {
    /// A serial port at all of these settings, likely ones first.
    pub fn serial_ports(path: &str, bauds: &[u32], formats: &[(Parity, StopBits)]) -> Vec<Port> {
        let at = |baud: u32| {
            formats
                .iter()
                .map(move |&(parity, stop_bits)| Port::Serial {
                    path: path.to_owned(),
                    baud,
                    parity,
                    stop_bits,
                })
        };
        let mut ports: Vec<Port> = bauds.iter().copied().flat_map(at).collect();
        // A stable sort: otherwise as they were given.
        ports.sort_by_key(|port| !is_likely(port));
        ports
    }

    /// Likely units at likely settings, then at the others; then all other units.
    pub(super) fn visits(&self) -> Vec<Visit> {
        let (near, far): (Vec<UnitId>, Vec<UnitId>) = self
            .units
            .iter()
            .partition(|unit| unit.get() <= LIKELY_UNITS);
        let mut visits = Vec::new();
        for units in [near, far] {
            if !units.is_empty() {
                visits.extend(self.ports.iter().map(|port| Visit {
                    port: port.clone(),
                    units: units.clone(),
                }));
            }
        }
        visits
    }

    /// How long it takes to learn that a unit is not there: it is asked two functions.
    pub(super) fn cost(&self, port: &Port) -> Duration {
        let character = Pace::of(port).character;
        2 * (character * CHARACTERS + self.answer_within)
    }
}

/// One setting, and the units that are asked there in one go.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Visit {
    pub(super) port: Port,
    pub(super) units: Vec<UnitId>,
}

fn is_likely(port: &Port) -> bool {
    match port {
        Port::Serial {
            baud,
            parity,
            stop_bits,
            ..
        } => {
            LIKELY_BAUDS.contains(baud)
                && LIKELY_PARITIES.contains(parity)
                && *stop_bits == StopBits::One
        }
        Port::RtuOverTcp(_) | Port::Tcp(_) => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn search(units: std::ops::RangeInclusive<u8>) -> Search {
        Search {
            ports: Search::serial_ports("", &USUAL_BAUDS, &USUAL_FORMATS),
            units: units.filter_map(UnitId::new).collect(),
            answer_within: Duration::from_millis(200),
            listen_first: Duration::ZERO,
            all_settings: false,
        }
    }

    #[test]
    fn the_likely_settings_come_first_for_the_likely_units() {
        let visits = search(1..=247).visits();
        let first: Vec<String> = visits[..4].iter().map(|it| it.port.to_string()).collect();
        assert_eq!(
            first,
            [" 9600 8E1", " 9600 8N1", " 19200 8E1", " 19200 8N1"]
        );
        let units = |visit: &Visit| (visit.units[0].get(), visit.units.len());
        assert!(visits[..32].iter().all(|it| units(it) == (1, 10)));
        assert!(visits[32..].iter().all(|it| units(it) == (11, 237)));
    }

    #[test]
    fn every_unit_is_asked_once_at_every_setting() {
        let visits = search(1..=247).visits();
        let asked = visits.iter().flat_map(|visit| {
            visit
                .units
                .iter()
                .map(|unit| (visit.port.to_string(), *unit))
        });
        let mut asked: Vec<(String, UnitId)> = asked.collect();
        asked.sort();
        asked.dedup();
        assert_eq!(asked.len(), 32 * 247);
        assert_eq!(
            visits.iter().map(|it| it.units.len()).sum::<usize>(),
            32 * 247
        );
    }

    #[test]
    fn a_group_without_units_is_no_visit() {
        assert_eq!(search(17..=17).visits().len(), 32);
        assert_eq!(search(1..=1).visits().len(), 32);
    }
}
