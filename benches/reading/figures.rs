//! What each reader prints, and whether two of them agree.

use serde_json::{Value, json};

/// Which percentiles.
pub(crate) const SHARES: [f64; 5] = [0.01, 0.05, 0.5, 0.95, 0.99];
const COLUMNS: [&str; 3] = ["pv_degC", "sp_degC", "out_pct"];

/// What a reader found, and what that took.
pub(crate) struct Figures {
    /// Of process value, setpoint and output, or of the first alone: count, mean, sd, least,
    /// greatest, percentiles.
    pub(crate) columns: Vec<Vec<f64>>,
    /// Elapsed seconds of the last row, how many rows are good, how many hours there are, and the means
    /// of the hours' mean, least and greatest process value.
    pub(crate) rest: Vec<f64>,
    pub(crate) taken: Taken,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct Taken {
    pub(crate) cpu_s: f64,
    pub(crate) wall_s: f64,
    pub(crate) peak_mb: f64,
}

impl Figures {
    pub(crate) fn to_json(&self) -> Value {
        let named = COLUMNS.iter().zip(&self.columns);
        let columns: serde_json::Map<String, Value> = named
            .map(|(name, figures)| ((*name).to_owned(), json!(figures)))
            .collect();
        json!({
            "cpu_s": self.taken.cpu_s,
            "wall_s": self.taken.wall_s,
            "peak_mb": self.taken.peak_mb,
            "columns": columns,
            "rest": self.rest,
        })
    }

    pub(crate) fn from_json(text: &str) -> Option<Self> {
        let document: Value = serde_json::from_str(text).ok()?;
        let list = |value: &Value| -> Option<Vec<f64>> {
            value.as_array()?.iter().map(Value::as_f64).collect()
        };
        let columns = COLUMNS
            .iter()
            .filter_map(|name| document["columns"].get(name));
        let number = |name: &str| document[name].as_f64();
        Some(Self {
            columns: columns.map(list).collect::<Option<_>>()?,
            rest: list(&document["rest"])?,
            taken: Taken {
                cpu_s: number("cpu_s")?,
                wall_s: number("wall_s")?,
                peak_mb: number("peak_mb")?,
            },
        })
    }

    /// Whether everything the other found is found here too, but for the rounding of sums.
    pub(crate) fn agree_with(&self, other: &Self) -> bool {
        let is_near = |(a, b): (&f64, &f64)| (a - b).abs() <= 1e-9 * a.abs().max(1.0);
        let are_near =
            |(a, b): (&Vec<f64>, &Vec<f64>)| a.len() == b.len() && a.iter().zip(b).all(is_near);
        let mut rest = self.rest.iter().zip(&other.rest);
        !other.columns.is_empty()
            && self.columns.iter().zip(&other.columns).all(are_near)
            && rest.all(is_near)
    }
}
