use proptest::prelude::*;

use super::*;
use crate::setup::{Parity, Port, StopBits};

fn access(max_words: u16, bridge_gaps: bool) -> Access {
    Access {
        max_words,
        bridge_gaps,
        ..Access::default()
    }
}

fn cost(access: &Access) -> Cost {
    let (path, parity, stop_bits) = (String::new(), Parity::Even, StopBits::One);
    let port = Port::Serial {
        path,
        baud: 9600,
        parity,
        stop_bits,
    };
    Cost::new(Pace::of(&port), access, Duration::from_millis(1))
}

fn holding(address: u16, count: u16) -> Place {
    Place {
        table: Table::Holding,
        address: Address(address),
        count,
    }
}

fn rules<'a>(access: &'a Access, refusals: &'a Refusals) -> Rules<'a> {
    Rules {
        access,
        cost: cost(access),
        named: &[],
        refusals,
    }
}

fn planned(places: &[Place], access: &Access) -> Vec<Place> {
    let refusals = Refusals::default();
    plan(
        places.to_vec(),
        rules(access, &refusals),
        &mut Taken::default(),
    )
}

#[test]
fn touching_points_are_one_block_and_gaps_split_unless_they_may_be_bridged() {
    let places = [holding(2, 2), holding(0, 1), holding(1, 1), holding(9, 1)];
    assert_eq!(
        planned(&places, &access(8, false)),
        [holding(0, 4), holding(9, 1)]
    );
    assert_eq!(planned(&places, &access(10, true)), [holding(0, 10)]);
}

#[test]
fn blocks_of_one_length_are_padded_apart_where_that_is_allowed() {
    let places = [holding(0, 2), holding(1000, 2), holding(65_534, 2)];
    let padded = [holding(0, 2), holding(1000, 3), holding(65_532, 4)];
    assert_eq!(planned(&places, &access(8, true)), padded);
    assert_eq!(planned(&places, &access(8, false)), places);
}

#[test]
fn lengths_differ_where_some_plan_has_it_so_even_if_that_takes_another_read() {
    let places = [holding(0, 2), holding(2, 1), holding(10, 3)];
    assert_eq!(planned(&places, &access(3, true)), places);
    // One word more leaves room to pad.
    let padded = [holding(0, 3), holding(10, 4)];
    assert_eq!(planned(&places, &access(4, true)), padded);
}

#[test]
fn a_read_is_worth_as_many_registers_as_its_frames_and_pauses_take() {
    // Closed form at 9600 baud: 13 characters of 11 bits, a silence of 3.5 characters and 1 ms
    // are 8.7 registers of 22 bits.
    let access = access(125, true);
    let places = |gap: u16| [holding(0, 1), holding(1 + gap, 2)];
    assert_eq!(planned(&places(8), &access), [holding(0, 11)]);
    assert_eq!(planned(&places(9), &access), places(9));
}

#[test]
fn what_a_unit_refused_is_not_run_over_again() {
    let access = access(20, true);
    let places = [holding(0, 4), holding(6, 2), holding(9, 1)];
    let mut refusals = Refusals::default();
    assert!(refusals.note(holding(0, 6), &places[..1]));
    let again = plan(
        places.to_vec(),
        rules(&access, &refusals),
        &mut Taken::default(),
    );
    // The second would be as long as the first: it runs one further.
    assert_eq!(again, [holding(0, 4), holding(6, 5)]);
}

#[test]
fn a_register_the_unit_does_not_have_ends_up_alone() {
    let access = access(20, false);
    let places: Vec<Place> = (0..8).map(|address| holding(address, 1)).collect();
    let missing = holding(5, 1);
    let mut refusals = Refusals::default();
    let blocks = loop {
        let blocks = plan(
            places.clone(),
            rules(&access, &refusals),
            &mut Taken::default(),
        );
        let refused = blocks
            .iter()
            .find(|block| block.overlaps(&missing))
            .unwrap();
        if !refusals.note(*refused, &places) {
            break blocks;
        }
    };
    let expected = [holding(0, 4), holding(4, 1), missing, holding(6, 2)];
    assert_eq!(blocks, expected);
}

#[test]
fn blocks_run_over_the_places_of_other_points_but_tear_none() {
    let access = access(8, false);
    let refusals = Refusals::default();
    let named = [holding(1, 1), holding(11, 2), holding(21, 1)];
    let rules = Rules {
        named: &named,
        ..rules(&access, &refusals)
    };
    // The first as one block, the third no longer than it, unless it runs over more.
    let places = vec![holding(0, 1), holding(2, 1), holding(10, 1), holding(20, 1)];
    let planned = plan(places, rules, &mut Taken::default());
    let expected = [holding(0, 3), holding(10, 1), holding(20, 2)];
    assert_eq!(planned, expected);
}

