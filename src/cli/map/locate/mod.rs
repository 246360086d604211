//! `emberline map locate`: which registers could be the number that the panel shows.

mod state;
mod tell;

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Duration;

use clap::Args;
use rust_decimal::Decimal;

use crate::cli::listening::{ListenFirstArgs, tell as tell_remark};
use crate::cli::owning::keep;
use crate::cli::read::chosen;
use crate::cli::running::runtime;
use crate::cli::status_line::StatusLine;
use crate::cli::{Exit, Stop};
use crate::clock::Stopwatch;
use crate::line::{self, Failure, Line, Step, Walk};
use crate::map::{Address, Image, Map, Place, Role, Shown, Table, candidates};
use crate::name::Name;
use crate::setup::{LoopSetup, Setup};
use crate::signals;
use state::{Known, State, Survivor};
use tell::Told;

/// Find the registers that could be the number the panel shows now
///
/// Asks the unit for all registers of the given addresses, tries every encoding, order and number of
/// decimals on them, and lists what gives that number. Nothing is written. When the panel shows
/// another number, run it again with that: only those that followed stay. Ctrl-C keeps what was
/// found; the next run goes on from there. Ends with the likeliest as a point of a map.
///
/// Scales are powers of ten: a register that counts quarters of a degree, or in another unit than the
/// panel, is not found.
///
/// Works without a map: the one the setup names only has to tell how the unit may be asked, if it is
/// there at all.
///
/// Example: emberline map locate oven.toml --shows 25.3
/// Example: emberline map locate oven.toml --loop annealer-top --point sp --shows 510.0
#[derive(Debug, Args)]
#[command(verbatim_doc_comment)]
pub(super) struct LocateArgs {
    /// The setup file.
    setup: PathBuf,
    /// The loop whose panel it is; not needed where there is only one.
    #[arg(long = "loop", value_name = "NAME")]
    only: Option<Name>,
    /// What the panel shows, with its decimals.
    #[arg(long, value_name = "NUMBER", allow_hyphen_values = true)]
    shows: Shown,
    /// What the point is to be called.
    #[arg(long, value_name = "NAME", default_value = "pv")]
    point: Name,
    /// What it is to the loop [default: of pv process-value, of sp setpoint, of out output, else other].
    #[arg(long, value_name = "ROLE", value_parser = role)]
    role: Option<Role>,
    /// Addresses to ask for, counted from zero.
    #[arg(long, value_name = "LIST", default_value = "0-511")]
    addresses: Addresses,
    /// Only this table: input or holding.
    #[arg(long, value_name = "TABLE", value_parser = table)]
    table: Option<Table>,
    /// How far the value may have moved while it was read [default: one step of the last digit].
    #[arg(long, value_name = "NUMBER")]
    within: Option<Decimal>,
    /// Forget what earlier runs found of this point.
    #[arg(long)]
    restart: bool,
    /// Where to keep what was found between the runs [default: beside the setup].
    #[arg(long, value_name = "FILE")]
    state: Option<PathBuf>,
    /// One JSON document.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    listen: ListenFirstArgs,
}

fn role(word: &str) -> Result<Role, String> {
    Role::from_word(word).ok_or_else(|| {
        let words: Vec<&str> = Role::ALL.iter().map(|(_, word)| *word).collect();
        format!("roles are {}", words.join(", "))
    })
}

fn table(word: &str) -> Result<Table, String> {
    Table::from_word(word)
        .filter(|table| !table.is_bits())
        .ok_or_else(|| "numbers are in the tables input and holding".to_owned())
}

/// Addresses, as `0-511,4096-4351` names them.
#[derive(Clone, Debug, PartialEq)]
struct Addresses(Vec<(u16, u16)>);

impl FromStr for Addresses {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("{text:?} is no range of 0 to 65534; write 0-511 or 0-99,4096-4351");
        let range = |part: &str| {
            let (first, last) = part.split_once('-').unwrap_or((part, part));
            let (first, last): (u16, u16) = (first.trim().parse().ok()?, last.trim().parse().ok()?);
            (first <= last && last < u16::MAX).then_some((first, last))
        };
        let ranges: Option<Vec<_>> = text.split(',').map(range).collect();
        ranges.map(Self).ok_or_else(wrong)
    }
}

impl LocateArgs {
    fn role(&self) -> Role {
        let of_name = match self.point.as_str() {
            "pv" => Role::ProcessValue,
            "sp" => Role::Setpoint,
            "out" => Role::Output,
            _ => Role::Other,
        };
        self.role.unwrap_or(of_name)
    }

    fn within(&self) -> Decimal {
        self.within.unwrap_or_else(|| self.shows.step())
    }

