//! Which blocks one poll reads: the set of reads with the least time on the wire.
//!
//! Every place lies whole in one block, so that no value is torn. No block asks for more than the
//! unit and the standard allow. Blocks run over the places of other points of the map, and over
//! addresses that no point names where the map lets them; not where the unit has refused it. And no
//! two blocks of a unit and a function have the same byte count, as far as padding may make it so: an
//! answer then cannot be taken for another block's. Where unnamed addresses may be run over and some
//! plan has it so, it is taken even if equal byte counts would cost less.
//!
//! The search is exact: dynamic programming over the places in order of address, a state being how
//! many places are covered and which byte counts are taken. States that cost no less and have taken
//! no less than another are dropped, as are those that even without the rule of unequal byte counts
//! could not beat the best plan known.

use std::cell::RefCell;
use std::collections::HashMap;
use std::time::Duration;

use super::port::Pace;
use super::refusals::Refusals;
use crate::map::{Access, Address, Place, Table};

/// Most registers one read may ask for (Modbus application protocol V1.1b3, 6.3 and 6.4).
const MOST_REGISTERS: u32 = 125;
/// Most bits one read may ask for (6.1 and 6.2).
const MOST_BITS: u32 = 2000;
/// So many equally promising beginnings are followed. No register table of a controller comes near
/// it; a table made to have very many plans of almost equal cost gets a good plan, not the best.
const MOST_STATES: usize = 64;
/// And so many for all beginnings together: far more places than any controller has get a good plan at
/// once instead of the best one in a minute.
const MOST_STATES_IN_ALL: usize = 64 * 256;
/// A read request: unit, function, address, count, checksum.
const REQUEST_CHARACTERS: u32 = 8;
/// An answer beside its data: unit, function, byte count, checksum.
const ANSWER_CHARACTERS: u32 = 5;

/// What time on the wire costs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Cost {
    /// One character.
    character: Duration,
    /// Everything about a read that does not depend on its length.
    read: Duration,
}

/// The byte counts one unit answers with, per table.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Taken([Bytes; 4]);

/// How many blocks of one unit are answered with how many bytes.
#[derive(Clone, Debug, Default)]
pub(crate) struct Lengths(HashMap<(Table, u32), usize>);

/// A set of byte counts, 1 to 250.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Bytes([u64; 4]);

/// One block of a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Block {
    /// What is asked for.
    pub(crate) place: Place,
    /// No other block of this unit and function is answered with as many bytes.
    pub(crate) is_unique: bool,
}

/// What a plan must respect.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Rules<'a> {
    pub(crate) access: &'a Access,
    pub(crate) cost: Cost,
    /// Places of all readable points of the map.
    pub(crate) named: &'a [Place],
    pub(crate) refusals: &'a Refusals,
}

impl Cost {
    /// A read on a line with this pace, at a unit that takes `turnaround` from the end of the request
    /// to the start of its answer.
    pub(crate) fn new(pace: Pace, access: &Access, turnaround: Duration) -> Self {
        let characters = REQUEST_CHARACTERS + ANSWER_CHARACTERS;
        let silences = pace.silence.max(access.gap) + turnaround;
        // With no time known for a character a register still costs something.
        let character = pace.character.max(Duration::from_nanos(1));
        Self {
            character,
            read: character * characters + silences,
        }
    }

    /// Reading this block.
    pub(crate) fn of_block(self, block: Place) -> Duration {
        self.of(bytes(block.table, block.count.into()))
    }

    fn of(self, bytes: u32) -> Duration {
        self.read + self.character * bytes
    }
}

/// The cheapest blocks that cover every place, in table and address order. `taken` gives the byte
/// counts other blocks of the unit have, and gets those of this plan.
pub(crate) fn plan(mut places: Vec<Place>, rules: Rules<'_>, taken: &mut Taken) -> Vec<Place> {
    places.sort_unstable();
    places.dedup();
    let of_one_table = places.chunk_by(|a, b| a.table == b.table);
    of_one_table
        .flat_map(|places| Search::new(places, rules).blocks(taken))
        .collect()
}

