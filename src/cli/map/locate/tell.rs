//! What is left, for people and as JSON.

use std::io::{self, Write as _};

use serde_json::{Value, json};

use super::state::{Known, Survivor};
use crate::cli::Stop;
use crate::map::{ByteOrder, Fit, Image, Role, WordOrder, likelihoods, snippet};
use crate::name::Name;

/// So many are listed; they are in order of likelihood.
const LISTED: usize = 20;
/// From this likelihood on a candidate is as good as certain.
const CERTAIN: f64 = 0.8;

/// The survivors, likeliest first, with the words they were last read from.
pub(super) struct Told<'a> {
    pub(super) point: &'a Name,
    pub(super) role: Role,
    pub(super) known: &'a Known,
    pub(super) image: &'a Image,
}

impl Told<'_> {
    /// The survivors, likeliest first.
    fn ranked(&self) -> Vec<(f64, &Survivor)> {
        let candidates: Vec<_> = self
            .known
            .candidates
            .iter()
            .map(|it| (it.candidate, it.fits.clone()))
            .collect();
        let decimals = self.known.shown.iter().map(|shown| shown.decimals()).max();
        let likelihoods = likelihoods(&candidates, decimals.unwrap_or_default(), self.image);
        let mut ranked: Vec<_> = likelihoods
            .into_iter()
            .zip(&self.known.candidates)
            .collect();
        ranked.sort_by(|(a, _), (b, _)| b.total_cmp(a));
        ranked
    }

    fn read(&self, survivor: &Survivor) -> Option<String> {
        let value = survivor.candidate.value(self.image)?;
        Some(value.to_string())
    }

    fn shown(&self) -> Vec<String> {
        self.known.shown.iter().map(ToString::to_string).collect()
    }

    pub(super) fn print(&self, as_json: bool) -> Result<(), Stop> {
        let mut out = io::stdout().lock();
        if as_json {
            writeln!(out, "{}", self.json())?;
        } else {
            write!(out, "{}", self.text())?;
        }
        out.flush()?;
        Ok(())
    }

    fn json(&self) -> Value {
        let ranked = self.ranked();
        let candidates: Vec<Value> = ranked
            .iter()
            .map(|(likelihood, survivor)| {
                let mut value = json!(survivor);
                value["reads"] = json!(self.read(survivor));
                value["likelihood"] = json!((likelihood * 1e4).round() / 1e4);
                value
            })
            .collect();
        let best = ranked.first().map(|(_, best)| self.snippet(best));
        json!({
            "point": self.point,
            "shown": self.shown(),
            "candidates": candidates,
            "complete": self.known.left.is_empty(),
            "map": best,
        })
    }

    /// Everything but the snippet is a comment, so that it can go into a map as it is.
    fn text(&self) -> String {
        let ranked = self.ranked();
        let mut lines = vec![format!(
            "# {} could be what the panel showed ({}):",
            count(ranked.len()),
            self.shown().join(", then "),
        )];
        lines.push("#".to_owned());
        lines.push(
            "# likelihood  table    address  read as                        reads".to_owned(),
        );
        let row = |(likelihood, it): &(f64, &Survivor)| {
            format!(
                "# {:>8.1} %  {:<7}  {:>7}  {:<29}  {}{}",
                100.0 * likelihood,
                it.candidate.table.word(),
                it.candidate.address.0,
                reading(it),
                self.read(it).unwrap_or_default(),
                fit(it),
            )
        };
        lines.extend(ranked.iter().take(LISTED).map(row));
        if ranked.len() > LISTED {
            lines.push(format!("# and {} less likely", ranked.len() - LISTED));
        }
        lines.push("#".to_owned());
        lines.push(format!("# {}", next_step(&ranked)));
        if let Some((_, best)) = ranked.first() {
            lines.push(String::new());
            lines.push(self.snippet(best));
        }
        lines.join("\n").trim_end().to_owned() + "\n"
    }

    fn snippet(&self, survivor: &Survivor) -> String {
        snippet(&survivor.candidate, self.point, self.role)
    }
}

fn count(candidates: usize) -> String {
    match candidates {
        1 => "One register".to_owned(),
        many => format!("{many} ways of reading a register"),
    }
}

fn next_step(ranked: &[(f64, &Survivor)]) -> &'static str {
    match ranked {
        [(likelihood, _), ..] if *likelihood >= CERTAIN => {
            "The likeliest as a point of the map; give it the panel's unit and compare once more:"
        }
        _ => {
            "When the panel shows another number, run it again with that: few will follow.\n\
             # The likeliest so far:"
        }
    }
}

/// How the words are read, in words.
fn reading(survivor: &Survivor) -> String {
    let candidate = &survivor.candidate;
    let scaled = match candidate.power {
        0 => String::new(),
        -1 => ", 1 decimal".to_owned(),
        ..0 => format!(", {} decimals", candidate.power.unsigned_abs()),
        1.. => format!(
            ", times 1{}",
            "0".repeat(candidate.power.unsigned_abs().into())
        ),
    };
    let mut text = candidate.encoding.word().to_owned() + &scaled;
    if candidate.word_order == WordOrder::LowFirst {
        text += ", low word first";
    }
    if candidate.byte_order == ByteOrder::LowFirst {
        text += ", low byte first";
    }
    text
}

fn fit(survivor: &Survivor) -> &'static str {
    match survivor.fits.iter().max() {
        Some(Fit::Near) => "  (nearly)",
        Some(Fit::Rounded) => "  (rounded)",
        Some(Fit::Exact) | None => "",
    }
}
