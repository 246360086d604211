//! What flows from the line to everybody else: samples, settings and events. Plain data, no I/O.

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use crate::clock::Stamp;
use crate::name::Name;
use crate::number::Number;
use crate::unit::{Degrees, Quantity, in_degrees};

/// Anything that goes into a recording or onto the screen, in the order it happened.
#[derive(Clone, Debug, PartialEq)]
pub enum Entry {
    /// One scheduled poll of one loop.
    Sample(Sample),
    /// The slow points of one loop.
    Settings(Settings),
    /// Something that happened.
    Event(Event),
    /// How well a unit answers.
    Health(Health),
}

/// What one scheduled poll of one loop gave. There is one for *every* scheduled poll, good or not.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    /// The loop that was polled.
    pub of: Name,
    /// When the process value's answer arrived, or when the poll was due if none came.
    pub stamp: Stamp,
    /// What came of the poll.
    pub state: State,
    /// One reading for each trend point of the loop's map, in the map's order.
    pub readings: Arc<[Reading]>,
    /// The unit of each reading.
    pub units: Units,
}

/// The unit of each reading of a sample or of settings, `None` for one that has none. Where a point
/// gives the unit it is what that said last, and `None` until it has been read.
pub type Units = Arc<[Option<Arc<str>>]>;

/// What came of a poll; the `state` column of a recording.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Every point came.
    Good,
    /// Some points are missing; those that came are there.
    Partial,
    /// The controller itself reports a fault of the process value.
    Faulty,
    /// Nothing came, and why.
    Absent(Why),
}

/// Why a value is not there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    /// The unit sent nothing in time.
    NoAnswer,
    /// What came was broken: wrong checksum or length.
    Damaged,
    /// The unit answered with an exception; its code is kept.
    Refused(u8),
    /// Only somebody else answered.
    Foreign,
    /// The line had no time for this poll.
    Skipped,
    /// The port or the connection is gone.
    PortLost,
    /// The recorder was down or the machine asleep.
    NotRunning,
}

/// One point at one time.
#[derive(Clone, Debug, PartialEq)]
pub enum Reading {
    /// A value.
    Good(Number),
    /// The controller answered, but with something that is no value.
    Fault(Fault),
    /// No answer for this point.
    Absent(Why),
}

/// Why an answered point has no value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// In words: the map's meaning of the raw value ("sensor open"), or what is impossible about it.
    pub meaning: Arc<str>,
    /// The registers as they came.
    pub raw: Vec<u16>,
}

impl Sample {
    /// The same with every temperature in one unit, where one of them is in another; `quantities`
    /// tells of each reading how its degrees convert.
    pub fn in_degrees(&self, to: Degrees, quantities: &[Quantity]) -> Option<Self> {
        let (mut readings, mut units) = (self.readings.to_vec(), self.units.to_vec());
        let mut differs = false;
        let points = readings.iter_mut().zip(&mut units).zip(quantities);
        for ((reading, unit), quantity) in points {
            if let (Reading::Good(number), Some(own)) = (&mut *reading, &*unit)
                && let Some((shown, other)) = in_degrees(*number, own, to, *quantity)
            {
                *number = shown;
                *unit = Some(other.into());
                differs = true;
            }
        }
        differs.then(|| Self {
            readings: readings.into(),
            units: units.into(),
            ..self.clone()
        })
    }
}

/// What is known of units after news: what the news does not tell stays.
pub(crate) fn with_news(known: &Units, news: &Units) -> Units {
    let merged = known.iter().zip(news.iter());
    let merged = merged.map(|(known, new)| new.as_ref().or(known.as_ref()));
    if merged.clone().eq(known.iter().map(Option::as_ref)) {
        return known.clone();
    }
    merged.map(Option::<&Arc<str>>::cloned).collect()
}

/// The slow points of a loop, as read together.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The loop that was read.
    pub of: Name,
    /// When the reading ended.
    pub stamp: Stamp,
    /// Why now.
    pub cause: SettingsCause,
    /// One reading for each settings point of the loop's map, in the map's order.
    pub readings: Arc<[Reading]>,
    /// The unit of each reading.
    pub units: Units,
}

