//! What the reads of another master give for a loop's map.

use super::pairing::{Outcome, Overheard};
use crate::line::Failure;
use crate::line::poll::{Polled, note_absent};
use crate::line::tally::Tally;
use crate::map::{Image, Map, Place, Point, Scaling, Table};
use crate::sample::Why;

/// What some reads gave together; what came first stays, as it would in one poll.
pub(crate) fn polled(map: &Map, overheard: &[Overheard]) -> Polled {
    let mut polled = Polled::default();
    for one in overheard {
        match &one.outcome {
            Outcome::Came(data) => {
                put(&mut polled.image, map, one.asked, data, |image, place| {
                    image.raw(place).is_none()
                });
                polled.answered.push((one.asked, one.at));
            }
            Outcome::Refused(_) | Outcome::Damaged | Outcome::Missed | Outcome::Unclear => {
                let failure = one.failure();
                note_absent(&mut polled.image, map, one.asked, failure.why());
                polled.failed.push((one.asked, failure));
            }
        }
    }
    polled
}

/// The same for one scheduled row: where nothing came at all, every trend point has the same reason.
pub(crate) fn row(map: &Map, overheard: &[Overheard]) -> Polled {
    let mut polled = polled(map, overheard);
    let came = |place: &Place| polled.image.raw(place).is_some();
    if map.trend_points().any(|point| came(&point.place)) {
        return polled;
    }
    let concerns = |place: &Place| map.trend_points().any(|it| it.place.overlaps(place));
    let mut failed = polled.failed.iter().rev();
    let told = failed.find(|(place, _)| concerns(place));
    let why = told.map_or(Why::NoAnswer, |(_, failure)| failure.why());
    for point in map.trend_points() {
        if polled.image.why_absent(&point.place) == Why::Skipped {
            polled.image.put_failure(point.place, why);
        }
    }
    polled
}

/// Puts the latest of what a read gave.
pub(crate) fn put_latest(image: &mut Image, map: &Map, one: &Overheard) -> bool {
    match &one.outcome {
        Outcome::Came(data) => put(image, map, one.asked, data, |_, _| true),
        Outcome::Refused(_) | Outcome::Damaged | Outcome::Missed | Outcome::Unclear => false,
    }
}

/// Puts the points that lie whole in a block, so that no value is torn, and with it what gives their
/// decimals, so that none is decoded in a scale it was not sent in; says whether there were any.
fn put(
    image: &mut Image,
    map: &Map,
    block: Place,
    data: &[u8],
    is_wanted: impl Fn(&Image, &Place) -> bool,
) -> bool {
    let values = values(block, data);
    let words = |place: &Place| {
        let from = usize::from(place.address.0 - block.address.0);
        let words = values.get(from..from + usize::from(place.count));
        words.unwrap_or_default().to_vec()
    };
    let is_here = |point: &Point| {
        let place = point.place;
        place.table == block.table && place.address >= block.address && place.end() <= block.end()
    };
    let mut puts = false;
    for giver in map.points.iter().filter(|point| is_here(point)) {
        let (place, now) = (giver.place, words(&giver.place));
        let scaled = || {
            map.points
                .iter()
                .filter(|it| giver_of(map, it) == Some(giver))
        };
        if scaled().next().is_some() && image.raw(&place).as_ref() != Some(&now) {
            scaled().for_each(|point| image.put_failure(point.place, Why::Skipped));
            image.put_words(place.table, place.address, &now);
            puts = true;
        }
    }
    let is_in_scale = |point: &Point| giver_of(map, point).is_none_or(is_here);
    for point in map
        .points
        .iter()
        .filter(|it| is_here(it) && is_in_scale(it))
    {
        let place = point.place;
        if is_wanted(image, &place) {
            image.put_words(place.table, place.address, &words(&place));
            puts = true;
        }
    }
    puts
}

/// The point that gives another its decimals.
fn giver_of<'a>(map: &'a Map, point: &Point) -> Option<&'a Point> {
    match &point.scaling {
        Scaling::DecimalsFrom(name) => map.point(name),
        Scaling::Linear { .. } | Scaling::Decimals(_) => None,
    }
}

/// Registers, high byte first; bits as 0 and 1, the first in the lowest place of the first byte
/// (Modbus application protocol V1.1b3, 4.2 and 6.1).
fn values(block: Place, data: &[u8]) -> Vec<u16> {
    match block.table {
        Table::Coil | Table::Discrete => {
            let bits = data
                .iter()
                .flat_map(|byte| (0..8).map(move |bit| byte >> bit & 1));
            bits.map(u16::from).take(usize::from(block.count)).collect()
        }
        Table::Input | Table::Holding => {
            let words = data.chunks_exact(2);
            words
                .map(|pair| u16::from_be_bytes([pair[0], pair[1]]))
                .collect()
        }
    }
}

impl Overheard {
    /// Why there is no value, for a read that gave none.
    pub(crate) fn failure(&self) -> Failure {
        match self.outcome {
            Outcome::Refused(code) => Failure::Refused(code),
            Outcome::Damaged => Failure::Damaged,
            Outcome::Came(_) | Outcome::Missed | Outcome::Unclear => Failure::NoAnswer,
        }
    }

    /// Counts it as an exchange of ours would be.
    pub(crate) fn count_in(&self, tally: &mut Tally) {
        let (took, turnaround) = self.took;
        match self.outcome {
            Outcome::Came(_) | Outcome::Refused(_) => tally.answer(took, turnaround),
            Outcome::Damaged | Outcome::Missed | Outcome::Unclear => tally.failure(&self.failure()),
        }
        tally.used(took);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::Address;
    use crate::sample::Reading;

    /// A value at 0 with as many decimals as 1 says.
    fn map() -> Map {
        let text = "schema = 1\ntitle = \"t\"\n[points.pv]\nrole = \"process-value\"\n\
             table = \"holding\"\naddress = 0\nencoding = \"u16\"\ndecimals_from = \"places\"\n\
             [points.places]\nrole = \"decimal-point\"\ntable = \"holding\"\naddress = 1\n\
             encoding = \"u16\"\nrefresh = \"settings\"\n";
        Map::parse(text, "t.toml").unwrap_or_else(|errors| panic!("{errors}"))
    }

    fn value(image: &Image) -> Option<f64> {
        let map = map();
        match map.read(&map.points[0], image) {
            Reading::Good(number) => Some(number.as_f64()),
            _ => None,
        }
    }

    #[test]
    fn a_value_and_its_decimals_must_come_in_one_answer() {
        let map = map();
        let block = |address, count| Place {
            table: Table::Holding,
            address: Address(address),
            count,
        };
        let mut image = Image::default();
        let wanted = |image: &Image, place: &Place| image.raw(place).is_none();
        put(&mut image, &map, block(1, 1), &[0, 1], wanted);
        put(&mut image, &map, block(0, 1), &[0, 250], wanted);
        assert_eq!(
            value(&image),
            None,
            "somebody may have changed them in between"
        );
        put(&mut image, &map, block(0, 2), &[0, 250, 0, 1], wanted);
        assert_eq!(value(&image), Some(25.0));
        // Changed since: what came before is not decoded anew.
        put(&mut image, &map, block(1, 1), &[0, 0], wanted);
        assert_eq!(value(&image), None);
    }
}
