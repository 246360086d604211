//! What reading a map takes on a line, for people who write maps.

use std::time::Duration;

use super::plan::{Cost, Lengths, Rules, Taken, plan};
use super::polling::USUAL_TURNAROUND;
use super::port::Pace;
use super::refusals::Refusals;
use crate::map::{Map, Place, Refresh};
use crate::setup::Port;

/// The reads that polling a map begins with, before it knows the controller.
///
/// ```
/// use emberline::line::ReadPlan;
/// use emberline::map::Map;
/// use emberline::setup::{Parity, Port, StopBits};
///
/// let text = "schema = 1\ntitle = \"Plain\"\n[points.pv]\nrole = \"process-value\"\n\
///             table = \"input\"\naddress = 7\nencoding = \"f32\"\n";
/// let map = Map::parse(text, "plain.toml").unwrap();
/// let port = Port::Serial {
///     path: String::new(), baud: 9600, parity: Parity::Even, stop_bits: StopBits::One,
/// };
/// let plan = ReadPlan::new(&map, &port);
/// assert_eq!((plan.trend[0].place.address.0, plan.trend[0].place.count), (7, 2));
/// assert!(plan.settings.is_empty());
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadPlan {
    /// Made at every poll, in table and address order.
    pub trend: Vec<PlannedRead>,
    /// Made for the slow points.
    pub settings: Vec<PlannedRead>,
}

/// One read of a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlannedRead {
    /// What is asked for.
    pub place: Place,
    /// Request, answer and the pauses that go with them.
    pub takes: Duration,
    /// No other read of the plan is answered with as many bytes: after a lost answer the next one
    /// need not be waited for.
    pub is_unique: bool,
}

impl ReadPlan {
    /// What a controller is taken to need before each answer, until it has been measured.
    pub const TURNAROUND: Duration = USUAL_TURNAROUND;

    /// The plan for a map on a port with these settings. Where the port is a connection only the
    /// pauses are known.
    pub fn new(map: &Map, port: &Port) -> Self {
        let pace = Pace::of(port);
        let cost = Cost::new(pace, &map.access, Self::TURNAROUND.max(pace.silence));
        let named: Vec<Place> = map.readable_places().collect();
        let rules = Rules {
            access: &map.access,
            cost,
            named: &named,
            refusals: &Refusals::default(),
        };
        let (mut taken, mut lengths) = (Taken::default(), Lengths::default());
        let mut places = |refresh| {
            let places = plan(map.places_for(refresh), rules, &mut taken);
            lengths.count(&places);
            places
        };
        let (trend, settings) = (places(Refresh::Trend), places(Refresh::Settings));
        let read = |place: &Place| PlannedRead {
            place: *place,
            takes: cost.of_block(*place),
            is_unique: lengths.block(*place).is_unique,
        };
        Self {
            trend: trend.iter().map(read).collect(),
            settings: settings.iter().map(read).collect(),
        }
    }

    /// How long one poll keeps the line busy.
    pub fn poll_takes(&self) -> Duration {
        self.trend.iter().map(|read| read.takes).sum()
    }

    /// How long one look at the slow points keeps the line busy.
    pub fn settings_take(&self) -> Duration {
        self.settings.iter().map(|read| read.takes).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setup::{Parity, StopBits};

    /// Closed form: at 9600 baud 8E1 a character is 11 bits; a request of 8, an answer of 5 and two
    /// for each register, 3.5 of silence, and the turnaround.
    #[test]
    fn a_read_takes_its_characters_its_silence_and_the_controllers_own_time() {
        let text = "schema = 1\ntitle = \"t\"\n[points.pv]\nrole = \"process-value\"\n\
                    table = \"holding\"\naddress = 0\nencoding = \"u64\"\n";
        let map = Map::parse(text, "t.toml").unwrap();
        let port = Port::Serial {
            path: String::new(),
            baud: 9600,
            parity: Parity::Even,
            stop_bits: StopBits::One,
        };
        let takes = ReadPlan::new(&map, &port).poll_takes().as_secs_f64();
        let characters = 8.0 + 5.0 + 2.0 * 4.0 + 3.5;
        let expected = characters * 11.0 / 9600.0 + ReadPlan::TURNAROUND.as_secs_f64();
        assert!((takes - expected).abs() < 1e-6, "{takes} {expected}");
    }
}
