//! Asking one unit at one setting.

use std::time::Duration;

use tokio::time::Instant;
use tokio_modbus::prelude::ReadCode;
use tokio_modbus::{Request, Response};

use super::{Answer, Identification};
use crate::line::exchange::Exchange;
use crate::line::{Failure, Opened};
use crate::map::Access;
use crate::setup::UnitId;

/// What is asked: one register, by function 03 and by function 04. Nothing is written.
const FUNCTIONS: [u8; 2] = [0x03, 0x04];
const REGISTER: u16 = 0;

/// A unit that was seen to answer late is given this much (common practice, no source).
const PATIENT: Duration = Duration::from_secs(1);

/// Objects of a basic identification (Modbus application protocol V1.1b3, 6.21).
const OBJECTS: u8 = 3;

/// The conversation at one setting.
pub(super) struct Talk {
    exchange: Exchange,
    access: Access,
    is_patient: bool,
}

/// What came of asking a unit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Probe {
    /// It is there: what it answered to each function that it answered.
    Answers(Vec<(u8, Answer)>),
    /// Nothing.
    Silent,
    /// Something came that is no frame.
    Damaged,
    /// A frame of somebody who was not asked this.
    Heard {
        /// Its unit number.
        unit: u8,
        /// Its function.
        function: u8,
    },
    /// The port is gone; the system's words.
    Lost(String),
}

impl Talk {
    pub(super) fn new(opened: Opened, answer_within: Duration) -> Self {
        Self {
            exchange: Exchange::new(opened.wire, opened.pace, answer_within),
            access: Access {
                // A late answer is not waited for: it is heard while the next unit is asked.
                late_at_most: Duration::ZERO,
                ..Access::default()
            },
            is_patient: false,
        }
    }

    /// For listening.
    pub(super) fn exchange(&mut self) -> &mut Exchange {
        &mut self.exchange
    }

    pub(super) fn is_patient(&self) -> bool {
        self.is_patient
    }

    /// From now on there is time for slow units.
    pub(super) fn be_patient(&mut self, answer_within: Duration) {
        self.is_patient = true;
        self.exchange.set_answer_within(PATIENT.max(answer_within));
    }

    /// How long the last answer took.
    pub(super) fn took(&self) -> Duration {
        self.exchange.last_answer_took().0
    }

    /// Whether `unit` is there. A refusal alone counts only if it comes again: its frame is so short
    /// that noise at a wrong setting might look like it.
    pub(super) async fn probe(&mut self, unit: UnitId) -> Probe {
        let mut answers = Vec::new();
        let mut nothing = Probe::Silent;
        for function in FUNCTIONS {
            match self.ask_until_clear(unit, function).await {
                Ok(answer) => answers.push((function, answer)),
                Err(Probe::Silent) => {}
                Err(lost @ Probe::Lost(_)) => return lost,
                Err(other) => nothing = other,
            }
        }
        let is_value = |(_, answer): &(u8, Answer)| matches!(answer, Answer::Value(_));
        match answers.first() {
            None => nothing,
            Some(_) if answers.iter().any(is_value) => Probe::Answers(answers),
            Some(&(function, refusal)) => match self.ask_until_clear(unit, function).await {
                Ok(again) if again == refusal => Probe::Answers(answers),
                Ok(_) => Probe::Damaged,
                Err(other) => other,
            },
        }
    }

    /// A damaged answer gets a second chance.
    async fn ask_until_clear(&mut self, unit: UnitId, function: u8) -> Result<Answer, Probe> {
        match self.ask(unit, function).await {
            Err(Probe::Damaged) => self.ask(unit, function).await,
            clear => clear,
        }
    }

    async fn ask(&mut self, unit: UnitId, function: u8) -> Result<Answer, Probe> {
        let request = match function {
            0x03 => Request::ReadHoldingRegisters(REGISTER, 1),
            _ => Request::ReadInputRegisters(REGISTER, 1),
        };
        match self.exchange_once(unit, &request).await {
            Ok(Response::ReadHoldingRegisters(words) | Response::ReadInputRegisters(words)) => {
                words
                    .first()
                    .copied()
                    .map(Answer::Value)
                    .ok_or(Probe::Damaged)
            }
            Ok(_) | Err(Failure::Damaged) => Err(Probe::Damaged),
            Err(Failure::Refused(code)) => Ok(Answer::Refused(code)),
            Err(Failure::NoAnswer | Failure::BehindGateway(_)) => Err(Probe::Silent),
            Err(Failure::Foreign { unit, function }) => Err(Probe::Heard { unit, function }),
            Err(Failure::PortLost(reason)) => Err(Probe::Lost(reason)),
        }
    }

    async fn exchange_once(
        &mut self,
        unit: UnitId,
        request: &Request<'_>,
    ) -> Result<Response, Failure> {
        let Self {
            exchange, access, ..
        } = self;
        exchange
            .ask(unit, request, true, access, Instant::now())
            .await
    }

    /// What the unit says it is; few say anything.
    pub(super) async fn identify(&mut self, unit: UnitId) -> Option<Identification> {
        let mut texts = [const { String::new() }; OBJECTS as usize];
        let mut next = 0;
        // Each answer brings at least one object, or that was it.
        for _ in 0..OBJECTS {
            let request = Request::ReadDeviceIdentification(ReadCode::Basic, next);
            let Ok(Response::ReadDeviceIdentification(told)) =
                self.exchange_once(unit, &request).await
            else {
                break;
            };
            for object in &told.device_id_objects {
                if let Some(text) = texts.get_mut(usize::from(object.id)) {
                    *text = printable(&object.value);
                }
            }
            if !told.more_follows || !(next + 1..OBJECTS).contains(&told.next_object_id) {
                break;
            }
            next = told.next_object_id;
        }
        let is_told = texts.iter().any(|text| !text.is_empty());
        let [vendor, product, revision] = texts;
        is_told.then_some(Identification {
            vendor,
            product,
            revision,
        })
    }
}

/// Text from a wire, without what would move a terminal's cursor.
fn printable(bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    let shown: String = text.chars().filter(|c| !c.is_control()).collect();
    shown.trim().to_owned()
}
