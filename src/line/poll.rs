//! One poll of one loop: blocks in, a sample out.

use tokio::time::Instant;
use tokio_modbus::{Request, Response};

use super::Failure;
use super::exchange::Exchange;
use super::plan::Block;
use super::polling::Polling;
use crate::clock::{Clock, Stamp};
use crate::map::{Image, Map, Place, Role, Table};
use crate::sample::{Reading, Sample, State, Why};
use crate::setup::LoopSetup;

/// What reading some blocks gave.
#[derive(Debug, Default)]
pub(crate) struct Polled {
    pub(crate) image: Image,
    /// Each block that was answered, and when.
    pub(crate) answered: Vec<(Place, Instant)>,
    /// Each block that was not, and why.
    pub(crate) failed: Vec<(Place, Failure)>,
}

impl Polled {
    /// Nothing, because there is no port.
    pub(crate) fn lost(blocks: &[Block]) -> Self {
        let lost = |block: &Block| (block.place, Failure::PortLost("not open".to_owned()));
        Self {
            failed: blocks.iter().map(lost).collect(),
            ..Self::default()
        }
    }

    /// Adds what reading more blocks gave.
    pub(crate) fn absorb(&mut self, more: Self) {
        self.image.absorb(more.image);
        self.answered.extend(more.answered);
        self.failed.extend(more.failed);
    }
}

/// Asks for `blocks` one after the other; those there is no time for before `until` are not asked. Of
/// a unit that was silent before, one more silence is enough to give up the rest.
pub(super) async fn read_blocks(
    exchange: &mut Exchange,
    polling: &mut Polling,
    blocks: &[Block],
    until: Instant,
) -> Polled {
    let was_silent = polling.was_silent();
    let (the_loop, tally) = (&polling.setup, &mut polling.tally);
    let mut polled = Polled::default();
    let mut given_up: Option<Failure> = None;
    let began = Instant::now();
    for block in blocks {
        let outcome = match &given_up {
            Some(failure) => Err(failure.clone()),
            None => read_block(exchange, the_loop, *block, until, &mut polled.image).await,
        };
        match &outcome {
            Err(failure) if !matches!(failure, Failure::Refused(_)) => tally.failure(failure),
            Ok(()) | Err(_) => {
                let (took, turnaround) = exchange.last_answer_took();
                tally.answer(took, turnaround);
            }
        }
        match outcome {
            Ok(()) => polled.answered.push((block.place, Instant::now())),
            Err(failure) => {
                note_absent(&mut polled.image, &the_loop.map, block.place, failure.why());
                let is_over = match failure {
                    Failure::PortLost(_) => true,
                    Failure::NoAnswer | Failure::BehindGateway(_) if was_silent => true,
                    _ => Instant::now() >= until,
                };
                if is_over {
                    given_up = Some(failure.clone());
                }
                polled.failed.push((block.place, failure));
            }
        }
    }
    tally.used(began.elapsed());
    polled
}

/// Says why the points of a block did not come; those that another block brought stay.
pub(crate) fn note_absent(image: &mut Image, map: &Map, block: Place, why: Why) {
    for point in map
        .points
        .iter()
        .filter(|point| point.place.overlaps(&block))
    {
        if image.raw(&point.place).is_none() {
            image.put_failure(point.place, why);
        }
    }
}

async fn read_block(
    exchange: &mut Exchange,
    the_loop: &LoopSetup,
    block: Block,
    until: Instant,
    image: &mut Image,
) -> Result<(), Failure> {
    let Block {
        place: block,
        is_unique,
    } = block;
    let (address, count) = (block.address.0, block.count);
    let request = match block.table {
        Table::Coil => Request::ReadCoils(address, count),
        Table::Discrete => Request::ReadDiscreteInputs(address, count),
        Table::Input => Request::ReadInputRegisters(address, count),
        Table::Holding => Request::ReadHoldingRegisters(address, count),
    };
    let access = &the_loop.map.access;
    match exchange
        .ask(the_loop.unit, &request, is_unique, access, until)
        .await?
    {
        Response::ReadCoils(bits) | Response::ReadDiscreteInputs(bits)
            if bits.len() >= usize::from(count) =>
        {
            // The last byte of a bit answer is padded.
            image.put_bits(block.table, block.address, &bits[..usize::from(count)]);
            Ok(())
        }
        Response::ReadInputRegisters(words) | Response::ReadHoldingRegisters(words)
            if words.len() == usize::from(count) =>
        {
            image.put_words(block.table, block.address, &words);
            Ok(())
        }
        _ => Err(Failure::Damaged),
    }
}

/// The sample of a poll that was due at `due`; never earlier than the one before.
pub(super) fn sample(polling: &Polling, polled: &Polled, clock: &Clock, due: Stamp) -> Sample {
    let map = &polling.setup.map;
    let readings: Vec<Reading> = map
        .trend_points()
        .map(|point| map.read(point, &polled.image))
        .collect();
    let process_value = map
        .trend_points()
        .position(|point| point.role == Role::ProcessValue);
    let arrived = process_value_block(map, polled).map_or(due, |at| clock.of(at));
    let state = state_of(
        &readings,
        process_value.and_then(|index| readings.get(index)),
    );
    Sample {
        of: polling.setup.name.clone(),
        stamp: arrived.max(polling.last_stamp),
        state,
        readings: readings.into(),
        units: polling.trend_units.clone(),
    }
}

/// The sample of a poll that was never asked.
pub(super) fn absent(polling: &Polling, why: Why, due: Stamp) -> Sample {
    let map = &polling.setup.map;
    Sample {
        of: polling.setup.name.clone(),
        stamp: due.max(polling.last_stamp),
        state: State::Absent(why),
        readings: map.trend_points().map(|_| Reading::Absent(why)).collect(),
        units: polling.trend_units.clone(),
    }
}

fn process_value_block(map: &Map, polled: &Polled) -> Option<Instant> {
    let place = map
        .trend_points()
        .find(|point| point.role == Role::ProcessValue)?
        .place;
    let holds = |block: &Place| {
        let (first, last) = (
            block.address.0,
            u32::from(block.address.0) + u32::from(block.count),
        );
        block.table == place.table && (u32::from(first)..last).contains(&u32::from(place.address.0))
    };
    polled
        .answered
        .iter()
        .find(|(block, _)| holds(block))
        .map(|(_, at)| *at)
}

fn state_of(readings: &[Reading], process_value: Option<&Reading>) -> State {
    if let Some(Reading::Fault(_)) = process_value {
        return State::Faulty;
    }
    let good = readings
        .iter()
        .filter(|reading| matches!(reading, Reading::Good(_)))
        .count();
    if good == readings.len() {
        return State::Good;
    }
    let first_absence = readings.iter().find_map(|reading| match reading {
        Reading::Absent(why) => Some(*why),
        Reading::Good(_) | Reading::Fault(_) => None,
    });
    match first_absence {
        Some(why)
            if readings
                .iter()
                .all(|reading| matches!(reading, Reading::Absent(_))) =>
        {
            State::Absent(why)
        }
        _ => State::Partial,
    }
}
