//! Every number of both steps, what it means and how far it moved.

use std::fmt::Write as _;

use crate::analysis::StepNumbers;

use super::comparison::{Comparison, Side};
use super::format;
use super::headline;
use super::markup::Markup;
use super::table;
use super::verdict::{Judgement, SAME_NOISE, SAME_SHARE};

/// What a number is measured in.
#[derive(Clone, Copy)]
enum Kind {
    /// A temperature.
    Temperature,
    /// A difference of temperatures.
    Degrees,
    /// A time, shown in minutes with the seconds below.
    Time,
    /// Degrees (to a power) times seconds (to a power); decimals do not matter.
    Integral(&'static str, &'static str),
    /// A ratio.
    Ratio,
}

/// One line of the table.
struct Line {
    name: &'static str,
    meaning: &'static str,
    kind: Kind,
    of: fn(&StepNumbers) -> Option<f64>,
    /// The same number in percent of the step.
    percent: Option<fn(&StepNumbers) -> Option<f64>>,
    /// Whether the line is left out when neither side has the number.
    optional: bool,
}

const fn line(
    name: &'static str,
    meaning: &'static str,
    kind: Kind,
    of: fn(&StepNumbers) -> Option<f64>,
) -> Line {
    Line {
        name,
        meaning,
        kind,
        of,
        percent: None,
        optional: false,
    }
}

impl Line {
    const fn optional(self) -> Self {
        Self {
            optional: true,
            ..self
        }
    }
}

const SETTLING: &str = "Settling time";

const LINES: [Line; 17] = [
    line(
        "Start",
        "mean process value just before the step",
        Kind::Temperature,
        |n| n.initial,
    ),
    Line {
        percent: Some(|n| n.overshoot_pct),
        ..line(
            "Overshoot",
            "farthest past the target before it settled",
            Kind::Degrees,
            |n| n.overshoot,
        )
    },
    line(
        "Overshoot, smoothed",
        "the same with the sensor noise averaged out",
        Kind::Degrees,
        |n| n.overshoot_smoothed,
    )
    .optional(),
    line(
        "Peak",
        "when it was farthest past the target",
        Kind::Time,
        |n| n.peak_s,
    ),
    line(
        "Rise time",
        "from 10 % to 90 % of the step",
        Kind::Time,
        |n| n.rise_s,
    ),
    line(
        SETTLING,
        "until it came into the band to stay",
        Kind::Time,
        |n| n.settling_s,
    ),
    line(
        "Settling time, 2 %",
        "the same for a band of 2 % of the step",
        Kind::Time,
        |n| n.settling_2pct_s,
    ),
    line(
        "Final error",
        "mean of process value minus target over the last tenth",
        Kind::Degrees,
        |n| n.final_error,
    ),
    line(
        "IAE",
        "integral of |e|, e = target minus process value",
        Kind::Integral("", ""),
        |n| n.iae,
    ),
    line(
        "ISE",
        "integral of e\u{b2}",
        Kind::Integral("\u{b2}", ""),
        |n| n.ise,
    ),
    line(
        "ITAE",
        "integral of t |e|, t from the step",
        Kind::Integral("", "\u{b2}"),
        |n| n.itae,
    ),
    line(
        "ITSE",
        "integral of t e\u{b2}",
        Kind::Integral("\u{b2}", "\u{b2}"),
        |n| n.itse,
    ),
    line(
        "Period",
        "between the first two peaks past the target",
        Kind::Time,
        |n| n.period_s,
    )
    .optional(),
    line(
        "Amplitude",
        "half peak to peak of a lasting oscillation",
        Kind::Degrees,
        |n| n.amplitude,
    )
    .optional(),
    line(
        "Decay ratio",
        "second peak over the first",
        Kind::Ratio,
        |n| n.decay_ratio,
    )
    .optional(),
    line(
        "Noise",
        "standard deviation of the sensor's noise",
        Kind::Degrees,
        |n| n.noise_sd,
    ),
    line("Missing", "time without good samples", Kind::Time, |n| {
        n.missing_s
    }),
];

/// The table of all numbers.
pub(super) fn write(page: &mut Markup, comparison: &Comparison<'_>, judgement: &Judgement) {
    let compared = judgement.obstacles.is_empty();
    table::section(page, "numbers", "All numbers", |section| {
        section.words("p", &[], &window_sentence(comparison));
        let heads: &[&str] = if compared {
            &["", "Before", "After", "Change"]
        } else {
            &["", "Before", "After"]
        };
        table::table(section, "figures", heads, |rows| {
            for line in &LINES {
                line.write(rows, comparison, compared);
            }
        });
        section.words("p", &[("class", &"small")], &how_compared(compared));
    });
}

