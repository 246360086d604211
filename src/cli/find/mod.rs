//! `emberline find`: which units answer, at which settings.

mod lists;
mod progress;
mod report;
mod snippet;

use std::io::{self, Write as _};
use std::time::Duration;

use clap::{ArgGroup, Args};
use serde_json::{Value, json};

use super::listening::ListenFirstArgs;
use super::owning::keep;
use super::running::runtime;
use super::{Exit, Stop};
use crate::line::{
    self, News, PresentPort, Search, Sweep, USUAL_BAUDS, USUAL_FORMATS, lasting_name, present_ports,
};
use crate::setup::{Parity, Port, StopBits};
use crate::signals;
use lists::UnitNumbers;
pub(super) use lists::format;
use progress::Progress;
use snippet::quoted;

/// How long an answer may take unless told otherwise: on a wire, behind a serial server, and behind
/// a gateway that waits for its own time-out before it says that nobody is there (common practice,
/// no source).
const ON_A_WIRE: Duration = Duration::from_millis(200);
const BEHIND_A_SERVER: Duration = Duration::from_millis(400);
const BEHIND_A_GATEWAY: Duration = Duration::from_millis(1200);

/// A requirement alone is waived when what is required conflicts with something given.
const NOT_SERIAL: [&str; 2] = ["tcp", "rtu_over_tcp"];

/// Find the units that answer on a line, and at which settings.
///
/// Asks every unit number for one register (functions 03 and 04) at every setting, likely ones
/// first, and ends with a setup for what it found. Nothing in a controller is changed. Ctrl-C ends
/// it early and shows what was found. Without a port it lists the serial ports of this machine and
/// how a setup names them.
///
/// Example: emberline find --serial /dev/ttyUSB0 > oven.toml
#[derive(Debug, Args)]
#[command(after_help = after_help())]
#[command(group(ArgGroup::new("port").args(["serial", "tcp", "rtu_over_tcp"])))]
pub(super) struct FindArgs {
    /// A serial port (/dev/ttyUSB0, COM3) or an adapter's identity.
    #[arg(long, value_name = "PORT")]
    serial: Option<String>,
    /// A Modbus TCP device or gateway.
    #[arg(long, value_name = "HOST:PORT")]
    tcp: Option<String>,
    /// A serial server that passes RTU frames on.
    #[arg(long, value_name = "HOST:PORT")]
    rtu_over_tcp: Option<String>,
    /// Only these baud rates.
    #[arg(long, value_name = "LIST", value_delimiter = ',', requires = "serial", conflicts_with_all = NOT_SERIAL,
          value_parser = clap::value_parser!(u32).range(110..=4_000_000))]
    baud: Vec<u32>,
    /// Only these parities: even, odd, none, or with stop bits as 8E1, 8N2.
    #[arg(long, value_name = "LIST", value_delimiter = ',', requires = "serial", conflicts_with_all = NOT_SERIAL,
          value_parser = format)]
    parity: Vec<(Parity, StopBits)>,
    /// Only these unit numbers, for example 1-10,17.
    #[arg(long, value_name = "RANGE", default_value = "1-247")]
    unit_numbers: UnitNumbers,
    /// How long an answer may take [default: 200ms; 400ms over RTU over TCP, 1200ms over TCP].
    #[arg(long, value_name = "DURATION", value_parser = wait)]
    answer_within: Option<Duration>,
    #[command(flatten)]
    listen: ListenFirstArgs,
    /// Try all settings, also after one had an answer.
    #[arg(long, requires = "serial", conflicts_with_all = NOT_SERIAL)]
    all: bool,
    /// One JSON document.
    #[arg(long)]
    json: bool,
}

/// What technicians forget, in the order in which it is quickly looked at.
const FORGOTTEN: &str = "\
what is often forgotten when nothing answers:
  - set the controller's protocol to Modbus RTU at its panel, then switch it off and on
  - A and B (some say + and -) swapped; to swap them for a try harms nothing
  - a unit number outside of those asked, or one that two units share
  - termination at both ends of the line, signal ground
  - another master on the line: a panel, a PLC, another program
  - a slow controller: --answer-within 1s";

fn after_help() -> String {
    format!(
        "{FORGOTTEN}\n\nExit codes: 0 something answered; 2 wrong use; 3 nothing answered, or the \
         port cannot be used."
    )
}

fn wait(text: &str) -> Result<Duration, String> {
    let duration = humantime::parse_duration(text).map_err(|error| error.to_string())?;
    let range = Duration::from_millis(1)..=Duration::from_mins(1);
    range
        .contains(&duration)
        .then_some(duration)
        .ok_or_else(|| "give a time from 1ms to 1m".to_owned())
}

pub(super) fn run(args: &FindArgs) -> Result<Exit, Stop> {
    let Some(search) = search(args)? else {
        return list_ports(args.json);
    };
    // All are one port at different settings.
    let _hold = search.ports.first().map(keep).transpose()?;
    let announced = announcement(&search);
    let mut sweep = Sweep::new(search, Box::new(|port| line::opener(port)()));
    let mut progress = Progress::new();
    progress::announce(&announced, sweep.longest());
    let mut tell = |news: News<'_>| progress.tell(news);
    let ended = runtime()?.block_on(async {
        tokio::select! {
            ended = sweep.run(&mut tell) => Some(ended),
            _ = signals::asked_to_end() => None,
        }
    });
    progress.end();
    let complete = matches!(ended, Some(Ok(())));
    if let Some(Err(error)) = ended
        && sweep.outcome().found.is_empty()
    {
        return Err(error.into());
    }
    conclude(&sweep, complete, args.json)
}

