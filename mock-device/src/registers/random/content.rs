//! What a random controller has registers for.

use super::dice::Dice;
use super::places::Places;
use super::style::{States, Style};
use crate::registers::{Broken, Encoding, Item, Kind, Setting, State, Table, What};

/// Items in groups that stay together, without addresses.
#[derive(Debug)]
pub(super) struct Contents {
    groups: Vec<Vec<Item>>,
    /// Parts of one word each.
    packed: Vec<Item>,
}

/// What is there only in some controllers.
const MAYBE_MEASURED: [What; 4] = [
    What::WorkingSetpoint,
    What::Deviation,
    What::TerminalTemperature,
    What::RunningTime,
];
const MAYBE_SET: [Setting; 9] = [
    Setting::Cycle,
    Setting::SetpointHigh,
    Setting::SetpointLow,
    Setting::OutputHigh,
    Setting::OutputLow,
    Setting::ManualOutput,
    Setting::Alarm,
    Setting::Ramp,
    Setting::AutotuneLimit,
];

/// What looks like a value and is none.
const DECOYS: [What; 6] = [
    What::Constant(250.0, Kind::Temperature, "Setpoint 2 (not in use)"),
    What::Constant(1200.0, Kind::Temperature, "Input range, upper end"),
    What::Constant(20.0, Kind::Temperature, "Input range, lower end"),
    What::Constant(488.0, Kind::Temperature, "Low alarm (not fitted)"),
    What::Constant(2.0, Kind::Time, "Input filter"),
    What::Constant(100.0, Kind::Percent, "Output 2 (not fitted)"),
];
const IDENTITY: [What; 4] = [
    What::Constant(4712.0, Kind::Count, "Device code"),
    What::Constant(213.0, Kind::Count, "Firmware version"),
    What::Constant(4871.0, Kind::Count, "Serial number"),
    What::Constant(496.0, Kind::Count, "Calibration word"),
];

impl Contents {
    pub(super) fn draw(dice: &mut Dice, style: &Style) -> Self {
        let mut contents = Self {
            groups: Vec::new(),
            packed: Vec::new(),
        };
        let measured = measured(dice, style);
        let settings = settings(dice, style);
        let identity = IDENTITY.into_iter().filter(|_| dice.percent(50));
        let identity: Vec<Item> = identity
            .map(|what| Item::new(upper(style), 0, what))
            .collect();
        contents.groups.extend([measured, settings, identity]);
        contents.states(dice, style);
        contents.commands(dice, style);
        for group in &mut contents.groups {
            dice.shuffle(group);
        }
        dice.shuffle(&mut contents.groups);
        contents
    }

    fn states(&mut self, dice: &mut Dice, style: &Style) {
        let lamps = [State::Alarm, State::SensorFault, State::Heating];
        let mut shown = vec![State::Tuning, State::Mode];
        shown.extend(lamps.into_iter().filter(|_| dice.percent(60)));
        if dice.percent(40) {
            shown.push(State::TuneResult);
        }
        match style.states {
            States::Packed => self.packed = packed(dice, style, &shown),
            States::Bits => {
                let (bits, wide): (Vec<State>, Vec<State>) = shown
                    .into_iter()
                    .partition(|state| state.names().len() == 2);
                let lamp = |state: &State| Item::new(Table::Discrete, 0, What::State(*state));
                let lamps = bits.iter().map(lamp).map(|item| maybe_inverted(dice, item));
                self.groups.push(lamps.collect());
                self.groups.push(words(dice, style, &wide));
            }
            States::Enumerated => {
                shown.retain(|state| !matches!(state, State::Tuning | State::Mode));
                shown.push(State::Operation);
                self.groups.push(words(dice, style, &shown));
            }
            States::Words => self.groups.push(words(dice, style, &shown)),
        }
    }

    fn commands(&mut self, dice: &mut Dice, style: &Style) {
        let table = match style.states {
            States::Bits => Table::Coil,
            States::Packed | States::Enumerated | States::Words => Table::Holding,
        };
        let item = |state| Item::new(table, 0, What::State(state));
        let mode = maybe_inverted(dice, item(State::Mode)).writable();
        let tune = item(State::TuneCommand);
        let tune = if table == Table::Holding && dice.percent(50) {
            tune.command(dice.one_of(&[[0, 1], [2, 1], [90, 165]]))
        } else {
            tune.writable()
        };
        let labelled = |label, item| Item {
            label,
            is_copy: true,
            ..item
        };
        self.groups.push(vec![
            labelled("Automatic or manual", mode),
            labelled("Start or stop autotune", tune),
        ]);
    }

