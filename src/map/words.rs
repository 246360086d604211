//! The words of the map file for the choices it offers, each in this one place.

use super::model::{
    ByteOrder, Derivative, Encoding, Form, Integral, LostOutput, Meaning, Proportional, Refresh,
    Role, Stored, Table, Tunes, WordOrder, WriteWith,
};
use crate::spanned::words;

words!(Role, "role", {
    ProcessValue = "process-value",
    Setpoint = "setpoint",
    WorkingSetpoint = "working-setpoint",
    Output = "output",
    CoolingOutput = "cooling-output",
    AutotuneActive = "autotune-active",
    AutotuneCommand = "autotune-command",
    Mode = "mode",
    Alarm = "alarm",
    Fault = "fault",
    Proportional = "proportional",
    Integral = "integral",
    Derivative = "derivative",
    CycleTime = "cycle-time",
    ControlAction = "control-action",
    ControlMode = "control-mode",
    SelfTuning = "self-tuning",
    SetpointHigh = "setpoint-high",
    SetpointLow = "setpoint-low",
    OutputHigh = "output-high",
    OutputLow = "output-low",
    ManualOutput = "manual-output",
    AlarmSetpoint = "alarm-setpoint",
    RampRate = "ramp-rate",
    InputType = "input-type",
    OutputType = "output-type",
    PvOffset = "pv-offset",
    PvFilter = "pv-filter",
    HeaterCurrent = "heater-current",
    DecimalPoint = "decimal-point",
    Other = "other",
}, also &[
    ("pv", "process-value"),
    ("process-variable", "process-value"),
    ("measured-value", "process-value"),
    ("temperature", "process-value"),
    ("sp", "setpoint"),
    ("target", "setpoint"),
    ("setvalue", "setpoint"),
    ("set-value", "setpoint"),
    ("mv", "output"),
    ("control-output", "output"),
    ("power", "output"),
    ("autotune", "autotune-active"),
    ("auto-tuning", "autotune-active"),
    ("p", "proportional"),
    ("proportional-band", "proportional"),
    ("i", "integral"),
    ("integral-time", "integral"),
    ("d", "derivative"),
    ("derivative-time", "derivative"),
    ("status", "other"),
    ("offset", "pv-offset"),
    ("filter", "pv-filter"),
    ("current", "heater-current"),
]);

words!(Table, "table", {
    Coil = "coil",
    Discrete = "discrete",
    Input = "input",
    Holding = "holding",
}, also &[
    ("coils", "coil"),
    ("discrete-input", "discrete"),
    ("discrete-inputs", "discrete"),
    ("contact", "discrete"),
    ("input-register", "input"),
    ("input-registers", "input"),
    ("holding-register", "holding"),
    ("holding-registers", "holding"),
    ("0x", "coil"),
    ("1x", "discrete"),
    ("3x", "input"),
    ("4x", "holding"),
]);

words!(Encoding, "encoding", {
    U16 = "u16",
    I16 = "i16",
    U32 = "u32",
    I32 = "i32",
    U64 = "u64",
    I64 = "i64",
    F32 = "f32",
    F64 = "f64",
    Bit = "bit",
}, also &[
    ("uint16", "u16"),
    ("unsigned", "u16"),
    ("word", "u16"),
    ("ushort", "u16"),
    ("int16", "i16"),
    ("signed", "i16"),
    ("short", "i16"),
    ("int", "i16"),
    ("uint32", "u32"),
    ("dword", "u32"),
    ("int32", "i32"),
    ("dint", "i32"),
    ("long", "i32"),
    ("uint64", "u64"),
    ("int64", "i64"),
    ("float", "f32"),
    ("float32", "f32"),
    ("real", "f32"),
    ("single", "f32"),
    ("double", "f64"),
    ("float64", "f64"),
    ("lreal", "f64"),
    ("bool", "bit"),
    ("boolean", "bit"),
]);

words!(WordOrder, "word order", {
    HighFirst = "high-first",
    LowFirst = "low-first",
}, also ORDERS);

words!(ByteOrder, "byte order", {
    HighFirst = "high-first",
    LowFirst = "low-first",
}, also ORDERS);

/// What others call the two orders.
const ORDERS: &[(&str, &str)] = &[
    ("big-endian", "high-first"),
    ("big", "high-first"),
    ("msb-first", "high-first"),
    ("little-endian", "low-first"),
    ("little", "low-first"),
    ("lsb-first", "low-first"),
    ("swapped", "low-first"),
];

words!(Refresh, "refresh", {
    Trend = "trend",
    Settings = "settings",
    Never = "never",
});

words!(Meaning, "meaning", {
    Automatic = "automatic",
    Manual = "manual",
    Stopped = "stopped",
    Tuned = "tuned",
    TuneFailed = "tune-failed",
    Tuning = "tuning",
    Heating = "heating",
    Cooling = "cooling",
    On = "on",
    Off = "off",
});

words!(WriteWith, "way of writing", {
    Single = "single",
    Multiple = "multiple",
});

words!(Stored, "way of storing", {
    Permanent = "permanent",
    Volatile = "volatile",
    Wears = "wears",
});

words!(Form, "form", {
    Standard = "standard",
    Series = "series",
    Parallel = "parallel",
}, also &[
    ("ideal", "standard"),
    ("isa", "standard"),
    ("dependent", "standard"),
    ("interacting", "series"),
    ("independent", "parallel"),
]);

words!(Proportional, "kind of proportional number", {
    BandUnits = "band-units",
    BandPercent = "band-percent",
    Gain = "gain",
});

words!(Integral, "kind of integral number", {
    Seconds = "seconds",
    Minutes = "minutes",
    RepeatsPerMinute = "repeats-per-minute",
});

words!(Derivative, "kind of derivative number", {
    Seconds = "seconds",
    Minutes = "minutes",
});

words!(Tunes, "place of tuning", {
    Setpoint = "setpoint",
    BelowSetpoint = "below-setpoint",
    OnApproach = "on-approach",
});

words!(LostOutput, "output", {
    FallsToZero = "falls-to-zero",
    Holds = "holds",
    ReturnsToAutomatic = "returns-to-automatic",
    Unknown = "unknown",
});

impl Table {
    /// Whether it holds bits instead of words.
    pub fn is_bits(self) -> bool {
        matches!(self, Self::Coil | Self::Discrete)
    }

    /// Whether it can be written.
    pub fn is_writable(self) -> bool {
        matches!(self, Self::Coil | Self::Holding)
    }
}
