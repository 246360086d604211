//! Listening before the first frame.

use std::io;
use std::time::Duration;

use tokio::time::{Instant, timeout_at};

use super::census::Census;
use super::cut::Cutter;
use crate::figures;
use crate::line::PortError;
use crate::line::exchange::Exchange;
use crate::line::frame::Framing;
use crate::setup::Port;

/// Listens without sending anything. Noise alone is a remark: a line without termination can be used.
/// Behind a gateway there is nobody to hear: it keeps the bytes of others to itself.
///
/// # Errors
/// Somebody was heard, or the port is gone.
pub(crate) async fn listen(
    exchange: &mut Exchange,
    port: &Port,
    listen_for: Duration,
) -> Result<Option<String>, PortError> {
    if exchange.pace().framing == Framing::Tcp {
        return Ok(None);
    }
    let heard = census(exchange, listen_for).await;
    let census = heard.map_err(|error| PortError::lost(port, &error.to_string()))?;
    if census.frames > 0 {
        return Err(refusal(port, listen_for, &census));
    }
    Ok((census.strange > 0).then(|| noise_remark(port, listen_for, &census)))
}

async fn census(exchange: &mut Exchange, listen_for: Duration) -> io::Result<Census> {
    let (until, mut census) = (Instant::now() + listen_for, Census::default());
    let (mut cutter, mut pieces) = (Cutter::new(exchange.pace()), Vec::new());
    let mut came = Vec::new();
    while let Ok(heard) = timeout_at(until, exchange.hear(&mut came)).await {
        heard?;
        cutter.take(&came, Instant::now(), &mut pieces);
        came.clear();
    }
    cutter.finish(&mut pieces);
    for piece in &pieces {
        census.take(piece);
    }
    Ok(census)
}

/// Somebody else talks on the line: why nothing is asked, and what to do.
fn refusal(port: &Port, listened: Duration, census: &Census) -> PortError {
    PortError {
        what: format!(
            "another master talks on {}: heard in {}: {}, {}",
            port,
            figures::wait(listened),
            census.units(),
            census.rate()
        ),
        help:
            "two masters spoil each other's answers: stop the other one (a panel, a PLC, another \
               program), or record what it reads, without sending a byte, with '--listen-only' \
               ('record', 'read', 'watch'); '--listen-first 0s' asks all the same"
                .to_owned(),
    }
}

/// Bytes came that are no frame: what that may mean.
fn noise_remark(port: &Port, listened: Duration, census: &Census) -> String {
    format!(
        "{} bytes and no sound frame came on {} in {}, with nothing asked: noise of a line without \
         termination, or another master at another baud rate or parity",
        census.noise,
        port,
        figures::wait(listened),
    )
}

/// The same where no setting is known yet, and why nothing is asked.
pub(crate) fn refusal_of_noise(remark: String) -> PortError {
    PortError {
        what: remark,
        help: "stop or unplug any other master of this line; if it is only noise, '--listen-first 0s' \
               asks all the same"
            .to_owned(),
    }
}