#[test]
fn lengths_taken_by_other_blocks_of_the_unit_are_left_alone() {
    let access = access(8, true);
    let refusals = Refusals::default();
    let rules = rules(&access, &refusals);
    let mut taken = Taken::default();
    let trend = plan(vec![holding(0, 3)], rules, &mut taken);
    let settings = plan(vec![holding(100, 3)], rules, &mut taken);
    assert_eq!([trend[0].count, settings[0].count], [3, 4]);
}

#[test]
fn a_length_that_two_blocks_share_is_unique_for_neither() {
    let mut lengths = Lengths::default();
    let places = [holding(0, 3), holding(10, 3), holding(20, 4)];
    lengths.count(&places);
    assert_eq!(
        places.map(|place| lengths.block(place).is_unique),
        [false, false, true]
    );
}

/// The least cost of all ways to cut the places into blocks, each way with the least padding
/// that makes its lengths differ: in rising order, each one more than the last if need be.
fn cheapest_by_trying_all(places: &[Place], access: &Access) -> Option<Duration> {
    let cuts = 0..1_u32 << (places.len() - 1);
    cuts.filter_map(|cuts| cost_of_cuts(places, cuts, access))
        .min()
}

fn cost_of_cuts(places: &[Place], cuts: u32, access: &Access) -> Option<Duration> {
    let mut counts = Vec::new();
    let mut first = 0;
    for last in 0..places.len() {
        if last + 1 < places.len() && cuts >> last & 1 == 0 {
            continue;
        }
        let block = &places[first..=last];
        let gap = |pair: &[Place]| pair[0].end() < u32::from(pair[1].address.0);
        let count = block.iter().map(Place::end).max()? - u32::from(block[0].address.0);
        if count > u32::from(access.max_words) || block.windows(2).any(gap) && !access.bridge_gaps {
            return None;
        }
        counts.push(count);
        first = last + 1;
    }
    counts.sort_unstable();
    for at in 1..counts.len() * usize::from(access.bridge_gaps) {
        counts[at] = counts[at].max(counts[at - 1] + 1);
    }
    let fits = counts
        .iter()
        .all(|count| *count <= u32::from(access.max_words));
    fits.then(|| counts.iter().map(|count| cost(access).of(2 * count)).sum())
}

fn any_place() -> impl Strategy<Value = Place> {
    use Table::{Coil, Discrete, Holding, Input};
    let table = prop_oneof![Just(Coil), Just(Discrete), Just(Input), Just(Holding)];
    let any = (table, 0u16..300, 1u16..=4);
    any.prop_map(|(table, address, count)| Place {
        table,
        address: Address(address),
        count,
    })
}

/// Gaps about as wide as pay for themselves, so that both choices come up.
fn scattered() -> impl Strategy<Value = Vec<Place>> {
    prop::collection::vec((0u16..40, 1u16..=4), 1..10).prop_map(|steps| {
        let mut address = 0;
        let place = |(gap, count): (u16, u16)| {
            let place = holding(address + gap, count);
            address += gap + count;
            place
        };
        steps.into_iter().map(place).collect()
    })
}

proptest! {
    #[test]
    fn no_other_set_of_blocks_costs_less(
        places in scattered(), max_words in prop_oneof![4u16..=24, 20u16..=125], bridge in any::<bool>(),
    ) {
        let access = access(max_words, bridge);
        let planned = planned(&places, &access);
        let spent: Duration = planned.iter().map(|it| cost(&access).of(2 * u32::from(it.count))).sum();
        // With few words at most there may be no blocks that all differ in length.
        if let Some(least) = cheapest_by_trying_all(&places, &access) {
            prop_assert_eq!(spent, least, "{:?}", planned);
        }
    }

    #[test]
    fn every_place_lies_in_one_block_and_no_block_is_too_long(
        places in prop::collection::vec(any_place(), 0..40),
        others in prop::collection::vec(any_place(), 0..40),
        max_words in 4u16..=125, bridge in any::<bool>(),
    ) {
        let access = access(max_words, bridge);
        let refusals = Refusals::default();
        let rules = Rules { named: &others, ..rules(&access, &refusals) };
        let planned = plan(places.clone(), rules, &mut Taken::default());
        for place in &places {
            let holds = |block: &&Place| block.table == place.table
                && block.address <= place.address && place.end() <= block.end();
            prop_assert!(planned.iter().any(|block| holds(&block)), "{place:?} in {planned:?}");
        }
        for block in &planned {
            let limit = if block.table.is_bits() { 2000 } else { max_words };
            prop_assert!(block.count <= limit);
            let named = |address: u32| places.iter().chain(&others).any(|place| {
                let range = u32::from(place.address.0)..place.end();
                place.table == block.table && range.contains(&address)
            });
            prop_assert!(bridge || (u32::from(block.address.0)..block.end()).all(named));
        }
    }
}
