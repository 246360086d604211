//! The command line.

use std::path::PathBuf;
use std::time::Duration;

use clap::{ArgGroup, Parser};
use mock_device::panel::command::Command;
use mock_device::registers::{LAYOUTS, Layout, layout};
use mock_device::wire::{Fault, Poll};

/// Examples below every help text.
const EXAMPLES: &str = "\
Examples:
  mock-device --pty /tmp/oven                     a serial port named /tmp/oven
  mock-device --pty /tmp/oven --write-setup .     and the setup and map that go with it
  mock-device --tcp 127.0.0.1:1502 --speed 60     an hour of oven in a minute
  mock-device --rtu-over-tcp 127.0.0.1:4001 --unit 1,2,3 --layout bits
  mock-device --layout random:17 --print-registers the manual of a controller from a seed
  mock-device --pty /tmp/oven --do '60s setpoint 510' --do '30m autotune'
  mock-device --pty /tmp/oven --master '1:3:0:5 every 500ms'    a panel polls it already

While it runs it takes commands on standard input, one a line; 'help' lists them.
Exit codes: 0 done, 2 wrong use, 4 cannot listen.";

/// A simulated annealing oven with its controller, on a serial wire that anything that speaks
/// Modbus can poll.
#[derive(Debug, Parser)]
#[command(version, after_help = EXAMPLES)]
#[command(group(ArgGroup::new("where").required(true).args(["pty", "serial", "tcp", "rtu_over_tcp", "print_registers"])))]
pub(crate) struct Args {
    /// Make a pseudo-terminal and this symbolic link to it (not on Windows)
    #[arg(long, value_name = "LINK")]
    pub(crate) pty: Option<PathBuf>,
    /// Answer on a real serial port (8 data bits, even parity)
    #[arg(long, value_name = "PORT")]
    pub(crate) serial: Option<String>,
    /// Listen for Modbus TCP
    #[arg(long, value_name = "ADDR")]
    pub(crate) tcp: Option<String>,
    /// Listen for RTU frames over TCP
    #[arg(long, value_name = "ADDR")]
    pub(crate) rtu_over_tcp: Option<String>,
    /// Register layout: annealer, floats, decimals, bits, locked, or random:SEED for one that nobody
    /// has seen before
    #[arg(long, value_name = "NAME", default_value = "annealer", value_parser = layout_named)]
    pub(crate) layout: &'static dyn Layout,
    /// Times as fast as the clock
    #[arg(long, value_name = "N", default_value_t = 1.0, value_parser = speed)]
    pub(crate) speed: f64,
    /// Decides the sensors' noise
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(crate) seed: u64,
    /// Unit numbers, each an oven of its own
    #[arg(long = "unit", value_name = "N[,N..]", value_delimiter = ',', default_value = "1",
          value_parser = clap::value_parser!(u8).range(1..=247))]
    pub(crate) units: Vec<u8>,
    /// Temperature at which the oven is settled at the start, degC, or 'cold'
    #[arg(long, value_name = "DEGC", default_value = "490", value_parser = start)]
    pub(crate) start: Start,
    /// Do something at a time of the oven's own clock: 'DURATION COMMAND' (repeatable)
    #[arg(long = "do", value_name = "WHAT", value_parser = planned)]
    pub(crate) plan: Vec<(Duration, Command)>,
    /// Let answers take as long as on a line of this baud rate; with --pty nothing sent at another is
    /// understood, with --serial it is the port's (9600)
    #[arg(long, value_name = "BAUD", value_parser = clap::value_parser!(u32).range(300..=1_000_000))]
    pub(crate) baud: Option<u32>,
    /// Faults on the wire with their chance in percent, for example late=5,lost=2
    #[arg(long, conflicts_with = "tcp", value_name = "KIND=PERCENT[,..]", value_delimiter = ',', value_parser = fault)]
    pub(crate) faults: Vec<(Fault, f64)>,
    /// Another master on the wire reads 'UNIT:FUNCTION:ADDRESS:COUNT every DURATION' (repeatable)
    #[arg(long, conflicts_with_all = ["tcp", "serial"], value_name = "POLL", value_parser = str::parse::<Poll>)]
    pub(crate) master: Vec<Poll>,
    /// Print the registers of the layout as its manual would, and end
    #[arg(long)]
    pub(crate) print_registers: bool,
    /// Write setup.toml and the map it needs into this folder; the map of a random layout is yours to
    /// write
    #[arg(long, value_name = "DIR")]
    pub(crate) write_setup: Option<PathBuf>,
}