    /// All of them with their addresses.
    pub(super) fn placed(self, dice: &mut Dice, places: &mut Places) -> Vec<Item> {
        let mut items = Vec::new();
        for group in self.groups {
            if let Some(first) = group.first() {
                places.jump(dice, first.table);
            }
            items.extend(group.into_iter().map(|item| places.place(dice, item)));
        }
        if let Some(&first) = self.packed.first() {
            let address = places.place(dice, first).address;
            items.extend(self.packed.into_iter().map(|item| Item { address, ..item }));
        }
        items
    }
}

/// Where what is measured stands.
fn upper(style: &Style) -> Table {
    if style.splits {
        Table::Input
    } else {
        Table::Holding
    }
}

fn measured(dice: &mut Dice, style: &Style) -> Vec<Item> {
    let mut held = vec![What::ProcessValue, What::Output];
    held.extend(MAYBE_MEASURED.into_iter().filter(|_| dice.percent(50)));
    let item = |dice: &mut Dice, what| {
        let item = Item::new(upper(style), 0, what);
        let item = style.number(dice, item);
        named(dice, item)
    };
    let mut items: Vec<Item> = held.into_iter().map(|what| item(dice, what)).collect();
    if dice.percent(40) {
        let whole = Item::new(upper(style), 0, What::ProcessValue).coded(Encoding::I16, 1.0);
        items.push(Item {
            unit: items[0].unit,
            broken: Broken::Raw(0x7FFF),
            label: "Display value, rounded",
            is_copy: true,
            ..whole
        });
    }
    if dice.percent(30) {
        // What the converter counts: it rises with the temperature, and is none.
        let counts = Item::new(upper(style), 0, What::ProcessValue);
        items.push(Item {
            is_listed: false,
            is_copy: true,
            ..counts.coded(Encoding::U16, 41.3).starting_at(-200.0)
        });
    }
    items
}

fn settings(dice: &mut Dice, style: &Style) -> Vec<Item> {
    let mut set = vec![
        Setting::Setpoint,
        Setting::Band,
        Setting::Integral,
        Setting::Derivative,
    ];
    set.extend(MAYBE_SET.into_iter().filter(|_| dice.percent(50)));
    if style.follows_display() {
        set.push(Setting::Decimals);
    }
    let mut items = Vec::new();
    for setting in set {
        let item = Item::holding(0, What::Set(setting)).writable();
        let item = style.number(dice, item);
        items.push(named(dice, item));
    }
    for what in DECOYS {
        if dice.percent(35) {
            items.push(style.number(dice, Item::holding(0, what)));
        }
    }
    items
}

/// Each in bits of one word, in any order, with holes.
fn packed(dice: &mut Dice, style: &Style, shown: &[State]) -> Vec<Item> {
    let mut shown = shown.to_vec();
    dice.shuffle(&mut shown);
    let mut next = 0;
    let mut items = Vec::new();
    for state in shown {
        next += dice.between(0, 1) as u8;
        let count = if state.names().len() > 2 { 3 } else { 1 };
        let item = Item::new(upper(style), 0, What::State(state)).bits(next, count);
        items.push(if count == 1 {
            maybe_inverted(dice, item)
        } else {
            item
        });
        next += count;
    }
    let supply = What::Constant(1.0, Kind::Count, "Supply good");
    items.push(Item::new(upper(style), 0, supply).bits(next + 1, 1));
    items
}

/// Each in a word of its own, with any numbers for its values.
fn words(dice: &mut Dice, style: &Style, shown: &[State]) -> Vec<Item> {
    let codes = [
        [0, 1, 2, 3, 4, 5],
        [0, 1, 2, 3, 4, 5],
        [1, 2, 3, 4, 5, 6],
        [0, 2, 1, 8, 4, 16],
        [5, 3, 7, 1, 9, 2],
    ];
    let item = |state: &State| Item {
        codes: dice.one_of(&codes),
        ..Item::new(upper(style), 0, What::State(*state))
    };
    shown.iter().map(item).collect()
}

/// Now and then 1 is the other way round than one would think.
fn maybe_inverted(dice: &mut Dice, item: Item) -> Item {
    if dice.percent(15) {
        item.with_codes([1, 0])
    } else {
        item
    }
}

/// Gives an item one of the names that manuals have for it.
fn named(dice: &mut Dice, item: Item) -> Item {
    let names: &[&'static str] = match item.what {
        What::ProcessValue => &["Process value", "Measured temperature", "Actual value"],
        What::WorkingSetpoint => &["Setpoint in use", "Working setpoint (follows the ramp)"],
        What::Output => &["Output", "Heating power", "Control output"],
        What::Set(Setting::Setpoint) => &["Setpoint", "Target temperature", "Set value"],
        What::Set(Setting::Band) => &["Proportional band"],
        What::Set(Setting::Integral) => &["Integral time", "Reset time"],
        What::Set(Setting::Derivative) => &["Derivative time", "Rate time"],
        _ => return item,
    };
    let label = dice.one_of(names);
    Item { label, ..item }
}
