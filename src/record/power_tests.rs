//! Power that goes at any moment: what was not on the medium is gone, and the recording goes on.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use std::{fs, io};

use super::disk::{Disk, FileSystem, Syncing, Tail};
use super::{Recorder, Unfinished, verify};
use crate::clock::{Clock, Stamp};
use crate::map::{Image, Refresh};
use crate::number::Number;
use crate::sample::{Entry, Reading, Sample, State};
use crate::setup::Setup;

const SETUP: &str = "schema = 1\n[lines.shop]\nserial = \"none\"\n[[loops]]\nname = \"top\"\n\
                     line = \"shop\"\nunit_number = 1\nmap = \"m.toml\"\n";
const MAP: &str = "schema = 1\ntitle = \"t\"\n[points.pv]\nrole = \"process-value\"\n\
                   table = \"holding\"\naddress = 0\nencoding = \"i16\"\nunit = \"degC\"\n";
/// Slow points, named a, b and c.
fn map() -> String {
    let slow = |(name, address): (&str, u8)| {
        format!(
            "[points.{name}]\nrole = \"other\"\ntable = \"holding\"\naddress = {address}\n\
             encoding = \"i16\"\nrefresh = \"settings\"\n"
        )
    };
    let slow: String = [("a", 1), ("b", 2), ("c", 3)].map(slow).concat();
    format!("{MAP}{slow}")
}

/// What is done to a medium, in order.
#[derive(Clone, Debug)]
enum Deed {
    Folder(PathBuf),
    File(PathBuf),
    Row(PathBuf, Vec<u8>),
    Sync(PathBuf),
    Replace(PathBuf, Vec<u8>),
}

/// A file system that writes down what is done to it.
#[derive(Clone, Debug, Default)]
struct Journal(Arc<Mutex<Vec<Deed>>>);

impl Journal {
    fn note(&self, deed: Deed) {
        self.0.lock().unwrap().push(deed);
    }
}

impl Disk for Journal {
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        self.note(Deed::Folder(path.to_owned()));
        FileSystem.make_folder(path)
    }

    fn append(&self, path: &Path) -> io::Result<Box<dyn Tail>> {
        if !path.exists() {
            self.note(Deed::File(path.to_owned()));
        }
        Ok(Box::new(Noted {
            path: path.to_owned(),
            journal: self.clone(),
            tail: FileSystem.append(path)?,
        }))
    }

    fn replace(&self, path: &Path, content: &[u8]) -> io::Result<()> {
        self.note(Deed::Replace(path.to_owned(), content.to_owned()));
        FileSystem.replace(path, content)
    }

    fn room(&self, _: &Path) -> Option<u64> {
        None
    }
}

#[derive(Debug)]
struct Noted {
    path: PathBuf,
    journal: Journal,
    tail: Box<dyn Tail>,
}

impl Tail for Noted {
    fn length(&self) -> u64 {
        self.tail.length()
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.journal
            .note(Deed::Row(self.path.clone(), bytes.to_owned()));
        self.tail.write(bytes)
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.tail.cut(length)
    }

    fn syncing(&self) -> Syncing {
        let (path, journal, syncing) =
            (self.path.clone(), self.journal.clone(), self.tail.syncing());
        Box::new(move || {
            syncing()?;
            journal.note(Deed::Sync(path));
            Ok(())
        })
    }
}

/// What is on the medium when power goes after `deeds`: of what was not synced, the first
/// `survive` bytes of each file.
fn lay_out(deeds: &[Deed], survive: usize) {
    let mut files: BTreeMap<&Path, (Vec<u8>, usize)> = BTreeMap::new();
    for deed in deeds {
        match deed {
            Deed::Folder(path) => fs::create_dir(path).unwrap(),
            Deed::File(path) => drop(files.entry(path).or_default()),
            Deed::Row(path, bytes) => files.entry(path).or_default().0.extend(bytes),
            Deed::Sync(path) => {
                let (content, synced) = files.entry(path).or_default();
                *synced = content.len();
            }
            Deed::Replace(path, content) => {
                files.insert(path, (content.clone(), content.len()));
            }
        }
    }
    for (path, (content, synced)) in files {
        fs::write(
            path,
            &content[..content.len().min(synced.saturating_add(survive))],
        )
        .unwrap();
    }
}

pub(super) fn setup() -> Setup {
    Setup::parse(SETUP, "s.toml", "oven", &|_| Ok(map())).unwrap()
}

pub(super) fn sample(setup: &Setup, stamp: Stamp, value: f32) -> Entry {
    Entry::Sample(Sample {
        of: setup.loops[0].name.clone(),
        stamp,
        state: State::Good,
        readings: [Reading::Good(Number::Single(value))].into(),
        units: setup.loops[0].map.units(Refresh::Trend, &Image::default()),
    })
}

