//! What goes wrong between the oven and the file; and what the file then shows of the truth.

use super::dice::Dice;
use super::truth::{Form, Happened, Row};
use super::workshop::Workshop;

/// The rows as they end up in the file, and the truth as they show it.
pub(super) fn spoil(workshop: &mut Workshop) -> Vec<Row> {
    workshop.perhaps_disturbed();
    let mut rows = std::mem::take(&mut workshop.rows);
    let (dice, hidden) = (&mut workshop.dice, &workshop.protected);
    match dice.between(0.0, 5.0) as u32 {
        0 => gaps(&mut rows, dice, hidden, workshop.habit.form),
        1 => repeated(&mut rows, dice),
        2 => without_setpoint(&mut rows, dice),
        _ => {}
    }
    let form = workshop.habit.form;
    let period_s = workshop.habit.period_s;
    let show = |happened: &mut Happened| shown(happened, &rows, form, period_s);
    workshop.truth.iter_mut().for_each(show);
    workshop
        .truth
        .retain(|happened| happened.start_s.0.is_finite());
    rows
}

/// Half a minute to two minutes without answers, in a recording as empty rows.
fn gaps(rows: &mut Vec<Row>, dice: &mut Dice, hidden: &[(f64, f64)], form: Form) {
    let last_s = rows.last().map_or(0.0, |row| row.time_s);
    for _ in 0..3 {
        let from_s = dice.between(0.0, last_s);
        let to_s = from_s + dice.between(30.0, 120.0);
        if hidden
            .iter()
            .any(|(begin, end)| from_s < *end && to_s > *begin)
        {
            continue;
        }
        let lost = |row: &Row| (from_s..to_s).contains(&row.time_s);
        match form {
            Form::Csv => rows.retain(|row| !lost(row)),
            Form::Recording => rows
                .iter_mut()
                .filter(|row| lost(row))
                .for_each(|row| row.pv = None),
        }
    }
}

/// Some rows carry the time of the one before.
fn repeated(rows: &mut [Row], dice: &mut Dice) {
    for index in 1..rows.len() {
        if dice.chance(0.01) {
            rows[index].time_s = rows[index - 1].time_s;
        }
    }
}

fn without_setpoint(rows: &mut [Row], dice: &mut Dice) {
    for row in rows {
        if dice.chance(0.03) {
            row.setpoint = None;
        }
    }
}

fn is(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}

/// Where the first row that shows what happened stands in the file; never, where none does.
fn shown(happened: &mut Happened, rows: &[Row], form: Form, period_s: f64) {
    let at_s = happened.start_s.0;
    let since = |from_s: f64| {
        let seen = move |row: &&Row| row.looked_s >= from_s && row.pv.is_some();
        rows.iter().filter(seen)
    };
    let first = |row: Option<&Row>| row.map_or(f64::INFINITY, |row| row.time_s);
    let exact = |time_s: f64| (time_s, time_s);
    match (happened.kind, happened.setpoints) {
        ("setpoint-step", Some((_, to))) => {
            let carries = |row: &&Row| row.setpoint.is_some_and(|sp| is(sp, to));
            happened.start_s = exact(first(since(at_s).find(carries)));
        }
        ("ramp", Some((from, to))) => {
            let moved = |row: &&Row| row.setpoint.is_some_and(|sp| !is(sp, from));
            let arrived = |row: &&Row| row.setpoint.is_some_and(|sp| is(sp, to));
            happened.start_s = exact(first(since(at_s).find(moved)));
            happened.end_s = Some(exact(first(since(at_s).find(arrived))));
        }
        ("autotune", _) => {
            let ended_s = happened.end_s.map_or(f64::INFINITY, |(end, _)| end);
            let under_way = first(since(at_s).find(|row| row.tuning));
            let over = first(since(ended_s).find(|row| !row.tuning));
            happened.start_s = exact(under_way);
            happened.end_s = Some(exact(over));
            if form == Form::Csv {
                // Inferred from the output, which may be at a level of the tune a row early or late,
                // and stay there when the tune has ended.
                let most = 2.0 * period_s;
                let during = rows
                    .iter()
                    .filter(|row| (under_way..over).contains(&row.time_s));
                let (low, high) = during.fold((100.0_f64, 0.0_f64), |(low, high), row| {
                    (low.min(row.output), high.max(row.output))
                });
                let off = |row: &&Row| !is(row.output, low) && !is(row.output, high);
                let gone = first(since(ended_s).find(off));
                happened.start_s = (under_way - most, under_way + most);
                happened.end_s = Some((over - most, gone.max(over) + most));
                happened.certain = is_plain(rows, (under_way, over));
            }
        }
        ("output-step", _) => {
            let before = rows.iter().take_while(|row| row.looked_s < at_s).last();
            let old = before.map_or(0.0, |row| row.output);
            let moved = |row: &&Row| (row.output - old).abs() > 1.0;
            happened.start_s = exact(first(since(at_s).find(moved)));
        }
        _ => {}
    }
}

/// Whether the output switched over for two to six cycles, without chatter.
fn is_plain(rows: &[Row], (from_s, to_s): (f64, f64)) -> bool {
    let inside = rows
        .iter()
        .filter(|row| (from_s..to_s).contains(&row.time_s));
    let outputs: Vec<f64> = inside.map(|row| row.output).collect();
    let runs: Vec<usize> = outputs
        .chunk_by(|a, b| is(*a, *b))
        .map(<[f64]>::len)
        .collect();
    (6..=13).contains(&runs.len()) && runs[..runs.len() - 1].iter().all(|length| *length >= 3)
}
