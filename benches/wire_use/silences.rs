//! In real time on a pseudo-terminal: how long the line layer keeps silent before a request, as seen
//! at the port.

use std::io;
use std::pin::Pin;
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll, ready};
use std::thread;
use std::time::Duration;

use emberline::clock::Clock;
use emberline::line::{Manner, Opened, Opener, Start, Wire, opener};
use emberline::session::{Opening, Session};
use emberline::setup::{LineSetup, Port, Setup};
use mock_device::registers::counter::Counter;
use mock_device::wire::Bus;
use mock_device::wire::pty::Pty;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::runtime::{Builder, Runtime};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;

use crate::polls::{Case, UNIT, map, scattered};

const EVERY: Duration = Duration::from_millis(100);
const POLLS: u32 = 40;

/// The silences of a few seconds of polling point by point, as long as they were, in rising order.
pub(crate) fn kept(case: Case) -> Vec<Duration> {
    let points = scattered(1);
    let mut setup = case.setup(&map(&points, 125, false));
    setup.loops[0].every = EVERY;
    if let Port::Serial { path, .. } = &mut setup.lines[0].port {
        *path = plugged();
    }
    let traffic = Traffic {
        first: points[0].0.to_be_bytes(),
        last_read: None,
        silences: Vec::new(),
    };
    let traffic = Arc::new(Mutex::new(traffic));
    let seen = Arc::clone(&traffic);
    let mut tapped = |line: &LineSetup| tapped(opener(line.port.clone()), Arc::clone(&seen));
    polled(&setup, &mut tapped);
    let mut silences = std::mem::take(&mut traffic.lock().unwrap().silences);
    silences.sort_unstable();
    silences
}

/// A pseudo-terminal with a unit on it that answers at once, on a thread of its own, for as long as
/// this process lives; its name.
fn plugged() -> String {
    let (named, name) = std::sync::mpsc::channel();
    thread::spawn(move || {
        runtime().block_on(async {
            let mut pty = Pty::open().unwrap();
            named.send(pty.port().to_str().unwrap().to_owned()).unwrap();
            let bus = Bus::new(Vec::new()).with_counter(UNIT, Counter::new(0, true));
            // Ends with an error when the port is closed, which is the end of the measurement.
            let _ = pty.serve(&bus).await;
        });
    });
    name.recv().unwrap()
}

/// Polls as `emberline record` does: the line has a thread of its own.
fn polled(setup: &Setup, opener: &mut dyn FnMut(&LineSetup) -> Opener) {
    let stop = CancellationToken::new();
    let mut opening = Opening::new(setup, Manner::Ask, opener, &stop);
    let lines = std::mem::take(&mut opening.lines);
    let lines: Vec<_> = lines
        .into_iter()
        .map(|line| thread::spawn(move || runtime().block_on(line)))
        .collect();
    runtime().block_on(async {
        opening.wait(|_| {}).await.unwrap();
        let start = Start {
            end: Some(EVERY * POLLS),
            ..Start::of(Clock::of_this_machine())
        };
        let Session { hub, .. } = opening.begin(setup, start, None);
        hub.await;
    });
    for line in lines {
        line.join().unwrap();
    }
}

fn runtime() -> Runtime {
    Builder::new_current_thread().enable_all().build().unwrap()
}

/// What was seen at a port.
#[derive(Debug)]
struct Traffic {
    /// The address that a poll begins with.
    first: [u8; 2],
    last_read: Option<Instant>,
    silences: Vec<Duration>,
}

/// A wire that is watched.
struct Tap {
    wire: Box<dyn Wire>,
    traffic: Arc<Mutex<Traffic>>,
}

fn tapped(mut open: Opener, traffic: Arc<Mutex<Traffic>>) -> Opener {
    Box::new(move || {
        let (opening, traffic) = (open(), Arc::clone(&traffic));
        Box::pin(async move {
            let Opened { wire, pace } = opening.await?;
            let wire = Box::new(Tap { wire, traffic });
            Ok(Opened { wire, pace })
        })
    })
}

impl AsyncRead for Tap {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let read = ready!(Pin::new(&mut self.wire).poll_read(context, into));
        self.traffic.lock().unwrap().last_read = Some(Instant::now());
        Poll::Ready(read)
    }
}

impl AsyncWrite for Tap {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let now = Instant::now();
        let mut traffic = self.traffic.lock().unwrap();
        // What ends with the beginning of a poll is idle time.
        let begins = bytes.get(2..4) == Some(&traffic.first);
        if let Some(read) = traffic.last_read.take().filter(|_| !begins) {
            traffic.silences.push(now - read);
        }
        drop(traffic);
        Pin::new(&mut self.wire).poll_write(context, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.wire).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.wire).poll_shutdown(context)
    }
}