/// How the oven is at the start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Start {
    /// At room temperature, with the setpoint there too.
    Cold,
    /// Holding this temperature.
    Settled(f64),
}

fn layout_named(name: &str) -> Result<&'static dyn Layout, String> {
    layout(name).ok_or_else(|| {
        let names: Vec<&str> = LAYOUTS.iter().map(|layout| layout.name()).collect();
        let names = names.join(", ");
        format!("there is no such layout; there are {names} and random:SEED, for example random:17")
    })
}

fn speed(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|speed| (0.01..=10_000.0).contains(speed))
        .ok_or_else(|| "give a number from 0.01 to 10000".to_owned())
}

fn start(text: &str) -> Result<Start, String> {
    if text == "cold" {
        return Ok(Start::Cold);
    }
    text.parse()
        .ok()
        .filter(|celsius| (20.0..=600.0).contains(celsius))
        .map(Start::Settled)
        .ok_or_else(|| "give 'cold' or a temperature from 20 to 600".to_owned())
}

/// `lost=5`: a kind and its chance in percent, given back as a share.
fn fault(text: &str) -> Result<(Fault, f64), String> {
    let (kind, percent) = text.split_once('=').ok_or("write KIND=PERCENT")?;
    let percent = percent
        .parse()
        .ok()
        .filter(|percent| (0.0..=100.0).contains(percent));
    let percent: f64 = percent.ok_or("the chance is a number from 0 to 100")?;
    Ok((kind.parse()?, percent / 100.0))
}

/// `1h 30m setpoint 510`: as many words as make a duration, then a command.
fn planned(text: &str) -> Result<(Duration, Command), String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let durations = (1..words.len()).rev().filter_map(|n| {
        let duration = humantime::parse_duration(&words[..n].join(" ")).ok()?;
        Some((n, duration))
    });
    let (n, duration) = durations
        .max_by_key(|(n, _)| *n)
        .ok_or("begin with a time, for example '60s setpoint 510'")?;
    let command = words[n..].join(" ").parse::<Command>();
    Ok((duration, command.map_err(|error| error.to_string())?))
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;

    #[test]
    fn the_command_line_is_consistent() {
        Args::command().debug_assert();
    }

    #[test]
    fn exactly_one_place_to_listen_is_needed() {
        assert!(Args::try_parse_from(["mock-device"]).is_err());
        assert!(Args::try_parse_from(["mock-device", "--tcp", "a:1", "--pty", "b"]).is_err());
        assert!(Args::try_parse_from(["mock-device", "--tcp", "a:1"]).is_ok());
    }

    #[test]
    fn a_plan_is_a_time_and_a_command() {
        let (at, command) = planned("1h 30m setpoint 510").unwrap();
        assert_eq!(at, Duration::from_mins(90));
        assert_eq!(command, Command::Setpoint(510.0));
        assert!(
            planned("setpoint 510")
                .unwrap_err()
                .contains("60s setpoint")
        );
        assert!(
            planned("60s setpoint high")
                .unwrap_err()
                .contains("no command")
        );
    }

    #[test]
    fn a_fault_is_a_kind_and_a_chance_in_percent() {
        assert_eq!(fault("lost=5"), Ok((Fault::Lost, 0.05)));
        assert!(fault("lost").is_err() && fault("lost=200").is_err());
        assert!(fault("gone=5").unwrap_err().contains("late, lost"));
    }

    #[test]
    fn unit_numbers_are_those_of_the_standard() {
        let units = |list: &str| {
            Args::try_parse_from(["mock-device", "--tcp", "a:1", "--unit", list]).map(|a| a.units)
        };
        assert_eq!(units("1,2,247").unwrap(), [1, 2, 247]);
        assert!(units("0").is_err() && units("248").is_err());
    }
}
