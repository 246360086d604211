//! A simulated oven that the program can reach: on a TCP port of this machine, or on a
//! pseudo-terminal.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::thread::JoinHandle;

use mock_device::registers::{Annealer, Layout};
use mock_device::wire::listen::{self, Framing};
use mock_device::wire::{Bus, Master, Unit};
use mock_device::{LEFT_OVER_TUNING, Oven, Panel};
use tokio::net::TcpListener;
use tokio::sync::oneshot;

pub(super) const LOOP: &str = "annealer-top";

/// Time between two polls.
pub(super) const EVERY_S: f64 = 0.1;

/// Where a device is plugged in.
#[derive(Clone, Copy, Debug)]
pub(super) enum Plug {
    Tcp(Framing),
    #[cfg(unix)]
    Pty,
    /// A pseudo-terminal on which nothing sent at another baud rate is understood.
    #[cfg(unix)]
    PtyAt(u32),
}

/// Unit 1 at 490 degC, answering in a thread of its own until it is unplugged or dropped.
pub(super) struct Device {
    pub(super) panel: Panel,
    /// The port as a setup names it.
    pub(super) port: String,
    plug: Plug,
    bus: Bus,
    layout: &'static dyn Layout,
    serving: Option<(oneshot::Sender<()>, JoinHandle<()>)>,
}

impl Device {
    /// An oven that runs as fast as the clock.
    pub(super) fn start(plug: Plug, layout: &'static dyn Layout) -> Self {
        Self::with_speed(plug, layout, 1.0, &[1])
    }

    /// One oven under several unit numbers.
    pub(super) fn of_units(plug: Plug, units: &[u8]) -> Self {
        Self::with_speed(plug, &Annealer, 1.0, units)
    }

    /// An oven that another master polls already.
    pub(super) fn polled_by_another(plug: Plug, polls: &[&str]) -> Self {
        let mut device = Self::start(plug, &Annealer);
        device.unplug();
        let polls = polls.iter().map(|poll| poll.parse().unwrap()).collect();
        device.bus = device.bus.clone().with_master(Master::new(polls));
        device.plug_in();
        device
    }

    /// An oven whose hours are seconds.
    pub(super) fn in_a_hurry() -> Self {
        Self::with_speed(Plug::Tcp(Framing::Rtu), &Annealer, 1000.0, &[1])
    }

    fn with_speed(plug: Plug, layout: &'static dyn Layout, speed: f64, units: &[u8]) -> Self {
        let panel = Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), speed);
        let unit = |number: &u8| Unit::new(*number, layout, panel.clone());
        let mut device = Self {
            bus: Bus::new(units.iter().map(unit).collect()),
            panel,
            port: "127.0.0.1:0".to_owned(),
            plug,
            layout,
            serving: None,
        };
        device.plug_in();
        device
    }

    /// Lets it answer; on TCP at the address it had before.
    pub(super) fn plug_in(&mut self) {
        let (unplug, unplugged) = oneshot::channel();
        let (open, opened) = mpsc::channel();
        let (plug, bus, port) = (self.plug, self.bus.clone(), self.port.clone());
        let thread = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build();
            runtime.unwrap().block_on(async {
                tokio::select! {
                    () = serve(plug, bus, &port, &open) => {}
                    _ = unplugged => {}
                }
            });
        });
        self.port = opened.recv().unwrap();
        self.serving = Some((unplug, thread));
    }

    /// Takes it off the line.
    pub(super) fn unplug(&mut self) {
        if let Some((unplug, thread)) = self.serving.take() {
            // A device that failed has stopped already.
            let _ = unplug.send(());
            thread.join().unwrap();
        }
    }

    /// A setup for this device, with its map, in `folder`.
    pub(super) fn setup(&self, folder: &Path) -> PathBuf {
        let key = match self.plug {
            Plug::Tcp(Framing::Rtu) => "rtu_over_tcp",
            Plug::Tcp(Framing::Tcp) => "tcp",
            #[cfg(unix)]
            Plug::Pty | Plug::PtyAt(_) => "serial",
        };
        setup(folder, key, &self.port, self.layout)
    }
}

impl Drop for Device {
    fn drop(&mut self) {
        self.unplug();
    }
}

async fn serve(plug: Plug, bus: Bus, port: &str, open: &mpsc::Sender<String>) {
    match plug {
        Plug::Tcp(framing) => {
            let listener = TcpListener::bind(port).await.unwrap();
            let address = listener.local_addr().unwrap();
            open.send(address.to_string()).unwrap();
            listen::serve(listener, bus, framing).await.unwrap();
        }
        #[cfg(unix)]
        Plug::Pty | Plug::PtyAt(_) => {
            let mut pty = mock_device::wire::pty::Pty::open().unwrap();
            open.send(pty.port().display().to_string()).unwrap();
            match plug {
                Plug::PtyAt(baud) => pty.serve_at(&bus, baud).await.unwrap(),
                _ => pty.serve(&bus).await.unwrap(),
            }
        }
    }
}

/// Writes a setup with one loop, and the map of `layout`, into `folder`.
pub(super) fn setup(folder: &Path, key: &str, port: &str, layout: &dyn Layout) -> PathBuf {
    let path = folder.join("setup.toml");
    let text = format!(
        "schema = 1\n\n[lines.bench]\n{key} = '{port}'\nanswer_within = \"1 s\"\n\n\
         [[loops]]\nname = \"{LOOP}\"\nline = \"bench\"\nunit_number = 1\nmap = \"map.toml\"\n\
         every = \"{} ms\"\nband = 2.0\n",
        EVERY_S * 1000.0
    );
    fs::write(&path, text).unwrap();
    fs::write(folder.join("map.toml"), layout.map_text()).unwrap();
    path
}

/// Replaces a text of a file that stands there once.
pub(super) fn alter(file: &Path, old: &str, new: &str) {
    let text = fs::read_to_string(file).unwrap();
    assert_eq!(
        text.matches(old).count(),
        1,
        "{old:?} in {}",
        file.display()
    );
    fs::write(file, text.replace(old, new)).unwrap();
}
