//! Every key of a map file. What is said of each is what an editor shows a person who writes a map.

use std::time::Duration;

use super::access::MOST_WORDS;
use super::address::{Numbering, Register};
use super::layout::BitRun;
use super::point::Givers;
use super::raw_values::{Active, RAW};
use super::scaling::{Factor, UnitText};
use crate::map::decode::MOST_DECIMALS;
use crate::map::model::{
    ByteOrder, Derivative, Encoding, Form, Integral, LostOutput, Meaning, Proportional, Refresh,
    Role, Stored, Table as Registers, Tunes, WordOrder, WriteWith,
};
use crate::spanned::{
    Alternatives, Entries, Exact, Flag, Integer, Listed, NameText, Named, Number, Rule, Span,
    Table, Text, Time, Version, Whole, Word, keys,
};
use crate::unit::Degrees;

keys! {
    /// The register map of one kind of temperature controller.
    MapFile {
        /// The version of this file's form.
        SCHEMA: Version = "schema" => Version(1), needed "begin the file with: schema = 1";
        /// What the controller is called on screens and in reports.
        TITLE: Text = "title" => Text, needed "name the controller: title = \"...\"";
        /// How its registers may be asked for; everything in it has a default.
        ACCESS: Table = "access" => Table(Access::SHAPE);
        /// Its values, each under a name of its own: [points.pv].
        POINTS: Named = "points" => Named { what: "point", shape: Point::SHAPE },
            needed "add a table for each register: [points.pv] with role, table, address, encoding";
        /// How it understands its three tuning numbers.
        TUNING: Table = "tuning" => Table(Tuning::SHAPE);
        /// How it tunes itself.
        AUTOTUNE: Table = "autotune" => Table(Autotune::SHAPE);
        /// What must be written before a change is accepted, and after.
        UNLOCK: Table = "unlock" => Table(Unlock::SHAPE);
        /// What must be written to keep changes over power-off.
        PERSIST: Table = "persist" => Table(Persist::SHAPE);
        /// What the controller itself does when nobody talks to it.
        ON_LOST: Table = "on_lost_communication" => Table(LostCommunication::SHAPE);
    }
}

keys! {
    /// How the controller's registers may be asked for.
    Access {
        /// How the register table numbers registers: as they go over the wire (the default), from one, or as references (30001, 40001, 400001).
        ADDRESSES: Word<Numbering> = "addresses" => Word::new();
        /// Which word of a 32- or 64-bit value stands at the lowest address; the most significant unless said.
        WORD_ORDER: Word<WordOrder> = "word_order" => Word::new();
        /// Which byte of each word comes first; the most significant unless said, as the protocol has it.
        BYTE_ORDER: Word<ByteOrder> = "byte_order" => Word::new();
        /// The longest block of registers one read may ask for; 8 unless said.
        MAX_WORDS: Whole = "max_words" => Whole(1, MOST_WORDS);
        /// Whether one read may run over addresses that no point names; false unless said.
        BRIDGE_GAPS: Flag = "bridge_gaps" => Flag;
        /// Extra silence this controller needs between exchanges, for example "5 ms".
        GAP: Time = "gap" => PAUSE;
        /// Rest it needs after a write, for example "50 ms".
        AFTER_WRITE: Time = "after_write" => PAUSE;
        /// An answer later than this never comes; "2 s" unless said.
        LATE_AT_MOST: Time = "late_at_most" =>
            Time(Duration::from_millis(1), Duration::from_hours(1));
    }
}

const PAUSE: Time = Time(Duration::ZERO, Duration::from_mins(1));

