//! A simulated controller on a wire in memory, read through emberline's line, in virtual time.

use std::io;
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use emberline::line::{Line, LoopSeen, Manner, Opened, Opener, Pace, Seen};
use emberline::map::{Map, Point};
use emberline::setup::{LineSetup, Setup};
use futures_util::FutureExt as _;
use mock_device::oven::SCAN_S;
use mock_device::registers::Layout;
use mock_device::wire::{Bus, Timing, Unit, in_memory};
use mock_device::{LEFT_OVER_TUNING, Oven, Panel};
use tokio::runtime::{Builder, Runtime};

/// So slow that nothing changes while it is read.
const FROZEN: f64 = 1e-9;
/// Scans that follow what a person does.
const SCANS: u32 = (30.0 / SCAN_S) as u32;

/// The controller and whoever reads it.
pub(crate) struct Bench {
    runtime: Runtime,
    panel: Panel,
    setup: Setup,
    bus: Bus,
}

impl Bench {
    /// Unit 1 with this layout, read through the map of this text.
    pub(crate) fn new(layout: &'static dyn Layout, map: &str) -> Self {
        let runtime = Builder::new_current_thread()
            .enable_all()
            .start_paused(true)
            .build();
        let runtime = runtime.unwrap();
        let panel = {
            let _guard = runtime.enter();
            Panel::new(settled(), FROZEN)
        };
        let mut bus = Bus::new(vec![Unit::new(1, layout, panel.clone())]);
        bus.timing = Timing::at_baud(9600, Duration::from_millis(5));
        Self {
            runtime,
            panel,
            setup: setup(map),
            bus,
        }
    }

    /// Does something, and lets the controller go on for half a minute.
    pub(crate) fn act(&self, how: impl FnOnce(&mut Oven)) {
        let _guard = self.runtime.enter();
        self.panel.with(|oven| {
            how(oven);
            (0..SCANS).for_each(|_| oven.scan());
        });
    }

    /// The oven and its controller now.
    pub(crate) fn oven(&self) -> Oven {
        let _guard = self.runtime.enter();
        self.panel.with(|oven| oven.clone())
    }

    pub(crate) fn map(&self) -> &Map {
        &self.setup.loops[0].map
    }

    /// What one reading of every point gives.
    pub(crate) fn look(&mut self) -> LoopSeen {
        self.runtime.block_on(async {
            let (line, loops) = (&self.setup.lines[0], &self.setup.loops);
            let mut line = Line::new(line, loops, Manner::Ask, opener(line, &self.bus));
            line.open(&mut |_| {}).await.unwrap();
            line.read_loop(&loops[0]).await
        })
    }

    /// Every point with what was read of it.
    pub(crate) fn read(&mut self) -> Vec<(Point, Seen)> {
        let points = self.look().points;
        self.map().points.iter().cloned().zip(points).collect()
    }
}

/// Settled once for all.
fn settled() -> Oven {
    static OVEN: OnceLock<Oven> = OnceLock::new();
    OVEN.get_or_init(|| Oven::settled_at(490.0, LEFT_OVER_TUNING, 1))
        .clone()
}

/// One loop that is polled every second.
pub(crate) fn setup(map: &str) -> Setup {
    let text = "schema = 1\n[lines.bench]\nserial = \"simulated\"\n[[loops]]\nname = \"oven\"\n\
                line = \"bench\"\nunit_number = 1\nmap = \"map\"\nevery = \"1 s\"\n";
    let map: Arc<str> = map.into();
    Setup::parse(text, "bench", "bench", &|_| io::Result::Ok(map.to_string()))
        .unwrap_or_else(|errors| unreachable!("{errors}"))
}

/// Opens a wire in memory with `bus` on it.
pub(crate) fn opener(line: &LineSetup, bus: &Bus) -> Opener {
    let (pace, bus) = (Pace::of(&line.port), bus.clone());
    Box::new(move || {
        let wire = Box::new(in_memory(bus.clone()));
        async move { Ok(Opened { wire, pace }) }.boxed()
    })
}
