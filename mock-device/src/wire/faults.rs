//! What goes wrong on a real line, by seeded chance or by script.

mod damage;

use std::collections::BTreeMap;
use std::fmt;
use std::ops::RangeInclusive;
use std::str::FromStr;
use std::time::Duration;

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;

use super::crc::sealed;

/// One way in which an exchange goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// The answer comes, but seconds late.
    Late,
    /// The answer does not come.
    Lost,
    /// The answer's end is missing.
    Truncated,
    /// Up to three flipped bits, or one burst of at most 16: what CRC-16 always catches.
    Corrupted,
    /// The answer comes twice.
    Duplicated,
    /// An answer of another unit, whole and with a right check, comes before it.
    Foreign,
    /// A few random bytes come before it.
    Noise,
    /// The adapter sends the request back before the answer.
    Echo,
    /// The unit refuses, for once.
    Exception,
}

impl Fault {
    /// Every kind.
    pub const ALL: [Self; 9] = [
        Self::Late,
        Self::Lost,
        Self::Truncated,
        Self::Corrupted,
        Self::Duplicated,
        Self::Foreign,
        Self::Noise,
        Self::Echo,
        Self::Exception,
    ];

    /// Its name on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Self::Late => "late",
            Self::Lost => "lost",
            Self::Truncated => "truncated",
            Self::Corrupted => "corrupted",
            Self::Duplicated => "duplicated",
            Self::Foreign => "foreign",
            Self::Noise => "noise",
            Self::Echo => "echo",
            Self::Exception => "exception",
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

impl FromStr for Fault {
    type Err = String;

    fn from_str(name: &str) -> Result<Self, String> {
        let found = Self::ALL.into_iter().find(|fault| fault.name() == name);
        found.ok_or_else(|| {
            let names = Self::ALL.map(Self::name).join(", ");
            format!("'{name}' is no fault; there are {names}")
        })
    }
}

/// Something put on the wire.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sending {
    /// How long after what was sent before it.
    pub after: Duration,
    /// What.
    pub bytes: Vec<u8>,
}

impl Sending {
    pub(super) fn at_once(bytes: Vec<u8>) -> Self {
        Self {
            after: Duration::ZERO,
            bytes,
        }
    }
}

/// Decides, answer by answer, what goes wrong. Kinds are drawn independently, so that several can
/// meet in one exchange; only a truncated answer is not corrupted as well, because then the check
/// might pass by chance.
#[derive(Clone, Debug)]
pub struct Faults {
    chances: BTreeMap<Fault, f64>,
    /// How late a late answer is.
    pub lateness: RangeInclusive<Duration>,
    script: BTreeMap<u64, Vec<Fault>>,
    exchanges: u64,
    random: ChaCha8Rng,
}

impl Faults {
    /// None at all, until chances are given or a script is written; `seed` decides when they happen.
    pub fn new(seed: u64) -> Self {
        Self {
            chances: BTreeMap::new(),
            lateness: Duration::from_millis(300)..=Duration::from_millis(1900),
            script: BTreeMap::new(),
            exchanges: 0,
            random: ChaCha8Rng::seed_from_u64(seed),
        }
    }

    /// Lets `fault` happen with this chance (0 to 1) in every exchange.
    #[must_use]
    pub fn with(mut self, fault: Fault, chance: f64) -> Self {
        self.chances.insert(fault, chance.clamp(0.0, 1.0));
        self
    }

    /// Lets `fault` happen in exchange number `exchange`, counted from 0 over the whole wire.
    #[must_use]
    pub fn at(mut self, exchange: u64, fault: Fault) -> Self {
        self.script.entry(exchange).or_default().push(fault);
        self
    }

    /// Exchanges so far.
    pub fn exchanges(&self) -> u64 {
        self.exchanges
    }

    /// What is sent for this request and the answer to it, both whole frames with their check.
    pub fn sendings(&mut self, request: &[u8], answer: Vec<u8>) -> Vec<Sending> {
        let happening = self.draw();
        let has = |fault| happening.contains(&fault);
        let mut sendings = Vec::new();
        if has(Fault::Noise) {
            sendings.push(Sending::at_once(damage::noise(&mut self.random)));
        }
        if has(Fault::Echo) {
            sendings.push(Sending::at_once(request.to_vec()));
        }
        if has(Fault::Foreign) {
            sendings.push(Sending::at_once(damage::foreign(&answer)));
        }
        if has(Fault::Lost) {
            return sendings;
        }
        let sent = self.damaged(request, answer, &happening);
        let after = if has(Fault::Late) {
            self.random.random_range(self.lateness.clone())
        } else {
            Duration::ZERO
        };
        if has(Fault::Duplicated) {
            sendings.push(Sending {
                after,
                bytes: sent.clone(),
            });
            sendings.push(Sending::at_once(sent));
        } else {
            sendings.push(Sending { after, bytes: sent });
        }
        sendings
    }

    /// What happens in this exchange; always as many draws, so that one chance does not shift when
    /// another fault happens.
    fn draw(&mut self) -> Vec<Fault> {
        let mut happening = self.script.remove(&self.exchanges).unwrap_or_default();
        self.exchanges += 1;
        for fault in Fault::ALL {
            let chance = self.chances.get(&fault).copied().unwrap_or(0.0);
            if self.random.random::<f64>() < chance {
                happening.push(fault);
            }
        }
        happening
    }

    fn damaged(&mut self, request: &[u8], answer: Vec<u8>, happening: &[Fault]) -> Vec<u8> {
        let mut frame = answer;
        if let ([unit, function, ..], true) = (request, happening.contains(&Fault::Exception)) {
            frame = sealed(vec![*unit, function | 0x80, damage::BUSY]);
        }
        if happening.contains(&Fault::Truncated) {
            damage::truncate(&mut frame, &mut self.random);
        } else if happening.contains(&Fault::Corrupted) {
            damage::corrupt(&mut frame, &mut self.random);
        }
        frame
    }
}

#[cfg(test)]
mod tests;
