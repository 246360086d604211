//! The person at the controller's front, and whoever else has a hand on the oven.

pub mod command;

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::time::Instant;

use crate::controller::{AutotuneState, Mode, Refused, Tuning};
use crate::oven::{Oven, SCAN_S};
use crate::plant::Contact;

use command::Command;

/// A handle on a running oven. Clones act on the same oven, from any task or thread.
///
/// The oven's time is tokio's: it starts when the panel is made and runs `speed` times as fast as
/// [`tokio::time::Instant`]. In a runtime whose time is paused, all that happens is decided by the
/// seed and by the instants at which somebody asks; elsewhere it follows the clock on the wall.
/// Nothing runs between two askings: whoever asks first finds the oven advanced to that instant.
#[derive(Clone, Debug)]
pub struct Panel {
    running: Arc<Mutex<Running>>,
}

/// What the front shows, and what a look at the oven adds.
#[derive(Clone, Debug, PartialEq)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "each is a lamp of its own on the panel"
)]
pub struct View {
    /// Seconds of the oven's own time since it started.
    pub elapsed_s: f64,
    /// Process value, degC; `None` while the sensor is broken.
    pub pv: Option<f64>,
    /// Setpoint, degC.
    pub setpoint: f64,
    /// Output demand, percent.
    pub output: f64,
    /// Whether an autotune is under way.
    pub autotuning: bool,
    /// How the last autotune ended.
    pub autotune: AutotuneState,
    /// The three numbers in use.
    pub tuning: Tuning,
    /// Automatic or manual.
    pub mode: Mode,
    /// High alarm.
    pub alarm: bool,
    /// Whether the door stands open.
    pub door_open: bool,
    /// Whether the sensor is broken.
    pub sensor_broken: bool,
}

#[derive(Debug)]
struct Running {
    oven: Oven,
    began: Instant,
    speed: f64,
    scans: u64,
    /// What is still to be done, soonest first.
    script: Vec<Planned>,
    refused: Vec<(f64, Refused)>,
}

#[derive(Debug)]
struct Planned {
    scan: u64,
    command: Command,
}

impl Running {
    fn advance(&mut self) {
        let elapsed_s = self.began.elapsed().as_secs_f64() * self.speed;
        let due = (elapsed_s / SCAN_S) as u64;
        while self.scans < due {
            self.act_on_script();
            self.oven.scan();
            self.scans += 1;
        }
        self.act_on_script();
    }

    fn act_on_script(&mut self) {
        while self
            .script
            .first()
            .is_some_and(|next| next.scan <= self.scans)
        {
            let planned = self.script.remove(0);
            if let Err(refused) = planned.command.apply(&mut self.oven) {
                self.refused.push((self.scans as f64 * SCAN_S, refused));
            }
        }
    }

    fn view(&self) -> View {
        let (controller, plant) = (&self.oven.controller, &self.oven.plant);
        View {
            elapsed_s: self.scans as f64 * SCAN_S,
            pv: controller.pv(),
            setpoint: controller.settings().setpoint,
            output: controller.output(),
            autotuning: controller.autotune() == AutotuneState::Active,
            autotune: controller.autotune(),
            tuning: controller.settings().tuning,
            mode: controller.mode(),
            alarm: controller.is_alarm(),
            door_open: plant.door_open,
            sensor_broken: plant.is_sensor_broken(),
        }
    }
}

impl Panel {
    /// Starts this oven's time now, `speed` times as fast as tokio's.
    pub fn new(oven: Oven, speed: f64) -> Self {
        Self {
            running: Arc::new(Mutex::new(Running {
                oven,
                began: Instant::now(),
                speed,
                scans: 0,
                script: Vec::new(),
                refused: Vec::new(),
            })),
        }
    }

    /// Lets `act` look at the oven or change it, as it is at this instant.
    pub fn with<T>(&self, act: impl FnOnce(&mut Oven) -> T) -> T {
        act(&mut self.now().oven)
    }

    /// What the front shows now.
    pub fn view(&self) -> View {
        self.now().view()
    }

    /// Has `command` carried out when the oven's own time reaches `at_s` seconds, or now if that is
    /// past; to the scan, however rarely somebody asks.
    pub fn plan(&self, at_s: f64, command: Command) {
        let mut running = self.now();
        let scan = (at_s / SCAN_S).ceil().max(0.0) as u64;
        let place = running.script.partition_point(|other| other.scan <= scan);
        running.script.insert(place, Planned { scan, command });
    }

    /// What was planned and refused since this was last asked, with the time it happened, s.
    pub fn take_refused(&self) -> Vec<(f64, Refused)> {
        std::mem::take(&mut self.now().refused)
    }

    /// Carries out `command` now.
    ///
    /// # Errors
    /// What the controller refuses.
    pub fn command(&self, command: &Command) -> Result<(), Refused> {
        self.with(|oven| command.apply(oven))
    }

