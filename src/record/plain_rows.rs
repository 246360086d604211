//! Rows that look as a recorder writes them, read straight from the bytes.
//!
//! This is what makes a year quick to read. What is read here comes out as the CSV parser and
//! [`Row::parse`](super::rows::Row::parse) read it, to the last bit; a row that looks any different
//! (quotes, CR LF, an exponent, a damaged cell) is left to them, and so are all errors.

use std::str;

use chrono::DateTime;

use super::block::RecordedSample;
use super::day_file::Shape;
use crate::map::Role;
use crate::sample::State;

/// The longest digits (with a point) that are surely below 2^53 and so exact in an `f64`.
const LONGEST_NUMBER: usize = 16;
const POWERS_OF_TEN: [f64; LONGEST_NUMBER] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// Which number of a sample a cell is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Cell {
    ProcessValue,
    Setpoint,
    Output,
    Autotune,
    Other,
}

/// A reader of one file's rows.
pub(super) struct PlainRows {
    /// The cells behind time, elapsed seconds and state.
    cells: Vec<Cell>,
    /// `2027-03-04T06:00:` of the row above, known to be right: of a row in the same minute only the
    /// seconds are looked at.
    minute: [u8; 17],
    elapsed: Elapsed,
    setpoint: Above<f64>,
    autotune: Above<bool>,
}

impl PlainRows {
    pub(super) fn new(shape: &Shape) -> Self {
        let cell = |point| match shape.role(point) {
            Some(Role::ProcessValue) => Cell::ProcessValue,
            Some(Role::Setpoint) => Cell::Setpoint,
            Some(Role::Output) => Cell::Output,
            Some(Role::AutotuneActive) => Cell::Autotune,
            _ => Cell::Other,
        };
        Self {
            cells: (0..shape.points()).map(cell).collect(),
            minute: [0; 17],
            elapsed: Elapsed {
                tens: Above::nothing(0),
            },
            setpoint: Above::nothing(f64::NAN),
            autotune: Above::nothing(false),
        }
    }

    /// The sample of the row at the beginning of `text`, and the row's length with its line end.
    #[inline]
    pub(super) fn row(&mut self, text: &[u8], shape: &Shape) -> Option<(RecordedSample, usize)> {
        self.time(text)?;
        let mut at = 25;
        let (time_s, length) = self.elapsed.read(text.get(at..)?)?;
        at += length + 1;
        if text.get(at - 1) != Some(&b',') {
            return None;
        }
        let (state, length) = state(text.get(at..)?)?;
        at += length;
        let mut sample = RecordedSample {
            time_s,
            pv: f64::NAN,
            setpoint: f64::NAN,
            output: f64::NAN,
            autotune: false,
            state: Some(state),
        };
        for cell in &self.cells {
            if text.get(at) != Some(&b',') {
                return None;
            }
            at += 1;
            let rest = text.get(at..)?;
            at += match cell {
                Cell::ProcessValue => put(value(rest)?, &mut sample.pv),
                Cell::Setpoint => put(self.setpoint.read(rest, value)?, &mut sample.setpoint),
                Cell::Output => put(value(rest)?, &mut sample.output),
                Cell::Autotune => {
                    let status = self.autotune.read(rest, |text| status(text, shape));
                    put(status?, &mut sample.autotune)
                }
                Cell::Other => length_of_any(rest)?,
            };
        }
        (text.get(at) == Some(&b'\n')).then_some((sample, at + 1))
    }

    /// Whether `text` begins with a time in UTC and milliseconds, `2027-03-04T06:00:00.012Z,`.
    #[inline]
    fn time(&mut self, text: &[u8]) -> Option<()> {
        let minute: &[u8; 17] = text.first_chunk()?;
        let seconds: &[u8; 8] = text[17..].first_chunk()?;
        let [tens, ones, b'.', a, b, c, b'Z', b','] = seconds else {
            return None;
        };
        let are_digits = [tens, ones, a, b, c].into_iter().all(u8::is_ascii_digit);
        if !are_digits || *tens > b'5' {
            return None;
        }
        if self.minute != *minute {
            DateTime::parse_from_rfc3339(str::from_utf8(&text[..24]).ok()?).ok()?;
            self.minute = *minute;
        }
        Some(())
    }
}

/// Elapsed seconds: nine times in ten all digits but the last ones are those of the row above.
struct Elapsed {
    /// The digits before the last one, and the number they are.
    tens: Above<u32>,
}

impl Elapsed {
    /// The number at the beginning of `text`, and its length.
    #[inline]
    fn read(&mut self, text: &[u8]) -> Option<(f64, usize)> {
        if let Some((tens, length)) = self.tens.repeated(text)
            && let [ones, b'.', a, b, c, b',', ..] = &text[length..]
            && [ones, a, b, c].into_iter().all(u8::is_ascii_digit)
        {
            let milliseconds = [ones, a, b, c]
                .into_iter()
                .fold(u64::from(tens), |number, digit| {
                    10 * number + u64::from(digit - b'0')
                });
            return Some((milliseconds as f64 / 1e3, length + 5));
        }
        let (seconds, length) = number(text)?;
        let begin = length.saturating_sub(5);
        let tens = str::from_utf8(&text[..begin]).ok();
        if let Some(tens) = tens.and_then(|it| it.parse().ok()) {
            self.tens.keep(text, begin, (tens, begin));
        }
        Some((seconds, length))
    }
}

