//! An adapter or a gateway that can be pulled out and plugged in again while the units behind it live
//! on: what they send meanwhile is lost, what they send later arrives at whoever has opened it by then.

use std::time::Duration;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use tokio::io::{AsyncReadExt, AsyncWriteExt, DuplexStream};
use tokio::sync::{mpsc, watch};
use tokio::time::sleep;

use super::gateway::serve_gateway;

/// Room for a few frames each way.
const IN_MEMORY_BYTES: usize = 4096;

/// Such an adapter. Clones are the same one.
#[derive(Clone, Debug)]
pub struct Adapter {
    ports: mpsc::UnboundedSender<DuplexStream>,
    is_plugged: watch::Sender<bool>,
}

/// How it serves whoever opens it.
#[derive(Clone, Copy, Debug)]
enum Kind {
    Serial,
    Gateway(Duration),
}

impl Adapter {
    /// An adapter on this line, plugged in. Needs a tokio runtime, in which it carries the bytes.
    pub fn on(line: DuplexStream) -> Self {
        Self::of(line, Kind::Serial)
    }

    /// A Modbus TCP gateway on this line, as [`serve_gateway`] has it.
    pub fn gateway(line: DuplexStream, answer_within: Duration) -> Self {
        Self::of(line, Kind::Gateway(answer_within))
    }

    fn of(line: DuplexStream, kind: Kind) -> Self {
        let (ports, opened) = mpsc::unbounded_channel();
        let (is_plugged, plugged) = watch::channel(true);
        tokio::spawn(serve(line, kind, opened, plugged));
        Self { ports, is_plugged }
    }

    /// Opens its port; `None` while it is pulled out. One at a time has it open.
    pub fn open(&self) -> Option<DuplexStream> {
        let (near, far) = tokio::io::duplex(IN_MEMORY_BYTES);
        let is_there = *self.is_plugged.borrow() && self.ports.send(far).is_ok();
        is_there.then_some(near)
    }

    /// Pulls it out, or plugs it in again.
    pub fn plug(&self, is_plugged: bool) {
        self.is_plugged.send_replace(is_plugged);
    }

    /// Pulls it out at random, for up to a second, in this share of all seconds; never ends.
    pub async fn sits_loosely(self, seed: u64, share: f64) {
        let second = Duration::from_secs(1);
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        loop {
            let before = random.random_range(Duration::ZERO..second);
            sleep(before).await;
            if random.random_bool(share) {
                self.plug(false);
                sleep(random.random_range(Duration::ZERO..second)).await;
                self.plug(true);
            }
            sleep(second.saturating_sub(before)).await;
        }
    }
}

async fn serve(
    mut line: DuplexStream,
    kind: Kind,
    mut opened: mpsc::UnboundedReceiver<DuplexStream>,
    mut plugged: watch::Receiver<bool>,
) {
    let mut lost = [0; 512];
    loop {
        let port = tokio::select! {
            port = opened.recv() => port,
            read = line.read(&mut lost) => match read {
                Ok(0) | Err(_) => None,
                Ok(_) => continue,
            },
        };
        let Some(port) = port else { return };
        let serving = async {
            match kind {
                Kind::Serial => carry(port, &mut line).await,
                // A connection that fails ends alone.
                Kind::Gateway(within) => drop(serve_gateway(port, &mut line, within).await),
            }
        };
        tokio::select! {
            () = serving => {}
            // Its other end is gone when the adapter is: then nobody pulls any more.
            _ = plugged.wait_for(|is_plugged| !is_plugged) => {}
        }
    }
}

/// Carries bytes both ways until either end is closed.
async fn carry(mut port: DuplexStream, line: &mut DuplexStream) {
    let (mut out, mut back) = ([0; 512], [0; 512]);
    loop {
        let carried = tokio::select! {
            read = port.read(&mut out) => match read {
                Ok(count) if count > 0 => line.write_all(&out[..count]).await,
                _ => return,
            },
            read = line.read(&mut back) => match read {
                Ok(count) if count > 0 => port.write_all(&back[..count]).await,
                _ => return,
            },
        };
        if carried.is_err() {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test(start_paused = true)]
    async fn what_comes_while_it_is_out_is_lost_and_what_comes_later_arrives() {
        let (line, mut units) = tokio::io::duplex(64);
        let adapter = Adapter::on(line);
        let mut port = adapter.open().unwrap();
        port.write_all(b"ask").await.unwrap();
        let mut asked = [0; 3];
        units.read_exact(&mut asked).await.unwrap();
        adapter.plug(false);
        assert_eq!(port.read(&mut asked).await.unwrap(), 0);
        assert!(adapter.open().is_none());
        units.write_all(b"lost").await.unwrap();
        sleep(Duration::from_millis(1)).await;
        adapter.plug(true);
        let mut port = adapter.open().unwrap();
        sleep(Duration::from_millis(1)).await;
        units.write_all(b"late").await.unwrap();
        let mut came = [0; 4];
        port.read_exact(&mut came).await.unwrap();
        assert_eq!(&came, b"late");
    }
}
