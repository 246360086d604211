//! A gateway between Modbus TCP and a serial line, as careless as one may be met: it passes on the
//! first sound frame of the unit that was asked, whatever it answers, under the transaction number of
//! the latest request. What comes while nobody asks it throws away.

use std::io;
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::time::{Instant, timeout, timeout_at};

use super::crc::{is_sealed, sealed};
use super::tcp::next_request;

/// Serves a Modbus TCP client on `stream` from the units on the serial `line` until the client closes
/// the connection. After `answer_within` the gateway says itself that nobody answers.
///
/// # Errors
/// What reading or writing either side fails with, and `InvalidData` for a header that is none.
pub async fn serve_gateway<S, L>(
    mut stream: S,
    line: &mut L,
    answer_within: Duration,
) -> io::Result<()>
where
    S: AsyncRead + AsyncWrite + Unpin,
    L: AsyncRead + AsyncWrite + Unpin,
{
    while let Some(request) = next_request(&mut stream).await? {
        let mut unasked = [0; 512];
        while let Ok(read) = timeout(Duration::ZERO, line.read(&mut unasked)).await {
            if read? == 0 {
                return Ok(());
            }
        }
        let mut frame = vec![request.unit];
        frame.extend(&request.pdu);
        line.write_all(&sealed(frame)).await?;
        let until = Instant::now() + answer_within;
        let frame = match timeout_at(until, first_answer(line, request.unit)).await {
            Ok(answer) => request.answered_by(&answer?),
            Err(_) => request.answered_by_nobody(),
        };
        stream.write_all(&frame).await?;
    }
    Ok(())
}

/// The first sound frame of `unit`, without its number and check.
async fn first_answer<L>(line: &mut L, unit: u8) -> io::Result<Vec<u8>>
where
    L: AsyncRead + Unpin,
{
    let mut bytes = Vec::new();
    let mut came = [0; 512];
    loop {
        let read = line.read(&mut came).await?;
        if read == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        bytes.extend_from_slice(&came[..read]);
        let found = (0..bytes.len()).find_map(|start| sound_frame(&bytes[start..], unit));
        if let Some(answer) = found {
            return Ok(answer);
        }
    }
}

/// An answer of `unit` at the start of `bytes`, by the lengths the standard gives.
fn sound_frame(bytes: &[u8], unit: u8) -> Option<Vec<u8>> {
    let length = match *bytes.get(1)? {
        1..=4 => 5 + usize::from(*bytes.get(2)?),
        0x80.. => 5,
        _ => 8,
    };
    let frame = bytes.get(..length)?;
    (frame[0] == unit && is_sealed(frame)).then(|| frame[1..length - 2].to_vec())
}

#[cfg(test)]
mod tests {
    use super::super::bus::Bus;
    use super::super::faults::{Fault, Faults};
    use super::super::rtu::in_memory;
    use super::*;
    use crate::registers::counter::Counter;

    const SECOND: Duration = Duration::from_secs(1);

    #[tokio::test(start_paused = true)]
    async fn a_late_answer_goes_out_under_the_next_requests_transaction_number() {
        let mut faults = Faults::new(1).at(0, Fault::Late);
        faults.lateness = 2 * SECOND..=2 * SECOND;
        let bus = Bus::new(Vec::new()).with_counter(1, Counter::new(0, false));
        let mut line = in_memory(bus.with_faults(faults));
        let (mut client, stream) = tokio::io::duplex(1024);
        tokio::spawn(async move { serve_gateway(stream, &mut line, SECOND * 3 / 2).await });
        let mut ask = async |transaction: u8, address: u8, length: usize| {
            let request = [0, transaction, 0, 0, 0, 6, 1, 3, 0, address, 0, 2];
            client.write_all(&request).await.unwrap();
            let mut answer = vec![0; length];
            client.read_exact(&mut answer).await.unwrap();
            answer
        };
        assert_eq!(ask(7, 0, 9).await, [0, 7, 0, 0, 0, 3, 1, 0x83, 0x0B]);
        // The registers of address 0 in answer to a question for address 4.
        let late = ask(8, 4, 13).await;
        assert_eq!(late, [0, 8, 0, 0, 0, 7, 1, 3, 4, 0, 0, 0, 1]);
    }
}
