//! Hands on the ovens: what is typed while they run, and what is told about them.

use std::fmt::Write as _;
use std::io::{self, BufRead};

use mock_device::View;
use mock_device::controller::{AutotuneState, Mode};
use mock_device::panel::command::{Command, HELP};
use mock_device::registers::{self, Kind, Setting};
use mock_device::wire::{Bus, Unit};
use tokio::sync::mpsc;

/// What is said about commands that are not an oven's.
const MORE_HELP: &str = "\
unit 2 door open     any command, for one unit only; without it, for all
show                 what the ovens do now, as their displays show it
settings             everything that is set
help
quit
";

/// Lines of standard input, from a thread of its own because reading a terminal blocks. The
/// receiver ends with the input.
pub(crate) fn typed_lines() -> mpsc::UnboundedReceiver<String> {
    let (sender, receiver) = mpsc::unbounded_channel();
    std::thread::spawn(move || {
        for line in io::stdin().lock().lines().map_while(Result::ok) {
            if sender.send(line).is_err() {
                break;
            }
        }
    });
    receiver
}

/// What a typed line comes to.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Reply {
    /// Something to print; may be empty.
    Say(String),
    /// The person wants to end.
    Quit,
}

/// Does what `line` says.
pub(crate) fn obey(line: &str, bus: &Bus) -> Reply {
    let words: Vec<&str> = line.split_whitespace().collect();
    let (only, words) = match words.as_slice() {
        ["unit", number, rest @ ..] => (Some(*number), rest),
        all => (None, all),
    };
    let meant: Vec<&Unit> = bus
        .units()
        .iter()
        .filter(|unit| only.is_none_or(|number| number == unit.number().to_string()))
        .collect();
    if meant.is_empty() {
        return Reply::Say("no such unit here\n".to_owned());
    }
    match words {
        [] => Reply::Say(String::new()),
        ["quit"] => Reply::Quit,
        ["help"] => Reply::Say(format!("{HELP}{MORE_HELP}")),
        ["show"] => Reply::Say(meant.iter().map(|unit| show(unit)).collect()),
        ["settings"] => Reply::Say(meant.iter().map(|unit| settings(unit)).collect()),
        command => Reply::Say(carry_out(&command.join(" "), &meant)),
    }
}

fn carry_out(command: &str, meant: &[&Unit]) -> String {
    let command: Command = match command.parse() {
        Ok(command) => command,
        Err(error) => return format!("{error}\n"),
    };
    let mut said = String::new();
    for unit in meant {
        if let Err(refused) = unit.panel().command(&command) {
            // Writing to a string cannot fail.
            let _ = writeln!(said, "unit {}: refused: {refused}", unit.number());
        }
    }
    if said.is_empty() {
        "ok\n".to_owned()
    } else {
        said
    }
}

/// One line about a unit.
fn show(unit: &Unit) -> String {
    let view = unit.panel().view();
    let seconds = view.elapsed_s as u64;
    let (h, m, s) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    let pv = view.pv.map_or_else(
        || "sensor open".to_owned(),
        |pv| shown(unit, Kind::Temperature, pv),
    );
    let mode = match view.mode {
        Mode::Automatic => "automatic",
        Mode::Manual => "manual",
    };
    let door = if view.door_open { ", door open" } else { "" };
    format!(
        "unit {} at {h}:{m:02}:{s:02}: pv {pv}, sp {}, out {}, {mode}, {}, {}{door}\n",
        unit.number(),
        shown(unit, Kind::Temperature, view.setpoint),
        shown(unit, Kind::Percent, view.output),
        tuning_text(unit, &view),
        autotune_text(view.autotune),
    )
}

fn tuning_text(unit: &Unit, view: &View) -> String {
    let t = view.tuning;
    let band = shown(unit, Kind::Difference, t.band);
    format!(
        "band {band} integral {:.0} s derivative {:.0} s",
        t.integral_s, t.derivative_s
    )
}

/// A line for each setting.
fn settings(unit: &Unit) -> String {
    let value = |setting: Setting| unit.panel().with(|oven| setting.get(&oven.controller));
    let line = |setting: Setting| {
        let value = shown(unit, setting.kind(), value(setting));
        format!("unit {}  {:<28}{value}\n", unit.number(), setting.label())
    };
    Setting::ALL.into_iter().map(line).collect()
}

/// A number as this unit's display shows it, its temperatures in the unit that it sends them in.
fn shown(unit: &Unit, kind: Kind, value: f64) -> String {
    let fahrenheit = unit.layout().temperature_unit() == registers::Unit::DegF;
    let shows = match kind {
        Kind::Temperature | Kind::Difference if fahrenheit => registers::Unit::DegF,
        Kind::Rate if fahrenheit => registers::Unit::DegFPerMinute,
        _ => kind.unit(),
    };
    let decimals = match kind {
        Kind::Time | Kind::Count => 0,
        _ => unit
            .panel()
            .with(|oven| oven.controller.settings().decimals),
    };
    let number = shows.of(kind, value);
    let text = format!("{number:.*} {}", usize::from(decimals), shows.text());
    text.trim_end().to_owned()
}

