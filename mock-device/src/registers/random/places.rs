//! Where the items of a random layout stand.

use super::dice::Dice;
use crate::registers::{Item, Kind, Table, What};

/// Where a manual's groups of registers may begin.
const BEGINNINGS: [u16; 9] = [0, 0, 1, 16, 100, 200, 256, 1000, 4096];
/// How far the next group is from the end of the one before.
const JUMPS: [u16; 6] = [0, 4, 10, 50, 100, 500];

/// Gives out addresses, table by table.
#[derive(Debug)]
pub(super) struct Places {
    /// The next free address of each table.
    next: [u16; 4],
    /// Whether a value of two words begins at an even address.
    aligns: bool,
    /// What answers in the gaps.
    pub(super) fillers: Vec<Item>,
}

impl Places {
    pub(super) fn new(dice: &mut Dice, aligns: bool) -> Self {
        Self {
            next: [0; 4].map(|_| dice.one_of(&BEGINNINGS)),
            aligns,
            fillers: Vec::new(),
        }
    }

    /// Begins a new group in this table.
    pub(super) fn jump(&mut self, dice: &mut Dice, table: Table) {
        *self.next(table) += dice.one_of(&JUMPS);
    }

    /// Gives an item the next address of its table, or one a little further.
    pub(super) fn place(&mut self, dice: &mut Dice, item: Item) -> Item {
        if dice.percent(15) {
            self.leave_gap(dice, item.table);
        }
        let aligns = self.aligns;
        let next = self.next(item.table);
        if aligns && item.length() == 2 {
            *next = next.next_multiple_of(2);
        }
        let address = *next;
        *next += item.length();
        Item { address, ..item }
    }

    /// A gap is refused, or answered with something the manual does not mention.
    fn leave_gap(&mut self, dice: &mut Dice, table: Table) {
        let (length, answers) = (dice.between(1, 3), dice.percent(50));
        for _ in 0..length {
            let address = *self.next(table);
            *self.next(table) += 1;
            if answers && !table.is_bits() {
                let held = dice.one_of(&[0, 0, 0, 1, 100, 490, 4900, 65_535]);
                let what = What::Constant(held.into(), Kind::Count, "Reserved");
                let filler = Item::new(table, address, what);
                self.fillers.push(Item {
                    is_listed: false,
                    ..filler
                });
            }
        }
    }

    fn next(&mut self, table: Table) -> &mut u16 {
        &mut self.next[table as usize]
    }
}
