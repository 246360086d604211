//! Modbus TCP (Modbus messaging on TCP/IP implementation guide V1.0b) on any stream.

use std::io;

use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};

use super::bus::Bus;

/// Exception of a gateway behind which nobody answers (Modbus application protocol V1.1b3, 7).
const NOBODY_ANSWERS: u8 = 0x0B;

/// Unit numbers that mean the device at the end of the connection itself (guide, 4.4.2).
const ITSELF: [u8; 2] = [0, 255];

/// Lets the units of `bus` answer Modbus TCP on `stream` until the other end closes it.
///
/// # Errors
/// What reading or writing the stream fails with, and `InvalidData` for a header that is none.
pub async fn serve_tcp<S>(mut stream: S, bus: &Bus) -> io::Result<()>
where
    S: AsyncRead + AsyncWrite + Unpin,
{
    while let Some(request) = next_request(&mut stream).await? {
        let answer = answer(bus, request.unit, &request.pdu);
        tokio::time::sleep(bus.timing.turnaround).await;
        stream.write_all(&request.answered_by(&answer)).await?;
    }
    Ok(())
}

/// One request of a Modbus TCP client.
#[derive(Debug)]
pub(super) struct TcpRequest {
    transaction: [u8; 2],
    pub(super) unit: u8,
    pub(super) pdu: Vec<u8>,
}

impl TcpRequest {
    /// The frame that carries this answer.
    pub(super) fn answered_by(&self, answer: &[u8]) -> Vec<u8> {
        let [t1, t2] = self.transaction;
        let [l1, l2] = (answer.len() as u16 + 1).to_be_bytes();
        [&[t1, t2, 0, 0, l1, l2, self.unit], answer].concat()
    }

    /// The answer of a gateway behind which nobody answers.
    pub(super) fn answered_by_nobody(&self) -> Vec<u8> {
        let function = self.pdu.first().copied().unwrap_or_default();
        self.answered_by(&[function | 0x80, NOBODY_ANSWERS])
    }
}

/// The next request; `None` when the client has closed the connection.
pub(super) async fn next_request<S>(stream: &mut S) -> io::Result<Option<TcpRequest>>
where
    S: AsyncRead + Unpin,
{
    let mut header = [0; 7];
    match stream.read_exact(&mut header).await {
        Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => return Ok(None),
        other => other?,
    };
    let [t1, t2, p1, p2, l1, l2, unit] = header;
    let length = usize::from(u16::from_be_bytes([l1, l2]));
    if (p1, p2) != (0, 0) || !(2..=254).contains(&length) {
        return Err(io::Error::new(
            io::ErrorKind::InvalidData,
            "not a Modbus TCP header",
        ));
    }
    let mut pdu = vec![0; length - 1];
    stream.read_exact(&mut pdu).await?;
    Ok(Some(TcpRequest {
        transaction: [t1, t2],
        unit,
        pdu,
    }))
}

fn answer(bus: &Bus, unit: u8, request: &[u8]) -> Vec<u8> {
    let number = match bus.units() {
        [only] if ITSELF.contains(&unit) => only.number(),
        _ => unit,
    };
    let function = request.first().copied().unwrap_or_default();
    bus.answer(number, request)
        .unwrap_or_else(|| vec![function | 0x80, NOBODY_ANSWERS])
}

#[cfg(test)]
mod tests {
    use super::super::bus::Unit;
    use super::*;
    use crate::oven::{LEFT_OVER_TUNING, Oven};
    use crate::panel::Panel;
    use crate::registers::Annealer;

    async fn ask(request: &[u8], answer: usize) -> Vec<u8> {
        let (mut ours, theirs) = tokio::io::duplex(1024);
        let panel = Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), 1.0);
        let bus = Bus::new(vec![Unit::new(1, &Annealer, panel)]);
        tokio::spawn(async move { serve_tcp(theirs, &bus).await });
        ours.write_all(request).await.unwrap();
        let mut bytes = vec![0; answer];
        ours.read_exact(&mut bytes).await.unwrap();
        bytes
    }

    #[tokio::test(start_paused = true)]
    async fn an_answer_carries_the_requests_transaction_number() {
        for unit in [1, 255] {
            let request = [0xAB, 0xCD, 0, 0, 0, 6, unit, 3, 0, 1, 0, 1];
            let answer = ask(&request, 11).await;
            assert_eq!(answer, [0xAB, 0xCD, 0, 0, 0, 5, unit, 3, 2, 0x13, 0x24]);
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_unit_that_is_not_there_is_answered_as_a_gateway_does() {
        let answer = ask(&[0, 1, 0, 0, 0, 6, 9, 3, 0, 1, 0, 1], 9).await;
        assert_eq!(answer, [0, 1, 0, 0, 0, 3, 9, 0x83, 0x0B]);
    }
}