fn autotune_text(state: AutotuneState) -> &'static str {
    match state {
        AutotuneState::Never => "never autotuned",
        AutotuneState::Active => "autotune under way",
        AutotuneState::Tuned => "autotuned",
        AutotuneState::TimedOut => "autotune timed out",
        AutotuneState::Aborted => "autotune aborted",
        AutotuneState::Failed => "autotune failed",
    }
}

/// Says when an autotune begins or ends, however it was started, and what a plan could not do.
#[derive(Debug)]
pub(crate) struct Watcher {
    known: Vec<AutotuneState>,
}

impl Watcher {
    /// Knows how `bus` is now.
    pub(crate) fn new(bus: &Bus) -> Self {
        let state = |unit: &Unit| unit.panel().view().autotune;
        Self {
            known: bus.units().iter().map(state).collect(),
        }
    }

    /// What is new since the last look; this look also brings the ovens up to now.
    pub(crate) fn look(&mut self, bus: &Bus) -> String {
        let mut said = String::new();
        for (unit, known) in bus.units().iter().zip(&mut self.known) {
            for (at_s, refused) in unit.panel().take_refused() {
                // Writing to a string cannot fail.
                let _ = writeln!(
                    said,
                    "unit {} at {at_s} s: refused: {refused}",
                    unit.number()
                );
            }
            let now = unit.panel().view().autotune;
            if now != *known {
                said.push_str(&show(unit));
                *known = now;
            }
        }
        said
    }
}

#[cfg(test)]
mod tests {
    use mock_device::registers::Annealer;
    use mock_device::{LEFT_OVER_TUNING, Oven, Panel};

    use super::*;

    fn bus() -> Bus {
        let unit = |number| {
            let oven = Oven::settled_at(490.0, LEFT_OVER_TUNING, u64::from(number));
            Unit::new(number, &Annealer, Panel::new(oven, 1.0))
        };
        Bus::new(vec![unit(1), unit(2)])
    }

    fn said(line: &str, bus: &Bus) -> String {
        match obey(line, bus) {
            Reply::Say(text) => text,
            Reply::Quit => "quit".to_owned(),
        }
    }

    #[tokio::test(start_paused = true)]
    async fn a_command_is_for_all_units_unless_one_is_named() {
        let bus = bus();
        assert_eq!(said("setpoint 500", &bus), "ok\n");
        assert_eq!(said("unit 2 setpoint 510", &bus), "ok\n");
        let setpoints: Vec<f64> = bus
            .units()
            .iter()
            .map(|u| u.panel().view().setpoint)
            .collect();
        assert!((setpoints[0] - 500.0).abs() < 1e-9 && (setpoints[1] - 510.0).abs() < 1e-9);
    }

    #[tokio::test(start_paused = true)]
    async fn what_the_controller_refuses_is_said_with_the_unit() {
        let text = said("unit 1 setpoint 900", &bus());
        assert_eq!(text, "unit 1: refused: setpoint 900 is outside 0 to 600\n");
        assert_eq!(said("unit 7 show", &bus()), "no such unit here\n");
        assert!(said("bake", &bus()).contains("'help'"));
    }

    #[tokio::test(start_paused = true)]
    async fn the_watcher_tells_of_an_autotune_once() {
        let bus = bus();
        let mut watcher = Watcher::new(&bus);
        assert!(watcher.look(&bus).is_empty());
        said("unit 2 autotune", &bus);
        assert!(watcher.look(&bus).contains("unit 2"));
        assert!(watcher.look(&bus).is_empty());
    }

    #[tokio::test(start_paused = true)]
    async fn show_and_settings_follow_the_decimals_and_the_unit_of_the_display() {
        let panel = Panel::new(Oven::settled_at(490.0, LEFT_OVER_TUNING, 1), 1.0);
        let bus = Bus::new(vec![Unit::new(1, &registers::Locked, panel)]);
        assert!(said("show", &bus).contains("sp 914.0 degF"));
        assert!(said("settings", &bus).contains("Proportional band           50.4 degF\n"));
        said("decimals 0", &bus);
        let text = said("show", &bus);
        assert!(
            text.contains("sp 914 degF") && text.contains("band 50 degF"),
            "{text}"
        );
        assert!(said("settings", &bus).contains("Integral time               140 s\n"));
    }

    #[tokio::test(start_paused = true)]
    async fn show_tells_what_the_panel_shows() {
        let text = said("unit 1 show", &bus());
        assert!(text.starts_with("unit 1 at 0:00:00: pv 4"), "{text}");
        assert!(text.contains("sp 490.0 degC"), "{text}");
        assert!(text.contains("band 28.0 degC integral 140 s"), "{text}");
    }
}