keys! {
    /// One named value of the controller.
    Point {
        /// What it is to the loop.
        ROLE: Word<Role> = "role" => Word::new(),
            needed "say what it is to the loop, for example role = \"process-value\", or role = \"other\"";
        /// Which of the four tables it stands in; references (40001) say it themselves.
        TABLE: Word<Registers> = "table" => Word::new(),
            usually "add table = \"input\", \"holding\", \"coil\" or \"discrete\"";
        /// Its first register or bit, numbered as [access] says.
        ADDRESS: Register = "address" => Register,
            usually "add address = 0 with the number of the register";
        /// How its raw value is laid out; a coil or discrete input is a bit.
        ENCODING: Word<Encoding> = "encoding" => Word::new(),
            usually "add encoding = \"i16\" or another of u16, u32, i32, u64, i64, f32, f64";
        /// A single bit of a packed word; 0 is the lowest.
        BIT: Whole = "bit" => Whole(0, 63);
        /// Several bits of a packed word, lowest and highest, both included: "4..7".
        BITS: BitRun = "bits" => BitRun;
        /// Word order of this point, where it differs from the others.
        WORD_ORDER: Word<WordOrder> = "word_order" => Word::new();
        /// Byte order of this point, where it differs from the others.
        BYTE_ORDER: Word<ByteOrder> = "byte_order" => Word::new();
        /// value = raw * scale + offset.
        SCALE: Factor = "scale" => Factor;
        /// value = raw * scale + offset.
        OFFSET: Exact = "offset" => Exact;
        /// A fixed number of decimals: whole numbers are divided by 10, 100, ..., floats rounded.
        DECIMALS: Whole = "decimals" => Whole(0, MOST_DECIMALS as i64);
        /// The point whose value is the number of decimals.
        DECIMALS_FROM: NameText = "decimals_from" => NameText;
        /// Its unit: degC, degF, K, %, s, min, A or any text.
        UNIT: UnitText = "unit" => UnitText;
        /// The point whose names give the unit, where the controller can be switched.
        UNIT_FROM: NameText = "unit_from" => NameText;
        /// Lowest and highest value that can be; outside it is faulty.
        VALID: Span = "valid" => Span;
        /// What valid and writable are in, where the unit can be switched.
        LIMITS_IN: Word<Degrees> = "limits_in" => Word::new();
        /// Whether it is a difference of temperatures (a band, a hysteresis), which converts without the 32 of degF; by its role unless said.
        DIFFERENCE: Flag = "difference" => Flag;
        /// The value that means "off".
        OFF: Exact = "off" => Exact;
        /// Raw values that mean a fault: { "0x7FFF" = "sensor open" }.
        FAULTS: Entries<Text> = "faults" => Entries { keys: RAW, of: Text };
        /// Status points that make this one faulty while they are active: a bit that says "sensor open".
        FAULT_FROM: Givers = "fault_from" => Givers;
        /// Raw values at which it is active, for a status; without them any value but 0.
        ACTIVE: Active = "active" => Active;
        /// What raw values mean to the program: { "0" = "automatic", "1" = "manual" }.
        MEANS: Entries<Word<Meaning>> = "means" => Entries { keys: RAW, of: Word::new() };
        /// Names of raw values for people: { "0" = "thermocouple K" }.
        NAMES: Entries<Text> = "names" => Entries { keys: RAW, of: Text };
        /// How often it is read: at every poll (trend, the default), or slowly (settings).
        REFRESH: Word<Refresh> = "refresh" => Word::new();
        /// Limits between which a person may change it; without them it is only read.
        WRITABLE: Table = "writable" => Table(Writable::SHAPE);
        /// Where and how it is written, where that is not where it is read.
        WRITE: Table = "write" => Table(Write::SHAPE);
        /// What becomes of a written value at power-off; permanent unless said.
        STORED: Word<Stored> = "stored" => Word::new();
        /// Whether writing it, or what that needs, drops the outputs.
        STOPS_CONTROL: Flag = "stops_control" => Flag;
    }
    Rule::AtMostOne(BIT_OR_BITS),
    Rule::AtMostOne(SCALES),
    Rule::AtMostOne(DECIMALS_OR_OFFSET),
    Rule::AtMostOne(DECIMALS_FROM_OR_OFFSET),
    Rule::AtMostOne(UNITS),
    Rule::Beside(&["limits_in"], "unit_from"),
    Rule::AtLeastOne(&["address", "write"]),
    Rule::Beside(&["table"], "address"),
}

