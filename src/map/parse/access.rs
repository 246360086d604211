//! The `[access]` table: how the controller's registers may be asked for.

use std::time::Duration;

use super::address::Numbering;
use super::keys::{self, MapFile};
use crate::map::model::{Access, ByteOrder, WordOrder};
use crate::spanned::Section;

/// The most registers one read can ask for (Modbus application protocol V1.1b3, 6.3).
pub(super) const MOST_WORDS: i64 = 125;
/// What most small controllers answer at once; common practice, no source.
const USUAL_WORDS: u16 = 8;
/// An answer this late has been seen from no controller; common practice, no source.
const USUAL_LATENESS: Duration = Duration::from_secs(2);

/// What the points stand on.
pub(super) struct Ground {
    pub(super) access: Access,
    pub(super) numbering: Numbering,
}

/// Reads `[access]`; everything in it has a default.
pub(super) fn read(file: &Section<'_>) -> Ground {
    match file.read(&MapFile::ACCESS) {
        Some(section) => {
            let ground = read_section(&section);
            section.finish();
            ground
        }
        None => Ground {
            access: Access::default(),
            numbering: Numbering::default(),
        },
    }
}

fn read_section(section: &Section<'_>) -> Ground {
    use keys::Access as Keys;
    let usual = Access::default();
    let access = Access {
        word_order: section.read(&Keys::WORD_ORDER).unwrap_or_default(),
        byte_order: section.read(&Keys::BYTE_ORDER).unwrap_or_default(),
        max_words: section
            .read(&Keys::MAX_WORDS)
            .map_or(usual.max_words, |words| words as u16),
        bridge_gaps: section
            .read(&Keys::BRIDGE_GAPS)
            .unwrap_or(usual.bridge_gaps),
        gap: section.read(&Keys::GAP).unwrap_or(usual.gap),
        after_write: section
            .read(&Keys::AFTER_WRITE)
            .unwrap_or(usual.after_write),
        late_at_most: section
            .read(&Keys::LATE_AT_MOST)
            .unwrap_or(usual.late_at_most),
    };
    Ground {
        access,
        numbering: section.read(&Keys::ADDRESSES).unwrap_or_default(),
    }
}

impl Default for Access {
    fn default() -> Self {
        Self {
            word_order: WordOrder::default(),
            byte_order: ByteOrder::default(),
            max_words: USUAL_WORDS,
            bridge_gaps: false,
            gap: Duration::ZERO,
            after_write: Duration::ZERO,
            late_at_most: USUAL_LATENESS,
        }
    }
}
