//! A session owns its lines and does on them what others ask for.

use std::collections::BTreeMap;
use std::io::{self, Write as _};
use std::path::Path;
use std::thread;

use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::running::runtime;
use super::{Exit, Stop};
use crate::hands::{Hold, HoldError, Key, Owner, Served, ServedLine, Server};
use crate::line::Ask;
use crate::name::Name;
use crate::process;
use crate::session::Hand;
use crate::setup::{LineSetup, Port, Setup};

/// What this session holds, until it is dropped.
pub(super) struct Owning {
    holds: Vec<Hold>,
    /// Why others cannot be told of it.
    hidden: Option<String>,
}

impl Owning {
    /// Takes the ports of every line that a loop hangs on.
    ///
    /// # Errors
    /// Another process has one of them; who.
    pub(super) fn take(setup: &Setup) -> Result<Self, Stop> {
        let owner = Owner::this_process();
        let mut owning = Self {
            holds: Vec::new(),
            hidden: None,
        };
        let mut ports: Vec<(Key, &LineSetup)> = Vec::new();
        for line in setup.used_lines() {
            let key = Key::port(&line.port);
            // A port that two lines have is the business of whoever opens it.
            if !ports.iter().any(|(known, _)| *known == key) {
                ports.push((key, line));
            }
        }
        for (key, line) in ports {
            match hold(&key, &line.port, &owner) {
                Ok(hold) => owning.holds.extend(hold),
                Err(Refused::Taken(stop)) => return Err(stop),
                Err(Refused::NoPlace(why)) => owning.hidden = Some(why),
            }
        }
        Ok(owning)
    }

    /// Lets others ask, from now on until `stop`. A session that cannot goes on without.
    pub(super) fn serve(
        &mut self,
        setup: &Setup,
        recording: Option<&Path>,
        hand: &Hand,
        asks: &BTreeMap<Name, mpsc::Sender<Ask>>,
        stop: &CancellationToken,
    ) {
        let lines = setup.used_lines().filter_map(|line| {
            let the_loop = setup.loops.iter().find(|it| it.line == line.name)?;
            Some(ServedLine {
                port: Key::port(&line.port),
                asks: asks.get(&the_loop.name)?.clone(),
            })
        });
        let served = Served {
            hand: hand.clone(),
            loops: setup.loops.iter().map(|it| it.name.clone()).collect(),
            lines: lines.collect(),
        };
        if self.hidden.is_none() {
            match start(served, stop) {
                Ok(socket) => self.announce(recording, &socket),
                Err(why) => self.hidden = Some(why),
            }
        }
        if let Some(why) = &self.hidden {
            // A courtesy; a closed standard error stops no recording.
            let _ = writeln!(
                io::stderr(),
                "note: other commands cannot reach this one ('mark', and 'read' on its lines): {why}"
            );
        }
    }

    fn announce(&mut self, recording: Option<&Path>, socket: &str) {
        let owner = Owner::this_process().serving(recording, Some(socket));
        for hold in &self.holds {
            hold.announce(&owner);
        }
        // The recorder's own lock keeps others from a recording; this one is only its address.
        let hold = recording.and_then(|it| Hold::take(&Key::recording(it), &owner).ok());
        self.holds.extend(hold);
    }
}

/// Listens to others on a thread of its own; gives the address.
fn start(served: Served, stop: &CancellationToken) -> Result<String, String> {
    let runtime = runtime().map_err(|stop| stop.text)?;
    let opened = runtime.block_on(async { Server::open() });
    let server = opened.map_err(|error| error.to_string())?;
    let (socket, stop) = (server.socket().to_owned(), stop.clone());
    thread::Builder::new()
        .name("hands".to_owned())
        .spawn(move || runtime.block_on(server.run(served, stop)))
        .map_err(|error| error.to_string())?;
    Ok(socket)
}

/// Keeps a port for a command that asks on it by itself, while it does.
///
/// # Errors
/// Another process polls there; who.
pub(super) fn keep(port: &Port) -> Result<Option<Hold>, Stop> {
    match hold(&Key::port(port), port, &Owner::this_process()) {
        Ok(hold) => Ok(hold),
        Err(Refused::Taken(stop)) => Err(stop),
        // Nobody can be told, and nobody can be asked.
        Err(Refused::NoPlace(_)) => Ok(None),
    }
}

/// Why a port is not held.
enum Refused {
    Taken(Stop),
    NoPlace(String),
}

/// A gateway serves several masters: the first one does for others what they ask.
fn hold(key: &Key, port: &Port, owner: &Owner) -> Result<Option<Hold>, Refused> {
    match Hold::take(key, owner) {
        Ok(hold) => Ok(Some(hold)),
        Err(HoldError::Taken(_)) if matches!(port, Port::Tcp(_)) => Ok(None),
        Err(HoldError::Taken(other)) => Err(Refused::Taken(taken(port, other.as_ref()))),
        Err(HoldError::NoPlace(error)) => Err(Refused::NoPlace(error.to_string())),
    }
}

/// What to say of a port that another process has.
pub(super) fn taken(port: &Port, by: Option<&Owner>) -> Stop {
    let who = by.map_or_else(|| "another emberline".to_owned(), Owner::to_string);
    let help = match by {
        Some(owner) if owner.listens() => {
            let shows = owner.recording.as_ref().map_or_else(String::new, |folder| {
                format!("'emberline watch --follow {}' shows it, ", folder.display())
            });
            format!(
                "{shows}'emberline read' reads through it; to use the port otherwise end that \
                 process first: {}",
                process::how_to_end(owner.process)
            )
        }
        Some(owner) => format!(
            "try again in a few seconds, or end that process first: {}",
            process::how_to_end(owner.process)
        ),
        None => "try again in a few seconds, or end that process first".to_owned(),
    };
    let text = format!("{port} is polled by {who}\nhelp: {help}");
    Stop::new(Exit::Line, text)
}
