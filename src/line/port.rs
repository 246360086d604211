//! Ports: what bytes go through, and how it is opened.

use std::io;
use std::time::Duration;

use futures_util::future::BoxFuture;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio::time::Instant;
use tokio_serial::{ClearBuffer, SerialPort, SerialPortBuilderExt, SerialStream};

use super::frame::Framing;
use super::identity::{is_there, port_now, present_ports, said};
use crate::setup::{Parity, Port, StopBits};

/// How long a TCP connection may take to come up.
const CONNECT_WITHIN: Duration = Duration::from_secs(3);

/// Anything bytes go through.
pub trait Wire: AsyncRead + AsyncWrite + Send + Unpin {}

impl<T: AsyncRead + AsyncWrite + Send + Unpin> Wire for T {}

/// Opens a line's port, again and again if it is lost. A simulation brings its own.
pub type Opener = Box<dyn FnMut() -> BoxFuture<'static, Result<Opened, PortError>> + Send>;

/// An open port.
pub struct Opened {
    /// What bytes go through.
    pub wire: Box<dyn Wire>,
    /// How it is used.
    pub pace: Pace,
}

/// Why a port could not be opened, in words for the person at the line.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{what}\nhelp: {help}")]
pub struct PortError {
    /// What and where.
    pub what: String,
    /// What to do next.
    pub help: String,
}

impl PortError {
    /// The port is gone; the system's words.
    pub(crate) fn lost(port: &Port, reason: &str) -> Self {
        Self {
            what: format!("{port} was lost: {reason}"),
            help: "check the adapter's plug and the gateway's supply".to_owned(),
        }
    }
}

/// Time and framing on an open port.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    pub(crate) framing: Framing,
    /// Time of one character on the wire.
    pub(crate) character: Duration,
    /// Silence that ends a frame.
    pub(crate) silence: Duration,
    /// The thread is the line's own, and may be held up for an exact moment.
    is_exact: bool,
}

/// The event queue's timers come in steps of a millisecond, and up to two late.
const TIMER_STEP: Duration = Duration::from_millis(2);

impl Pace {
    /// 3.5 characters of silence, 1.75 ms above 19,200 baud; 4.010 ms at 9,600 baud with 11 bits
    /// (Modbus over Serial Line V1.02, 2.5.1.1). Where no serial line is known behind a connection,
    /// TCP keeps its own order and no silence is needed.
    pub fn of(port: &Port) -> Self {
        let (framing, character, silence) = match port {
            Port::Serial {
                baud,
                parity,
                stop_bits,
                ..
            } => {
                let parity_bits = u32::from(*parity != Parity::None);
                let bits = 1 + 8 + parity_bits + stop_bits.count();
                let character = Duration::from_secs(1) * bits / *baud;
                let fixed = Duration::from_micros(1750);
                let silence = if *baud > 19_200 {
                    fixed
                } else {
                    character * 7 / 2
                };
                (Framing::Rtu, character, silence)
            }
            Port::RtuOverTcp(_) => (Framing::Rtu, Duration::ZERO, Duration::ZERO),
            Port::Tcp(_) => (Framing::Tcp, Duration::ZERO, Duration::ZERO),
        };
        Self {
            framing,
            character,
            silence,
            is_exact: false,
        }
    }

    /// The same in time that goes by `times` as slowly, for measuring below a timer's steps.
    #[must_use]
    pub fn stretched(self, times: u32) -> Self {
        Self {
            character: self.character * times,
            silence: self.silence * times,
            ..self
        }
    }

    /// The same on a thread that belongs to the line alone: its silences end to the tenth of a
    /// millisecond, because the thread itself sleeps through the end of each.
    #[must_use]
    pub fn exact(self) -> Self {
        Self {
            is_exact: true,
            ..self
        }
    }

    /// The moment until which the event queue's timer may be trusted to wait for `until`.
    pub(crate) fn coarse(self, until: Instant) -> Instant {
        if self.is_exact {
            until.checked_sub(TIMER_STEP).unwrap_or(until)
        } else {
            until
        }
    }

    /// Holds the thread up for the rest.
    pub(crate) fn wait_exactly(self, until: Instant) {
        if self.is_exact {
            std::thread::sleep(until.saturating_duration_since(Instant::now()));
        }
    }
}

