//! `random:SEED`: the layout of a controller that nobody has seen before, with its manual.
//!
//! The seed decides everything: tables, addresses, encodings, scales, how states are told, what stands
//! beside them that only looks like a value, and what the manual forgets to say.

mod content;
mod dice;
mod places;
mod style;

use std::time::Duration;

use super::{Item, Layout, Manual, Order, What};
use content::Contents;
use dice::Dice;
use places::Places;
use style::Style;

/// A layout drawn from a seed.
///
/// ```
/// use mock_device::registers::{Layout, Random, What};
///
/// let layout = Random::new(7);
/// assert!(layout.items().iter().any(|item| item.what == What::ProcessValue && item.is_listed));
/// assert_eq!(format!("{layout:?}"), format!("{:?}", Random::new(7)));
/// ```
#[derive(Clone, Debug)]
pub struct Random {
    name: String,
    items: Vec<Item>,
    style: Style,
}

impl Random {
    /// The layout of this seed, always the same.
    pub fn new(seed: u64) -> Self {
        let dice = &mut Dice::of_seed(seed);
        let style = Style::draw(dice);
        let mut places = Places::new(dice, style.aligns);
        let mut items = Contents::draw(dice, &style).placed(dice, &mut places);
        items.append(&mut places.fillers);
        items.sort_by_key(|item| (item.table, item.address, item.part.map(|part| part.lowest)));
        Self {
            name: format!("random:{seed}"),
            items,
            style,
        }
    }

    /// The item that the manual lists for this.
    pub fn listed(&self, what: What) -> Option<&Item> {
        let mut items = self.items.iter();
        items.find(|item| item.what == what && item.is_listed && !item.is_copy)
    }
}

impl Layout for Random {
    fn name(&self) -> &str {
        &self.name
    }

    fn manual(&self) -> Manual {
        Manual {
            numbering: self.style.numbering,
            first_bit: self.style.first_bit,
            says: self.style.says,
        }
    }

    fn items(&self) -> &[Item] {
        &self.items
    }

    fn order(&self) -> Order {
        self.style.order
    }

    fn max_words(&self) -> u16 {
        self.style.max_words
    }

    fn rest(&self) -> Duration {
        self.style.rest
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::controller::{Controller, Settings, Tuning};
    use crate::registers::{Numbering, Setting, State, Table, Words, register_table};

    const SEEDS: std::ops::Range<u64> = 0..1000;

    fn controller() -> Controller {
        let settings = Settings::as_delivered(Tuning::new(28.0, 141.0, 36.0), 490.0);
        Controller::new(settings, 489.7, 41.3)
    }

    /// The addresses an item takes, with the bits it takes of them.
    fn taken(item: &Item) -> impl Iterator<Item = (Table, u16, u16)> + use<> {
        let bits = item.part.map_or(u16::MAX, |part| {
            (u16::MAX >> (16 - part.count)) << part.lowest
        });
        let (table, first) = (item.table, item.address);
        (first..first + item.length()).map(move |address| (table, address, bits))
    }

    #[test]
    fn no_two_items_stand_in_one_place() {
        for seed in SEEDS {
            let layout = Random::new(seed);
            let mut seen: Vec<(Table, u16, u16)> = layout.items().iter().flat_map(taken).collect();
            seen.sort_unstable();
            for pair in seen.windows(2) {
                let same = (pair[0].0, pair[0].1) == (pair[1].0, pair[1].1);
                assert!(!same || pair[0].2 & pair[1].2 == 0, "seed {seed}: {pair:?}");
            }
        }
    }

    #[test]
    fn every_layout_has_what_a_loop_needs_and_its_table_has_it_too() {
        for seed in SEEDS {
            let layout = Random::new(seed);
            let table = register_table(&layout);
            let set = [
                Setting::Setpoint,
                Setting::Band,
                Setting::Integral,
                Setting::Derivative,
            ];
            let needed = set.map(What::Set).into_iter();
            for what in needed.chain([What::ProcessValue, What::Output]) {
                let item = layout.listed(what).unwrap();
                let number = layout.manual().number(item.table, item.address);
                let row = table.lines().find(|line| {
                    let mut words = line.split_whitespace();
                    words.next() == Some(&number) && line.contains(item.label)
                });
                assert!(row.is_some(), "seed {seed}: {what:?} in\n{table}");
            }
            let tells = [State::Tuning, State::Operation].map(What::State);
            assert!(
                tells.into_iter().any(|what| layout.listed(what).is_some()),
                "seed {seed}"
            );
        }
    }

    #[test]
    fn what_is_written_where_the_setpoint_stands_is_the_setpoint() {
        for seed in SEEDS {
            let (layout, mut c) = (Random::new(seed), controller());
            let &Item {
                address, encoding, ..
            } = layout.listed(What::Set(Setting::Setpoint)).unwrap();
            let words: Vec<u16> = (address..address + encoding.words())
                .map(|address| layout.word(&c, Words::Holding, address).unwrap())
                .collect();
            c.set_setpoint(100.0).unwrap();
            layout.write_words(&mut c, address, &words).unwrap();
            // As fine as a quarter of a degree, or a whole one.
            assert!((c.settings().setpoint - 490.0).abs() <= 0.5, "seed {seed}");
        }
    }

    #[test]
    fn the_seeds_differ_in_everything_they_may_differ_in() {
        let of = |distinct: fn(&Random) -> String| {
            let seen: BTreeSet<String> = SEEDS.map(|seed| distinct(&Random::new(seed))).collect();
            seen.len()
        };
        assert_eq!(of(|it| format!("{:?}", it.style.numbering)), 4);
        assert_eq!(of(|it| format!("{:?}", it.style.states)), 4);
        assert_eq!(of(|it| format!("{:?}", it.style.order)), 4);
        assert_eq!(of(|it| format!("{:?}", it.style.says)), 16);
        assert_eq!(of(|it| it.temperature_unit().text().to_owned()), 2);
        let pv = |it: &Random| *it.listed(What::ProcessValue).unwrap();
        let encodings = of(|it| format!("{:?}", it.listed(What::ProcessValue).unwrap().encoding));
        assert_eq!(encodings, 4, "{:?}", pv(&Random::new(0)));
        assert!(of(|it| it.listed(What::ProcessValue).unwrap().address.to_string()) > 50);
    }

    #[test]
    fn a_manual_that_leaves_something_out_is_still_a_manual_of_its_layout() {
        let unsaid = SEEDS.map(Random::new).filter(|it| !it.style.says.numbering);
        for layout in unsaid {
            let table = register_table(&layout);
            assert!(!table.contains("begin at 1") && !table.contains("are addresses"));
            assert!(layout.style.numbering != Numbering::Hexadecimal || table.contains("0x"));
        }
    }
}
