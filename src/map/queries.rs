//! What the rest of the program asks a map.

use std::collections::BTreeSet;

use rust_decimal::Decimal;

use super::decode::whole;
use super::model::{Map, Meaning, Place, Point, Refresh, Role, Scaling, UnitOf};
use super::scale::whole_scaled;
use crate::name::Name;
use crate::number::Number;
use crate::sample::Reading;

impl Map {
    /// The point of this name.
    pub fn point(&self, name: &Name) -> Option<&Point> {
        self.points.iter().find(|point| point.name == *name)
    }

    /// The first point with this role.
    pub fn point_with(&self, role: Role) -> Option<&Point> {
        self.points_with(role).next()
    }

    /// The points with this role, in the order of the file.
    pub fn points_with(&self, role: Role) -> impl Iterator<Item = &Point> {
        self.points.iter().filter(move |point| point.role == role)
    }

    /// The points read at every poll, in the order of the file: the readings of a sample and the
    /// columns of a recording.
    pub fn trend_points(&self) -> impl Iterator<Item = &Point> {
        self.refreshed(Refresh::Trend)
    }

    /// The slow points, in the order of the file: the readings of settings.
    pub fn settings_points(&self) -> impl Iterator<Item = &Point> {
        self.refreshed(Refresh::Settings)
    }

    fn refreshed(&self, refresh: Refresh) -> impl Iterator<Item = &Point> {
        self.points
            .iter()
            .filter(move |point| point.refresh == refresh)
    }

    /// Every place that must be read for the points of this kind, each once, by table and address:
    /// their own, and those of the points that give their decimals, units and faults.
    pub fn places_for(&self, refresh: Refresh) -> Vec<Place> {
        if refresh == Refresh::Never {
            return Vec::new();
        }
        let mut places = BTreeSet::new();
        let mut seen = BTreeSet::new();
        let mut points: Vec<&Point> = self.refreshed(refresh).collect();
        while let Some(point) = points.pop() {
            // Two points may give each other's unit.
            if seen.insert(&point.name) {
                places.insert(point.place);
                let named = point.needs().chain(&point.fault_from);
                points.extend(named.filter_map(|name| self.point(name)));
            }
        }
        places.into_iter().collect()
    }

    /// Whether the unit of any point can change while it is polled.
    pub fn has_switchable_units(&self) -> bool {
        let is_switchable = |point: &Point| matches!(point.unit, UnitOf::From(_));
        self.points.iter().any(is_switchable)
    }

    /// The places of all points that may be read.
    pub fn readable_places(&self) -> impl Iterator<Item = Place> {
        let readable = |point: &&Point| point.refresh != Refresh::Never;
        self.points.iter().filter(readable).map(|point| point.place)
    }

    /// What the value of an enumeration means to the program; `None` when the map does not say.
    pub fn meaning(&self, point: &Point, reading: &Reading) -> Option<Meaning> {
        point.means.get(&enumerated(reading)?).copied()
    }

    /// Whether a status point says "active"; `None` without a value.
    ///
    /// Meant for `autotune-active`, `alarm` and `fault` points: active is any of the map's
    /// `active` values, or without them any value but 0.
    pub fn is_active(&self, point: &Point, reading: &Reading) -> Option<bool> {
        let value = enumerated(reading)?;
        match point.active.as_slice() {
            [] => Some(value != 0),
            active => Some(active.contains(&value)),
        }
    }
}

impl Role {
    /// Whether such a point is a difference of temperatures, unless its map says otherwise.
    pub(super) fn is_difference(self) -> bool {
        matches!(self, Self::Proportional | Self::PvOffset | Self::RampRate)
    }

    /// Whether the point is one of the three tuning numbers.
    pub fn is_tuning(self) -> bool {
        matches!(self, Self::Proportional | Self::Integral | Self::Derivative)
    }

    /// Whether such a point moves with the loop, without anybody changing a setting: many controllers
    /// let the manual output follow the output, so that going to manual is bumpless.
    pub fn follows_the_loop(self) -> bool {
        use Role::{
            CoolingOutput, HeaterCurrent, ManualOutput, Output, ProcessValue, WorkingSetpoint,
        };
        matches!(
            self,
            ProcessValue | WorkingSetpoint | Output | CoolingOutput | ManualOutput | HeaterCurrent
        )
    }
}

impl Point {
    /// The points that say what this one's raw value stands for.
    pub fn needs(&self) -> impl Iterator<Item = &Name> {
        let decimals = match &self.scaling {
            Scaling::DecimalsFrom(name) => Some(name),
            Scaling::Linear { .. } | Scaling::Decimals(_) => None,
        };
        let unit = match &self.unit {
            UnitOf::From(name) => Some(name),
            UnitOf::None | UnitOf::Fixed(_) => None,
        };
        decimals.into_iter().chain(unit)
    }

    /// What its value means in words: its name, its meaning, or that it is off.
    pub fn in_words(&self, number: Number) -> Option<&str> {
        let raw = whole(number);
        let name = raw.and_then(|raw| self.names.get(&raw)).map(String::as_str);
        let meaning = || {
            raw.and_then(|raw| self.means.get(&raw))
                .map(|meaning| meaning.word())
        };
        let off = || self.is_off(number).then_some("off");
        name.or_else(meaning).or_else(off)
    }

    /// Whether the value has moved from `before` to `now`. A number whose decimals another point gives
    /// is rounded anew when they change: less than a step of the coarser of the two is no move.
    pub fn moved(&self, before: Number, now: Number) -> bool {
        match (&self.scaling, before, now) {
            (Scaling::DecimalsFrom(_), Number::Decimal(before), Number::Decimal(now))
                if before.scale() != now.scale() =>
            {
                let coarser = Decimal::new(1, before.scale().min(now.scale()));
                (before - now).abs() >= coarser
            }
            _ => before != now,
        }
    }

    /// The lowest and the highest value its registers can say; `None` for floating-point registers,
    /// which can say any, and where another point gives the decimals.
    pub fn reach(&self) -> Option<(Decimal, Decimal)> {
        let scale = self.scaling.fixed()?;
        if self.shape().is_float() {
            return None;
        }
        let (low, high) = self.shape().limits();
        let ends = [low, high].map(|raw| whole_scaled(raw, scale).ok());
        let [low, high] = [ends[0]?, ends[1]?];
        Some((low.min(high), low.max(high)))
    }

    /// The map's name for a value of an enumeration.
    pub fn name_of(&self, reading: &Reading) -> Option<&str> {
        self.names.get(&enumerated(reading)?).map(String::as_str)
    }

    /// Whether the value is the one that means "off" here.
    pub fn is_off(&self, number: Number) -> bool {
        self.off.is_some() && number.as_decimal() == self.off
    }
}

/// The raw value of an enumeration, which no map may scale.
fn enumerated(reading: &Reading) -> Option<i64> {
    whole(reading.number()?)
}
