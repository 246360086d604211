//! A disk that takes nothing for a while: rows wait in memory, and nothing is lost or doubled.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use std::{fs, io};

use tokio::sync::{broadcast, mpsc};
use tokio::time::sleep_until;

use super::disk::{Disk, FileSystem, Syncing, Tail};
use super::power_tests::{rows, sample, setup};
use super::{RecordError, Recorder, SYNC_EVERY, verify};
use crate::clock::Clock;
use crate::name::Name;
use crate::sample::{Entry, Happening, Reading, Settings, SettingsCause};
use crate::setup::Setup;

/// A file system on which only so many more rows fit, and which may be made larger.
#[derive(Clone, Debug, Default)]
struct Small(Arc<State>);

#[derive(Debug, Default)]
struct State {
    is_full: AtomicBool,
    /// Writes that still succeed once it is full.
    last_rows: AtomicU64,
    sync_fails: AtomicBool,
    /// Files opened before it was taken out last lead nowhere.
    times_out: AtomicU64,
    is_out: AtomicBool,
    synced: Mutex<BTreeMap<PathBuf, u64>>,
    room: AtomicU64,
}

impl Small {
    fn fill(&self, last_rows: u64) {
        self.0.last_rows.store(last_rows, Ordering::SeqCst);
        self.0.is_full.store(true, Ordering::SeqCst);
    }

    fn clear(&self) {
        self.0.is_full.store(false, Ordering::SeqCst);
    }

    /// Of what was not synced at most the first three bytes of a file came to the medium.
    fn take_out(&self) {
        self.0.is_out.store(true, Ordering::SeqCst);
        self.0.times_out.fetch_add(1, Ordering::SeqCst);
        for (path, synced) in &*self.0.synced.lock().unwrap() {
            let file = fs::OpenOptions::new().write(true).open(path).unwrap();
            let length = file.metadata().unwrap().len();
            file.set_len(length.min(synced + 3)).unwrap();
        }
    }

    fn put_back(&self) {
        self.0.is_out.store(false, Ordering::SeqCst);
    }

    fn take(&self) -> io::Result<()> {
        if self.0.is_out.load(Ordering::SeqCst) {
            return Err(io::ErrorKind::NotFound.into());
        }
        let one_less = |left: u64| left.checked_sub(1);
        let fits = !self.0.is_full.load(Ordering::SeqCst)
            || self
                .0
                .last_rows
                .fetch_update(Ordering::SeqCst, Ordering::SeqCst, one_less)
                .is_ok();
        if fits {
            Ok(())
        } else {
            Err(io::ErrorKind::StorageFull.into())
        }
    }
}

impl Disk for Small {
    fn make_folder(&self, path: &Path) -> io::Result<()> {
        self.take()?;
        FileSystem.make_folder(path)
    }

    fn append(&self, path: &Path) -> io::Result<Box<dyn Tail>> {
        if self.0.is_out.load(Ordering::SeqCst) {
            return Err(io::ErrorKind::NotFound.into());
        }
        let tail = FileSystem.append(path)?;
        let mut synced = self.0.synced.lock().unwrap();
        synced.entry(path.to_owned()).or_insert(0);
        Ok(Box::new(SmallFile {
            disk: self.clone(),
            path: path.to_owned(),
            times_out: self.0.times_out.load(Ordering::SeqCst),
            tail,
        }))
    }

    fn replace(&self, path: &Path, content: &[u8]) -> io::Result<()> {
        self.take()?;
        FileSystem.replace(path, content)
    }

    fn room(&self, _: &Path) -> Option<u64> {
        Some(self.0.room.load(Ordering::SeqCst)).filter(|room| *room > 0)
    }
}

#[derive(Debug)]
struct SmallFile {
    disk: Small,
    path: PathBuf,
    times_out: u64,
    tail: Box<dyn Tail>,
}

impl SmallFile {
    fn check(&self) -> io::Result<()> {
        if self.times_out == self.disk.0.times_out.load(Ordering::SeqCst) {
            Ok(())
        } else {
            // EIO.
            Err(io::Error::from_raw_os_error(5))
        }
    }
}

