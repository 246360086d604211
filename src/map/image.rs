//! The words and bits of a controller as they came from the line.

use std::collections::BTreeMap;

use super::model::{Address, Place, Table};
use crate::sample::Why;

/// What was read from a unit, by table and address, and why the rest was not.
///
/// ```
/// use emberline::map::{Address, Image, Place, Table};
/// use emberline::sample::Why;
///
/// let mut image = Image::default();
/// image.put_words(Table::Holding, Address(4), &[7, 8]);
/// let place = |address| Place { table: Table::Holding, address: Address(address), count: 1 };
/// image.put_failure(place(9), Why::Damaged);
/// assert_eq!(image.raw(&place(5)), Some(vec![8]));
/// assert_eq!(image.raw(&place(9)), None);
/// assert_eq!(image.why_absent(&place(9)), Why::Damaged);
/// ```
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(from = "Listed", into = "Listed")]
pub struct Image {
    /// Bits are kept as 0 and 1.
    words: BTreeMap<(Table, Address), u16>,
    failures: Vec<(Place, Why)>,
}

/// The same for JSON, whose keys are texts.
#[derive(serde::Serialize, serde::Deserialize)]
struct Listed {
    words: Vec<(Table, Address, u16)>,
    failures: Vec<(Place, Why)>,
}

impl From<Listed> for Image {
    fn from(Listed { words, failures }: Listed) -> Self {
        let words = words.into_iter();
        Self {
            words: words.map(|(table, at, word)| ((table, at), word)).collect(),
            failures,
        }
    }
}

impl From<Image> for Listed {
    fn from(Image { words, failures }: Image) -> Self {
        let words = words.into_iter();
        Self {
            words: words.map(|((table, at), word)| (table, at, word)).collect(),
            failures,
        }
    }
}

impl Image {
    /// Puts registers that came, the first at `first`. Those past the last address are dropped.
    pub fn put_words(&mut self, table: Table, first: Address, words: &[u16]) {
        for (address, word) in (first.0..=u16::MAX).zip(words) {
            self.words.insert((table, Address(address)), *word);
        }
    }

    /// Puts bits that came, the first at `first`. Those past the last address are dropped.
    pub fn put_bits(&mut self, table: Table, first: Address, bits: &[bool]) {
        for (address, bit) in (first.0..=u16::MAX).zip(bits) {
            self.words
                .insert((table, Address(address)), u16::from(*bit));
        }
    }

    /// Says that a stretch could not be read; what an earlier read put there is forgotten.
    pub fn put_failure(&mut self, place: Place, why: Why) {
        for address in place.addresses() {
            self.words.remove(&(place.table, address));
        }
        self.failures.push((place, why));
    }

    /// Adds what a later read gave.
    pub fn absorb(&mut self, later: Self) {
        self.words.extend(later.words);
        self.failures.extend(later.failures);
    }

    /// The words of a place, if all of them came; a bit is 0 or 1.
    pub fn raw(&self, place: &Place) -> Option<Vec<u16>> {
        place
            .addresses()
            .map(|address| self.words.get(&(place.table, address)).copied())
            .collect()
    }

    /// Why [`raw`](Self::raw) has nothing: the latest failure there, or that nobody asked.
    pub fn why_absent(&self, place: &Place) -> Why {
        self.failures
            .iter()
            .rev()
            .find(|(failed, _)| failed.overlaps(place))
            .map_or(Why::Skipped, |(_, why)| *why)
    }
}

impl Place {
    /// Each address it takes.
    pub fn addresses(&self) -> impl Iterator<Item = Address> + use<> {
        (self.address.0..=u16::MAX)
            .take(usize::from(self.count))
            .map(Address)
    }

    /// The address after its last one; 65536 after the very last.
    pub fn end(&self) -> u32 {
        u32::from(self.address.0) + u32::from(self.count)
    }

    /// Whether the two share an address of one table.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.table == other.table
            && u32::from(self.address.0) < other.end()
            && u32::from(other.address.0) < self.end()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(address: u16, count: u16) -> Place {
        Place {
            table: Table::Input,
            address: Address(address),
            count,
        }
    }

    #[test]
    fn a_value_with_one_word_missing_is_not_there() {
        let mut image = Image::default();
        image.put_words(Table::Input, Address(0), &[1, 2, 3]);
        image.put_failure(place(1, 1), Why::NoAnswer);
        assert_eq!(image.raw(&place(0, 1)), Some(vec![1]));
        assert_eq!(image.raw(&place(0, 2)), None);
        assert_eq!(image.why_absent(&place(0, 2)), Why::NoAnswer);
        assert_eq!(image.why_absent(&place(7, 1)), Why::Skipped);
    }

    #[test]
    fn it_reads_back_as_it_was_written() {
        let mut image = Image::default();
        image.put_words(Table::Holding, Address(7), &[0x7FFF, 0]);
        image.put_bits(Table::Coil, Address(0), &[true, false]);
        image.put_failure(place(3, 2), Why::Refused(2));
        let text = serde_json::to_string(&image).unwrap();
        assert_eq!(serde_json::from_str::<Image>(&text).unwrap(), image);
    }

    #[test]
    fn words_past_the_last_address_are_dropped() {
        let mut image = Image::default();
        image.put_words(Table::Input, Address(65535), &[1, 2]);
        assert_eq!(image.raw(&place(65535, 1)), Some(vec![1]));
        assert_eq!(image.raw(&place(0, 1)), None);
    }
}
