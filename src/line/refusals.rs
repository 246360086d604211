//! What a unit refused to give in one block, and what is asked for instead.

use std::collections::BTreeSet;

use crate::map::{Address, Place, Table};

/// What a unit refused to give in one block.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Refusals {
    /// Addresses that no block runs over.
    pub(super) over: Vec<(Table, Address)>,
    /// Addresses of places that begin a new block.
    pub(super) cuts: Vec<(Table, Address)>,
}

impl Refusals {
    /// Takes note that the unit refused `block`, asked for the sake of `places`: next time without the
    /// addresses that are none of theirs; without any such, in two halves, so that one that the unit
    /// does not have loses no other. Whether there was anything to learn.
    pub(crate) fn note(&mut self, block: Place, places: &[Place]) -> bool {
        let wanted: Vec<&Place> = places.iter().filter(|it| it.overlaps(&block)).collect();
        let is_wanted = |address: &Address| {
            let one = Place {
                address: *address,
                count: 1,
                ..block
            };
            wanted.iter().any(|place| place.overlaps(&one))
        };
        let before = (self.over.len(), self.cuts.len());
        let others = block.addresses().filter(|address| !is_wanted(address));
        let new = others.map(|address| (block.table, address));
        self.over.extend(new);
        if self.over.len() == before.0 {
            let starts: BTreeSet<Address> = wanted.iter().map(|it| it.address).collect();
            let middle = starts.iter().nth(starts.len() / 2);
            let cut = middle.filter(|_| starts.len() > 1);
            self.cuts.extend(cut.map(|address| (block.table, *address)));
        }
        (self.over.len(), self.cuts.len()) != before
    }
}