impl Tail for SmallFile {
    fn length(&self) -> u64 {
        self.tail.length()
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.check()?;
        self.disk.take()?;
        self.tail.write(bytes)
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.check()?;
        self.tail.cut(length)
    }

    fn syncing(&self) -> Syncing {
        let (disk, syncing) = (self.disk.clone(), self.tail.syncing());
        let (path, length, times_out) = (self.path.clone(), self.length(), self.times_out);
        Box::new(move || {
            let mut synced = disk.0.synced.lock().unwrap();
            let is_out = disk.0.times_out.load(Ordering::SeqCst) > times_out;
            if is_out || disk.0.sync_fails.load(Ordering::SeqCst) {
                return Err(io::Error::from_raw_os_error(5));
            }
            synced.insert(path, length);
            syncing()
        })
    }
}

/// A recorder at work on a small disk, and what it told.
struct AtWork {
    home: tempfile::TempDir,
    disk: Small,
    setup: Setup,
    clock: Clock,
    entries: mpsc::Sender<Entry>,
    live: broadcast::Sender<Entry>,
    told: broadcast::Receiver<Entry>,
    recorder: tokio::task::JoinHandle<Result<PathBuf, RecordError>>,
}

impl AtWork {
    /// From half a minute before midnight.
    fn start(change: impl FnOnce(Recorder) -> Recorder) -> Self {
        Self::start_on(Small::default(), change)
    }

    fn start_on(disk: Small, change: impl FnOnce(Recorder) -> Recorder) -> Self {
        let home = tempfile::tempdir().unwrap();
        let setup = setup();
        let clock = Clock::starting_at("2027-03-04T23:59:30Z".parse().unwrap());
        let on = Box::new(disk.clone());
        let recorder = Recorder::create_on(on, home.path(), "oven", &setup, &clock).unwrap();
        let (live, told) = broadcast::channel(4096);
        let recorder = change(recorder.telling(live.downgrade()));
        let (entries, received) = mpsc::channel(64);
        Self {
            recorder: tokio::spawn(recorder.run(received)),
            home,
            disk,
            setup,
            clock,
            entries,
            live,
            told,
        }
    }

    /// One sample a second, with every tenth a reading of settings and a mark for all loops.
    async fn poll(&mut self, seconds: std::ops::Range<u32>) {
        for second in seconds {
            let elapsed = Duration::from_secs(second.into());
            sleep_until(self.clock.instant(elapsed)).await;
            let stamp = self.clock.at(elapsed);
            self.send(sample(&self.setup, stamp, second as f32)).await;
            if second % 10 == 7 {
                let value = |n| Reading::Good(crate::number::Number::Single((second + n) as f32));
                self.send(Entry::Settings(Settings {
                    of: self.name(),
                    stamp,
                    cause: SettingsCause::Changed,
                    readings: [value(1), value(2), value(3)].into(),
                    units: [None, None, None].into(),
                }))
                .await;
                self.send(Entry::Event(crate::sample::Event {
                    of: None,
                    stamp,
                    what: Happening::Mark,
                    text: format!("at {second}"),
                }))
                .await;
            }
        }
    }

    async fn send(&self, entry: Entry) {
        self.entries.send(entry).await.unwrap();
    }

    fn name(&self) -> Name {
        self.setup.loops[0].name.clone()
    }

    async fn end(self) -> (Result<PathBuf, RecordError>, tempfile::TempDir, Vec<String>) {
        drop(self.entries);
        let ended = self.recorder.await.unwrap();
        drop(self.live);
        let mut told = Vec::new();
        let mut live = self.told;
        while let Ok(entry) = live.try_recv() {
            let Entry::Event(event) = entry else {
                panic!("{entry:?}");
            };
            told.push(format!("{}: {}", event.what.word(), event.text));
        }
        (ended, self.home, told)
    }
}

/// A file of the loop's folder, without its header.
fn lines(recording: &Path, file: &str) -> Vec<String> {
    let text = fs::read_to_string(recording.join("top").join(file)).unwrap();
    text.lines().skip(1).map(str::to_owned).collect()
}

fn cell(row: &str, number: usize) -> &str {
    row.split(',').nth(number).unwrap()
}

