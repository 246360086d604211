//! What the screen must say about itself.

/// What the screen must say about itself.
#[derive(Clone, Debug, Default)]
pub(super) struct Remarks {
    /// Entries that came faster than the screen could take them.
    pub(super) missed: u64,
    /// No more news will come.
    pub(super) is_over: bool,
    /// What the person asked for last reached nobody.
    pub(super) was_unheard: bool,
    /// Advice for the start, until a key is pressed.
    pub(super) has_advice: bool,
}

/// A line the screen says about itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Notice {
    pub(super) text: String,
    /// Whether it is trouble rather than advice.
    pub(super) is_trouble: bool,
}

impl Notice {
    /// A line about something that is wrong.
    pub(super) fn trouble(text: String) -> Self {
        Self {
            text,
            is_trouble: true,
        }
    }

    /// A line that helps.
    pub(super) fn remark(text: String) -> Self {
        Self {
            text,
            is_trouble: false,
        }
    }
}

impl Remarks {
    /// What is to be said now, worst first.
    pub(super) fn notices(&self) -> Vec<Notice> {
        let mut notices = Vec::new();
        if self.is_over {
            let text = "Polling has ended: nothing more will come. q leaves the screen.";
            notices.push(Notice::trouble(text.to_owned()));
        }
        if self.missed > 0 {
            notices.push(Notice::trouble(format!(
                "This screen was too slow and missed {} entries: its trend has gaps.",
                self.missed
            )));
        }
        if self.was_unheard {
            let text = "Nobody took that up, so nothing was written. Try it again.";
            notices.push(Notice::trouble(text.to_owned()));
        }
        if self.has_advice {
            let text = "Emberline watches, it does not protect: keep an independent cut-out.";
            notices.push(Notice::remark(text.to_owned()));
        }
        notices
    }
}