/// Rows of the loop's day files below `into`.
pub(super) fn rows(into: &Path) -> Vec<String> {
    let recording = fs::read_dir(into).unwrap().next().unwrap().unwrap().path();
    let files = super::recording_source::day_files(&recording.join("top")).unwrap();
    let text: String = files
        .iter()
        .map(|file| fs::read_to_string(file).unwrap())
        .collect();
    text.lines()
        .filter(|line| line.starts_with("20"))
        .map(str::to_owned)
        .collect()
}

/// Some seconds about a midnight, synced now and then, on a journal. Gives the journal, and for each
/// deed how many rows had been synced before it.
async fn recorded(into: &Path, setup: &Setup, clock: &Clock) -> (Vec<Deed>, Vec<usize>) {
    let journal = Journal::default();
    let disk = Box::new(journal.clone());
    let mut recorder = Recorder::create_on(disk, into, "oven", setup, clock).unwrap();
    let (mut synced, mut safe) = (0, Vec::new());
    for second in 0..12_u32 {
        let stamp = clock.at(Duration::from_secs(second.into()));
        recorder
            .write(&sample(setup, stamp, second as f32))
            .unwrap();
        safe.resize(journal.0.lock().unwrap().len(), synced);
        if second % 4 == 3 {
            recorder.sync().await.unwrap();
            // Only once every file was synced.
            safe.resize(journal.0.lock().unwrap().len(), synced);
            synced = second as usize + 1;
        }
    }
    recorder.close().await.unwrap();
    let deeds = journal.0.lock().unwrap().clone();
    safe.resize(deeds.len() + 1, synced);
    (deeds, safe)
}

#[tokio::test(start_paused = true)]
async fn wherever_power_goes_only_what_was_not_synced_is_lost_and_the_recording_goes_on() {
    let home = tempfile::tempdir().unwrap();
    let into = home.path().join("recordings");
    let setup = setup();
    // The sixth row is the first of the next day.
    let clock = Clock::starting_at("2027-03-04T23:59:55Z".parse().unwrap());
    fs::create_dir(&into).unwrap();
    let (deeds, safe) = recorded(&into, &setup, &clock).await;
    tokio::time::advance(Duration::from_secs(20)).await;
    assert!(deeds.len() > 20, "{deeds:?}");
    for (power, safe) in (0..=deeds.len()).zip(safe) {
        for survive in [0, 1, 9, usize::MAX] {
            fs::remove_dir_all(&into).unwrap();
            fs::create_dir(&into).unwrap();
            lay_out(&deeds[..power], survive);
            let Some(unfinished) = Unfinished::find(&into, "oven", &setup).unwrap() else {
                // Power went before it was a recording, or after it was closed.
                let closed = fs::read_dir(&into)
                    .unwrap()
                    .next()
                    .map(|it| it.unwrap().path());
                assert!(safe == 0 || verify(&closed.unwrap()).unwrap().facts.ended.is_some());
                continue;
            };
            let folder = unfinished.folder().to_owned();
            let recorder = Recorder::resume(unfinished, &setup, &clock).unwrap();
            drop(recorder);
            let kept = rows(&into);
            let good = kept.iter().filter(|row| row.contains(",good,")).count();
            assert!(
                good >= safe,
                "after {power} deeds, {survive} bytes: {good} of {safe}"
            );
            let verified = verify(&folder).unwrap();
            assert!(
                verified.is_whole(),
                "after {power} deeds, {survive} bytes: {verified:?}"
            );
        }
    }
}

#[tokio::test(start_paused = true)]
async fn rows_of_a_recording_that_goes_on_stand_behind_one_that_came_late() {
    let into = tempfile::tempdir().unwrap();
    let setup = setup();
    let clock = Clock::starting_at("2027-03-04T06:00:00Z".parse().unwrap());
    let mut recorder = Recorder::create(into.path(), "oven", &setup, &clock).unwrap();
    // Its answer came when the next poll was due already.
    let late = clock.at(Duration::from_millis(1300));
    recorder.write(&sample(&setup, late, 20.0)).unwrap();
    drop(recorder);
    tokio::time::advance(Duration::from_secs(3)).await;
    let unfinished = Unfinished::find(into.path(), "oven", &setup).unwrap();
    drop(Recorder::resume(unfinished.unwrap(), &setup, &clock).unwrap());
    let kept = rows(into.path());
    let elapsed = kept.iter().map(|row| row.split(',').nth(1).unwrap());
    assert_eq!(elapsed.collect::<Vec<_>>(), ["1.300", "1.300", "2.000"]);
}