/// The values of all rows.
fn values(home: &Path) -> Vec<String> {
    let rows = rows(home);
    rows.iter().map(|row| cell(row, 3).to_owned()).collect()
}

/// 0 and on, so many.
fn numbers(count: u32) -> Vec<String> {
    (0..count).map(|n| n.to_string()).collect()
}

#[tokio::test(start_paused = true)]
async fn a_disk_that_is_full_for_a_while_gets_every_row_once_and_in_order() {
    // Whichever of the rows of a poll, an event and a reading of settings is the first that fails.
    for last_rows in 0..12 {
        let mut at_work = AtWork::start(|it| it);
        at_work.poll(0..15).await;
        at_work.disk.fill(last_rows);
        // Over midnight.
        at_work.poll(15..100).await;
        at_work.disk.clear();
        at_work.poll(100..120).await;
        let (ended, home, told) = at_work.end().await;
        let recording = ended.unwrap();

        assert_eq!(values(home.path()), numbers(120), "after {last_rows} rows");
        let settings: Vec<String> = lines(&recording, "settings.csv")
            .iter()
            .map(|row| cell(row, 5).to_owned())
            .collect();
        let expected: Vec<String> = (0..12)
            .flat_map(|n| (8..=10).map(move |more| (10 * n + more).to_string()))
            .collect();
        assert_eq!(settings, expected, "after {last_rows} rows");
        let events = lines(&recording, "events.csv");
        let marks = events.iter().filter(|row| cell(row, 2) == "mark");
        assert_eq!(marks.count(), 12, "{events:?}");
        let verified = verify(&recording).unwrap();
        assert!(verified.is_whole(), "{verified:?}");
        assert_eq!(verified.loops[0].states["good"], 120);

        // Said at once to whoever looks on, and in the recording afterwards.
        assert!(
            told[0].starts_with("disk-failed: the disk is full: recording goes on in memory, which has room for about "),
            "{told:?}"
        );
        assert!(
            told[1].starts_with("disk-back: the disk takes rows again: "),
            "{told:?}"
        );
        assert_eq!(told.len(), 2, "{told:?}");
        for word in ["disk-failed", "disk-back"] {
            assert_eq!(events.iter().filter(|row| cell(row, 2) == word).count(), 1);
        }
    }
}

#[tokio::test(start_paused = true)]
async fn what_does_not_fit_into_memory_either_is_counted_and_its_rows_say_not_running() {
    let mut at_work = AtWork::start(|it| it.with_memory(4000));
    at_work.poll(0..15).await;
    at_work.disk.fill(0);
    at_work.poll(15..200).await;
    at_work.disk.clear();
    at_work.poll(200..230).await;
    let (ended, home, told) = at_work.end().await;
    let recording = ended.unwrap();

    let verified = verify(&recording).unwrap();
    assert!(verified.is_whole(), "{verified:?}");
    let rows = rows(home.path());
    assert_eq!(rows.len(), 230);
    let lost: Vec<usize> = (0..230)
        .filter(|n| cell(&rows[*n], 2) == "not-running")
        .collect();
    // One gap, up to the moment when the disk took rows again.
    assert!(lost.len() > 100 && lost[0] > 20, "{lost:?}");
    assert_eq!(lost[lost.len() - 1] - lost[0] + 1, lost.len());
    assert!((199..206).contains(lost.last().unwrap()), "{lost:?}");
    for (n, row) in rows.iter().enumerate().filter(|(n, _)| !lost.contains(n)) {
        assert_eq!(cell(row, 3), n.to_string());
    }
    let count = format!("rows-dropped: memory was full: {} polls from ", lost.len());
    assert!(
        told[1].starts_with("rows-dropped: memory is full"),
        "{told:?}"
    );
    assert!(told[2].starts_with(&count), "{told:?}");
    assert!(told[3].starts_with("disk-back"), "{told:?}");
    let events = lines(&recording, "events.csv");
    assert!(
        events
            .iter()
            .any(|row| row.contains(" events and readings of settings were dropped too")),
        "{events:?}"
    );
}

