//! What the screen must say about itself.

/// What the screen must say about itself.
#[derive(Clone, Debug, Default)]
pub(super) struct Remarks {
    /// Entries that came faster than the screen could take them.
    pub(super) missed: u64,
    /// No more news will come.
    pub(super) is_over: bool,
    /// Why nothing came of what the person asked for last.
    pub(super) refusal: Option<Refusal>,
    /// Advice for the start, until a key is pressed.
    pub(super) has_advice: bool,
}

/// Why nothing came of what a person asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Refusal {
    /// It reached nobody.
    Unheard,
    /// It would make a hole in a recording.
    Recording,
    /// Another program writes the recording.
    MarkElsewhere,
}

impl Refusal {
    fn in_words(self) -> &'static str {
        match self {
            Self::Unheard => "Nobody took that up, so nothing was written. Try it again.",
            Self::MarkElsewhere => {
                "Another program records: emberline mark RECORDING \"door opened\", on its machine."
            }
            Self::Recording => {
                "Ctrl-Z would stop the recording too, so nothing was done. q leaves."
            }
        }
    }
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
        if let Some(refusal) = self.refusal {
            notices.push(Notice::trouble(refusal.in_words().to_owned()));
        }
        if self.has_advice {
            let text = "Emberline watches, it does not protect: keep an independent cut-out.";
            notices.push(Notice::remark(text.to_owned()));
        }
        notices
    }
}