/// What to look for; `None` when no port was given.
fn search(args: &FindArgs) -> Result<Option<Search>, Stop> {
    let (ports, usual_wait) = match (&args.serial, &args.rtu_over_tcp, &args.tcp) {
        (Some(path), ..) => (serial_ports(args, path), ON_A_WIRE),
        (None, Some(address), _) => (vec![Port::RtuOverTcp(address.clone())], BEHIND_A_SERVER),
        (None, None, Some(address)) => (vec![Port::Tcp(address.clone())], BEHIND_A_GATEWAY),
        (None, None, None) => return Ok(None),
    };
    let address = args.tcp.as_ref().or(args.rtu_over_tcp.as_ref());
    if let Some(address) = address.filter(|it| !has_port(it)) {
        let text = format!("{address:?} is no host:port\nhelp: for example 192.0.2.7:502");
        return Err(Stop::new(Exit::WrongUse, text));
    }
    Ok(Some(Search {
        ports,
        units: args.unit_numbers.0.clone(),
        answer_within: args.answer_within.unwrap_or(usual_wait),
        listen_first: args.listen.listen_first,
        all_settings: args.all,
    }))
}

fn has_port(address: &str) -> bool {
    let port = address
        .rsplit_once(':')
        .filter(|(host, _)| !host.is_empty());
    port.is_some_and(|(_, port)| port.parse::<u16>().is_ok_and(|port| port > 0))
}

fn serial_ports(args: &FindArgs, path: &str) -> Vec<Port> {
    let or_usual = |given: &[u32]| match given {
        [] => USUAL_BAUDS.to_vec(),
        given => given.to_vec(),
    };
    let formats = match args.parity.as_slice() {
        [] => &USUAL_FORMATS,
        given => given,
    };
    Search::serial_ports(path, &or_usual(&args.baud), formats)
}

fn announcement(search: &Search) -> String {
    let units = match search.units.as_slice() {
        [only] => format!("unit {}", only.get()),
        units => format!("{} unit numbers", units.len()),
    };
    let settings = match search.ports.as_slice() {
        [only] => only.to_string(),
        ports => format!("{} settings, likely ones first", ports.len()),
    };
    format!("asking {units} at {settings}")
}

fn conclude(sweep: &Sweep, complete: bool, as_json: bool) -> Result<Exit, Stop> {
    let outcome = sweep.outcome();
    let present = present_ports();
    let mut out = io::stdout().lock();
    if as_json {
        writeln!(out, "{}", report::json(outcome, complete, &present))?;
    } else {
        write!(out, "{}", report::text(outcome, &present))?;
    }
    out.flush()?;
    let mut err = io::stderr();
    for remark in report::remarks(outcome) {
        let _ = writeln!(err, "note: {remark}");
    }
    match (outcome.found.is_empty(), complete) {
        (false, true) => Ok(Exit::Done),
        (false, false) => {
            let _ = writeln!(err, "ended early: there may be more");
            Ok(Exit::Done)
        }
        (true, true) => Err(Stop::new(
            Exit::Line,
            format!("nothing answered\nhelp: {FORGOTTEN}"),
        )),
        (true, false) => Err(Stop::new(
            Exit::Line,
            "nothing has answered so far\nhelp: begin again with fewer --unit-numbers, --baud or \
             --parity to be done sooner",
        )),
    }
}

/// The ports of this machine and how a setup names them.
fn list_ports(as_json: bool) -> Result<Exit, Stop> {
    let present = present_ports();
    let mut out = io::stdout().lock();
    if as_json {
        let ports: Vec<Value> = present
            .iter()
            .map(|port| port_json(port, &present))
            .collect();
        writeln!(out, "{}", json!({ "ports": ports }))?;
    } else {
        for port in &present {
            let about = port.about.as_deref().unwrap_or_default();
            let named = format!("serial = {}", quoted(&lasting_name(port, &present)));
            writeln!(
                out,
                "{}",
                format!("{:<14} {named:<40} {about}", port.name).trim_end()
            )?;
        }
    }
    out.flush()?;
    if present.is_empty() {
        let text = "this machine shows no serial port\n\
                    help: plug the adapter in, or give --tcp or --rtu-over-tcp HOST:PORT";
        return Err(Stop::new(Exit::Line, text));
    }
    let _ = writeln!(
        io::stderr(),
        "name one to ask the units on it: emberline find --serial {}",
        present[0].name
    );
    Ok(Exit::Done)
}

fn port_json(port: &PresentPort, present: &[PresentPort]) -> Value {
    json!({
        "name": port.name,
        "identity": port.id.as_ref().map(ToString::to_string),
        "setup_name": lasting_name(port, present),
        "about": port.about,
    })
}
