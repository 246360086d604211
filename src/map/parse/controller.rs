//! What the map says about the controller as a whole: `[tuning]`, `[autotune]`, `[unlock]`,
//! `[persist]`, `[on_lost_communication]`.

use super::keys::{self, LostCommunication, MapFile, Persist, Unlock};
use super::point::{Entry, Points};
use crate::map::model::{AutotuneHabit, LostOutput, Proportional, TuningForm, Written};
use crate::number::Number;
use crate::spanned::Section;

/// Reads `[tuning]`.
pub(super) fn tuning(file: &Section<'_>) -> Option<TuningForm> {
    use keys::Tuning as Keys;
    let section = file.read(&MapFile::TUNING)?;
    let form = section.require(&Keys::FORM);
    let proportional = section.require(&Keys::PROPORTIONAL);
    let span = section.read(&Keys::SPAN);
    let integral = section.require(&Keys::INTEGRAL);
    let derivative = section.require(&Keys::DERIVATIVE);
    section.finish();
    if proportional == Some(Proportional::BandPercent) && !section.has(&Keys::SPAN) {
        let help = "add span = [lowest, highest] of the input, for example [0.0, 800.0]";
        section.note_structure(
            "a band in percent needs the 'span' it is a percentage of",
            help,
        );
    }
    Some(TuningForm {
        form: form?,
        proportional: proportional?,
        span,
        integral: integral?,
        derivative: derivative?,
    })
}

/// Reads `[autotune]`.
pub(super) fn autotune(file: &Section<'_>) -> Option<AutotuneHabit> {
    let section = file.read(&MapFile::AUTOTUNE)?;
    let swings = section.require(&keys::Autotune::SWINGS);
    let tunes_at = section.require(&keys::Autotune::TUNES_AT);
    section.finish();
    Some(AutotuneHabit {
        swings: swings? as u8,
        tunes_at: tunes_at?,
    })
}

/// Reads `[on_lost_communication]`.
pub(super) fn on_lost_communication(file: &Section<'_>) -> LostOutput {
    let Some(section) = file.read(&MapFile::ON_LOST) else {
        return LostOutput::default();
    };
    let output = section.read(&LostCommunication::OUTPUT);
    section.finish();
    output.unwrap_or_default()
}

/// Reads `[unlock]`: what is written before a change, and after.
pub(super) fn unlock(file: &Section<'_>, points: &Points<'_>) -> (Vec<Written>, Vec<Written>) {
    let Some(section) = file.read(&MapFile::UNLOCK) else {
        return Default::default();
    };
    let before = written(section.read(&Unlock::BEFORE), points);
    let after = written(section.read(&Unlock::AFTER), points);
    section.finish();
    (before, after)
}

/// Reads `[persist]`: what is written to keep changes over power-off.
pub(super) fn persist(file: &Section<'_>, points: &Points<'_>) -> Vec<Written> {
    let Some(section) = file.read(&MapFile::PERSIST) else {
        return Vec::new();
    };
    let found = written(section.read(&Persist::WRITE), points);
    section.finish();
    found
}

fn written(listed: Option<Vec<Section<'_>>>, points: &Points<'_>) -> Vec<Written> {
    let sections = listed.unwrap_or_default();
    let read = |section: &Section<'_>| one_written(section, points);
    sections.iter().filter_map(read).collect()
}

fn one_written(section: &Section<'_>, points: &Points<'_>) -> Option<Written> {
    use keys::Written as Keys;
    let name = section.require(&Keys::POINT);
    let value = section.require(&Keys::VALUE);
    section.finish();
    let (name, value) = (name?, value?);
    if let Some(entry) = points.named(&section.get(&Keys::POINT)?) {
        check_written(section, entry, Number::Decimal(value));
    }
    Some(Written { point: name, value })
}

fn check_written(section: &Section<'_>, entry: &Entry<'_>, value: Number) {
    let point = &entry.point;
    if point.write.is_none() && !point.place.table.is_writable() {
        let what = format!("table {:?} cannot be written", point.place.table.word());
        section.note_structure(&what, "name a point in table holding or coil");
    }
    // How many decimals another point will give is known on the line only.
    let Some(scale) = point.scaling.fixed() else {
        return;
    };
    if let Err(problem) = point.raw_of(value, scale) {
        let help = "check the value and the point's scale";
        section.note_at(&keys::Written::VALUE, &problem.to_string(), help);
    }
}
