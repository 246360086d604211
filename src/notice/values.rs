//! Which setpoint and which settings moved.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::Finding;
use super::known::Known;
use crate::map::{Map, Point, Role};
use crate::sample::{Happening, Sample, Settings};

/// Follows the setpoint, what gives decimals and units, and the slow points of one loop.
#[derive(Debug)]
pub(super) struct ValueWatch {
    map: Arc<Map>,
    /// For each point of the trend what its move is, if it is worth an event, and its last value.
    trend: Vec<(Option<Happening>, Option<Known>)>,
    settings: BTreeMap<usize, Known>,
}

impl ValueWatch {
    pub(super) fn new(map: Arc<Map>) -> Self {
        let gives = |point: &Point| {
            let mut needed = map.points.iter().flat_map(Point::needs);
            needed.any(|name| *name == point.name)
        };
        let happening = |point: &Point| match point.role {
            Role::Setpoint => Some(Happening::SetpointChanged),
            _ => gives(point).then_some(Happening::SettingsChanged),
        };
        let trend = map.trend_points().map(|point| (happening(point), None));
        Self {
            trend: trend.collect(),
            settings: BTreeMap::new(),
            map,
        }
    }

    pub(super) fn on_sample(&mut self, sample: &Sample) -> Vec<Finding> {
        let readings = sample.readings.iter().zip(sample.units.iter());
        let points = self.map.trend_points().zip(readings);
        let mut findings = Vec::new();
        for ((point, (reading, unit)), (happening, last)) in points.zip(&mut self.trend) {
            if let Some(happening) = *happening
                && let Some(now) = Known::of(reading, unit.as_ref())
                && let Some(before) = last.replace(now.clone())
                && before.has_moved(point, &now)
            {
                findings.push((happening, before.story(point, &now)));
            }
        }
        findings
    }

    /// A sentence for each slow point that moved since it last came, with the point's role.
    pub(super) fn on_settings(&mut self, settings: &Settings) -> Vec<(Role, String)> {
        let readings = settings.readings.iter().zip(settings.units.iter());
        let points = self.map.settings_points().zip(readings);
        let mut sentences = Vec::new();
        for (index, (point, (reading, unit))) in points.enumerate() {
            if let Some(now) = Known::of(reading, unit.as_ref())
                && let Some(before) = self.settings.insert(index, now.clone())
                && !point.role.follows_the_loop()
                && before.has_moved(point, &now)
            {
                sentences.push((point.role, before.story(point, &now)));
            }
        }
        sentences
    }
}
