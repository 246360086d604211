//! The least time a poll can take on the wire, worked out from the standard's own figures and by
//! trying every way to cut the points into blocks. Knows nothing of how the line layer plans.

/// Two words and a silence, as Modbus over Serial Line V1.02 has them. Times in microseconds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Wire {
    /// 11 bits, or 10 without parity and with one stop bit (2.5.1).
    pub(crate) character: f64,
    /// 3.5 characters, 1,750 above 19,200 baud (2.5.1.1).
    pub(crate) silence: f64,
    /// From the end of a request to the start of its answer.
    pub(crate) turnaround: f64,
}

/// A request for registers: unit, function, address, count, checksum.
const REQUEST: f64 = 8.0;
/// Its answer without the registers: unit, function, byte count, checksum.
const ANSWER: f64 = 5.0;

/// One point: first register and number of registers, in order of address.
pub(crate) type Point = (u16, u16);

/// What cutting points into blocks must respect.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Rule {
    /// Most registers of a block.
    pub(crate) max_words: u16,
    /// Whether no two blocks may have as many registers.
    pub(crate) lengths_differ: bool,
}

impl Wire {
    pub(crate) fn new(baud: u32, bits: u32, turnaround: f64) -> Self {
        let character = 1e6 * f64::from(bits) / f64::from(baud);
        let silence = if baud > 19_200 {
            1750.0
        } else {
            3.5 * character
        };
        Self {
            character,
            silence,
            turnaround,
        }
    }

    /// Reading these blocks one after the other, from the first request to the end of the last
    /// answer, on a line that was silent before.
    fn reading(self, lengths: &[u16]) -> f64 {
        let read = |length: &u16| {
            let characters = REQUEST + ANSWER + 2.0 * f64::from(*length);
            self.character * characters + self.turnaround
        };
        let silences = lengths.len().saturating_sub(1) as f64 * self.silence;
        lengths.iter().map(read).sum::<f64>() + silences
    }

    /// The least time for reading all points.
    pub(crate) fn least(self, points: &[Point], rule: Rule) -> f64 {
        let cuts = 0..1_u32 << (points.len() - 1);
        let times = cuts.filter_map(|cuts| Some(self.reading(&lengths(points, cuts, rule)?)));
        times.fold(f64::INFINITY, f64::min)
    }
}

/// The lengths of the blocks if the points are cut behind each one whose bit is set; `None` if a block
/// is too long. Lengths that must differ are made so with the fewest registers: in rising order, each
/// at least one more than the one before.
fn lengths(points: &[Point], cuts: u32, rule: Rule) -> Option<Vec<u16>> {
    let mut lengths = Vec::new();
    let mut first = points[0].0;
    for (at, (address, count)) in points.iter().enumerate() {
        let is_last = at + 1 == points.len();
        if is_last || cuts >> at & 1 == 1 {
            lengths.push(address + count - first);
            first = points.get(at + 1).map_or(0, |next| next.0);
        }
    }
    lengths.sort_unstable();
    for at in 1..lengths.len() {
        if rule.lengths_differ {
            lengths[at] = lengths[at].max(lengths[at - 1] + 1);
        }
    }
    let fits = lengths.iter().all(|length| *length <= rule.max_words);
    fits.then_some(lengths)
}