    /// Everything that is to be asked for, the smaller table first.
    fn stretches(&self) -> impl Iterator<Item = Place> {
        let tables = match self.table {
            Some(table) => vec![table],
            None => vec![Table::Input, Table::Holding],
        };
        tables.into_iter().flat_map(|table| {
            self.addresses.0.iter().map(move |(first, last)| Place {
                table,
                address: Address(*first),
                count: last - first + 1,
            })
        })
    }
}

pub(super) fn run(args: &LocateArgs) -> Result<Exit, Stop> {
    let setup = load_setup(&args.setup)?;
    let the_loop = only_loop(&setup, args.only.as_ref())?;
    let path = args
        .state
        .clone()
        .unwrap_or_else(|| state::usual_path(&args.setup, &the_loop));
    let mut state = match State::load(&path, &the_loop) {
        Err(_) if args.restart => State::new(the_loop.unit),
        loaded => loaded?,
    };
    let name = args.point.to_string();
    let before = state.points.get(&name).filter(|_| !args.restart);
    let mut before = before.cloned().unwrap_or_default();
    before.will_ask(args.stretches());
    let (known, image) = runtime()?.block_on(narrow(args, &setup, &the_loop, before))?;
    if known.candidates.is_empty() && known.left.is_empty() {
        return Ok(none_left(args, &the_loop));
    }
    state.points.insert(name, known.clone());
    state.save(&path)?;
    let told = Told {
        point: &args.point,
        role: args.role(),
        known: &known,
        image: &image,
    };
    told.print(args.json)?;
    if !known.left.is_empty() {
        // People's words are a courtesy here: the document says it too.
        let _ = writeln!(
            io::stderr(),
            "ended early: run it again with what the panel shows then, and it goes on from there"
        );
    }
    Ok(Exit::Done)
}

/// A setup whose maps need not be there yet, nor be whole.
fn load_setup(path: &Path) -> Result<Setup, Stop> {
    let shown = path.display().to_string();
    let text = fs::read_to_string(path).map_err(|error| {
        let text =
            format!("{shown} cannot be read: {error}\nhelp: 'emberline find' ends with a setup");
        Stop::new(Exit::WrongUse, text)
    })?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let map_text = |map: &str| {
        let text = fs::read_to_string(folder.join(map)).unwrap_or_default();
        Ok(usable_map(text, map))
    };
    let name = path.file_stem().unwrap_or_default().to_string_lossy();
    Ok(Setup::parse(&text, &shown, &name, &map_text)?)
}

/// A point for a map that has no process value yet.
const STAND_IN: &str = "[points.stand-in]\nrole = \"process-value\"\ntable = \"holding\"\naddress = 0\n\
                        encoding = \"i16\"\n";

/// The map as it is, if it is whole; else one that tells no more than how the unit may be asked.
fn usable_map(text: String, path: &str) -> String {
    let is_whole = |text: &str| {
        Map::parse(text, path).is_ok_and(|map| map.point_with(Role::ProcessValue).is_some())
    };
    if is_whole(&text) {
        return text;
    }
    let head = "schema = 1\ntitle = \"not whole yet\"\n";
    let access = toml::from_str::<toml::Table>(&text)
        .ok()
        .and_then(|map| map.get("access").cloned())
        .map(|access| toml::Table::from_iter([("access".to_owned(), access)]).to_string());
    let with_access = access.map(|access| format!("{head}{access}\n{STAND_IN}"));
    let (usable, how) = match with_access.filter(|text| is_whole(text)) {
        Some(usable) => (usable, "as its [access] says"),
        None => (
            format!("{head}{STAND_IN}"),
            "as any may be, 8 words at a time",
        ),
    };
    // A courtesy; what is found does not depend on it.
    let _ = writeln!(
        io::stderr(),
        "note: {path} is no whole map yet: the unit is asked {how}"
    );
    usable
}

fn only_loop(setup: &Setup, only: Option<&Name>) -> Result<LoopSetup, Stop> {
    let mut loops = chosen(setup, only)?;
    if loops.len() == 1 {
        return Ok(loops.remove(0));
    }
    let names: Vec<&str> = loops.iter().map(|it| it.name.as_str()).collect();
    let text = format!(
        "this setup has several loops\nhelp: name one of them with --loop: {}",
        names.join(", ")
    );
    Err(Stop::new(Exit::WrongUse, text))
}

