//! A recording of one loop at one row a second, made once: a hold with noise and a slow daily swing, a
//! lower setpoint every seventh day, and now and then a poll without an answer.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use chrono::{Days, NaiveDate};

const SECONDS_A_DAY: u64 = 86_400;
const SETUP: &str = include_str!("../../configs/annealing-oven.toml");
const MAP: &str = include_str!("../../configs/maps/annealer.toml");
const LOOP: &str = "annealer-top";

/// The folder of a recording of so many days; made if it is not there.
pub(crate) fn recording(days: u64) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("reading-{days}-days"));
    if folder.is_dir() {
        return folder;
    }
    let unfinished = folder.with_extension("unfinished");
    let _ = fs::remove_dir_all(&unfinished);
    fs::create_dir_all(unfinished.join(LOOP)).unwrap();
    fs::write(unfinished.join("recording.toml"), facts()).unwrap();
    fs::write(
        files(&unfinished).join("events.csv"),
        "time,elapsed_s,event,text\n",
    )
    .unwrap();
    let settings = "time,elapsed_s,cause,point,role,value,unit\n";
    fs::write(files(&unfinished).join("settings.csv"), settings).unwrap();
    let mut chance = Chance(1);
    for day in 0..days {
        let date = first_day() + Days::new(day);
        let path = files(&unfinished).join(format!("{date}.csv"));
        fs::write(path, rows_of(date, day, &mut chance)).unwrap();
    }
    fs::rename(&unfinished, &folder).unwrap();
    folder
}

/// Where the files of samples are.
pub(crate) fn files(recording: &Path) -> PathBuf {
    recording.join(LOOP)
}

fn first_day() -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 1, 1).unwrap()
}

fn facts() -> String {
    let mut setup = toml::Table::new();
    setup.insert("name".to_owned(), "year".into());
    setup.insert("text".to_owned(), SETUP.into());
    let mut maps = toml::Table::new();
    maps.insert("maps/annealer.toml".to_owned(), MAP.into());
    let mut facts = toml::Table::new();
    facts.insert("schema".to_owned(), 1.into());
    facts.insert("program".to_owned(), "0.1.0".into());
    facts.insert("name".to_owned(), "year".into());
    facts.insert("began".to_owned(), "2027-01-01T00:00:00.000Z".into());
    facts.insert("setup".to_owned(), setup.into());
    facts.insert("maps".to_owned(), maps.into());
    toml::to_string(&facts).unwrap()
}

fn rows_of(date: NaiveDate, day: u64, chance: &mut Chance) -> String {
    let mut text = String::with_capacity(5 << 20);
    text.push_str("time,elapsed_s,state,pv_degC,sp_degC,out_pct,tuning\n");
    let setpoint = if day % 7 == 6 { 4_800 } else { 5_100 };
    for second in 0..SECONDS_A_DAY {
        let (hour, minute) = (second / 3600, second / 60 % 60);
        let (late, elapsed) = (chance.below(40), day * SECONDS_A_DAY + second);
        write!(
            text,
            "{date}T{hour:02}:{minute:02}:{:02}.{late:03}Z,",
            second % 60
        )
        .unwrap();
        if chance.below(2000) == 0 {
            writeln!(text, "{elapsed}.{late:03},no-answer,,,,").unwrap();
            continue;
        }
        let noise = chance.below(8) + chance.below(8);
        let swing = (hour.abs_diff(12)) / 4;
        let pv = setpoint + noise + swing - 9;
        let output = 420 + 7 - noise + 4 * swing + chance.below(9);
        let (sp, tenths) = (Tenths(setpoint), (Tenths(pv), Tenths(output)));
        writeln!(
            text,
            "{elapsed}.{late:03},good,{},{sp},{},0",
            tenths.0, tenths.1
        )
        .unwrap();
    }
    text
}

/// A number that counts tenths.
struct Tenths(u64);

impl std::fmt::Display for Tenths {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}.{}", self.0 / 10, self.0 % 10)
    }
}

/// The same numbers every time (Marsaglia, Xorshift RNGs, 2003).
struct Chance(u64);

impl Chance {
    fn below(&mut self, end: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % end
    }
}
