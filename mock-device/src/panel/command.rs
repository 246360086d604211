//! What can be typed to the simulated oven, one command a line.

use std::fmt;
use std::str::FromStr;

use crate::controller::{Refused, Tuning};
use crate::oven::Oven;
use crate::plant::Contact;

/// The commands, as `help` shows them.
pub const HELP: &str = "\
setpoint 510         set the setpoint, degC
tuning 12 300 60     set proportional band (degC), integral and derivative (s)
autotune | abort     start an autotune at the setpoint, or stop it
manual 40            take the output in hand, percent
automatic            give it back to the controller
door open | close
sensor break | repair
heater 0.5           share of the heater that still conducts, 0 to 1
contact stick-on | stick-off | free
supply 0.9           supply voltage over nominal
ramp 5               setpoint ramp, degrees a minute; 0 is at once
limit 60             highest output an autotune may use, percent
decimals 0           decimals of temperatures and percentages on the display, 0 or 1
";

/// Something a person does at the controller's front or to the oven.
#[derive(Clone, Debug, PartialEq)]
#[expect(missing_docs, reason = "the help text above says what each does")]
pub enum Command {
    Setpoint(f64),
    Tuning(Tuning),
    Autotune,
    Abort,
    Manual(f64),
    Automatic,
    DoorOpen,
    DoorClose,
    SensorBreak,
    SensorRepair,
    Heater(f64),
    Contact(Contact),
    Supply(f64),
    Ramp(f64),
    Limit(f64),
    Decimals(u8),
}

/// What could not be understood as a command.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotACommand(String);

impl fmt::Display for NotACommand {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "'{}' is no command; 'help' lists them", self.0)
    }
}

impl std::error::Error for NotACommand {}

impl FromStr for Command {
    type Err = NotACommand;

    fn from_str(line: &str) -> Result<Self, NotACommand> {
        let words: Vec<&str> = line.split_whitespace().collect();
        parse(&words).ok_or_else(|| NotACommand(words.join(" ")))
    }
}

fn parse(words: &[&str]) -> Option<Command> {
    let number = |text: &str| text.parse::<f64>().ok().filter(|n| n.is_finite());
    Some(match *words {
        ["setpoint", value] => Command::Setpoint(number(value)?),
        ["tuning", band, integral, derivative] => Command::Tuning(Tuning::new(
            number(band)?,
            number(integral)?,
            number(derivative)?,
        )),
        ["autotune"] => Command::Autotune,
        ["abort"] => Command::Abort,
        ["manual", percent] => Command::Manual(number(percent)?),
        ["automatic"] => Command::Automatic,
        ["door", "open"] => Command::DoorOpen,
        ["door", "close"] => Command::DoorClose,
        ["sensor", "break"] => Command::SensorBreak,
        ["sensor", "repair"] => Command::SensorRepair,
        ["heater", share] => Command::Heater(number(share)?),
        ["contact", "stick-on"] => Command::Contact(Contact::StuckOn),
        ["contact", "stick-off"] => Command::Contact(Contact::StuckOff),
        ["contact", "free"] => Command::Contact(Contact::Sound),
        ["supply", factor] => Command::Supply(number(factor)?),
        ["ramp", rate] => Command::Ramp(number(rate)?),
        ["limit", percent] => Command::Limit(number(percent)?),
        ["decimals", decimals] => Command::Decimals(decimals.parse().ok()?),
        _ => return None,
    })
}

impl Command {
    /// Carries it out.
    ///
    /// # Errors
    /// What the controller refuses; nothing is changed then.
    pub fn apply(&self, oven: &mut Oven) -> Result<(), Refused> {
        let (plant, controller) = (&mut oven.plant, &mut oven.controller);
        match *self {
            Self::Setpoint(celsius) => controller.set_setpoint(celsius)?,
            Self::Tuning(tuning) => controller.set_tuning(tuning)?,
            Self::Autotune => controller.start_autotune()?,
            Self::Abort => controller.abort_autotune(),
            Self::Manual(percent) => controller.go_manual_at(percent)?,
            Self::Automatic => controller.go_automatic(),
            Self::DoorOpen => plant.door_open = true,
            Self::DoorClose => plant.door_open = false,
            Self::SensorBreak => plant.set_sensor_broken(true),
            Self::SensorRepair => plant.set_sensor_broken(false),
            Self::Heater(share) => plant.heater_health = share.clamp(0.0, 1.0),
            Self::Contact(contact) => plant.contact = contact,
            Self::Supply(factor) => plant.supply = factor.max(0.0),
            Self::Ramp(rate) => controller.set_ramp(rate)?,
            Self::Limit(percent) => controller.set_autotune_limit(percent)?,
            Self::Decimals(decimals) => controller.set_decimals(decimals.into())?,
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_of_the_help_is_understood() {
        for line in HELP.lines() {
            let (commands, _) = line.split_at(line.find("  ").unwrap_or(line.len()));
            let first_word = commands.split(' ').next().unwrap();
            for (n, command) in commands.split(" | ").enumerate() {
                let spelled = if n > 0 && command != "abort" {
                    format!("{first_word} {command}")
                } else {
                    command.to_owned()
                };
                assert!(spelled.parse::<Command>().is_ok(), "{spelled}");
            }
        }
    }

    #[test]
    fn nonsense_is_named_and_help_is_pointed_at() {
        let error = "setpoint  hot".parse::<Command>().unwrap_err();
        assert_eq!(
            error.to_string(),
            "'setpoint hot' is no command; 'help' lists them"
        );
        assert!("manual NaN".parse::<Command>().is_err());
    }
}
