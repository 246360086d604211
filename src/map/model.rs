//! What a map says, after every check.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use rust_decimal::Decimal;

use crate::name::Name;
use crate::unit::{Degrees, Quantity};

/// The register map of one kind of controller.
#[derive(Clone, Debug, PartialEq)]
pub struct Map {
    /// What the controller is called on screens and reports.
    pub title: String,
    /// How its registers may be asked for.
    pub access: Access,
    /// Its points, in the order of the file.
    pub points: Vec<Point>,
    /// How it understands its three tuning numbers.
    pub tuning: Option<TuningForm>,
    /// How it tunes itself.
    pub autotune: Option<AutotuneHabit>,
    /// Written before a change is accepted.
    pub unlock_before: Vec<Written>,
    /// Written after a change.
    pub unlock_after: Vec<Written>,
    /// Written to keep changes over power-off.
    pub persist: Vec<Written>,
    /// What its output does when nobody talks to it.
    pub on_lost_communication: LostOutput,
}

/// How a controller's registers may be asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Access {
    /// Which word of a 32- or 64-bit value comes first.
    pub word_order: WordOrder,
    /// Which byte of each word comes first.
    pub byte_order: ByteOrder,
    /// The longest block of registers one read may ask for; at most 125.
    pub max_words: u16,
    /// Whether one read may run over addresses that no point names.
    pub bridge_gaps: bool,
    /// Extra silence between exchanges.
    pub gap: Duration,
    /// Rest after a write.
    pub after_write: Duration,
    /// An answer later than this never comes.
    pub late_at_most: Duration,
}

/// Order of the 16-bit words of a longer value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum WordOrder {
    /// The most significant word at the lowest address.
    #[default]
    HighFirst,
    /// The least significant word at the lowest address.
    LowFirst,
}

/// Order of the two bytes of a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum ByteOrder {
    /// The most significant byte first, as the protocol has it (Modbus application protocol
    /// V1.1b3, 4.2).
    #[default]
    HighFirst,
    /// The bytes of each word exchanged.
    LowFirst,
}

/// One named value of a map.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Its name; also the column of a recording.
    pub name: Name,
    /// What it is to the loop.
    pub role: Role,
    /// Where it is read; of a point that is never read, where it is written.
    pub place: Place,
    /// How its raw value is laid out.
    pub encoding: Encoding,
    /// Word order of this point.
    pub word_order: WordOrder,
    /// Byte order of this point.
    pub byte_order: ByteOrder,
    /// Bits of a packed word, when the point is only a part of it.
    pub bits: Option<Bits>,
    /// Raw to value.
    pub scaling: Scaling,
    /// Its unit.
    pub unit: UnitOf,
    /// Raw values that mean a fault.
    pub faults: Vec<FaultValue>,
    /// Points that make this one faulty while they are active.
    pub fault_from: Vec<Name>,
    /// Values outside are faulty.
    pub valid: Option<(f64, f64)>,
    /// What `valid` and `writable` are in, where the unit can be switched; `None` takes them in the
    /// unit of the moment.
    pub limits_in: Option<Degrees>,
    /// How its degrees convert into another unit.
    pub quantity: Quantity,
    /// The value that means "off".
    pub off: Option<Decimal>,
    /// Raw values at which an autotune is under way; empty means any but 0.
    pub active: Vec<i64>,
    /// Raw values that logic needs.
    pub means: BTreeMap<i64, Meaning>,
    /// Raw values with names for people.
    pub names: BTreeMap<i64, String>,
    /// How often it is read.
    pub refresh: Refresh,
    /// Limits between which a person may change it; `None` is read-only.
    pub writable: Option<(f64, f64)>,
    /// Where and how it is written, when not where it is read.
    pub write: Option<WriteTo>,
    /// Whether the controller keeps a written value.
    pub stored: Stored,
    /// Writing it, or what that needs, drops the outputs.
    pub stops_control: bool,
}

/// What a point is to its loop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[expect(missing_docs, reason = "the trade's own words")]
pub enum Role {
    ProcessValue,
    Setpoint,
    WorkingSetpoint,
    Output,
    CoolingOutput,
    AutotuneActive,
    AutotuneCommand,
    Mode,
    Alarm,
    Fault,
    Proportional,
    Integral,
    Derivative,
    CycleTime,
    ControlAction,
    ControlMode,
    SelfTuning,
    SetpointHigh,
    SetpointLow,
    OutputHigh,
    OutputLow,
    ManualOutput,
    AlarmSetpoint,
    RampRate,
    InputType,
    OutputType,
    PvOffset,
    PvFilter,
    HeaterCurrent,
    DecimalPoint,
    Other,
}

/// One of the four tables of the Modbus data model (Modbus application protocol V1.1b3, 4.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Table {
    /// Coils: bits, read and write.
    Coil,
    /// Discrete inputs: bits, read only.
    Discrete,
    /// Input registers: words, read only.
    Input,
    /// Holding registers: words, read and write.
    Holding,
}

