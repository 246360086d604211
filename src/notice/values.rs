//! Which setpoint and which settings moved.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::Finding;
use crate::map::{Map, Point, Role, UnitOf};
use crate::number::Number;
use crate::sample::{Happening, Reading, Sample, Settings};

/// Follows the setpoint, what gives decimals and units, and the slow points of one loop.
#[derive(Debug)]
pub(super) struct ValueWatch {
    map: Arc<Map>,
    /// For each point of the trend what its move is, if it is worth an event, and its last value.
    trend: Vec<(Option<Happening>, Option<Number>)>,
    settings: BTreeMap<usize, Number>,
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
        let points = self.map.trend_points().zip(sample.readings.iter());
        let follow = |((point, reading), (happening, last)): ((&Point, &Reading), &mut _)| {
            let (happening, now): (Happening, _) = ((*happening)?, reading.number()?);
            let before = Option::replace(last, now)?;
            let has_moved = point.moved(before, now);
            has_moved.then(|| (happening, moved(point, before, now)))
        };
        points.zip(&mut self.trend).filter_map(follow).collect()
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
                    .filter(|before| point.moved(*before, now))
                    .map(|before| (point.role, moved(point, before, now))),
            );
        }
        sentences
    }
}

/// `band 8.0 -> 31.2 degC`, `mode automatic -> manual`
pub(super) fn moved(point: &Point, before: Number, now: Number) -> String {
    let unit = match &point.unit {
        UnitOf::Fixed(unit) => format!(" {unit}"),
        UnitOf::None | UnitOf::From(_) => String::new(),
    };
    let said = |number: Number| match point.in_words(number) {
        Some(words) => (words.to_owned(), ""),
        None => (number.to_string(), unit.as_str()),
    };
    let ((before, before_unit), (now, now_unit)) = (said(before), said(now));
    // Said once where both have it.
    let before_unit = if now_unit.is_empty() { before_unit } else { "" };
    format!("{} {before}{before_unit} -> {now}{now_unit}", point.name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_move_is_told_in_the_maps_words_where_it_has_them() {
        let text = "schema = 1\ntitle = \"t\"\n[points.mode]\nrole = \"mode\"\ntable = \"input\"\n\
                    address = 0\nencoding = \"u16\"\nmeans = { \"0\" = \"automatic\" }\n\
                    [points.reset]\nrole = \"integral\"\ntable = \"input\"\naddress = 1\n\
                    encoding = \"u16\"\nunit = \"s\"\noff = 0\n";
        let map = Map::parse(text, "t.toml").unwrap();
        let told = |point: usize, before: i64, now: i64| {
            let [before, now] = [before, now].map(|it| Number::Decimal(it.into()));
            moved(&map.points[point], before, now)
        };
        assert_eq!(told(0, 0, 1), "mode automatic -> 1");
        assert_eq!(told(1, 95, 412), "reset 95 -> 412 s");
        assert_eq!(told(1, 95, 0), "reset 95 s -> off");
        assert_eq!(told(1, 0, 95), "reset off -> 95 s");
    }
}
