//! The dangers of one loop, until a person has seen them.

use crate::notice::{DangerWatch, Peril};
use crate::sample::Sample;

/// A danger that was seen.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Danger {
    peril: Peril,
    is_acknowledged: bool,
    is_over: bool,
}

/// The dangers of one loop; each stays until a person has acknowledged it.
#[derive(Clone, Debug)]
pub(super) struct Dangers {
    watch: DangerWatch,
    seen: Vec<Danger>,
}

impl Dangers {
    pub(super) fn new(watch: DangerWatch) -> Self {
        Self {
            watch,
            seen: Vec::new(),
        }
    }

    /// Takes a sample in; says whether there is a new one.
    pub(super) fn take(&mut self, sample: &Sample) -> bool {
        self.watch.on(sample);
        let mut is_new = false;
        for peril in Peril::ALL {
            let holds = self.watch.holds(peril);
            match self.seen.iter_mut().find(|danger| danger.peril == peril) {
                Some(danger) => danger.is_over = !holds,
                None if holds => {
                    is_new = true;
                    self.seen.push(Danger {
                        peril,
                        is_acknowledged: false,
                        is_over: false,
                    });
                }
                None => {}
            }
        }
        self.forget();
        is_new
    }

    /// A person has seen them all.
    pub(super) fn acknowledge(&mut self) {
        for danger in &mut self.seen {
            danger.is_acknowledged = true;
        }
        self.forget();
    }

    /// Those that nobody has acknowledged.
    pub(super) fn open(&self) -> impl Iterator<Item = Peril> {
        let open = self.seen.iter().filter(|danger| !danger.is_acknowledged);
        open.map(|danger| danger.peril)
    }

    fn forget(&mut self) {
        self.seen
            .retain(|danger| !(danger.is_acknowledged && danger.is_over));
    }
}