/// The beginning of a text that is mostly that of the row above.
struct Above<T> {
    /// Up to eight bytes, and 0 behind them.
    bytes: u64,
    /// Which of eight bytes they are.
    mask: u64,
    /// What they say, and how many of them do.
    said: (T, usize),
}

impl<T: Copy> Above<T> {
    /// Like no text.
    fn nothing(value: T) -> Self {
        Self {
            bytes: 1,
            mask: 0,
            said: (value, 0),
        }
    }

    /// What `text` says, if it begins like the one above.
    #[inline]
    fn repeated(&self, text: &[u8]) -> Option<(T, usize)> {
        let begin = u64::from_le_bytes(*text.first_chunk()?);
        (begin & self.mask == self.bytes).then_some(self.said)
    }

    /// The value and the length of the cell at the beginning of `text`.
    #[inline]
    fn read(
        &mut self,
        text: &[u8],
        parse: impl FnOnce(&[u8]) -> Option<(T, usize)>,
    ) -> Option<(T, usize)> {
        if let Some(known) = self.repeated(text) {
            return Some(known);
        }
        let said = parse(text)?;
        // With its separator: another cell may begin alike.
        self.keep(text, said.1 + 1, said);
        Some(said)
    }

    /// Takes what the first bytes of `text` say, unless they are too many.
    fn keep(&mut self, text: &[u8], bytes: usize, said: (T, usize)) {
        if let (1..=8, Some(begin)) = (bytes, text.first_chunk()) {
            let mask = u64::MAX >> (64 - 8 * bytes);
            *self = Self {
                bytes: u64::from_le_bytes(*begin) & mask,
                mask,
                said,
            };
        }
    }
}

/// The state at the beginning of `text`, and the length of its word.
#[inline]
fn state(text: &[u8]) -> Option<(State, usize)> {
    if text.starts_with(b"good,") {
        return Some((State::Good, 4));
    }
    let length = length_of_any(text)?;
    let word = str::from_utf8(&text[..length]).ok()?;
    Some((State::from_word(word)?, length))
}

/// Puts a value where it belongs and gives its length back.
#[inline]
fn put<T>((value, length): (T, usize), into: &mut T) -> usize {
    *into = value;
    length
}

/// The number of the cell at the beginning of `text`, NaN where it is empty; and the cell's length.
#[inline]
fn value(text: &[u8]) -> Option<(f64, usize)> {
    match text.first()? {
        b',' | b'\n' => Some((f64::NAN, 0)),
        _ => number(text),
    }
}

/// Whether the cell at the beginning of `text` says that an autotune is under way, and its length.
fn status(text: &[u8], shape: &Shape) -> Option<(bool, usize)> {
    let length = length_of_any(text)?;
    let cell = str::from_utf8(&text[..length]).ok()?;
    Some((shape.is_active(cell), length))
}

/// The length of the cell at the beginning of `text`, if nothing in it needs a CSV parser.
fn length_of_any(text: &[u8]) -> Option<usize> {
    let is_end = |byte: &u8| matches!(byte, b',' | b'\n');
    let length = text.iter().position(is_end)?;
    let is_plain = |byte: &u8| matches!(byte, b' '..=b'~') && *byte != b'"';
    text[..length].iter().all(is_plain).then_some(length)
}

/// The number without exponent at the beginning of `text`, and its length.
///
/// Whole digits and a power of ten that are exact as `f64` give, divided, the `f64` nearest to the
/// number, which is what `str::parse` gives (Clinger, How to read floating point numbers accurately,
/// 1990).
#[inline]
fn number(text: &[u8]) -> Option<(f64, usize)> {
    // Most numbers of a loop look like one of these two; there is no quicker way to read them.
    let digit = |byte: u8| i32::from(byte.wrapping_sub(b'0'));
    match *text {
        [a, b, c, b'.', d, b',' | b'\n', ..] if [a, b, c, d].iter().all(u8::is_ascii_digit) => {
            let tenths = 1000 * digit(a) + 100 * digit(b) + 10 * digit(c) + digit(d);
            Some((f64::from(tenths) / 10.0, 5))
        }
        [a, b, b'.', c, b',' | b'\n', ..] if [a, b, c].iter().all(u8::is_ascii_digit) => {
            let tenths = 100 * digit(a) + 10 * digit(b) + digit(c);
            Some((f64::from(tenths) / 10.0, 4))
        }
        _ => any_number(text),
    }
}

fn any_number(text: &[u8]) -> Option<(f64, usize)> {
    let begin = usize::from(*text.first()? == b'-');
    let (mut digits, mut point, mut at) = (0_u64, None, begin);
    loop {
        match *text.get(at)? {
            digit @ b'0'..=b'9' => {
                // Wraps only where the number turns out to be too long.
                digits = digits
                    .wrapping_mul(10)
                    .wrapping_add(u64::from(digit - b'0'));
            }
            b'.' if point.is_none() => point = Some(at),
            _ => break,
        }
        at += 1;
    }
    let length = at - begin;
    let (whole, decimals) = match point {
        Some(point) => (point - begin, at - point - 1),
        None => (length, 0),
    };
    if length > LONGEST_NUMBER || whole == 0 || (point.is_some() && decimals == 0) {
        return None;
    }
    let value = digits as f64 / POWERS_OF_TEN[decimals];
    Some((if begin == 1 { -value } else { value }, at))
}