pub(super) const BIT_OR_BITS: Alternatives = Alternatives {
    keys: &["bit", "bits"],
    help: "keep 'bit' for a single bit, 'bits' for several",
};
const SCALE_HELP: &str = "keep one of scale (with offset), decimals and decimals_from";
pub(super) const SCALES: Alternatives = Alternatives {
    keys: &["scale", "decimals", "decimals_from"],
    help: SCALE_HELP,
};
pub(super) const DECIMALS_OR_OFFSET: Alternatives = Alternatives {
    keys: &["decimals", "offset"],
    help: SCALE_HELP,
};
pub(super) const DECIMALS_FROM_OR_OFFSET: Alternatives = Alternatives {
    keys: &["decimals_from", "offset"],
    help: SCALE_HELP,
};
pub(super) const UNITS: Alternatives = Alternatives {
    keys: &["unit", "unit_from"],
    help: "keep unit where it never changes, unit_from where a point gives it",
};

keys! {
    /// Limits between which a person may change a point.
    Writable {
        /// The lowest value.
        MIN: Number = "min" => Number,
            needed "limits keep a slip of the keyboard harmless: writable = { min = 0.1, max = 300.0 }";
        /// The highest value.
        MAX: Number = "max" => Number,
            needed "limits keep a slip of the keyboard harmless: writable = { min = 0.1, max = 300.0 }";
    }
}

keys! {
    /// Where and how a point is written.
    Write {
        /// The table it is written to; holding unless said.
        TABLE: Word<Registers> = "table" => Word::new();
        /// The address it is written to; its own unless said.
        ADDRESS: Register = "address" => Register;
        /// With which function: single is 06 (a coil: 05), multiple is 16 (coils: 15).
        WITH: Word<WriteWith> = "with" => Word::new();
        /// Named values, for a command: { start = 1, stop = 0 }.
        VALUES: Entries<Integer> = "values" => Entries { keys: "", of: Integer };
        /// The point that shows that a command was taken.
        CONFIRM: NameText = "confirm" => NameText;
    }
    Rule::Beside(&["table"], "address"),
}

keys! {
    /// How the controller understands its three tuning numbers.
    Tuning {
        /// The form of its PID law.
        FORM: Word<Form> = "form" => Word::new(),
            needed "say how the controller understands it; its manual names the form";
        /// What its proportional number is: a band in units or in percent of span, or a gain.
        PROPORTIONAL: Word<Proportional> = "proportional" => Word::new(),
            needed "say how the controller understands it; its manual names the form";
        /// Lowest and highest value of the input, for numbers in percent of span.
        SPAN: Span = "span" => Span;
        /// What its integral number is.
        INTEGRAL: Word<Integral> = "integral" => Word::new(),
            needed "say how the controller understands it; its manual names the form";
        /// What its derivative number is.
        DERIVATIVE: Word<Derivative> = "derivative" => Word::new(),
            needed "say how the controller understands it; its manual names the form";
    }
}

keys! {
    /// How the controller tunes itself.
    Autotune {
        /// How many times it usually swings about the setpoint.
        SWINGS: Whole = "swings" => Whole(1, 50),
            needed "say how often it usually swings about the setpoint, for example swings = 3";
        /// Where it swings.
        TUNES_AT: Word<Tunes> = "tunes_at" => Word::new(),
            needed "say tunes_at = \"setpoint\", \"below-setpoint\" or \"on-approach\"";
    }
}

keys! {
    /// What must be written before a change is accepted, and after.
    Unlock {
        /// Before, in this order.
        BEFORE: Listed = "before" => Listed(Written::SHAPE);
        /// After, in this order.
        AFTER: Listed = "after" => Listed(Written::SHAPE);
    }
}

keys! {
    /// What must be written to keep changes over power-off.
    Persist {
        /// In this order.
        WRITE: Listed = "write" => Listed(Written::SHAPE);
    }
}

keys! {
    /// A fixed value for a point.
    Written {
        /// The point's name.
        POINT: NameText = "point" => NameText, needed "write { point = \"lock\", value = 0 }";
        /// The value written to it.
        VALUE: Exact = "value" => Exact, needed "write { point = \"lock\", value = 0 }";
    }
}

keys! {
    /// What the controller itself does when nobody talks to it.
    LostCommunication {
        /// What its output does; unknown unless said.
        OUTPUT: Word<LostOutput> = "output" => Word::new();
    }
}
