//! Every key of a setup file. What is said of each is what an editor shows a person who writes a
//! setup.

use std::time::Duration;

use super::line::{HostPort, PortName};
use super::loops::UnitNumber;
use crate::setup::model::Parity;
use crate::spanned::{
    Alternatives, Headed, NameText, Named, Number, Positive, Rule, Table, Text, Time, Version,
    Whole, Word, keys,
};

keys! {
    /// Which lines there are, and which control loops hang on them.
    SetupFile {
        /// The version of this file's form.
        SCHEMA: Version = "schema" => Version(1), needed "begin the file with: schema = 1";
        /// Free text about the job; it goes into recordings and reports.
        JOB: Table = "job" => Table(Job::SHAPE);
        /// Serial lines and connections, each under a name of its own: [lines.shop].
        LINES: Named = "lines" => Named { what: "line", shape: Line::SHAPE },
            needed "add [lines.NAME] with serial = \"...\", rtu_over_tcp = \"...\" or tcp = \"...\"";
        /// Control loops, each under [[loops]].
        LOOPS: Headed = "loops" => Headed { what: "loop", shape: Loop::SHAPE },
            needed "add [[loops]] with name, line, unit_number and map";
    }
}

keys! {
    /// Free text about the job; it goes into recordings and reports.
    Job {
        /// Which oven.
        EQUIPMENT: Text = "equipment" => Text;
        /// Work order.
        WORK_ORDER: Text = "work_order" => Text;
        /// Who does it.
        TECHNICIAN: Text = "technician" => Text;
        /// The controller's serial number.
        CONTROLLER: Text = "controller" => Text;
        /// The sensor's identity and when its calibration is due.
        SENSOR: Text = "sensor" => Text;
        /// The independent over-temperature cut-out and its setting.
        CUTOUT: Text = "cutout" => Text;
    }
}

keys! {
    /// One line and how to talk on it.
    Line {
        /// A serial port ("/dev/ttyUSB0", "COM3"), or its adapter's identity as 'emberline find' prints it.
        SERIAL: PortName = "serial" => PortName;
        /// RTU frames through a TCP connection: "host:port".
        RTU_OVER_TCP: HostPort = "rtu_over_tcp" => HostPort { usual: 4001 };
        /// Modbus TCP: "host:port".
        TCP: HostPort = "tcp" => HostPort { usual: 502 };
        /// Bits per second on a serial line; 9600 unless said.
        BAUD: Whole = "baud" => Whole(110, 4_000_000);
        /// Parity on a serial line; even unless said.
        PARITY: Word<Parity> = "parity" => Word::new();
        /// Stop bits on a serial line; 1 unless said.
        STOP_BITS: Whole = "stop_bits" => Whole(1, 2);
        /// How long an answer may take; "500 ms" unless said.
        ANSWER_WITHIN: Time = "answer_within" =>
            Time(Duration::from_millis(1), Duration::from_mins(1));
    }
    Rule::ExactlyOne(PORTS),
    Rule::Beside(SERIAL_ONLY, "serial"),
}

/// What a line may be plugged into.
pub(super) const PORTS: Alternatives = Alternatives {
    keys: &["serial", "rtu_over_tcp", "tcp"],
    help: "a line has one port: keep one, or make two lines",
};
/// Keys that only a serial port has.
pub(super) const SERIAL_ONLY: &[&str] = &["baud", "parity", "stop_bits"];

keys! {
    /// One control loop.
    Loop {
        /// Its name, which becomes a folder of the recording.
        NAME: NameText = "name" => NameText,
            needed "names become folders: name = \"annealer-top\"";
        /// The line it hangs on, one of [lines].
        LINE: NameText = "line" => NameText, needed "name one of the [lines]: line = \"shop\"";
        /// Its controller's number on the line.
        UNIT_NUMBER: UnitNumber = "unit_number" => UnitNumber,
            needed "add the controller's number on the line: unit_number = 1";
        /// Its controller's register map; the path starts from this file's folder.
        MAP: Text = "map" => Text,
            needed "name the register map: map = \"maps/annealer.toml\"";
        /// One poll every so often; "1 s" unless said.
        EVERY: Time = "every" => Time(Duration::from_millis(10), Duration::from_hours(24));
        /// Degrees around the setpoint that count as in band.
        BAND: Positive = "band" =>
            Positive("write how many degrees around the setpoint are good: band = 2.0");
        /// Where a person puts the setpoint to stop everything; kept with the recording, acts on nothing.
        STOP_SETPOINT: Number = "stop_setpoint" => Number;
        /// Above this a person stops an autotune; kept with the recording, acts on nothing.
        STOP_ABOVE: Number = "stop_above" => Number;
    }
}
