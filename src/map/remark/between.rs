//! Values that do not go together.

use rust_decimal::Decimal;

use super::Remark;
use crate::map::image::Image;
use crate::map::model::{Map, Point, Role};

pub(super) fn look(map: &Map, image: &Image) -> Vec<Remark> {
    let value = |role: Role| {
        let point = map.point_with(role)?;
        let value = map.read(point, image).number()?.as_decimal()?;
        Some((point, value))
    };
    let [setpoint, working, low, high, pv] = [
        Role::Setpoint,
        Role::WorkingSetpoint,
        Role::SetpointLow,
        Role::SetpointHigh,
        Role::ProcessValue,
    ]
    .map(value);
    let mut found = Vec::new();
    if let (Some(setpoint), Some(working)) = (setpoint, working) {
        found.extend(factor(setpoint, working));
    }
    if let Some(setpoint) = setpoint {
        found.extend(beyond(setpoint, low, high));
    }
    if let Some(pv) = pv {
        found.extend(outside_span(map, pv));
    }
    found
}

/// The working setpoint is on its way to the setpoint, or there; ten times of it is a scale.
fn factor((_, setpoint): Valued<'_>, (point, working): Valued<'_>) -> Option<Remark> {
    let tens = [Decimal::TEN, Decimal::ONE_HUNDRED];
    let is_off = |tens: &Decimal| {
        setpoint.checked_mul(*tens) == Some(working) || working.checked_mul(*tens) == Some(setpoint)
    };
    let off = tens.into_iter().find(is_off)?;
    (!working.is_zero()).then(|| Remark {
        code: "factor-of-ten",
        about: point.name.clone(),
        text: format!(
            "{working} and the setpoint {setpoint} differ by a factor of exactly {off}: check both \
             scales"
        ),
    })
}

/// A controller takes no setpoint outside its own limits.
fn beyond(
    (point, setpoint): Valued<'_>,
    low: Option<Valued<'_>>,
    high: Option<Valued<'_>>,
) -> Option<Remark> {
    let below = low.filter(|(_, low)| setpoint < *low);
    let above = high.filter(|(_, high)| setpoint > *high);
    let (limit, value) = below.or(above)?;
    Some(Remark {
        code: "beyond-limit",
        about: point.name.clone(),
        text: format!(
            "{setpoint} is beyond the controller's own limit, point '{}' at {value}: check the \
             scales of both",
            limit.name
        ),
    })
}

fn outside_span(map: &Map, (point, value): Valued<'_>) -> Option<Remark> {
    let (low, high) = map.tuning.as_ref()?.span?;
    let value_f64 = f64::try_from(value).ok()?;
    (!(low..=high).contains(&value_f64)).then(|| Remark {
        code: "outside-span",
        about: point.name.clone(),
        text: format!("{value} is outside the span {low} to {high} of [tuning]"),
    })
}

/// A point and its value.
type Valued<'m> = (&'m Point, Decimal);
