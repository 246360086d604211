//! One entry of a register table: where it stands, what it holds, and how that is written.

use super::coding::{Encoding, Order, Part};
use super::unit::Unit;
use super::what::{State, What};
use super::{Bits, Exception, Words};
use crate::controller::Controller;

/// The most values a state can have.
const MOST_CODES: usize = 6;

/// One of the four tables (Modbus application protocol V1.1b3, 4.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[expect(missing_docs, reason = "the standard's own words")]
pub enum Table {
    Coil,
    Discrete,
    Input,
    Holding,
}

/// How a number becomes the raw one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scale {
    /// `raw = (value - offset) * per_unit`
    Fixed {
        /// Steps of the raw number that make one of the unit.
        per_unit: f64,
        /// What the raw number 0 stands for.
        offset: f64,
    },
    /// With as many decimals as the display shows.
    Display,
}

/// What is sent in place of a measured value while the sensor is broken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Broken {
    /// This raw value.
    Raw(u32),
    /// [`TOP_OF_RANGE`], as if it were that hot.
    Top,
}

/// Highest temperature the input can measure, degC.
pub const TOP_OF_RANGE: f64 = 1300.0;

/// What may be done with an item.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the words say it")]
pub enum Access {
    Read,
    ReadWrite,
    Write,
}

/// One entry of a register table. Several items may be parts of one word.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Item {
    /// Its table.
    pub table: Table,
    /// Its first address, counted from zero.
    pub address: u16,
    /// What it holds.
    pub what: What,
    /// How the raw number is laid out.
    pub encoding: Encoding,
    /// The bits of the word that are meant, where it is packed.
    pub part: Option<Part>,
    /// Number to raw number.
    pub scale: Scale,
    /// The unit of the number.
    pub unit: Unit,
    /// The raw numbers that stand for the values of a state, in their order.
    pub codes: [u16; MOST_CODES],
    /// While the sensor is broken.
    pub broken: Broken,
    /// What may be done with it.
    pub access: Access,
    /// What the manual calls it.
    pub label: &'static str,
    /// Whether the manual mentions it.
    pub is_listed: bool,
    /// Whether it only repeats, in another form, what another item holds.
    pub is_copy: bool,
}

/// Making one, for a table of constants.
impl Item {
    /// Read only, a plain word; the setters below make it what it is.
    pub const fn new(table: Table, address: u16, what: What) -> Self {
        Self {
            table,
            address,
            what,
            encoding: match table {
                Table::Coil | Table::Discrete => Encoding::Bit,
                Table::Input | Table::Holding => Encoding::U16,
            },
            part: None,
            scale: Scale::Fixed {
                per_unit: 1.0,
                offset: 0.0,
            },
            unit: what.kind().unit(),
            codes: [0, 1, 2, 3, 4, 5],
            broken: Broken::Top,
            access: Access::Read,
            label: what.label(),
            is_listed: true,
            is_copy: false,
        }
    }

    /// In the holding registers.
    pub const fn holding(address: u16, what: What) -> Self {
        Self::new(Table::Holding, address, what)
    }

    /// In the input registers.
    pub const fn input(address: u16, what: What) -> Self {
        Self::new(Table::Input, address, what)
    }

    /// Among the coils.
    pub const fn coil(address: u16, state: State) -> Self {
        Self::new(Table::Coil, address, What::State(state))
    }

    /// Among the discrete inputs.
    pub const fn discrete(address: u16, state: State) -> Self {
        Self::new(Table::Discrete, address, What::State(state))
    }

    /// In this encoding, so many steps to the unit.
    #[must_use]
    pub const fn coded(self, encoding: Encoding, per_unit: f64) -> Self {
        let scale = Scale::Fixed {
            per_unit,
            offset: 0.0,
        };
        Self {
            encoding,
            scale,
            ..self
        }
    }

    /// With the raw number 0 standing for this value.
    #[must_use]
    pub const fn starting_at(self, offset: f64) -> Self {
        let scale = match self.scale {
            Scale::Fixed { per_unit, .. } => Scale::Fixed { per_unit, offset },
            Scale::Display => Scale::Display,
        };
        Self { scale, ..self }
    }

    /// In this unit.
    #[must_use]
    pub const fn in_unit(self, unit: Unit) -> Self {
        Self { unit, ..self }
    }

    /// With as many decimals as the display shows.
    #[must_use]
    pub const fn as_displayed(self) -> Self {
        Self {
            encoding: Encoding::I16,
            scale: Scale::Display,
            ..self
        }
    }

    /// These bits of the word.
    #[must_use]
    pub const fn bits(self, lowest: u8, count: u8) -> Self {
        Self {
            part: Some(Part { lowest, count }),
            ..self
        }
    }