    /// Sets the setpoint, degC.
    ///
    /// # Errors
    /// Outside the setpoint limits.
    pub fn set_setpoint(&self, celsius: f64) -> Result<(), Refused> {
        self.with(|oven| oven.controller.set_setpoint(celsius))
    }

    /// Sets the three numbers.
    ///
    /// # Errors
    /// Outside what the panel takes, or while an autotune is under way.
    pub fn set_tuning(&self, tuning: Tuning) -> Result<(), Refused> {
        self.with(|oven| oven.controller.set_tuning(tuning))
    }

    /// Starts an autotune at the setpoint.
    ///
    /// # Errors
    /// In manual, or while the sensor is broken.
    pub fn start_autotune(&self) -> Result<(), Refused> {
        self.with(|oven| oven.controller.start_autotune())
    }

    /// Stops an autotune.
    pub fn abort_autotune(&self) {
        self.with(|oven| oven.controller.abort_autotune());
    }

    /// Goes to manual at this output, percent.
    ///
    /// # Errors
    /// Outside the output limits; the mode is then as before.
    pub fn manual(&self, percent: f64) -> Result<(), Refused> {
        self.command(&Command::Manual(percent))
    }

    /// Gives the output back to the law.
    pub fn automatic(&self) {
        self.with(|oven| oven.controller.go_automatic());
    }

    /// Opens the door.
    pub fn open_door(&self) {
        self.with(|oven| oven.plant.door_open = true);
    }

    /// Closes it.
    pub fn close_door(&self) {
        self.with(|oven| oven.plant.door_open = false);
    }

    /// Breaks the thermocouple.
    pub fn break_sensor(&self) {
        self.with(|oven| oven.plant.set_sensor_broken(true));
    }

    /// Mends it.
    pub fn repair_sensor(&self) {
        self.with(|oven| oven.plant.set_sensor_broken(false));
    }

    /// Supply voltage over nominal.
    pub fn set_supply(&self, factor: f64) {
        self.with(|oven| oven.plant.supply = factor.max(0.0));
    }

    /// Share of the heater that still conducts, 0 to 1.
    pub fn set_heater_health(&self, share: f64) {
        self.with(|oven| oven.plant.heater_health = share.clamp(0.0, 1.0));
    }

    /// Makes the heater's contact stick, or frees it.
    pub fn set_contact(&self, contact: Contact) {
        self.with(|oven| oven.plant.contact = contact);
    }

    fn now(&self) -> MutexGuard<'_, Running> {
        // Nothing here panics half-way through a change, so a poisoned oven is still whole.
        let mut running = self.running.lock().unwrap_or_else(PoisonError::into_inner);
        running.advance();
        running
    }
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;
    use crate::oven::LEFT_OVER_TUNING;

    fn panel(speed: f64) -> Panel {
        Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), speed)
    }

    #[tokio::test(start_paused = true)]
    async fn the_oven_runs_speed_times_as_fast_as_the_clock() {
        let panel = panel(60.0);
        tokio::time::sleep(Duration::from_secs(10)).await;
        assert!((panel.view().elapsed_s - 600.0).abs() < 1e-9);
    }

    #[tokio::test(start_paused = true)]
    async fn asking_often_or_rarely_makes_no_difference_to_the_oven() {
        let (often, rarely) = (panel(1.0), panel(1.0));
        for panel in [&often, &rarely] {
            panel.set_setpoint(510.0).unwrap();
        }
        for _ in 0..600 {
            tokio::time::sleep(Duration::from_millis(1300)).await;
            often.view();
        }
        assert_eq!(often.view(), rarely.view());
    }

    #[tokio::test(start_paused = true)]
    async fn a_planned_command_happens_at_its_time_even_if_nobody_looks() {
        let (by_hand, by_plan) = (panel(1.0), panel(1.0));
        by_plan.plan(60.0, Command::DoorOpen);
        by_plan.plan(30.0, Command::Setpoint(500.0));
        tokio::time::sleep(Duration::from_secs(30)).await;
        by_hand.set_setpoint(500.0).unwrap();
        tokio::time::sleep(Duration::from_secs(30)).await;
        by_hand.open_door();
        tokio::time::sleep(Duration::from_mins(10)).await;
        assert!(by_plan.view().door_open);
        assert_eq!(by_hand.view(), by_plan.view());
    }

    #[tokio::test(start_paused = true)]
    async fn a_planned_command_that_is_refused_is_told_once() {
        let panel = panel(1.0);
        panel.plan(60.0, Command::Setpoint(900.0));
        tokio::time::sleep(Duration::from_mins(2)).await;
        let refused = panel.take_refused();
        assert!(matches!(refused[..], [(at, _)] if (at - 60.0).abs() < 1e-9));
        assert!(panel.take_refused().is_empty());
    }
}
