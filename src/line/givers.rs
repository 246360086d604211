//! The points that give others their decimals or their unit, and what keeps a value from being read
//! in one scale and decoded in another.
//!
//! Where a value and the point that scales it come in one answer, they belong together. Where they
//! come in two, somebody at the panel may change the scale between them. So givers are read last, and
//! a reading counts only if they are then what they were at the end of the reading before: otherwise
//! it is made again.

use std::collections::{BTreeMap, BTreeSet};

use tokio::time::Instant;

use super::exchange::Exchange;
use super::plan::Block;
use super::poll::{Polled, read_blocks};
use super::polling::Polling;
use crate::map::{Image, Map, Place, Point};
use crate::name::Name;
use crate::number::Number;
use crate::sample::Why;

/// So often a reading is made before what would not hold still is left out.
pub(super) const READINGS: u32 = 3;

/// What the givers of a map were when they were last read.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Givers {
    known: BTreeMap<Name, Number>,
}

impl Givers {
    /// Takes what a reading gave; whether any giver is not what it was, or was not known.
    pub(super) fn take(&mut self, map: &Map, image: &Image) -> bool {
        let mut is_new = false;
        for giver in givers(map) {
            if let Some(now) = map.read(giver, image).number() {
                is_new |= self.known.insert(giver.name.clone(), now) != Some(now);
            }
        }
        is_new
    }

    /// Whether none was ever read.
    pub(super) fn is_empty(&self) -> bool {
        self.known.is_empty()
    }
}

fn givers(map: &Map) -> impl Iterator<Item = &Point> {
    let names: BTreeSet<&Name> = map.points.iter().flat_map(Point::needs).collect();
    names.into_iter().filter_map(|name| map.point(name))
}

/// Puts the blocks that hold a giver behind the others.
pub(super) fn givers_last(map: &Map, blocks: &mut [Block]) {
    let places: Vec<Place> = givers(map).map(|giver| giver.place).collect();
    blocks.sort_by_key(|block| places.iter().any(|place| place.overlaps(&block.place)));
}

/// Whether a point comes in another of these blocks than what scales it.
pub(super) fn are_apart(map: &Map, blocks: &[Block]) -> bool {
    let block_of = |point: &Point| {
        blocks
            .iter()
            .position(|block| point.place.overlaps(&block.place))
    };
    let is_apart = |point: &Point| {
        let mut needed = point.needs().filter_map(|name| map.point(name));
        let own = block_of(point);
        own.is_some() && needed.any(|giver| block_of(giver) != own)
    };
    map.points.iter().any(is_apart)
}

/// Forgets the givers of a reading that would not hold still: what they scale is then absent.
pub(super) fn withdraw(map: &Map, image: &mut Image) {
    for giver in givers(map) {
        image.put_failure(giver.place, Why::Skipped);
    }
}

/// Reads `blocks` so that every value belongs to the scale it is decoded with; also tells whether a
/// scale has changed.
pub(super) async fn read_scaled(
    exchange: &mut Exchange,
    polling: &mut Polling,
    blocks: &[Block],
    until: Instant,
) -> (Polled, bool) {
    let map = polling.setup.map.clone();
    let was_known = !polling.givers.is_empty();
    let mut has_changed = false;
    let mut readings = 0;
    loop {
        let mut polled = read_blocks(exchange, polling, blocks, until).await;
        let is_new = polling.givers.take(&map, &polled.image);
        has_changed |= is_new && was_known;
        readings += 1;
        if !is_new || !are_apart(&map, blocks) {
            return (polled, has_changed);
        }
        if readings == READINGS || Instant::now() >= until {
            withdraw(&map, &mut polled.image);
            return (polled, has_changed);
        }
    }
}