/// The search among the places of one table.
struct Search<'a> {
    places: &'a [Place],
    rules: Rules<'a>,
    /// The named places of this table, in order.
    named: Vec<Place>,
    /// Blocks of the plans under way; plans that begin alike share their beginning.
    chain: RefCell<Vec<Link>>,
}

/// Blocks that cover the first places, and what they cost.
#[derive(Clone, Debug)]
struct Partial {
    cost: Duration,
    taken: Bytes,
    /// Where its last block stands in the chain.
    last: Option<usize>,
}

/// One block of a plan.
#[derive(Clone, Copy, Debug)]
struct Link {
    /// Its first and last place.
    span: Span,
    /// The byte count it is padded to.
    bytes: u32,
    /// Where the block before it stands in the chain.
    before: Option<usize>,
}

/// Whether a block may have a byte count that another has.
#[derive(Clone, Copy, Debug)]
enum Equal {
    Never,
    IfNeedBe,
}

/// The places from one to another, in one block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Span {
    first: u32,
    end: u32,
}

impl<'a> Search<'a> {
    fn new(places: &'a [Place], rules: Rules<'a>) -> Self {
        let of_table = |place: &&Place| place.table == places[0].table;
        let mut named: Vec<Place> = rules.named.iter().filter(of_table).copied().collect();
        named.sort_unstable();
        Self {
            places,
            rules,
            named,
            chain: RefCell::default(),
        }
    }

    fn blocks(&self, taken: &mut Taken) -> Vec<Place> {
        let already = taken.of(self.table());
        let mut last = self.cheapest(*already).last;
        let mut blocks = Vec::new();
        while let Some(link) = last.and_then(|at| self.chain.borrow().get(at).copied()) {
            already.insert(link.bytes);
            blocks.push(self.place(link.span, link.bytes));
            last = link.before;
        }
        blocks.reverse();
        blocks
    }

    fn cheapest(&self, taken: Bytes) -> Partial {
        let rest = self.cheapest_rest();
        let start = Partial {
            cost: Duration::ZERO,
            taken,
            last: None,
        };
        // Without padding, byte counts are what they are.
        let can_pad = self.rules.access.bridge_gaps;
        let differing = can_pad.then(|| self.search(&start, &rest, Equal::Never));
        differing
            .flatten()
            .or_else(|| self.search(&start, &rest, Equal::IfNeedBe))
            .unwrap_or(start)
    }

    /// The cheapest blocks that cover every place; `None` where byte counts cannot all differ.
    fn search(&self, start: &Partial, rest: &[Duration], equal: Equal) -> Option<Partial> {
        let most = (MOST_STATES_IN_ALL / self.places.len()).clamp(1, MOST_STATES);
        let mut best = self.first_guess(start, rest, equal);
        let mut states: Vec<Vec<Partial>> = vec![Vec::new(); self.places.len() + 1];
        states[0].push(start.clone());
        for covered in 0..self.places.len() {
            for state in std::mem::take(&mut states[covered]) {
                for (end, span) in self.spans_from(covered) {
                    let to_beat = best.as_ref().map(|best| best.cost);
                    let is_hopeless =
                        |cost: Duration| to_beat.is_some_and(|best| cost + rest[end] >= best);
                    // Most are hopeless however little they are padded.
                    if is_hopeless(state.cost + self.unpadded(span)) {
                        continue;
                    }
                    let next = self.add(&state, span, equal);
                    let Some(next) = next.filter(|next| !is_hopeless(next.cost)) else {
                        continue;
                    };
                    if end < self.places.len() {
                        keep(&mut states[end], next, most);
                    } else {
                        best = Some(next);
                    }
                }
            }
        }
        best
    }

