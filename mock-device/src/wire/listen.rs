//! A TCP port on which the units of a bus answer whoever connects.

use std::io;
use std::sync::Arc;

use tokio::net::TcpListener;

use super::{Bus, serve_rtu, serve_tcp};

/// What is spoken on a TCP port.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Framing {
    /// RTU frames, as a serial server without a protocol of its own passes them on.
    Rtu,
    /// Modbus TCP.
    Tcp,
}

/// Serves everybody who connects to `listener`, until the future is dropped or accepting fails.
///
/// # Errors
/// What accepting a connection fails with. A connection that fails ends alone.
pub async fn serve(listener: TcpListener, bus: Bus, framing: Framing) -> io::Result<()> {
    let bus = Arc::new(bus);
    let mut connections = tokio::task::JoinSet::new();
    loop {
        let (stream, _) = listener.accept().await?;
        stream.set_nodelay(true)?;
        let bus = Arc::clone(&bus);
        connections.spawn(async move {
            match framing {
                Framing::Rtu => serve_rtu(stream, &bus).await,
                Framing::Tcp => serve_tcp(stream, &bus).await,
            }
        });
        while connections.try_join_next().is_some() {}
    }
}