    /// This raw value while the sensor is broken.
    #[must_use]
    pub const fn broken(self, raw: u32) -> Self {
        Self {
            broken: Broken::Raw(raw),
            ..self
        }
    }

    /// To be read and written.
    #[must_use]
    pub const fn writable(self) -> Self {
        Self {
            access: Access::ReadWrite,
            ..self
        }
    }

    /// To be written only, with this for the two values of a command.
    #[must_use]
    pub const fn command(self, codes: [u16; 2]) -> Self {
        Self {
            access: Access::Write,
            ..self.with_codes(codes)
        }
    }

    /// This for the two values of a state.
    #[must_use]
    pub const fn with_codes(self, [first, second]: [u16; 2]) -> Self {
        Self {
            codes: [first, second, 0, 0, 0, 0],
            ..self
        }
    }
}

impl Item {
    /// How many addresses it takes.
    pub fn length(&self) -> u16 {
        self.encoding.words()
    }

    /// Whether this address is one of its own.
    pub fn covers(&self, table: Table, address: u16) -> bool {
        let own = u32::from(self.address)..u32::from(self.address) + u32::from(self.length());
        self.table == table && own.contains(&address.into())
    }

    /// Whether it answers a read.
    pub fn is_readable(&self) -> bool {
        self.access != Access::Write
    }

    /// Whether it takes a write.
    pub fn is_writable(&self) -> bool {
        self.access != Access::Read
    }

    /// The raw number that stands for each value of its state, with what the value is called.
    pub fn coded_names(&self) -> impl Iterator<Item = (u16, &'static str)> + use<> {
        let names = match self.what {
            What::State(state) => state.names(),
            _ => &[],
        };
        self.codes.into_iter().zip(names.iter().copied())
    }

    /// The raw number now, before it is put into its part of the word.
    pub fn raw(&self, c: &Controller) -> u32 {
        let value = match (self.what, self.what.number(c)) {
            (What::State(state), _) => return self.codes[state.now(c)].into(),
            (_, Some(Some(value))) => value,
            _ => match self.broken {
                Broken::Raw(raw) => return raw,
                Broken::Top => TOP_OF_RANGE,
            },
        };
        let (per_unit, offset) = self.steps(c);
        let number = self.unit.of(self.what.kind(), value);
        let raw = self.encoding.raw((number - offset) * per_unit);
        match self.broken {
            // A temperature too large is not taken for a broken sensor.
            Broken::Raw(broken) if broken == raw => self.encoding.beside(raw),
            _ => raw,
        }
    }

    /// Its word at one of its own addresses.
    pub fn word(&self, c: &Controller, address: u16, order: Order) -> u16 {
        let raw = self.raw(c);
        match self.part {
            Some(part) => part.put(raw as u16),
            None => self.encoding.words_of(raw, order)[usize::from(address - self.address)],
        }
    }

    /// Takes the words written to it.
    ///
    /// # Errors
    /// 02 where it only shows something, 03 for what cannot be, 04 for what cannot be now.
    pub fn take(&self, c: &mut Controller, words: [u16; 2], order: Order) -> Result<(), Exception> {
        let raw = match self.part {
            Some(part) => part.of(words[0]).into(),
            None => self.encoding.joined(words, order),
        };
        match self.what {
            What::State(state) => {
                let mut values = self.coded_names();
                let value = values.position(|(code, _)| u32::from(code) == raw);
                state.set(c, value.ok_or(Exception::IllegalValue)?)
            }
            What::Set(setting) => {
                let (per_unit, offset) = self.steps(c);
                let number = self.encoding.number(raw) / per_unit + offset;
                Ok(setting.set(c, self.unit.meant(self.what.kind(), number))?)
            }
            _ => Err(Exception::IllegalAddress),
        }
    }

    /// Steps to the unit, and what the raw number 0 stands for.
    pub fn steps(&self, c: &Controller) -> (f64, f64) {
        match self.scale {
            Scale::Fixed { per_unit, offset } => (per_unit, offset),
            Scale::Display => (10_f64.powi(c.settings().decimals.into()), 0.0),
        }
    }
}

impl From<Words> for Table {
    fn from(words: Words) -> Self {
        match words {
            Words::Input => Self::Input,
            Words::Holding => Self::Holding,
        }
    }
}

impl From<Bits> for Table {
    fn from(bits: Bits) -> Self {
        match bits {
            Bits::Discrete => Self::Discrete,
            Bits::Coil => Self::Coil,
        }
    }
}

impl Table {
    /// Whether it holds bits.
    pub fn is_bits(self) -> bool {
        matches!(self, Self::Coil | Self::Discrete)
    }
}