    /// The blocks that would be cheapest if byte counts could be equal, padded: a first plan to beat.
    fn first_guess(&self, start: &Partial, rest: &[Duration], equal: Equal) -> Option<Partial> {
        let (mut covered, mut state) = (0, start.clone());
        while covered < self.places.len() {
            let cost = |(end, span): &(usize, Span)| self.unpadded(*span) + rest[*end];
            let (end, span) = self.spans_from(covered).min_by_key(cost)?;
            state = self.add(&state, span, equal)?;
            covered = end;
        }
        Some(state)
    }

    /// The least cost of covering the places from each one on, if byte counts could be equal.
    fn cheapest_rest(&self) -> Vec<Duration> {
        let mut rest = vec![Duration::ZERO; self.places.len() + 1];
        for covered in (0..self.places.len()).rev() {
            let costs = self
                .spans_from(covered)
                .map(|(end, span)| self.unpadded(span) + rest[end]);
            rest[covered] = costs.min().unwrap_or_default();
        }
        rest
    }

    fn unpadded(&self, span: Span) -> Duration {
        self.rules
            .cost
            .of(bytes(self.table(), span.end - span.first))
    }

    fn table(&self) -> Table {
        self.places[0].table
    }

    /// Every block that may begin with place number `covered`, with the number of places behind it.
    fn spans_from(&self, covered: usize) -> impl Iterator<Item = (usize, Span)> {
        let first = u32::from(self.places[covered].address.0);
        let mut span = Span { first, end: first };
        self.places[covered..]
            .iter()
            .enumerate()
            .map_while(move |(more, place)| {
                let from = u32::from(place.address.0);
                let (gap, is_first) = (span.end..from, more == 0);
                if !is_first && self.is_in(&self.rules.refusals.cuts, from)
                    || !self.may_run_over(gap)
                {
                    return None;
                }
                span.end = span.end.max(place.end());
                let fits = span.end - span.first <= self.limit();
                // A place wider than the limit stands alone; the map's reader refuses such points.
                (fits || is_first).then_some((covered + more + 1, span))
            })
    }

    /// Whether a block may ask for these addresses beside its own. Where only named ones may be
    /// asked for, no place is torn: some units refuse half a value.
    fn may_run_over(&self, gap: std::ops::Range<u32>) -> bool {
        let Refusals { over, cuts } = self.rules.refusals;
        let is_free = |address: u32| !self.is_in(over, address) && !self.is_in(cuts, address);
        let mut rest = gap.clone();
        if !self.rules.access.bridge_gaps {
            while let Some(place) = self.named_from(rest.start).find(|it| it.end() <= rest.end) {
                rest.start = place.end();
            }
        }
        let is_named = rest.is_empty();
        gap.end <= 0x1_0000
            && (self.rules.access.bridge_gaps || is_named)
            && gap.clone().all(is_free)
    }

    /// The named places that begin at this address.
    fn named_from(&self, start: u32) -> impl Iterator<Item = &Place> {
        let begin = |place: &Place| u32::from(place.address.0);
        let first = self.named.partition_point(|place| begin(place) < start);
        self.named[first..]
            .iter()
            .take_while(move |place| begin(place) == start)
    }

    fn is_in(&self, list: &[(Table, Address)], address: u32) -> bool {
        list.iter()
            .any(|(table, it)| *table == self.table() && u32::from(it.0) == address)
    }

    fn limit(&self) -> u32 {
        match self.table() {
            Table::Coil | Table::Discrete => MOST_BITS,
            Table::Input | Table::Holding => {
                u32::from(self.rules.access.max_words).min(MOST_REGISTERS)
            }
        }
    }

