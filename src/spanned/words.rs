//! Words that stand for a choice in a file, in one place for each choice.

/// A choice that files write as one of a few words.
pub(crate) trait Words: Sized + Copy + 'static {
    /// What is chosen, as errors call it ("role").
    const WHAT: &'static str;
    /// Every choice with its word.
    const WORDS: &'static [(Self, &'static str)];
    /// What others call some of them, with our word; such a word is not taken, but understood.
    const ALSO: &'static [(&'static str, &'static str)] = &[];
}

/// Gives an enum its words: `ALL`, `word` and `from_word`, and [`Words`] for the reading of files;
/// `also` lists what others call them.
macro_rules! words {
    (
        $type:ty, $what:literal, { $($variant:ident = $word:literal),+ $(,)? }
        $(, also $also:expr)?
    ) => {
        impl $type {
            #[doc = concat!("Every ", $what, ", with the word that stands for it in files.")]
            pub const ALL: &'static [(Self, &'static str)] = &[$((Self::$variant, $word)),+];

            /// The word that stands for it in files.
            pub fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word),+
                }
            }

            #[doc = concat!("The ", $what, " a word stands for.")]
            pub fn from_word(word: &str) -> Option<Self> {
                Self::ALL
                    .iter()
                    .find(|(_, known)| *known == word)
                    .map(|(meant, _)| *meant)
            }
        }

        impl ::serde::Serialize for $type {
            fn serialize<S: ::serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(self.word())
            }
        }

        impl<'de> ::serde::Deserialize<'de> for $type {
            fn deserialize<D: ::serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                let word = <String as ::serde::Deserialize>::deserialize(deserializer)?;
                let unknown = || ::serde::de::Error::custom(format!("{word:?} is no {}", $what));
                Self::from_word(&word).ok_or_else(unknown)
            }
        }

        impl $crate::spanned::Words for $type {
            const WHAT: &'static str = $what;
            const WORDS: &'static [(Self, &'static str)] = Self::ALL;
            $(const ALSO: &'static [(&'static str, &'static str)] = $also;)?
        }
    };
}

pub(crate) use words;

/// The word of the choice that was probably meant: what others call it, or nearly written so.
pub(super) fn meant<W: Words>(written: &str) -> Option<&'static str> {
    let folded = fold(written);
    let also = W::ALSO.iter().find(|(other, _)| fold(other) == folded);
    let known = || W::WORDS.iter().map(|(_, word)| *word);
    also.map(|(_, ours)| *ours)
        .or_else(|| nearest(written, known()))
}

/// The known word nearest to what was written, if any is near.
pub(crate) fn nearest<'w>(written: &str, known: impl Iterator<Item = &'w str>) -> Option<&'w str> {
    let folded = fold(written);
    known
        .map(|word| (strsim::damerau_levenshtein(&folded, &fold(word)), word))
        .filter(|(distance, word)| *distance <= (word.len() / 3).max(1))
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, word)| word)
}

/// Case and the kind of dash are the commonest slips.
fn fold(word: &str) -> String {
    let short: String = word.chars().take(64).collect();
    short.to_lowercase().replace(['_', ' '], "-")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_word_is_found_across_case_and_dashes_and_nothing_far_is_offered() {
        let known = || ["process-value", "setpoint", "output"].into_iter();
        assert_eq!(nearest("Process_Value", known()), Some("process-value"));
        assert_eq!(nearest("setpiont", known()), Some("setpoint"));
        assert_eq!(nearest("voltage", known()), None);
    }
}