/// Reads the survivors again, then what was not asked for yet. What is known then, and the words.
async fn narrow(
    args: &LocateArgs,
    setup: &Setup,
    the_loop: &LoopSetup,
    before: Known,
) -> Result<(Known, Image), Stop> {
    let line = setup.lines.iter().find(|line| line.name == the_loop.line);
    let line =
        line.ok_or_else(|| Stop::new(Exit::WrongUse, "the loop's line is not in the setup"))?;
    let _hold = keep(&line.port)?;
    let mut line = Line::new(
        line,
        std::slice::from_ref(the_loop),
        args.listen.manner(),
        line::opener(line.port.clone()),
    );
    line.open(&mut |remark| tell_remark(&remark)).await?;
    let mut sweep = Sweep::new(line, the_loop);
    let mut places: Vec<Place> = before
        .candidates
        .iter()
        .map(|it| it.candidate.place())
        .collect();
    places.sort_unstable();
    places.dedup();
    let again = sweep.walk(places).await?;
    let is_whole = again.is_empty();
    let first_new = sweep.read.len();
    let left = if is_whole {
        sweep
            .walk(before.left.iter().copied().map(Into::into))
            .await?
    } else {
        return Err(Stop::new(Exit::NotMet, "ended early: nothing has changed"));
    };
    let (shown, within) = (args.shows, args.within());
    let survivors = before.candidates.iter().filter_map(|it| {
        let fit = it.candidate.fit(&sweep.image, shown, within)?;
        let fits = it.fits.iter().copied().chain([fit]).collect();
        Some(Survivor { fits, ..it.clone() })
    });
    let new = candidates(&sweep.image, &sweep.read[first_new..], shown, within);
    let new = new.into_iter().map(|(candidate, fit)| Survivor {
        candidate,
        fits: vec![fit],
    });
    let known = Known {
        shown: before.shown.iter().copied().chain([shown]).collect(),
        candidates: survivors.chain(new).collect(),
        left: left.into_iter().map(Into::into).collect(),
        asked: before.asked,
    };
    Ok((known, sweep.image))
}

/// A unit's registers, as far as they were read.
struct Sweep<'a> {
    line: Line,
    the_loop: &'a LoopSetup,
    image: Image,
    read: Vec<Place>,
}

impl<'a> Sweep<'a> {
    fn new(line: Line, the_loop: &'a LoopSetup) -> Self {
        Self {
            line,
            the_loop,
            image: Image::default(),
            read: Vec::new(),
        }
    }

    /// Reads these stretches; gives what is left of them when a person ends it.
    async fn walk(
        &mut self,
        stretches: impl IntoIterator<Item = Place>,
    ) -> Result<Vec<Place>, Stop> {
        let access = &self.the_loop.map.access;
        let mut walk = Walk::new(stretches, access);
        let mut progress = StatusLine::new();
        let (all, began) = (walk.registers_left(), Stopwatch::start());
        loop {
            let next = tokio::select! {
                next = walk.step(&mut self.line, self.the_loop.unit, access) => next,
                _ = signals::asked_to_end() => break,
            };
            match next {
                None => break,
                Some(Ok(Step::Words(place, words))) => {
                    self.image.put_words(place.table, place.address, &words);
                    self.read.push(place);
                }
                Some(Ok(Step::Nothing(_))) => {}
                Some(Err(failure)) => {
                    progress.end();
                    return Err(self.gave_up(&failure, &walk));
                }
            }
            let done = 1.0 - f64::from(walk.registers_left()) / f64::from(all.max(1));
            let left = began.elapsed().as_secs_f64() * (1.0 - done) / done.max(1e-3);
            progress.tell(done, Duration::from_secs_f64(left), || at(&walk));
        }
        progress.end();
        if walk.unanswered() > 0 {
            let _ = writeln!(
                io::stderr(),
                "note: the unit was silent about {} registers, which may be among those sought; where it needs \
                 a rest between requests, say so in its map: [access] gap = \"50 ms\"",
                walk.unanswered()
            );
        }
        Ok(walk.left().collect())
    }

    fn gave_up(&self, failure: &Failure, walk: &Walk) -> Stop {
        let (unit, port) = (self.the_loop.unit, self.line.describe());
        let asked = walk.left().next().unwrap_or(Place {
            table: Table::Holding,
            address: Address(0),
            count: 1,
        });
        let asked = Place { count: 1, ..asked };
        Stop::new(
            Exit::Line,
            failure.explain(unit, &port, asked, self.line.answer_within()),
        )
    }
}

fn at(walk: &Walk) -> String {
    walk.left().next().map_or_else(String::new, |place| {
        format!("{} {}", place.table.word(), place.address.0)
    })
}

/// Nothing fits; what was known before stays.
fn none_left(args: &LocateArgs, the_loop: &LoopSetup) -> Exit {
    let _ = writeln!(
        io::stderr(),
        "no register of unit {} is {} in any way of reading it; what earlier runs found is kept\n\
         help: read the panel again (it may have moved: --within 0.5), try other --addresses, or \
         begin anew with --restart",
        the_loop.unit.get(),
        args.shows,
    );
    Exit::NotMet
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_ranges_and_single_ones() {
        let read = |text: &str| text.parse().map(|Addresses(ranges)| ranges);
        assert_eq!(read("0-99, 4096"), Ok(vec![(0, 99), (4096, 4096)]));
        for wrong in ["", "9-1", "x", "0-65535", "70000"] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }
}
