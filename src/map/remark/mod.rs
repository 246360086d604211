//! What looks wrong about what a unit sent, for a person who compares a map with the panel. Healthy
//! points get no remark: each one rests on a value that can hardly be what it says.

mod alternative;
mod between;
mod pattern;
mod plausible;

use super::image::Image;
use super::model::{Map, Point, Refresh};
use crate::name::Name;
use crate::sample::{Fault, Reading};

/// Something about what a unit sent that a person should look at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// A word for scripts.
    pub code: &'static str,
    /// The point it is about.
    pub about: Name,
    /// In words, without the point's name.
    pub text: String,
}

impl Map {
    /// What looks wrong about each point that came, in the order of the map.
    ///
    /// ```
    /// use emberline::map::{Address, Image, Map, Table};
    /// let text = "schema = 1\ntitle = \"t\"\n[points.pv]\nrole = \"process-value\"\n\
    ///             table = \"input\"\naddress = 0\nencoding = \"f32\"\nunit = \"degC\"\n";
    /// let map = Map::parse(text, "t.toml").unwrap();
    /// let mut image = Image::default();
    /// // 25.5 with its words exchanged.
    /// image.put_words(Table::Input, Address(0), &[0x0000, 0x41CC]);
    /// let remarks = map.remarks(&image);
    /// assert_eq!(remarks[0].code, "other-order");
    /// assert!(remarks[0].text.ends_with("it would read 25.5 with word_order = \"low-first\""));
    /// ```
    pub fn remarks(&self, image: &Image) -> Vec<Remark> {
        let read = self
            .points
            .iter()
            .filter(|point| point.refresh != Refresh::Never);
        let own = read.filter_map(|point| self.remark(point, image));
        own.chain(between::look(self, image)).collect()
    }

    fn remark(&self, point: &Point, image: &Image) -> Option<Remark> {
        let words = image.raw(&point.place)?;
        let found = match self.read(point, image) {
            Reading::Absent(_) => None,
            Reading::Fault(fault) => Some(self.of_fault(point, image, &fault)),
            Reading::Good(number) if point.is_enumeration() => {
                let is_listed = point.in_words(number).is_some();
                (!is_listed).then(|| {
                    let text = format!("reads {number}, which the map does not list");
                    ("unlisted-value", text)
                })
            }
            Reading::Good(_) if point.shape().width() == 1 => None,
            Reading::Good(number) => {
                let raw = point.raw(&words);
                let implausible = || alternative::look(self, point, image, number);
                pattern::look(point, raw, number).or_else(implausible)
            }
        };
        let (code, text) = found?;
        Some(Remark {
            code,
            about: point.name.clone(),
            text,
        })
    }

    fn of_fault(&self, point: &Point, image: &Image, fault: &Fault) -> (&'static str, String) {
        let raw = point.raw(&fault.raw);
        if point.faults.iter().any(|known| known.raw == raw) {
            let meaning = &fault.meaning;
            let text = format!("reads 0x{raw:X}, which the map calls {meaning:?}");
            return ("fault-value", text);
        }
        let text = fault.meaning.to_string();
        match alternative::order(self, point, image) {
            Some(other) => ("other-order", format!("{text}; {other}")),
            None => ("faulty", text),
        }
    }
}

impl Point {
    fn is_enumeration(&self) -> bool {
        !self.means.is_empty() || !self.names.is_empty()
    }
}