    /// The state with one more block, padded to the next byte count that is free.
    fn add(&self, state: &Partial, span: Span, equal: Equal) -> Option<Partial> {
        let own = bytes(self.table(), span.end - span.first);
        let step = if self.table().is_bits() { 1 } else { 2 };
        let allowed = |bytes: &u32| *bytes == own || self.padding(span, *bytes).is_some();
        let padded = (own..=bytes(self.table(), self.limit()))
            .step_by(step)
            .find(|bytes| !state.taken.has(*bytes) && allowed(bytes));
        let bytes = match (padded, equal) {
            (Some(bytes), _) => bytes,
            // The block stays as it is, and is not unique.
            (None, Equal::IfNeedBe) => own,
            (None, Equal::Never) => return None,
        };
        let mut taken = state.taken;
        taken.insert(bytes);
        let mut chain = self.chain.borrow_mut();
        chain.push(Link {
            span,
            bytes,
            before: state.last,
        });
        Some(Partial {
            cost: state.cost + self.rules.cost.of(bytes),
            taken,
            last: Some(chain.len() - 1),
        })
    }

    /// The first address and count of a block padded to `bytes`: behind its end, or before its start
    /// at the end of the address space.
    fn padding(&self, span: Span, bytes: u32) -> Option<(u32, u32)> {
        let count = if self.table().is_bits() {
            8 * (bytes - 1) + 1
        } else {
            bytes / 2
        };
        let length = span.end - span.first;
        if count <= length {
            return Some((span.first, length));
        }
        let first = span.first.min(0x1_0000_u32.saturating_sub(count));
        let free =
            self.may_run_over(first..span.first) && self.may_run_over(span.end..first + count);
        free.then_some((first, count))
    }

    fn place(&self, span: Span, padded: u32) -> Place {
        let unpadded = (span.first, span.end - span.first);
        let (first, count) = self.padding(span, padded).unwrap_or(unpadded);
        Place {
            table: self.table(),
            address: Address(first as u16),
            count: count as u16,
        }
    }
}

/// Keeps a state unless another is as good, and drops those it betters; of too many the dearest.
fn keep(states: &mut Vec<Partial>, new: Partial, most: usize) {
    let betters =
        |one: &Partial, other: &Partial| one.cost <= other.cost && one.taken.is_within(other.taken);
    if states.iter().any(|known| betters(known, &new)) {
        return;
    }
    states.retain(|known| !betters(&new, known));
    states.push(new);
    if states.len() > most {
        let dearest = (0..states.len()).max_by_key(|at| states[*at].cost);
        dearest.map(|at| states.swap_remove(at));
    }
}

/// Data bytes of an answer with so many registers or bits.
fn bytes(table: Table, count: u32) -> u32 {
    if table.is_bits() {
        count.div_ceil(8)
    } else {
        2 * count
    }
}

impl Lengths {
    /// Counts these blocks of the unit.
    pub(crate) fn count(&mut self, places: &[Place]) {
        for place in places {
            *self
                .0
                .entry((place.table, bytes(place.table, place.count.into())))
                .or_default() += 1;
        }
    }

    /// The block that asks for `place`, one of those counted.
    pub(crate) fn block(&self, place: Place) -> Block {
        let length = (place.table, bytes(place.table, place.count.into()));
        Block {
            place,
            is_unique: self.0.get(&length) == Some(&1),
        }
    }
}

impl Taken {
    fn of(&mut self, table: Table) -> &mut Bytes {
        &mut self.0[match table {
            Table::Coil => 0,
            Table::Discrete => 1,
            Table::Input => 2,
            Table::Holding => 3,
        }]
    }
}

impl Bytes {
    fn insert(&mut self, bytes: u32) {
        if let Some(word) = self.0.get_mut(bytes as usize / 64) {
            *word |= 1 << (bytes % 64);
        }
    }

    fn has(self, bytes: u32) -> bool {
        self.0
            .get(bytes as usize / 64)
            .is_some_and(|word| word >> (bytes % 64) & 1 == 1)
    }

    fn is_within(self, other: Self) -> bool {
        self.0
            .iter()
            .zip(other.0)
            .all(|(mine, theirs)| mine & !theirs == 0)
    }
}

#[cfg(test)]
#[path = "plan_tests.rs"]
mod tests;