/// Over which time the numbers were taken, and what band counts.
fn window_sentence(comparison: &Comparison<'_>) -> String {
    let [before, after] = comparison.sides().map(|side| side.episode);
    let lengths = [before, after].map(|episode| episode.end_s - episode.start_s);
    let unit = format::unit_sign(comparison.unit());
    let mut text = match after.numbers.window_s {
        Some(window) => format!("Both steps over the same window: {}", format::about(window)),
        None => "The window of the numbers is not known".to_owned(),
    };
    if (lengths[0] - lengths[1]).abs() > 0.01 * lengths[0].max(lengths[1]) {
        let _ = write!(
            text,
            ", the shorter of the two (before lasted {}, after {})",
            format::about(lengths[0]),
            format::about(lengths[1])
        );
    }
    text.push('.');
    if let Some(band) = after.numbers.settling_band {
        let band = format::quantity(band, format::decimals_of(&[band]), unit);
        let _ = write!(text, " Settled means within \u{b1}{band} of the target.");
    }
    text
}

fn how_compared(compared: bool) -> String {
    let spread = "Two runs, one each: the sensor\u{2019}s noise is not the repeatability of the \
                  process, so differences are shown and no significance is claimed.";
    if !compared {
        return spread.to_owned();
    }
    let share = format::fixed(100.0 * SAME_SHARE, 0);
    let noise = format::fixed(SAME_NOISE, 0);
    format!(
        "{spread} On the first page a difference under {share} % (for overshoot also under \
         {noise} times the noise) is called about the same; that is a reading aid of this \
         program, not a standard."
    )
}

impl Line {
    fn write(&self, rows: &mut Markup, comparison: &Comparison<'_>, compared: bool) {
        let sides = comparison.sides();
        let values = sides.map(|side| (self.of)(&side.episode.numbers));
        if self.optional && values == [None, None] {
            return;
        }
        let degree = format::unit_sign(comparison.unit());
        table::row(rows, &self.title(degree), self.meaning, |row| {
            for (value, side) in values.iter().zip(sides) {
                self.write_value(row, *value, side, comparison);
            }
            if compared {
                self.write_change(row, values, comparison);
            }
        });
    }

    /// The name with the unit, so that the columns hold only figures.
    fn title(&self, degree: &str) -> String {
        let unit = match self.kind {
            Kind::Temperature | Kind::Degrees => degree.to_owned(),
            Kind::Time => "min".to_owned(),
            Kind::Integral(power, time) => {
                headline::integral_unit(degree, power, &format!("s{time}"))
            }
            Kind::Ratio => String::new(),
        };
        if unit.is_empty() {
            self.name.to_owned()
        } else {
            format!("{}, {unit}", self.name)
        }
    }

    fn write_value(
        &self,
        row: &mut Markup,
        value: Option<f64>,
        side: Side<'_>,
        comparison: &Comparison<'_>,
    ) {
        let Some(value) = value.filter(|value| value.is_finite()) else {
            let text = if self.name.starts_with(SETTLING) {
                headline::not_reached(side)
            } else {
                format::NOTHING.to_owned()
            };
            row.words("td", &[("class", &"n none")], &text);
            return;
        };
        let percent = self
            .percent
            .and_then(|percent| percent(&side.episode.numbers));
        let small = match (self.kind, percent) {
            (Kind::Time, _) => format::quantity(value, usize::from(value < 600.0), "s"),
            (_, Some(percent)) => format!("{} of the step", format::quantity(percent, 1, "%")),
            _ => String::new(),
        };
        table::number_cell(row, &self.figure(value, comparison), &small);
    }

    fn write_change(
        &self,
        row: &mut Markup,
        values: [Option<f64>; 2],
        comparison: &Comparison<'_>,
    ) {
        let [Some(before), Some(after)] = values else {
            row.words("td", &[("class", &"n none")], format::NOTHING);
            return;
        };
        let (decimals, per) = self.scale(comparison);
        let difference = format::difference(before / per, after / per, decimals);
        table::number_cell(row, &format::signed(difference, decimals), "");
    }

    fn figure(&self, value: f64, comparison: &Comparison<'_>) -> String {
        let (decimals, per) = self.scale(comparison);
        format::fixed(value / per, decimals)
    }

    /// Decimals, and what one of the unit shown is in the number's own unit.
    fn scale(&self, comparison: &Comparison<'_>) -> (usize, f64) {
        let degrees = format::decimals_of(&comparison.after.record.pv);
        match self.kind {
            Kind::Temperature | Kind::Degrees => (degrees.max(self.least()), 1.0),
            Kind::Time => (2, 60.0),
            Kind::Integral(..) => (0, 1.0),
            Kind::Ratio => (2, 1.0),
        }
    }

    /// Means and deviations resolve finer than one sample does.
    fn least(&self) -> usize {
        match self.name {
            "Noise" | "Final error" => 2,
            _ => 1,
        }
    }
}
