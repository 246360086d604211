//! Reading whatever registers a unit has, where nobody has a table of them.
//!
//! Blocks are as long as the unit allows and shrink around what it refuses. A unit may refuse half a
//! value, so a single register that is refused is also asked for with the next one, or the next three.

use std::collections::VecDeque;

use tokio::time::Instant;
use tokio_modbus::{Request, Response};

use super::{Failure, Line};
use crate::map::{Access, Address, Place, Table};
use crate::setup::UnitId;

/// Exception 01: the unit knows no function for this table.
const ILLEGAL_FUNCTION: u8 = 1;
/// Words of the widest value.
const WIDEST: u16 = 4;
/// So many times in a row nothing may come before the unit is given up.
const SILENT_AT_MOST: u32 = 3;

/// A walk through stretches of registers; it can be left off after any step.
#[derive(Clone, Debug)]
pub struct Walk {
    left: VecDeque<Place>,
    most: u16,
    /// The lengths still to be tried at the present address; empty before the first try.
    tries: VecDeque<u16>,
    was_refused: bool,
    silent: u32,
    unanswered: u32,
}

/// What one request of a walk came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// These registers, from this place.
    Words(Place, Vec<u16>),
    /// Nothing at this place, or not in this way.
    Nothing(Place),
}

impl Walk {
    /// A walk through `stretches` of input or holding registers, as many at once as `access` allows.
    pub fn new(stretches: impl IntoIterator<Item = Place>, access: &Access) -> Self {
        Self {
            left: stretches.into_iter().filter(|it| it.count > 0).collect(),
            most: access.max_words.max(1),
            tries: VecDeque::new(),
            was_refused: false,
            silent: 0,
            unanswered: 0,
        }
    }

    /// How many registers were left out because the unit was silent about them.
    pub fn unanswered(&self) -> u32 {
        self.unanswered
    }

    /// What has not been asked for yet.
    pub fn left(&self) -> impl Iterator<Item = Place> {
        self.left.iter().copied()
    }

    /// How many registers have not been asked for yet.
    pub fn registers_left(&self) -> u32 {
        self.left.iter().map(|place| u32::from(place.count)).sum()
    }

    /// Asks `unit` once more; `None` when everything was asked for. A step that is dropped half-way
    /// is made again by the next.
    ///
    /// # Errors
    /// The port is gone, or the unit has not answered several times in a row.
    pub async fn step(
        &mut self,
        line: &mut Line,
        unit: UnitId,
        access: &Access,
    ) -> Option<Result<Step, Failure>> {
        let stretch = *self.left.front()?;
        if self.tries.is_empty() {
            self.tries = tries(self.most, stretch.count, self.was_refused);
        }
        let asked = Place {
            count: *self.tries.front()?,
            ..stretch
        };
        let answer = line.read_registers(unit, access, asked).await;
        self.silent = match answer {
            Err(Failure::Refused(_) | Failure::PortLost(_)) | Ok(_) => 0,
            Err(_) => self.silent + 1,
        };
        match answer {
            Ok(words) => {
                self.was_refused = false;
                self.skip(asked.count);
                Some(Ok(Step::Words(asked, words)))
            }
            Err(Failure::Refused(ILLEGAL_FUNCTION)) => {
                self.left.retain(|place| place.table != stretch.table);
                self.tries.clear();
                Some(Ok(Step::Nothing(stretch)))
            }
            Err(Failure::Refused(_)) => {
                self.tries.pop_front();
                if self.tries.is_empty() {
                    self.was_refused = true;
                    self.skip(1);
                }
                Some(Ok(Step::Nothing(asked)))
            }
            // Some units are silent about what they do not have; a lost answer is asked for again.
            Err(failure) if self.silent == 0 || self.silent >= SILENT_AT_MOST => Some(Err(failure)),
            Err(_) if self.silent == 1 => Some(Ok(Step::Nothing(asked))),
            Err(_) => {
                self.unanswered += u32::from(asked.count);
                self.skip(asked.count);
                Some(Ok(Step::Nothing(asked)))
            }
        }
    }

    /// Goes on behind the next `count` registers.
    fn skip(&mut self, count: u16) {
        self.tries.clear();
        let Some(front) = self.left.front_mut() else {
            return;
        };
        if front.count <= count {
            self.left.pop_front();
        } else {
            front.address = Address(front.address.0.saturating_add(count));
            front.count -= count;
        }
    }
}

/// The lengths to try at an address, of `left` registers: the longest first, and where the last
/// address was refused the shortest.
fn tries(most: u16, left: u16, was_refused: bool) -> VecDeque<u16> {
    let longest = most.min(left);
    let halved = std::iter::successors(Some(longest), |length| {
        Some(length / 2).filter(|it| *it > 0)
    });
    let mut tries: Vec<u16> = halved.collect();
    tries.extend([WIDEST, 2].iter().filter(|it| **it < longest));
    tries.sort_unstable_by(|a, b| b.cmp(a));
    tries.dedup();
    if was_refused {
        tries.retain(|length| *length <= WIDEST);
        tries.reverse();
    }
    tries.into()
}

impl Line {
    /// Reads a block of input or holding registers of one unit.
    ///
    /// # Errors
    /// Why there is no certain answer.
    pub async fn read_registers(
        &mut self,
        unit: UnitId,
        access: &Access,
        block: Place,
    ) -> Result<Vec<u16>, Failure> {
        let request = match block.table {
            Table::Input => Request::ReadInputRegisters(block.address.0, block.count),
            _ => Request::ReadHoldingRegisters(block.address.0, block.count),
        };
        let patience = Instant::now() + access.late_at_most + 2 * self.answer_within;
        let Some(exchange) = &mut self.exchange else {
            return Err(Failure::PortLost("not open".to_owned()));
        };
        // Others of these blocks are as long.
        let is_unique = false;
        match exchange
            .ask(unit, &request, is_unique, access, patience)
            .await?
        {
            Response::ReadInputRegisters(words) | Response::ReadHoldingRegisters(words)
                if words.len() == usize::from(block.count) =>
            {
                Ok(words)
            }
            _ => Err(Failure::Damaged),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_shrink_to_one_and_grow_again_behind_a_refusal() {
        assert_eq!(tries(8, 100, false), [8, 4, 2, 1]);
        assert_eq!(tries(8, 3, false), [3, 2, 1]);
        assert_eq!(tries(125, 1000, false), [125, 62, 31, 15, 7, 4, 3, 2, 1]);
        assert_eq!(tries(8, 100, true), [1, 2, 4]);
        assert_eq!(tries(1, 100, true), [1]);
    }
}
