//! From the command line to ovens on a wire, until somebody ends it.

use std::fmt;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::time::Duration;

use mock_device::registers::register_table;
use mock_device::wire::listen::{self, Framing};
use mock_device::wire::{Bus, Faults, Master, Timing, Unit, serve_rtu};
use mock_device::{LEFT_OVER_TUNING, Oven, Panel};
use tokio::net::TcpListener;
use tokio_serial::{Parity, SerialPortBuilderExt};

use crate::args::{Args, Start};
use crate::hands::{Reply, Watcher, obey, typed_lines};
use crate::setup_text::{Reached, setup_text, write_setup};

/// Ovens are brought up to date this often even if nobody asks.
const HEARTBEAT: Duration = Duration::from_millis(100);

/// Baud rate of a real port unless told otherwise.
const USUAL_BAUD: u32 = 9600;

/// Why it could not run.
#[derive(Debug)]
pub(crate) enum Failure {
    /// The runtime could not be made.
    Runtime(io::Error),
    /// This could not be listened on.
    Listen(String, io::Error),
    /// The setup could not be written into this folder.
    Setup(PathBuf, io::Error),
    /// Serving ended by itself.
    Serving(io::Error),
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Runtime(error) => write!(f, "cannot start: {error}"),
            Self::Listen(at, error) => write!(f, "cannot listen on {at}: {error}"),
            Self::Setup(folder, error) => {
                write!(
                    f,
                    "cannot write the setup into {}: {error}",
                    folder.display()
                )
            }
            Self::Serving(error) => write!(f, "the wire failed: {error}"),
        }
    }
}

/// Answers until it is told to end, or the wire fails.
type Serving = Pin<Box<dyn Future<Output = io::Result<()>>>>;

/// Runs until `quit`, a signal, or a failure.
pub(crate) async fn run(args: &Args) -> Result<(), Failure> {
    if args.print_registers {
        say(&register_table(args.layout));
        return Ok(());
    }
    let bus = bus(args);
    let (serving, reached) = open(args, &bus).await?;
    announce(args, &bus, &reached)?;
    tokio::select! {
        ended = serving => ended.map_err(Failure::Serving),
        () = tend(&bus) => Ok(()),
        () = told_to_end() => Ok(()),
    }
}

fn bus(args: &Args) -> Bus {
    let unit = |(n, &number): (usize, &u8)| {
        let seed = args.seed.wrapping_add(n as u64);
        let oven = match args.start {
            Start::Cold => Oven::cold(LEFT_OVER_TUNING, seed),
            Start::Settled(celsius) => Oven::settled_at(celsius, LEFT_OVER_TUNING, seed),
        };
        let panel = Panel::new(oven, args.speed);
        for (at, command) in &args.plan {
            panel.plan(at.as_secs_f64(), command.clone());
        }
        Unit::new(number, args.layout, panel)
    };
    let mut bus = Bus::new(args.units.iter().enumerate().map(unit).collect());
    if !args.faults.is_empty() {
        let faults = Faults::new(args.seed);
        let chances = args.faults.iter();
        bus = bus
            .with_faults(chances.fold(faults, |faults, &(kind, chance)| faults.with(kind, chance)));
    }
    if !args.master.is_empty() {
        bus = bus.with_master(Master::new(args.master.clone()));
    }
    if let (Some(baud), None) = (args.baud, &args.serial) {
        bus.timing = Timing::at_baud(baud, Duration::ZERO);
    }
    bus
}

async fn open(args: &Args, bus: &Bus) -> Result<(Serving, Reached), Failure> {
    let bus = bus.clone();
    if let Some(link) = &args.pty {
        return open_pty(link, args.baud, bus).map_err(|error| cannot(&link.display(), error));
    }
    if let Some(port) = &args.serial {
        return open_serial(port, args.baud, bus).map_err(|error| cannot(&port, error));
    }
    let (key, address, framing) = match (&args.tcp, &args.rtu_over_tcp) {
        (Some(address), _) => ("tcp", address.as_str(), Framing::Tcp),
        (None, address) => {
            let address = address.as_deref().unwrap_or_default();
            ("rtu_over_tcp", address, Framing::Rtu)
        }
    };
    let listener = TcpListener::bind(address).await;
    let listener = listener.map_err(|error| cannot(&address, error))?;
    let at = listener
        .local_addr()
        .map_err(|error| cannot(&address, error))?;
    let reached = Reached {
        key,
        at: at.to_string(),
        baud: None,
    };
    Ok((Box::pin(listen::serve(listener, bus, framing)), reached))
}