/// Why settings were read or written down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SettingsCause {
    /// The recording began.
    Start,
    /// A regular look found a difference.
    Changed,
    /// An autotune ended.
    AutotuneEnded,
    /// The recording ended.
    End,
}

/// How well a loop's unit has answered since polling began.
#[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Health {
    /// The loop.
    pub of: Name,
    /// When this was so; means nothing to another process.
    #[serde(skip)]
    pub stamp: Stamp,
    /// Exchanges that were answered, refusals included.
    pub answered: u64,
    /// Exchanges that were not, by reason.
    pub lost: Vec<(Why, u64)>,
    /// How often an exchange ended otherwise than the one before it: an answer after a loss, or a
    /// loss after an answer.
    pub alternations: u64,
    /// From the end of a request to the end of its answer; `None` before the first answer.
    pub answer_times: Option<AnswerTimes>,
    /// The longest time without an answer.
    pub longest_silence: Duration,
    /// Share of the line's time this loop took, 0 to 1.
    pub line_share: f64,
}

/// Answer times, to within 5 %.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct AnswerTimes {
    /// Half of the answers took less.
    pub median: Duration,
    /// 95 % took less.
    pub p95: Duration,
    /// 99 % took less.
    pub p99: Duration,
    /// The slowest of all.
    pub slowest: Duration,
}

/// Something that happened, on the time axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// The loop it concerns; `None` concerns every loop.
    pub of: Option<Name>,
    /// When.
    pub stamp: Stamp,
    /// What.
    pub what: Happening,
    /// A sentence for people, without the time and the loop.
    pub text: String,
}

/// The kinds of event; the `event` column of `events.csv`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Happening {
    /// The recording began.
    RecordingBegan,
    /// The recording ended in order.
    RecordingEnded,
    /// The recorder was started again on a recording that was not closed.
    Restarted,
    /// The system's clock was set, or has drifted away: `time` was anchored anew.
    ClockStep,
    /// The machine slept, or the program was stopped.
    Suspended,
    /// A person's note.
    Mark,
    /// The setpoint moved.
    SetpointChanged,
    /// A slow point moved.
    SettingsChanged,
    /// The controller began to tune itself.
    AutotuneBegan,
    /// It stopped, its three numbers changed, and it controls again.
    AutotuneTuned,
    /// It stopped and its three numbers are as before.
    AutotuneUnchanged,
    /// It stopped, and whether it tuned cannot be known from this map.
    AutotuneUnknown,
    /// The process value stayed in the band after the setpoint moved, a tune ended or it had left.
    Settled,
    /// It left the band by itself.
    LeftBand,
    /// Full output for long, and the process value does not rise.
    NoResponse,
    /// No output for long, and the process value rises.
    HeatingWithoutOutput,
    /// The sensor has failed while the output is on.
    HeatingWithoutSensor,
    /// The process value is at a fault.
    FaultBegan,
    /// The process value is a value again.
    FaultEnded,
    /// The unit does not answer.
    AnswersLost,
    /// The unit answers again.
    AnswersBack,
    /// The port or connection was lost.
    PortLost,
    /// The port or connection is back.
    PortBack,
    /// A command that was to run on an event failed.
    CommandFailed,
    /// The disk will be full before long.
    DiskLow,
    /// The disk takes no more rows; they are kept in memory.
    DiskFailed,
    /// Everything in memory was written.
    DiskBack,
    /// Rows did not fit into memory either.
    RowsDropped,
}

impl Entry {
    /// When it was.
    pub fn stamp(&self) -> Stamp {
        match self {
            Self::Sample(sample) => sample.stamp,
            Self::Settings(settings) => settings.stamp,
            Self::Event(event) => event.stamp,
            Self::Health(health) => health.stamp,
        }
    }
}

