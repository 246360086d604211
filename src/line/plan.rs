//! Which blocks one poll reads.
//!
//! Places that touch or overlap in one table become one block, as long as the unit may be asked for;
//! over addresses that no point names only where the map allows it.

use crate::map::{Access, Address, Place, Table};

/// Most registers one read may ask for (Modbus application protocol V1.1b3, 6.3 and 6.4).
const MOST_REGISTERS: u16 = 125;
/// Most bits one read may ask for (6.1 and 6.2).
const MOST_BITS: u16 = 2000;

/// The blocks that cover every place, in table and address order; each place lies in one block whole.
///
/// A place wider than the limit becomes a block of its own; the map's reader refuses such points.
pub(crate) fn blocks(mut places: Vec<Place>, access: &Access) -> Vec<Place> {
    places.sort_unstable();
    let mut blocks: Vec<Place> = Vec::new();
    for place in places {
        let joined = blocks.last().and_then(|last| join(*last, place, access));
        match (joined, blocks.last_mut()) {
            (Some(joined), Some(last)) => *last = joined,
            _ => blocks.push(place),
        }
    }
    blocks
}

/// One block over both, if one read may ask for it. `next` does not begin before `block`.
fn join(block: Place, next: Place, access: &Access) -> Option<Place> {
    let gap_free = u32::from(next.address.0) <= end(block);
    let end = end(block).max(end(next));
    let count = end - u32::from(block.address.0);
    let allowed = count <= u32::from(limit(block.table, access));
    (block.table == next.table && allowed && (gap_free || access.bridge_gaps)).then_some(Place {
        table: block.table,
        address: Address(block.address.0),
        count: count as u16,
    })
}

fn end(place: Place) -> u32 {
    u32::from(place.address.0) + u32::from(place.count)
}

fn limit(table: Table, access: &Access) -> u16 {
    match table {
        Table::Coil | Table::Discrete => MOST_BITS,
        Table::Input | Table::Holding => access.max_words.min(MOST_REGISTERS),
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use proptest::prelude::*;

    use super::*;
    use crate::map::{ByteOrder, WordOrder};

    fn access(max_words: u16, bridge_gaps: bool) -> Access {
        Access {
            word_order: WordOrder::HighFirst,
            byte_order: ByteOrder::default(),
            max_words,
            bridge_gaps,
            gap: Duration::ZERO,
            after_write: Duration::ZERO,
            late_at_most: Duration::from_secs(2),
        }
    }

    fn holding(address: u16, count: u16) -> Place {
        Place {
            table: Table::Holding,
            address: Address(address),
            count,
        }
    }

    #[test]
    fn touching_points_are_one_block_and_gaps_split() {
        let places = vec![holding(2, 2), holding(0, 1), holding(1, 1), holding(9, 1)];
        assert_eq!(
            blocks(places.clone(), &access(8, false)),
            [holding(0, 4), holding(9, 1)]
        );
        assert_eq!(blocks(places, &access(10, true)), [holding(0, 10)]);
    }

    fn any_place() -> impl Strategy<Value = Place> {
        let table = prop_oneof![
            Just(Table::Coil),
            Just(Table::Discrete),
            Just(Table::Input),
            Just(Table::Holding)
        ];
        (table, 0u16..300, 1u16..=4).prop_map(|(table, address, count)| Place {
            table,
            address: Address(address),
            count,
        })
    }

    proptest! {
        #[test]
        fn every_place_lies_in_one_block_and_no_block_is_too_long(
            places in prop::collection::vec(any_place(), 0..40), max_words in 4u16..=125, bridge in any::<bool>(),
        ) {
            let access = access(max_words, bridge);
            let planned = blocks(places.clone(), &access);
            for place in &places {
                let holds = |block: &&Place| block.table == place.table
                    && block.address <= place.address && end(*place) <= end(**block);
                prop_assert!(planned.iter().any(|block| holds(&block)), "{place:?} in {planned:?}");
            }
            for block in &planned {
                prop_assert!(block.count <= limit(block.table, &access));
                let named = |address: u32| places.iter().any(|place| place.table == block.table
                    && u32::from(place.address.0) <= address && address < end(*place));
                prop_assert!(bridge || (u32::from(block.address.0)..end(*block)).all(named));
            }
        }
    }
}