/// A register or bit address as it goes over the wire, counted from zero.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
pub struct Address(pub u16);

/// A run of registers or bits in one table.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
pub struct Place {
    /// The table.
    pub table: Table,
    /// The first address.
    pub address: Address,
    /// How many registers (or bits) it takes, 1 to 4.
    pub count: u16,
}

/// Layout of a raw value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the usual names of the types")]
pub enum Encoding {
    U16,
    I16,
    U32,
    I32,
    U64,
    I64,
    F32,
    F64,
    /// A bit of a bit table.
    Bit,
}

/// A bit, or a run of bits, of a packed word; bit 0 is the least significant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Bits {
    /// The lowest bit.
    pub lowest: u8,
    /// How many bits.
    pub count: u8,
}

/// How a raw value becomes a value.
#[derive(Clone, Debug, PartialEq)]
pub enum Scaling {
    /// `value = raw * scale + offset`, exact for whole numbers.
    Linear {
        /// Factor.
        scale: Decimal,
        /// Summand.
        offset: Decimal,
    },
    /// A fixed number of decimals: whole numbers are divided by 10^n, floats rounded to n.
    Decimals(u8),
    /// The number of decimals is the value of another point of the map.
    DecimalsFrom(Name),
}

/// Where the unit comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum UnitOf {
    /// No unit.
    None,
    /// Always this one (`degC`, `degF`, `K`, `%`, `s`, `min`, `A` or any text).
    Fixed(Arc<str>),
    /// The named point's `names` give it.
    From(Name),
}

/// A raw value that means a fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FaultValue {
    /// The raw value, as an unsigned number as wide as the encoding.
    pub raw: u64,
    /// What it means ("sensor open").
    pub meaning: Arc<str>,
}

/// Meanings that logic needs; the values of `means = { .. }`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the trade's own words")]
pub enum Meaning {
    Automatic,
    Manual,
    Stopped,
    /// An autotune ended and its result was taken over.
    Tuned,
    /// An autotune ended without result.
    TuneFailed,
    Tuning,
    Heating,
    Cooling,
    On,
    Off,
}

/// How often a point is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Refresh {
    /// At every poll; a column of the recording.
    #[default]
    Trend,
    /// At the start and end of a recording and slowly between; `settings.csv`.
    Settings,
    /// Not at all: a command register that can only be written.
    Never,
}

/// Where and how a point is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WriteTo {
    /// Where.
    pub place: Place,
    /// With which function.
    pub with: WriteWith,
    /// Named values, for a command register.
    pub values: BTreeMap<String, i64>,
    /// The point that shows that a command was taken.
    pub confirm: Option<Name>,
}

/// The Modbus function a write uses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum WriteWith {
    /// Function 06, or 05 for a coil.
    #[default]
    Single,
    /// Function 16, or 15 for coils.
    Multiple,
}

/// Whether a written value survives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Stored {
    /// Kept over power-off.
    #[default]
    Permanent,
    /// Lost at power-off.
    Volatile,
    /// Kept, in a memory that takes a limited number of writes.
    Wears,
}

/// A fixed value for a point, as `[unlock]` and `[persist]` list them.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
    /// The point.
    pub point: Name,
    /// What to write to it.
    pub value: Decimal,
}

/// How a controller understands its three numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct TuningForm {
    /// Standard, series or parallel.
    pub form: Form,
    /// What the proportional number is.
    pub proportional: Proportional,
    /// Span of the input, for numbers in percent of it.
    pub span: Option<(f64, f64)>,
    /// What the integral number is.
    pub integral: Integral,
    /// What the derivative number is.
    pub derivative: Derivative,
}

/// The form of the controller's PID law.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the trade's own words")]
pub enum Form {
    Standard,
    Series,
    Parallel,
}

/// What the proportional number is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Proportional {
    /// Proportional band in the process value's unit.
    BandUnits,
    /// Proportional band in percent of span.
    BandPercent,
    /// Gain.
    Gain,
}

/// What the integral number is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the trade's own words")]
pub enum Integral {
    Seconds,
    Minutes,
    RepeatsPerMinute,
}

/// What the derivative number is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the trade's own words")]
pub enum Derivative {
    Seconds,
    Minutes,
}

/// How a controller tunes itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct AutotuneHabit {
    /// How many times it usually swings about the setpoint.
    pub swings: u8,
    /// Where it swings.
    pub tunes_at: Tunes,
}

/// Where an autotune swings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(missing_docs, reason = "the trade's own words")]
pub enum Tunes {
    Setpoint,
    BelowSetpoint,
    OnApproach,
}

/// What the controller's output does when nobody talks to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[expect(missing_docs, reason = "the words of the map file")]
pub enum LostOutput {
    FallsToZero,
    Holds,
    ReturnsToAutomatic,
    #[default]
    Unknown,
}