impl State {
    /// Every state, with the word that stands for it; the code of an exception is not in its word.
    const WORDS: [(Self, &'static str); 10] = [
        (Self::Good, "good"),
        (Self::Partial, "partial"),
        (Self::Faulty, "faulty"),
        (Self::Absent(Why::NoAnswer), "no-answer"),
        (Self::Absent(Why::Damaged), "damaged"),
        (Self::Absent(Why::Refused(0)), "refused"),
        (Self::Absent(Why::Foreign), "foreign"),
        (Self::Absent(Why::Skipped), "skipped"),
        (Self::Absent(Why::PortLost), "port-lost"),
        (Self::Absent(Why::NotRunning), "not-running"),
    ];

    /// Whether the process value of this sample may be used, if it is there.
    pub fn has_process_value(self) -> bool {
        matches!(self, Self::Good | Self::Partial)
    }

    /// The state a word of the `state` column stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::WORDS
            .iter()
            .find(|(_, known)| *known == word)
            .map(|(state, _)| *state)
    }

    /// The word in the `state` column.
    pub fn word(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Partial => "partial",
            Self::Faulty => "faulty",
            Self::Absent(why) => why.word(),
        }
    }
}

impl Why {
    /// The word in the `state` column.
    pub fn word(self) -> &'static str {
        match self {
            Self::NoAnswer => "no-answer",
            Self::Damaged => "damaged",
            Self::Refused(_) => "refused",
            Self::Foreign => "foreign",
            Self::Skipped => "skipped",
            Self::PortLost => "port-lost",
            Self::NotRunning => "not-running",
        }
    }
}

impl SettingsCause {
    /// The cause a word of `settings.csv` stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Start, Self::Changed, Self::AutotuneEnded, Self::End]
            .into_iter()
            .find(|cause| cause.word() == word)
    }

    /// The word in `settings.csv`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Changed => "changed",
            Self::AutotuneEnded => "autotune-ended",
            Self::End => "end",
        }
    }
}

impl Happening {
    /// Every kind, with the word that stands for it in `events.csv`.
    pub const ALL: [(Self, &'static str); 28] = [
        (Self::RecordingBegan, "recording-began"),
        (Self::RecordingEnded, "recording-ended"),
        (Self::Restarted, "restart"),
        (Self::ClockStep, "clock-step"),
        (Self::Suspended, "suspend"),
        (Self::Mark, "mark"),
        (Self::SetpointChanged, "setpoint-changed"),
        (Self::SettingsChanged, "settings-changed"),
        (Self::AutotuneBegan, "autotune-began"),
        (Self::AutotuneTuned, "autotune-tuned"),
        (Self::AutotuneUnchanged, "autotune-unchanged"),
        (Self::AutotuneUnknown, "autotune-unknown"),
        (Self::Settled, "settled"),
        (Self::LeftBand, "left-band"),
        (Self::NoResponse, "no-response"),
        (Self::HeatingWithoutOutput, "heating-without-output"),
        (Self::HeatingWithoutSensor, "heating-without-sensor"),
        (Self::FaultBegan, "fault-began"),
        (Self::FaultEnded, "fault-ended"),
        (Self::AnswersLost, "answers-lost"),
        (Self::AnswersBack, "answers-back"),
        (Self::PortLost, "port-lost"),
        (Self::PortBack, "port-back"),
        (Self::CommandFailed, "command-failed"),
        (Self::DiskLow, "disk-low"),
        (Self::DiskFailed, "disk-failed"),
        (Self::DiskBack, "disk-back"),
        (Self::RowsDropped, "rows-dropped"),
    ];

    /// The word in `events.csv`.
    pub fn word(self) -> &'static str {
        Self::ALL
            .iter()
            .find(|(kind, _)| *kind == self)
            .map_or("", |(_, word)| word)
    }

    /// The kind a word of `events.csv` stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL
            .iter()
            .find(|(_, known)| *known == word)
            .map(|(kind, _)| *kind)
    }
}

impl Reading {
    /// The value, if there is one.
    pub fn number(&self) -> Option<Number> {
        match self {
            Self::Good(number) => Some(*number),
            Self::Fault(_) | Self::Absent(_) => None,
        }
    }

    /// The value for calculations, if there is one.
    pub fn value(&self) -> Option<f64> {
        self.number().map(Number::as_f64)
    }
}

impl fmt::Display for Reading {
    /// The value, or nothing: a cell of a recording.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Good(number) => number.fmt(f),
            Self::Fault(_) | Self::Absent(_) => Ok(()),
        }
    }
}
