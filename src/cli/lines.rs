//! The lines of some loops, to be read: opened here, or through whoever polls them already.

use std::io::{self, Write as _};
use std::time::Duration;

use futures_util::future::{join_all, try_join_all};
use serde_json::{Value, json};

use super::listening::{ListenArgs, tell};
use super::owning::{keep, taken};
use super::{Exit, Stop};
use crate::hands::{Hold, Key, Reached, reach};
use crate::line::{self, Line, LoopSeen};
use crate::name::Name;
use crate::process;
use crate::sample::{Reading, Why};
use crate::setup::{LineSetup, LoopSetup, Setup};

/// Lines that can be read.
pub(super) struct Lines {
    own: Vec<Line>,
    others: Vec<Polled>,
    /// Of those that are open here.
    _holds: Vec<Hold>,
}

/// A line that another process polls.
struct Polled {
    line: Name,
    port: Key,
    by: Reached,
}

/// Who read a line for us.
pub(super) struct ReadThrough {
    about: String,
    text: String,
}

impl Lines {
    /// Opens the lines of these loops, all at once.
    ///
    /// # Errors
    /// A port cannot be opened, or is to be listened to while another process has it.
    pub(super) async fn open(
        setup: &Setup,
        loops: &[LoopSetup],
        listen: &ListenArgs,
    ) -> Result<Self, Stop> {
        let is_chosen = |line: &&LineSetup| loops.iter().any(|it| it.line == line.name);
        let chosen: Vec<&LineSetup> = setup.lines.iter().filter(is_chosen).collect();
        let manner = listen.manner(chosen.iter().copied())?;
        let (mut free, mut others) = (Vec::new(), Vec::new());
        let mut holds = Vec::new();
        for line in chosen {
            let port = Key::port(&line.port);
            match reach(&port).await {
                Some(by) if listen.listen_only => return Err(taken(&line.port, Some(&by.owner))),
                Some(by) => others.push(Polled {
                    line: line.name.clone(),
                    port,
                    by,
                }),
                None => {
                    holds.extend(keep(&line.port)?);
                    free.push(line);
                }
            }
        }
        let open = |line: &LineSetup| {
            let mut line = Line::new(line, loops, manner, line::opener(line.port.clone()));
            async move {
                line.open(&mut |remark| tell(&remark)).await?;
                Ok::<Line, Stop>(line)
            }
        };
        let own = try_join_all(free.into_iter().map(open)).await?;
        Ok(Self {
            own,
            others,
            _holds: holds,
        })
    }

    /// Listens on all lines at once.
    pub(super) async fn hear_all<'a>(
        &mut self,
        loops: &'a [LoopSetup],
        listen_for: Duration,
    ) -> Vec<(&'a LoopSetup, LoopSeen)> {
        let heard = join_all(self.own.iter_mut().map(|line| line.overhear(listen_for))).await;
        let mut heard: Vec<LoopSeen> = heard.into_iter().flatten().collect();
        let of_loop = |the_loop: &'a LoopSetup| {
            let place = heard.iter().position(|seen| seen.name == the_loop.name)?;
            Some((the_loop, heard.swap_remove(place)))
        };
        loops.iter().filter_map(of_loop).collect()
    }

    /// Reads these loops one after the other.
    ///
    /// # Errors
    /// Whoever polls a line does not read it for us.
    pub(super) async fn read_all<'a>(
        &mut self,
        loops: &'a [LoopSetup],
    ) -> Result<Vec<(&'a LoopSetup, LoopSeen)>, Stop> {
        let mut seen = Vec::new();
        for the_loop in loops {
            let has_it = |line: &&mut Line| line.loop_names().any(|name| *name == the_loop.name);
            if let Some(line) = self.own.iter_mut().find(has_it) {
                seen.push((the_loop, line.read_loop(the_loop).await));
            } else if let Some(polled) = self.others.iter_mut().find(|it| it.line == the_loop.line)
            {
                seen.push((the_loop, polled.read(the_loop).await?));
            }
        }
        Ok(seen)
    }

    /// Who read what for us.
    pub(super) fn notes(&self, seen: &[(&LoopSetup, LoopSeen)]) -> Vec<ReadThrough> {
        let note = |polled: &Polled| {
            let mut text = format!("read by {}", polled.by.owner);
            let unasked = unasked(seen, &polled.line);
            if !unasked.is_empty() {
                text += ", which reads the points of its own map and not ";
                text += &unasked.join(", ");
            }
            ReadThrough {
                about: format!("line {}", polled.line),
                text,
            }
        };
        self.others.iter().map(note).collect()
    }
}

/// The points of a line's loops that nobody asked for.
fn unasked<'a>(seen: &'a [(&LoopSetup, LoopSeen)], line: &Name) -> Vec<&'a str> {
    let loops = seen.iter().filter(|(the_loop, _)| the_loop.line == *line);
    let points = loops.flat_map(|(the_loop, seen)| the_loop.map.points.iter().zip(&seen.points));
    points
        .filter(|(_, seen)| matches!(seen.reading, Reading::Absent(Why::Skipped)))
        .map(|(point, _)| point.name.as_str())
        .collect()
}

impl Polled {
    async fn read(&mut self, the_loop: &LoopSetup) -> Result<LoopSeen, Stop> {
        match self.by.read(&self.port, the_loop.unit).await {
            Ok(came) => Ok(LoopSeen::of(the_loop, came)),
            Err(error) => {
                let text = format!(
                    "loop '{}' was not read: line '{}' is polled by {}, and {error}\n\
                     help: poll its unit there too, or end that process first: {}",
                    the_loop.name,
                    self.line,
                    self.by.owner,
                    process::how_to_end(self.by.owner.process)
                );
                Err(Stop::new(Exit::Line, text))
            }
        }
    }
}

impl ReadThrough {
    pub(super) fn json(&self) -> Value {
        json!({ "code": "read-through", "about": self.about, "text": self.text })
    }

    pub(super) fn tell(&self) {
        // A courtesy; a closed standard error stops nothing.
        let _ = writeln!(io::stderr(), "{}: {}", self.about, self.text);
    }
}
