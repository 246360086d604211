//! Which setpoint and which settings moved.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::Finding;
use crate::map::{Map, Point, Role, UnitOf};
use crate::number::Number;
use crate::sample::{Happening, Sample, Settings};

/// Follows the setpoint and the slow points of one loop.
#[derive(Debug)]
pub(super) struct ValueWatch {
    map: Arc<Map>,
    setpoint: Option<Number>,
    settings: BTreeMap<usize, Number>,
}

impl ValueWatch {
    pub(super) fn new(map: Arc<Map>) -> Self {
        Self {
            map,
            setpoint: None,
            settings: BTreeMap::new(),
        }
    }

    pub(super) fn on_sample(&mut self, sample: &Sample) -> Option<Finding> {
        let (index, point) = self
            .map
            .trend_points()
            .enumerate()
            .find(|(_, point)| point.role == Role::Setpoint)?;
        let now = sample.readings.get(index)?.number()?;
        let before = self.setpoint.replace(now)?;
        (before != now).then(|| (Happening::SetpointChanged, moved(point, before, now)))
    }

    /// A sentence for each slow point that moved since it last came, with the point's role.
    pub(super) fn on_settings(&mut self, settings: &Settings) -> Vec<(Role, String)> {
        let mut sentences = Vec::new();
        for (index, (point, reading)) in self
            .map
            .settings_points()
            .zip(settings.readings.iter())
            .enumerate()
        {
            let Some(now) = reading.number() else {
                continue;
            };
            let before = self.settings.insert(index, now);
            if point.role.follows_the_loop() {
                continue;
            }
            sentences.extend(
                before
                    .filter(|before| *before != now)
                    .map(|before| (point.role, moved(point, before, now))),
            );
        }
        sentences
    }
}

/// `band 8.0 -> 31.2 degC`
pub(super) fn moved(point: &Point, before: Number, now: Number) -> String {
    let unit = match &point.unit {
        UnitOf::Fixed(unit) => format!(" {unit}"),
        UnitOf::None | UnitOf::From(_) => String::new(),
    };
    format!("{} {before} -> {now}{unit}", point.name)
}
