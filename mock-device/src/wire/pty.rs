//! A pseudo-terminal that stands for a serial port.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::task::{Context, Poll, ready};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio_serial::{SerialPort, SerialStream};

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
        serve_rtu(&mut self.master, bus).await
    }

    /// The same, but the units understand only what is sent at `baud`. The parity that the other end
    /// asked for cannot be told: systems keep none for pseudo-terminals.
    ///
    /// # Errors
    /// As [`serve_rtu`].
    pub async fn serve_at(&mut self, bus: &Bus, baud: u32) -> io::Result<()> {
        let rated = Rated {
            master: &mut self.master,
            slave: &self.slave,
            baud,
        };
        serve_rtu(rated, bus).await
    }
}

/// Our end, heard by units at a fixed rate: bytes that the other end sends at another are not what
/// they were.
struct Rated<'a> {
    master: &'a mut SerialStream,
    slave: &'a SerialStream,
    baud: u32,
}

impl AsyncRead for Rated<'_> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let before = into.filled().len();
        ready!(Pin::new(&mut *self.master).poll_read(context, into))?;
        if self.slave.baud_rate().ok() != Some(self.baud) {
            for byte in &mut into.filled_mut()[before..] {
                *byte ^= 0x55;
            }
        }
        Poll::Ready(Ok(()))
    }
}

impl AsyncWrite for Rated<'_> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut *self.master).poll_write(context, bytes)
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
