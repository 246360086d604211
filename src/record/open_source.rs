//! What an analysis command reads: a recording, one loop of it, or any CSV, opened and its rows not yet
//! read. This is the one reader: [`OpenLoop::samples`] streams, [`OpenSource::read`] collects what
//! comes.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::ahead::Job;
use super::block::RowCounts;
use super::csv_columns::CsvColumns;
use super::csv_source::{CsvRows, CsvShape, open_csv};
use super::day_file::{DayFile, Shape};
use super::read_error::ReadError;
use super::recording_source::open_recording;
use super::samples::Samples;
use super::source::{LoopRecord, RecordedEvent, RecordedSetting, RecordingFacts, Source};
use super::wall::WallClock;

/// A source whose samples can be read.
#[derive(Debug)]
pub struct OpenSource {
    /// What it is called: the recording's folder or the file's name, without the way to it.
    pub name: String,
    /// What a recording says about itself; `None` for a plain CSV.
    pub facts: Option<RecordingFacts>,
    /// Its loops, in the setup's order.
    pub loops: Vec<OpenLoop>,
    /// What had to be assumed or left out so far, in sentences for people.
    pub notes: Vec<String>,
}

/// One loop whose samples can be read.
#[derive(Clone, Debug)]
pub struct OpenLoop {
    /// The loop's name, or the file's.
    pub name: String,
    /// The controller's title, from its map.
    pub controller: Option<String>,
    /// Unit of the process value.
    pub unit: Option<String>,
    /// The band of the setup, in that unit.
    pub band: Option<f64>,
    /// Wall time beside the seconds of its samples, where it is known.
    pub wall: Option<WallClock>,
    /// Seconds of the first row; `None` where there is none.
    pub first_s: Option<f64>,
    /// Whether its rows have a setpoint.
    pub has_setpoint: bool,
    /// Whether its rows have an output.
    pub has_output: bool,
    /// Whether its rows tell when an autotune was under way.
    pub has_autotune: bool,
    /// Marks and everything else that happened.
    pub events: Vec<RecordedEvent>,
    /// The slow points, whenever they were written down.
    pub settings: Vec<RecordedSetting>,
    pub(super) rows: Rows,
}

/// Where the rows of a loop are, and whether damaged ones are left out.
#[derive(Clone, Debug)]
pub(super) struct Rows {
    pub(super) files: Files,
    pub(super) skip_bad: bool,
}

/// What files there are.
#[derive(Clone, Debug)]
pub(super) enum Files {
    /// Those of a recording.
    Days(Vec<PathBuf>, Arc<Shape>),
    /// Somebody's CSV.
    Csv(Arc<CsvShape>),
}

/// Opens a recording, a loop's folder in it, or any CSV; `columns` are those of a CSV, and say whether
/// damaged rows are to be left out.
///
/// # Errors
/// It is none of these, a file cannot be read, a column is missing or not clear; and a damaged row
/// among events, settings, or those from which a CSV's kind of time is learned.
pub fn open_source(path: &Path, columns: &CsvColumns) -> Result<OpenSource, ReadError> {
    if path.is_dir() {
        open_recording(path, columns.skip_bad)
    } else {
        open_csv(path, columns)
    }
}

impl OpenSource {
    /// Reads it into memory; and what had to be assumed or left out.
    ///
    /// # Errors
    /// A damaged row, with file and number.
    pub fn read(self) -> Result<(Source, Vec<String>), ReadError> {
        let mut notes = self.notes;
        let mut loops = Vec::new();
        for one in self.loops {
            let (record, counts) = one.read()?;
            if counts.repeated > 0 {
                notes.push(format!(
                    "{}: rows with the time of the row above: {}; they count",
                    record.name, counts.repeated
                ));
            }
            loops.push(record);
        }
        let source = Source {
            name: self.name,
            facts: self.facts,
            loops,
        };
        Ok((source, notes))
    }
}

impl OpenLoop {
    /// Its samples, from the first.
    pub fn samples(&self) -> Samples {
        let skip_bad = self.rows.skip_bad;
        match &self.rows.files {
            Files::Days(files, shape) => {
                let job = |path: &PathBuf| -> Job {
                    let (path, shape) = (path.clone(), Arc::clone(shape));
                    Box::new(move || Ok(Box::new(DayFile::open(&path, &shape, skip_bad)?)))
                };
                Samples::new(files.iter().map(job), skip_bad)
            }
            Files::Csv(shape) => {
                let shape = Arc::clone(shape);
                let job: Job = Box::new(move || Ok(Box::new(CsvRows::open(shape, skip_bad)?)));
                Samples::new([job], skip_bad)
            }
        }
    }

    /// The rows with a process value, in memory.
    fn read(self) -> Result<(LoopRecord, RowCounts), ReadError> {
        let mut samples = self.samples();
        let (mut time_s, mut pv) = (Vec::new(), Vec::new());
        let (mut setpoint, mut output, mut autotune) = (Vec::new(), Vec::new(), Vec::new());
        for block in &mut samples {
            for sample in block?.iter().filter(|it| !it.pv.is_nan()) {
                time_s.push(sample.time_s);
                pv.push(sample.pv);
                setpoint.push(sample.setpoint);
                output.push(sample.output);
                autotune.push(sample.autotune);
            }
        }
        let counts = samples.counts().clone();
        let settings = self.all_settings()?;
        let record = LoopRecord {
            name: self.name,
            controller: self.controller,
            unit: self.unit,
            band: self.band,
            wall: self.wall,
            first_s: self.first_s,
            time_s,
            pv,
            setpoint: self.has_setpoint.then_some(setpoint),
            output: self.has_output.then_some(output),
            autotune: self.has_autotune.then_some(autotune),
            rows: counts.rows,
            bad_rows: counts.bad.clone(),
            events: self.events,
            settings,
        };
        Ok((record, counts))
    }
}