#[tokio::test(start_paused = true)]
async fn at_a_stop_the_disk_is_tried_for_some_seconds_and_then_it_is_said_what_is_lost() {
    let mut at_work = AtWork::start(|it| it);
    at_work.poll(0..15).await;
    at_work.disk.fill(0);
    at_work.poll(15..20).await;
    let disk = at_work.disk.clone();
    let (ended, ..) = at_work.end().await;
    // Six polls (one was on its way), three settings, a mark, and the event that tells of it.
    let error = ended.unwrap_err().to_string();
    assert!(
        error.contains("11 rows were only in memory and are lost"),
        "{error}"
    );
    disk.clear();

    let mut at_work = AtWork::start(|it| it);
    at_work.poll(0..15).await;
    at_work.disk.fill(0);
    at_work.poll(15..20).await;
    let disk = at_work.disk.clone();
    tokio::spawn(async move {
        tokio::time::sleep(Duration::from_secs(5)).await;
        disk.clear();
    });
    let (ended, _home, _) = at_work.end().await;
    let verified = verify(&ended.unwrap()).unwrap();
    assert!(verified.is_whole(), "{verified:?}");
    assert_eq!(verified.loops[0].states["good"], 20);
}

#[tokio::test(start_paused = true)]
async fn a_disk_that_takes_rows_but_does_not_keep_them_is_told_until_it_does() {
    let mut at_work = AtWork::start(|it| it.syncing_every(Duration::ZERO));
    at_work.poll(0..10).await;
    at_work.disk.0.sync_fails.store(true, Ordering::SeqCst);
    at_work.poll(10..50).await;
    at_work.disk.0.sync_fails.store(false, Ordering::SeqCst);
    at_work.poll(50..70).await;
    let (ended, _home, told) = at_work.end().await;
    assert!(verify(&ended.unwrap()).unwrap().is_whole());
    assert!(
        told[0].starts_with("disk-failed: the disk takes nothing ("),
        "{told:?}"
    );
    assert!(told[1].starts_with("disk-back"), "{told:?}");
    assert_eq!(told.len(), 2, "{told:?}");
}

#[tokio::test(start_paused = true)]
async fn a_medium_that_was_taken_out_gets_also_what_it_had_taken_and_not_kept() {
    // By the real clock: never before it is taken out, or again and again.
    for sync_every in [SYNC_EVERY, Duration::ZERO] {
        let mut at_work = AtWork::start(|it| it.syncing_every(sync_every));
        at_work.poll(0..25).await;
        at_work.disk.take_out();
        // Over midnight.
        at_work.poll(25..60).await;
        at_work.disk.put_back();
        at_work.poll(60..80).await;
        let (ended, home, told) = at_work.end().await;
        let recording = ended.unwrap();
        assert_eq!(values(home.path()), numbers(80));
        assert_eq!(lines(&recording, "settings.csv").len(), 24);
        let verified = verify(&recording).unwrap();
        assert!(verified.is_whole(), "{verified:?}");
        assert!(told[0].starts_with("disk-failed: "), "{told:?}");
        assert!(told[1].starts_with("disk-back: "), "{told:?}");
        assert_eq!(told.len(), 2, "{told:?}");
    }
}

#[tokio::test(start_paused = true)]
async fn a_disk_that_will_be_full_before_long_is_told_once_a_day() {
    const DAY: Duration = Duration::from_hours(24);
    // One loop with one point, one row a second: four megabytes a day.
    for (room, end, warns) in [
        (100_000_000, None, false),
        (9_000_000, None, true),
        (9_000_000, Some(DAY), false),
        (100_000_000, Some(60 * DAY), true),
    ] {
        let disk = Small::default();
        disk.0.room.store(room, Ordering::SeqCst);
        let mut at_work = AtWork::start_on(disk, |it| it.ending_at(end));
        at_work.poll(0..8000).await;
        let (ended, _home, told) = at_work.end().await;
        ended.unwrap();
        assert_eq!(told.len(), usize::from(warns), "{room} {end:?}: {told:?}");
        assert!(
            told.iter()
                .all(|it| it.starts_with("disk-low: the disk has room for about ")),
            "{told:?}"
        );
    }
}