fn cannot(at: &dyn fmt::Display, error: io::Error) -> Failure {
    Failure::Listen(at.to_string(), error)
}

#[cfg(unix)]
fn open_pty(link: &Path, baud: Option<u32>, bus: Bus) -> io::Result<(Serving, Reached)> {
    use mock_device::wire::pty::{Link, Pty};

    let mut pty = Pty::open()?;
    let link = Link::make(&std::path::absolute(link)?, pty.port())?;
    let reached = Reached {
        key: "serial",
        at: link.path().display().to_string(),
        baud,
    };
    let serving = async move {
        // The link lives as long as the answers do.
        let _link = link;
        match baud {
            Some(baud) => pty.serve_at(&bus, baud).await,
            None => pty.serve(&bus).await,
        }
    };
    Ok((Box::pin(serving), reached))
}

#[cfg(not(unix))]
fn open_pty(_: &Path, _: Option<u32>, _: Bus) -> io::Result<(Serving, Reached)> {
    Err(io::Error::new(
        io::ErrorKind::Unsupported,
        "this system has no pseudo-terminals; use --tcp, --rtu-over-tcp or --serial",
    ))
}

fn open_serial(port: &str, baud: Option<u32>, bus: Bus) -> io::Result<(Serving, Reached)> {
    let baud = baud.unwrap_or(USUAL_BAUD);
    let stream = tokio_serial::new(port, baud)
        .parity(Parity::Even)
        .open_native_async()?;
    let reached = Reached {
        key: "serial",
        at: "the other end's port".to_owned(),
        baud: Some(baud),
    };
    Ok((
        Box::pin(async move { serve_rtu(stream, &bus).await }),
        reached,
    ))
}

fn announce(args: &Args, bus: &Bus, reached: &Reached) -> Result<(), Failure> {
    let mut maps = "configs/maps";
    if let Some(folder) = &args.write_setup {
        write_setup(folder, reached, bus).map_err(|error| Failure::Setup(folder.clone(), error))?;
        maps = "maps";
    }
    let start = match args.start {
        Start::Cold => "cold".to_owned(),
        Start::Settled(celsius) => format!("settled at {celsius} degC"),
    };
    say(&format!(
        "# listening on {} ({}): layout {}, {start}, {} x as fast as the clock, seed {}\n\
         # 'help' lists what can be typed here; setup for emberline:\n{}",
        reached.at,
        reached.key,
        args.layout.name(),
        args.speed,
        args.seed,
        setup_text(reached, bus, maps),
    ));
    if args.layout.map_text().is_empty() {
        say("# its map is yours to write: --print-registers gives the manual\n");
    }
    Ok(())
}

/// Keeps the ovens up to date and obeys what is typed, until `quit`. The end of the input is no
/// reason to end: in the background there is none.
async fn tend(bus: &Bus) {
    let mut typed = typed_lines();
    let mut watcher = Watcher::new(bus);
    let mut heartbeat = tokio::time::interval(HEARTBEAT);
    loop {
        tokio::select! {
            _ = heartbeat.tick() => say(&watcher.look(bus)),
            Some(line) = typed.recv() => match obey(&line, bus) {
                Reply::Say(text) => say(&text),
                Reply::Quit => return,
            },
        }
    }
}

/// Nobody may be reading any more; the ovens go on for those who poll them.
fn say(text: &str) {
    let mut out = io::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

async fn told_to_end() {
    let interrupt = tokio::signal::ctrl_c();
    tokio::select! {
        _ = interrupt => {}
        () = terminated() => {}
    }
}

#[cfg(unix)]
async fn terminated() {
    use tokio::signal::unix::{SignalKind, signal};

    let mut asked = [SignalKind::terminate(), SignalKind::hangup()].map(signal);
    let [Ok(terminate), Ok(hangup)] = &mut asked else {
        return std::future::pending().await;
    };
    tokio::select! {
        _ = terminate.recv() => {}
        _ = hangup.recv() => {}
    }
}

#[cfg(not(unix))]
async fn terminated() {
    std::future::pending().await
}
