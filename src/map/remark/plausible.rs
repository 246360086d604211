//! What a value can be, by its unit; wide limits, common practice, no source.

use crate::map::model::{Point, Role};
use crate::unit::{Degrees, Quantity};

/// Furnaces and cryostats alike.
const TEMPERATURES: (f64, f64) = (-273.15, 3000.0);
const LARGEST_DIFFERENCE: f64 = 3000.0;
/// Cooling counts below zero.
const OUTPUTS: (f64, f64) = (-100.0, 100.0);
const PERCENTAGES: (f64, f64) = (-1000.0, 1000.0);
/// Up to a counter of operating seconds of thirty years.
const TIMES: (f64, f64) = (0.0, 1e9);
const ANY: (f64, f64) = (-1e9, 1e9);
/// Nearer to zero than this no register of a controller counts, save at zero itself.
pub(super) const SMALLEST: f64 = 1e-6;

/// Whether a point that is in `unit` at present can have this value.
pub(super) fn is_plausible(point: &Point, unit: Option<&str>, value: f64) -> bool {
    let (low, high) = range(point, unit);
    (low..=high).contains(&value)
}

fn range(point: &Point, unit: Option<&str>) -> (f64, f64) {
    if let Some(degrees) = unit.and_then(Degrees::from_word) {
        let at = |celsius| Degrees::Celsius.convert_f64(celsius, degrees, point.quantity);
        return match point.quantity {
            Quantity::Temperature => (at(TEMPERATURES.0), at(TEMPERATURES.1)),
            Quantity::Difference => (at(-LARGEST_DIFFERENCE), at(LARGEST_DIFFERENCE)),
        };
    }
    match unit {
        Some("%") if matches!(point.role, Role::Output | Role::CoolingOutput) => OUTPUTS,
        Some("%") => PERCENTAGES,
        Some("s" | "min" | "h") => TIMES,
        _ => ANY,
    }
}
