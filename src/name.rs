//! Names of loops, lines and points.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

/// The name of a loop, a line or a point: letters, digits, `.`, `_` and `-`, at least one.
///
/// Such a name can stand in a file name, a CSV header and a command line without quoting.
///
/// ```
/// use emberline::name::Name;
/// assert_eq!("annealer-top".parse::<Name>().unwrap().as_str(), "annealer-top");
/// assert!("annealer top".parse::<Name>().is_err());
/// ```
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Name(Arc<str>);

/// A [`Name`] as a regular expression.
pub(crate) const PATTERN: &str = "^[A-Za-z0-9._-]*[A-Za-z0-9_-][A-Za-z0-9._-]*$";

/// Whether Windows lets no folder have this name: it means a device there, or its last dots are dropped
/// (Microsoft, "Naming Files, Paths, and Namespaces"). Recordings of other systems may have such loops.
pub(crate) fn no_folder_on_windows(name: &str) -> bool {
    let stem = name.split('.').next().unwrap_or_default();
    let stem = stem.to_ascii_lowercase();
    let is_numbered = |kind| {
        let number = stem.strip_prefix(kind).unwrap_or_default();
        matches!(number.as_bytes(), [b'1'..=b'9'])
    };
    matches!(stem.as_str(), "con" | "prn" | "aux" | "nul")
        || is_numbered("com")
        || is_numbered("lpt")
        || name.ends_with('.')
}

impl Name {
    /// The name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for Name {
    type Err = BadName;

    fn from_str(text: &str) -> Result<Self, BadName> {
        let allowed = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '_' | '-');
        // A name becomes a folder: `.` and `..` mean something else there.
        let is_dots = text.chars().all(|c| c == '.');
        if is_dots || !text.chars().all(allowed) {
            return Err(BadName(text.to_owned()));
        }
        Ok(Self(text.into()))
    }
}

/// A text that cannot be a [`Name`].
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} cannot be a name: use letters, digits, '.', '_' and '-'")]
pub struct BadName(pub String);

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl fmt::Debug for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&self.0, f)
    }
}

impl serde::Serialize for Name {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0)
    }
}

impl<'de> serde::Deserialize<'de> for Name {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_windows_keeps_for_itself_are_known() {
        for name in ["aux", "Con", "nul.top", "COM3", "lpt9.oven", "top."] {
            assert!(no_folder_on_windows(name), "{name}");
        }
        for name in ["aux-1", "com", "com0", "com10", "comb", "oven.con", "top"] {
            assert!(!no_folder_on_windows(name), "{name}");
        }
    }
}