/// The opener of a real port.
pub fn opener(port: Port) -> Opener {
    Box::new(move || {
        let port = port.clone();
        Box::pin(async move {
            let pace = Pace::of(&port);
            match &port {
                Port::Serial {
                    path,
                    baud,
                    parity,
                    stop_bits,
                } => {
                    let now = port_now(path)?;
                    let wire = Box::new(open_serial(&now, *baud, *parity, *stop_bits)?);
                    Ok(Opened {
                        wire,
                        pace: pace.exact(),
                    })
                }
                Port::RtuOverTcp(address) | Port::Tcp(address) => Ok(Opened {
                    wire: Box::new(connect(address).await?),
                    pace,
                }),
            }
        })
    })
}

fn open_serial(
    path: &str,
    baud: u32,
    parity: Parity,
    stop_bits: StopBits,
) -> Result<SerialStream, PortError> {
    let opened = tokio_serial::new(path, baud)
        .parity(match parity {
            Parity::Even => tokio_serial::Parity::Even,
            Parity::Odd => tokio_serial::Parity::Odd,
            Parity::None => tokio_serial::Parity::None,
        })
        .stop_bits(match stop_bits {
            StopBits::One => tokio_serial::StopBits::One,
            StopBits::Two => tokio_serial::StopBits::Two,
        })
        .open_native_async();
    // What came before the port was ours says nothing about who talks now.
    let cleared = opened.and_then(|port| port.clear(ClearBuffer::Input).map(|()| port));
    cleared.map_err(|error| serial_error(path, &error))
}

fn serial_error(path: &str, error: &tokio_serial::Error) -> PortError {
    use io::ErrorKind::{NotFound, PermissionDenied};
    use tokio_serial::ErrorKind;
    let present = present_ports();
    let (what, help) = match error.kind() {
        // The serial crate says `NoDevice` both for a port that is gone and for one that is taken.
        ErrorKind::NoDevice if is_there(path, &present) => (
            format!("{path} is in use by another program"),
            "close the other program; on Linux 'fuser -v PORT' names it".to_owned(),
        ),
        ErrorKind::Io(PermissionDenied) => (
            format!("no permission to open {path}"),
            "on Linux add yourself to the group that owns it ('ls -l' shows it, often dialout) and log in again"
                .to_owned(),
        ),
        ErrorKind::NoDevice | ErrorKind::Io(NotFound) => {
            (format!("there is no port {path}"), format!("plug the adapter in; {}", said(&present)))
        }
        _ => (
            format!("{path} could not be opened as a serial port: {error}"),
            format!("check that it is a serial port; {}", said(&present)),
        ),
    };
    PortError { what, help }
}

async fn connect(address: &str) -> Result<TcpStream, PortError> {
    let failed = |reason: String| PortError {
        what: format!("no connection to {address}: {reason}"),
        help:
            "check the address, that the gateway is switched on and that it has a free connection"
                .to_owned(),
    };
    let stream = tokio::time::timeout(CONNECT_WITHIN, TcpStream::connect(address))
        .await
        .map_err(|_| failed(format!("nothing within {} s", CONNECT_WITHIN.as_secs())))?
        .map_err(|error| failed(error.to_string()))?;
    // Small frames must not wait for each other.
    stream
        .set_nodelay(true)
        .map_err(|error| failed(error.to_string()))?;
    Ok(stream)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn serial(baud: u32, parity: Parity) -> Port {
        Port::Serial {
            path: String::new(),
            baud,
            parity,
            stop_bits: StopBits::One,
        }
    }

    #[test]
    fn silences_are_those_of_the_serial_line_document() {
        // Modbus over Serial Line V1.02, 2.5.1.1: 3.5 characters of 11 bits, fixed above 19,200.
        for (baud, silence_us) in [
            (1200, 32_083),
            (2400, 16_041),
            (9600, 4_010),
            (19_200, 2_005),
            (115_200, 1_750),
        ] {
            let pace = Pace::of(&serial(baud, Parity::Even));
            assert_eq!(pace.silence.as_micros(), silence_us, "{baud}");
        }
    }

    #[test]
    fn a_missing_port_is_named_with_a_way_on() {
        let error =
            open_serial("/dev/no-such-port", 9600, Parity::Even, StopBits::One).unwrap_err();
        assert!(error.to_string().contains("/dev/no-such-port"), "{error}");
        assert!(error.to_string().contains("help: "), "{error}");
    }
}
