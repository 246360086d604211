//! What a point is called in the header of a recording.

use std::sync::Arc;

use super::model::{Map, Point, UnitOf};
use crate::unit::Degrees;

impl Point {
    /// The column of a point whose unit is fixed: its name, and `_` and its unit where it has one
    /// (`pv_degC`, `out_pct`); of a point whose unit another point gives, the bare name.
    pub fn column(&self) -> String {
        match &self.unit {
            UnitOf::Fixed(unit) => self.column_in(Some(unit)),
            UnitOf::None | UnitOf::From(_) => self.column_in(None),
        }
    }

    /// The column while the value is in this unit.
    pub fn column_in(&self, unit: Option<&str>) -> String {
        let unit = unit.map(unit_in_column).unwrap_or_default();
        match unit.as_str() {
            "" => self.name.to_string(),
            unit => format!("{}_{unit}", self.name),
        }
    }
}

impl Map {
    /// Every unit a point's value may be in: the fixed one, or those the point that gives it names.
    pub fn possible_units(&self, point: &Point) -> Vec<Arc<str>> {
        match &point.unit {
            UnitOf::None => Vec::new(),
            UnitOf::Fixed(unit) => vec![Arc::clone(unit)],
            UnitOf::From(giver) => {
                let names = self
                    .point(giver)
                    .into_iter()
                    .flat_map(|it| it.names.values());
                names.map(|name| plain_unit(name).into()).collect()
            }
        }
    }
}

/// The spelling the program uses for a unit that has several.
pub(super) fn plain_unit(text: &str) -> &str {
    let text = text.trim();
    match Degrees::from_text(text) {
        Some(degrees) => degrees.word(),
        None => text,
    }
}

/// A unit with letters and digits only: `%` is `pct`, `°` is `deg`, anything else in between `_`.
fn unit_in_column(unit: &str) -> String {
    let spelled = plain_unit(unit).replace('%', "pct").replace('°', "deg");
    let parts = spelled.split(|c: char| !c.is_ascii_alphanumeric());
    let parts: Vec<&str> = parts.filter(|part| !part.is_empty()).collect();
    parts.join("_")
}

#[cfg(test)]
mod tests {
    use super::unit_in_column;

    #[test]
    fn a_unit_is_spelled_with_letters_and_digits() {
        for (unit, column) in [
            ("degC", "degC"),
            ("%", "pct"),
            ("°C", "degC"),
            ("L/min", "L_min"),
            ("K/min ", "K_min"),
            ("Ω", ""),
        ] {
            assert_eq!(unit_in_column(unit), column, "{unit}");
        }
    }
}
