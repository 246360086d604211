//! A pseudo-terminal that stands for a serial port.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio_serial::{ClearBuffer, SerialPort, SerialStream};

use super::{Bus, serve_rtu};

/// Our end of a pseudo-terminal whose other end has a name like a serial port.
#[derive(Debug)]
pub struct Pty {
    master: SerialStream,
    /// Kept open: without any other end open, reading ours fails as if it were unplugged.
    slave: SerialStream,
    port: PathBuf,
}

impl Pty {
    /// Opens a pseudo-terminal in raw mode: every byte passes as it is, both ways.
    ///
    /// # Errors
    /// What the operating system refuses. Needs a tokio runtime with I/O.
    pub fn open() -> io::Result<Self> {
        let (master, slave) = SerialStream::pair()?;
        let port = slave.name().ok_or(ErrorKind::Unsupported)?.into();
        Ok(Self {
            master,
            slave,
            port,
        })
    }

    /// The port that a Modbus master opens.
    pub fn port(&self) -> &Path {
        &self.port
    }

    /// Lets the units of `bus` answer on it.
    ///
    /// # Errors
    /// As [`serve_rtu`].
    pub async fn serve(&mut self, bus: &Bus) -> io::Result<()> {
        serve_rtu(self.end(None), bus).await
    }

    /// The same, but the units understand only what is sent at `baud`. The parity that the other end
    /// asked for cannot be told: systems keep none for pseudo-terminals.
    ///
    /// # Errors
    /// As [`serve_rtu`].
    pub async fn serve_at(&mut self, bus: &Bus, baud: u32) -> io::Result<()> {
        serve_rtu(self.end(Some(baud)), bus).await
    }

    fn end(&mut self, baud: Option<u32>) -> End<'_> {
        End {
            master: &mut self.master,
            slave: &self.slave,
            baud,
        }
    }
}

/// Our end, which does to bytes what a serial line does to them: those that the other end sends at
/// another rate than the units' are not what they were, and those that nobody has the port open for
/// are lost.
struct End<'a> {
    master: &'a mut SerialStream,
    slave: &'a SerialStream,
    /// The units' rate, where they keep to one.
    baud: Option<u32>,
}

impl AsyncRead for End<'_> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = into.filled().len();
        ready!(Pin::new(&mut *self.master).poll_read(context, into))?;
        if self.baud.is_some() && self.slave.baud_rate().ok() != self.baud {
            for byte in &mut into.filled_mut()[before..] {
                *byte ^= 0x55;
            }
        }
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for End<'_> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut *self.master).poll_write(context, bytes);
        if written.is_pending() {
            // Full of what nobody has read.
            self.slave.clear(ClearBuffer::Input)?;
        }
        written
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut *self.master).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut *self.master).poll_shutdown(context)
    }
}

/// A stable name for a pseudo-terminal: a symbolic link that goes when this is dropped.
#[derive(Debug)]
pub struct Link {
    path: PathBuf,
    port: PathBuf,
}

impl Link {
    /// Makes `path` point to `port`. A symbolic link to a port that is gone
    /// is replaced.
    ///
    /// # Errors
    /// `AlreadyExists` where something else stands, or a link to a port that is there; otherwise what the file system refuses.
    pub fn make(path: &Path, port: &Path) -> io::Result<Self> {
        match fs::symlink_metadata(path) {
            // The port behind a link goes with the process that made it.
            Ok(found) if found.is_symlink() && path.exists() => {
                return Err(io::Error::new(
                    ErrorKind::AlreadyExists,
                    "another program answers on the port it links to",
                ));
            }
            Ok(found) if found.is_symlink() => fs::remove_file(path)?,
            Ok(_) => {
                return Err(io::Error::new(
                    ErrorKind::AlreadyExists,
                    "something that is not a symbolic link has this name",
                ));
            }
            Err(error) if error.kind() == ErrorKind::NotFound => {}
            Err(error) => return Err(error),
        }
        std::os::unix::fs::symlink(port, path)?;
        Ok(Self {
            path: path.to_owned(),
            port: port.to_owned(),
        })
    }

    /// Where it stands.
    pub fn path(&self) -> &Path {
        &self.path
    }
}

impl Drop for Link {
    fn drop(&mut self) {
        // Another process may have taken the name over; then it is no longer ours to remove.
        if fs::read_link(&self.path).is_ok_and(|port| port == self.port) {
            // Nobody is left to tell.
            let _ = fs::remove_file(&self.path);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Read, Write};

    use tokio::io::{AsyncReadExt, AsyncWriteExt};

    use super::*;

    /// All 256 bytes, those included that a terminal would take for commands.
    #[tokio::test]
    async fn every_byte_passes_both_ways() {
        let mut pty = Pty::open().unwrap();
        let all: Vec<u8> = (0..=255).collect();
        let port = pty.port().to_owned();
        let open = move || {
            fs::File::options()
                .read(true)
                .write(true)
                .open(port)
                .unwrap()
        };
        let mut master = open();
        AsyncWriteExt::write_all(&mut pty.master, &all)
            .await
            .unwrap();
        let mut came = [0; 256];
        master.read_exact(&mut came).unwrap();
        assert_eq!(came.as_slice(), all.as_slice());
        master.write_all(&all).unwrap();
        let mut came = [0; 256];
        AsyncReadExt::read_exact(&mut pty.master, &mut came)
            .await
            .unwrap();
        assert_eq!(came.as_slice(), all.as_slice());
    }

    #[tokio::test]
    async fn what_nobody_reads_is_lost_and_holds_nobody_up() {
        let mut pty = Pty::open().unwrap();
        let mut end = pty.end(None);
        let much = vec![0x55; 100_000];
        let writing = AsyncWriteExt::write_all(&mut end, &much);
        let written = tokio::time::timeout(std::time::Duration::from_secs(30), writing).await;
        assert!(written.is_ok_and(|written| written.is_ok()));
    }

    #[test]
    fn a_link_replaces_a_stale_link_but_never_a_file_and_goes_when_dropped() {
        let folder = std::env::temp_dir().join(format!("mock-device-link-{}", std::process::id()));
        fs::create_dir_all(&folder).unwrap();
        let path = folder.join("oven");
        std::os::unix::fs::symlink("/nowhere", &path).unwrap();
        let link = Link::make(&path, Path::new("/dev/null")).unwrap();
        assert_eq!(fs::read_link(&path).unwrap(), Path::new("/dev/null"));
        let in_use = Link::make(&path, Path::new("/dev/zero")).unwrap_err();
        assert_eq!(in_use.kind(), ErrorKind::AlreadyExists);
        assert_eq!(fs::read_link(&path).unwrap(), Path::new("/dev/null"));
        drop(link);
        assert!(fs::symlink_metadata(&path).is_err());
        fs::write(&path, "precious").unwrap();
        let refused = Link::make(&path, Path::new("/dev/null")).unwrap_err();
        assert_eq!(refused.kind(), ErrorKind::AlreadyExists);
        assert_eq!(fs::read_to_string(&path).unwrap(), "precious");
        fs::remove_dir_all(&folder).unwrap();
    }
}
