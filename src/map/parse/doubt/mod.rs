//! What a map may say and hardly means, and what the program cannot do with it. Nobody is stopped by
//! it; `map check` tells it.

mod places;
mod roles;
mod scales;
mod tuning;

use super::address::Numbering;
use super::keys::{MapFile, Point as Keys};
use super::point::{Entry, Points};
use crate::map::model::{Map, Role, UnitOf};
use crate::spanned::{AnyKey, Doubt, Section};
use crate::unit::Degrees;

/// Everything doubtful about a map that could be read.
pub(super) fn all(file: &Section<'_>, numbering: Numbering, points: &Points<'_>, map: &Map) {
    let doubts = Doubts {
        file,
        numbering,
        points,
        map,
    };
    roles::look(&doubts);
    scales::look(&doubts);
    tuning::look(&doubts);
    places::look(&doubts);
}

/// A map, its file, and what is doubtful about it.
struct Doubts<'d, 'a> {
    file: &'d Section<'a>,
    numbering: Numbering,
    points: &'d Points<'a>,
    map: &'d Map,
}

impl<'d, 'a> Doubts<'d, 'a> {
    fn with_role(&self, role: Role) -> Option<&'d Entry<'a>> {
        let mut entries = self.points.entries.iter();
        entries.find(|entry| entry.point.role == role)
    }

    /// About the whole map.
    fn say(&self, code: &'static str, what: impl Into<String>, help: impl Into<String>) {
        self.file.doubt_file(Doubt {
            code,
            about: "map".to_owned(),
            what: what.into(),
            help: help.into(),
        });
    }

    /// About one of the tables of the map.
    fn say_of_table(
        &self,
        key: &dyn AnyKey,
        code: &'static str,
        what: impl Into<String>,
        help: impl Into<String>,
    ) {
        debug_assert!(key.name() != MapFile::POINTS.name);
        self.file.doubt_at(
            key,
            Doubt {
                code,
                about: key.name().to_owned(),
                what: what.into(),
                help: help.into(),
            },
        );
    }
}

impl Entry<'_> {
    /// About this point, at one of its keys.
    fn say(
        &self,
        key: &dyn AnyKey,
        code: &'static str,
        what: impl Into<String>,
        help: impl Into<String>,
    ) {
        self.section.doubt_at(
            key,
            Doubt {
                code,
                about: self.point.name.to_string(),
                what: what.into(),
                help: help.into(),
            },
        );
    }

    fn unit(&self) -> Option<&str> {
        match &self.point.unit {
            UnitOf::Fixed(unit) => Some(unit),
            UnitOf::None | UnitOf::From(_) => None,
        }
    }

    fn is_temperature(&self) -> bool {
        let fixed = self.unit().and_then(Degrees::from_word).is_some();
        fixed || self.section.has(&Keys::UNIT_FROM)
    }
}
