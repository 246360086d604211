//! How likely each candidate is the one.
//!
//! A rule of our own: how usual the encoding is (common practice, no source), how well it has fitted
//! each number shown, and a share for "none of these".

use super::{Candidate, Fit};
use crate::map::Image;
use crate::map::model::{ByteOrder, Encoding, Table, WordOrder};

/// The weight of what was not looked at: another table, another encoding. It shrinks with every further
/// number that a candidate has followed.
const SOMETHING_ELSE: f64 = 0.05;
const SHRINKS_TO: f64 = 0.3;

/// The likelihood of each candidate, 0 to 1, given how it fitted each number shown so far and how
/// many decimals the panel shows. What they lack to 1 together is that it is none of them.
///
/// `image` holds the latest words: a wide number that is small enough for its low word alone is
/// rather that word.
pub fn likelihoods(candidates: &[(Candidate, Vec<Fit>)], decimals: u32, image: &Image) -> Vec<f64> {
    let fitted = |fits: &[Fit]| fits.iter().map(|fit| fit.weight()).product::<f64>();
    let weight =
        |(candidate, fits): &(Candidate, Vec<Fit>)| candidate.usual(decimals, image) * fitted(fits);
    let weights: Vec<f64> = candidates.iter().map(weight).collect();
    // It would have fitted no better than the best.
    let best = candidates
        .iter()
        .map(|(_, fits)| fitted(fits))
        .fold(0.0, f64::max);
    let shown = candidates
        .iter()
        .map(|(_, fits)| fits.len())
        .max()
        .unwrap_or_default();
    let shrunk: f64 = (1..shown).map(|_| SHRINKS_TO).product();
    let something_else = SOMETHING_ELSE * best * shrunk;
    let all = weights.iter().sum::<f64>() + something_else;
    weights.iter().map(|weight| weight / all).collect()
}

impl Fit {
    fn weight(self) -> f64 {
        match self {
            Self::Exact => 1.0,
            Self::Rounded => 0.4,
            Self::Near => 0.2,
        }
    }
}

impl Candidate {
    /// How usual it is, as against a 16-bit register with the panel's own decimals.
    fn usual(self, decimals: u32, image: &Image) -> f64 {
        let encoding = match self.encoding {
            Encoding::Bit | Encoding::I16 | Encoding::U16 => 1.0,
            Encoding::F32 => 0.8,
            Encoding::I32 | Encoding::U32 if self.is_one_word(image) => 0.01,
            Encoding::I32 | Encoding::U32 => 0.3,
            Encoding::F64 => 0.1,
            Encoding::I64 | Encoding::U64 => 0.01,
        };
        let words = match self.word_order {
            WordOrder::HighFirst => 1.0,
            WordOrder::LowFirst => 0.7,
        };
        let bytes = match self.byte_order {
            ByteOrder::HighFirst => 1.0,
            ByteOrder::LowFirst => 0.03,
        };
        let scaled = match self.power {
            0 if self.encoding.is_float() => 1.0,
            power if -i64::from(power) == i64::from(decimals) => 1.0,
            1.. => 0.3,
            _ => 0.1,
        };
        let table = match self.table {
            Table::Holding => 1.0,
            _ => 0.9,
        };
        encoding * words * bytes * scaled * table
    }

    /// Whether all words but the low one say no more than its sign.
    fn is_one_word(self, image: &Image) -> bool {
        let words = image.raw(&self.place()).unwrap_or_default();
        let rest = match self.word_order {
            WordOrder::HighFirst => words.first(),
            WordOrder::LowFirst => words.last(),
        };
        rest.is_some_and(|word| matches!(word, 0 | 0xFFFF))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::Address;

    fn candidate(encoding: Encoding, power: i8) -> Candidate {
        Candidate {
            table: Table::Holding,
            address: Address(0),
            encoding,
            word_order: WordOrder::HighFirst,
            byte_order: ByteOrder::HighFirst,
            power,
        }
    }

    #[test]
    fn the_usual_encoding_that_fits_exactly_leads_and_all_together_stay_below_one() {
        let candidates = [
            (candidate(Encoding::I16, -1), vec![Fit::Exact]),
            (candidate(Encoding::I16, -2), vec![Fit::Rounded]),
            (candidate(Encoding::F32, 0), vec![Fit::Exact]),
        ];
        let likelihoods = likelihoods(&candidates, 1, &Image::default());
        assert!(likelihoods[0] > likelihoods[2] && likelihoods[2] > likelihoods[1]);
        let all: f64 = likelihoods.iter().sum();
        assert!(all < 1.0, "{all}");
    }

    #[test]
    fn what_has_followed_the_panel_is_likelier_though_it_moved_meanwhile() {
        let of = |fits: &[Fit]| {
            let candidates = [(candidate(Encoding::I16, -1), fits.to_vec())];
            likelihoods(&candidates, 1, &Image::default())[0]
        };
        assert!(of(&[Fit::Near]) < of(&[Fit::Near, Fit::Near]));
        assert!(of(&[Fit::Near, Fit::Near]) > 0.95);
    }
}
