//! Which reading of a sample is which.

use std::collections::BTreeMap;

use crate::map::{Map, Meaning, Refresh, Role};
use crate::sample::Sample;

/// Indexes into [`Sample::readings`] of the values a screen shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Roles {
    /// Process value.
    pub pv: usize,
    /// The setpoint the controller works to.
    pub setpoint: Option<usize>,
    /// Output in percent.
    pub output: Option<usize>,
    /// Where an autotune shows.
    pub autotune: Option<Autotune>,
    /// Automatic or manual, with the meaning of each raw value.
    pub mode: Option<(usize, BTreeMap<i64, Meaning>)>,
    /// Any but 0 is an alarm.
    pub alarm: Option<usize>,
}

/// Where an autotune shows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Autotune {
    /// Index of the reading.
    pub index: usize,
    /// Values at which it is under way; empty means any but 0.
    pub active: Vec<i64>,
}

impl Roles {
    /// The roles of a map's trend points, which are what a sample carries.
    pub fn of(map: &Map) -> Self {
        let trended: Vec<_> = map
            .points
            .iter()
            .filter(|point| point.refresh == Refresh::Trend)
            .collect();
        let find = |role| trended.iter().position(|point| point.role == role);
        Self {
            pv: find(Role::ProcessValue).unwrap_or(0),
            // While a setpoint ramps, the working setpoint is what the loop follows.
            setpoint: find(Role::WorkingSetpoint).or_else(|| find(Role::Setpoint)),
            output: find(Role::Output),
            autotune: find(Role::AutotuneActive).map(|index| Autotune {
                index,
                active: trended[index].active.clone(),
            }),
            mode: find(Role::Mode).map(|index| (index, trended[index].means.clone())),
            alarm: find(Role::Alarm),
        }
    }

    /// Process value, if this sample has one.
    pub fn pv(&self, sample: &Sample) -> Option<f64> {
        value(sample, Some(self.pv)).filter(|_| sample.state.has_process_value())
    }

    /// Setpoint, if this sample has one.
    pub fn setpoint(&self, sample: &Sample) -> Option<f64> {
        value(sample, self.setpoint)
    }

    /// Output, if this sample has one.
    pub fn output(&self, sample: &Sample) -> Option<f64> {
        value(sample, self.output)
    }

    /// Whether an autotune is under way; `None` where it does not show.
    pub fn autotune(&self, sample: &Sample) -> Option<bool> {
        let autotune = self.autotune.as_ref()?;
        let raw = value(sample, Some(autotune.index))? as i64;
        Some(match autotune.active.as_slice() {
            [] => raw != 0,
            active => active.contains(&raw),
        })
    }

    /// What the mode point says.
    pub fn mode(&self, sample: &Sample) -> Option<Meaning> {
        let (index, means) = self.mode.as_ref()?;
        means.get(&(value(sample, Some(*index))? as i64)).copied()
    }

    /// Whether the controller reports an alarm.
    pub fn alarm(&self, sample: &Sample) -> bool {
        value(sample, self.alarm).is_some_and(|raw| raw != 0.0)
    }
}

fn value(sample: &Sample, index: Option<usize>) -> Option<f64> {
    sample.readings.get(index?)?.value()
}
