//! Ovens on lines of this machine, for programs that are started as a person starts them.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::sync::mpsc;
use std::thread;

use mock_device::registers::{Annealer, Layout as _};
use mock_device::wire::listen::{self, Framing};
use mock_device::wire::{Bus, Unit};
use mock_device::{LEFT_OVER_TUNING, Oven, Panel};
use tokio::net::TcpListener;
use tokio::runtime::Builder;

const LINES: u8 = 2;
const UNITS: u8 = 4;

/// Writes `setup.toml` and its map into a folder: eight loops on two lines, a poll a second each.
pub(crate) fn write_setup(folder: &Path) {
    fs::write(folder.join("setup.toml"), setup()).unwrap();
    fs::write(folder.join("map.toml"), Annealer.map_text()).unwrap();
}

/// Lines to ovens that answer on TCP ports of this machine, in threads of this process.
fn setup() -> String {
    let mut text = "schema = 1\n".to_owned();
    for line in 1..=LINES {
        writeln!(text, "[lines.line-{line}]\nrtu_over_tcp = \"{}\"", ovens()).unwrap();
        for unit in 1..=UNITS {
            write!(
                text,
                "[[loops]]\nname = \"loop-{line}-{unit}\"\nline = \"line-{line}\"\n"
            )
            .unwrap();
            write!(
                text,
                "unit_number = {unit}\nmap = \"map.toml\"\nevery = \"1 s\"\n"
            )
            .unwrap();
        }
    }
    text
}

fn ovens() -> String {
    let panel = Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), 1.0);
    let units = (1..=UNITS).map(|number| Unit::new(number, &Annealer, panel.clone()));
    let bus = Bus::new(units.collect());
    let (open, opened) = mpsc::channel();
    thread::spawn(move || {
        let runtime = Builder::new_current_thread().enable_all().build();
        runtime.unwrap().block_on(async {
            let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
            open.send(listener.local_addr().unwrap().to_string())
                .unwrap();
            listen::serve(listener, bus, Framing::Rtu).await.unwrap();
        });
    });
    opened.recv().unwrap()
}
