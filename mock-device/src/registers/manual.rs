//! A layout's register table, as the controller's manual would print it.

use std::fmt::Write as _;
use std::time::Duration;

use super::{Access, Broken, Encoding, Item, Kind, Layout, Scale, Table, Unit, What, Words};

/// How a manual numbers registers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Numbering {
    /// As the addresses go over the wire.
    #[default]
    ZeroBased,
    /// The same, in hexadecimal.
    Hexadecimal,
    /// One more than that.
    OneBased,
    /// One more, behind a digit for the table: 40001.
    Reference,
}

/// What a manual says; the best say everything.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[expect(
    clippy::struct_excessive_bools,
    reason = "a manual can forget any of them"
)]
pub struct Says {
    /// Where its numbers begin.
    pub numbering: bool,
    /// The order of words and bytes.
    pub order: bool,
    /// Where it begins to count bits.
    pub first_bit: bool,
    /// Which whole numbers may be negative.
    pub signs: bool,
}

/// How a controller's manual prints its registers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Manual {
    /// How it numbers them.
    pub numbering: Numbering,
    /// What it calls the lowest bit of a word, 0 or 1.
    pub first_bit: u8,
    /// What it says of all that.
    pub says: Says,
}

impl Default for Says {
    fn default() -> Self {
        Self {
            numbering: true,
            order: true,
            first_bit: true,
            signs: true,
        }
    }
}

/// Columns of the table, and how wide they are.
const COLUMNS: [(&str, usize); 6] = [
    ("No.", 8),
    ("Name", 38),
    ("Access", 8),
    ("Type", 18),
    ("One step is", 24),
    ("Notes", 0),
];

/// The register table of a layout, text in columns with at least two blanks between.
pub fn register_table(layout: &dyn Layout) -> String {
    let mut text = format!("Controller {}: serial communication\n\n", layout.name());
    for line in general(layout) {
        let _ = writeln!(text, "{line}");
    }
    for (table, title) in [
        (Table::Coil, "Coils"),
        (Table::Discrete, "Discrete inputs"),
        (Table::Input, "Input registers"),
        (Table::Holding, "Holding registers"),
    ] {
        let listed = |item: &&Item| item.table == table && item.is_listed;
        let mut items: Vec<&Item> = layout.items().iter().filter(listed).collect();
        items.sort_by_key(|item| (item.address, item.part.map(|part| part.lowest)));
        if items.is_empty() {
            continue;
        }
        let _ = write!(text, "\n{title}\n");
        text.push_str(&row(COLUMNS.map(|(title, _)| title.to_owned())));
        for item in items {
            text.push_str(&row(cells(layout, item)));
        }
    }
    text
}

fn row(cells: [String; 6]) -> String {
    let mut line = String::new();
    for ((_, width), cell) in COLUMNS.into_iter().zip(cells) {
        let _ = write!(line, "{cell:<width$}  ");
    }
    format!("{}\n", line.trim_end())
}

/// What holds for all registers.
fn general(layout: &dyn Layout) -> Vec<String> {
    let manual = layout.manual();
    let items = layout.items();
    let mut lines = vec![
        format!("Modbus RTU, functions {}.", functions(layout)),
        format!(
            "One request reads at most {} registers.",
            layout.max_words()
        ),
    ];
    if layout.rest() > Duration::ZERO {
        let rest = layout.rest().as_millis();
        lines.push(format!(
            "After each answer the controller needs {rest} ms of rest."
        ));
    }
    if layout.rest_after_write() > layout.rest() {
        let rest = layout.rest_after_write().as_millis();
        lines.push(format!("After a write it needs {rest} ms."));
    }
    lines.extend(numbering(manual));
    if items.iter().any(|item| item.length() > 1) && manual.says.order {
        let order = layout.order();
        let word = if order.low_word_first { "low" } else { "high" };
        let byte = if order.low_byte_first { "low" } else { "high" };
        lines.push(format!(
            "A 32 bit value takes two registers: the {word} word first, the {byte} byte of each word first."
        ));
    }
    if items.iter().any(|item| item.part.is_some()) && manual.says.first_bit {
        lines.push(format!(
            "The lowest bit of a word is bit {}.",
            manual.first_bit
        ));
    }
    if layout.needs_unlocking() {
        lines.push("Nothing else can be written before the write access is open.".to_owned());
    }
    lines.push("Numbers that are not listed may be refused.".to_owned());
    lines
}

fn functions(layout: &dyn Layout) -> String {
    let mut functions = Vec::new();
    if layout.has_bits() {
        functions.extend(["01", "02", "05", "15"]);
    }
    if layout.has_words(Words::Holding) {
        functions.push("03");
    }
    if layout.has_words(Words::Input) {
        functions.push("04");
    }
    functions.extend(["06", "16"]);
    if layout.echoes() {
        functions.push("08");
    }
    functions.sort_unstable();
    functions.join(", ")
}

fn numbering(manual: Manual) -> Option<String> {
    let says = match manual.numbering {
        Numbering::ZeroBased => "Numbers are addresses: the first is 0.",
        Numbering::Hexadecimal => "Numbers are addresses in hexadecimal: the first is 0x0000.",
        Numbering::OneBased => "Numbers begin at 1: number 1 is sent as address 0.",
        Numbering::Reference => {
            "Numbers begin with the digit of their table: 40001 is the first holding register."
        }
    };
    manual.says.numbering.then(|| says.to_owned())
}

fn cells(layout: &dyn Layout, item: &Item) -> [String; 6] {
    let manual = layout.manual();
    let access = match item.access {
        Access::Read => "R",
        Access::ReadWrite => "R/W",
        Access::Write => "W",
    };
    [
        manual.number(item.table, item.address),
        item.label.to_owned(),
        access.to_owned(),
        manual.type_of(item),
        step(item),
        notes(layout, item),
    ]
}

impl Manual {
    /// An address as the manual numbers it.
    pub fn number(self, table: Table, address: u16) -> String {
        let one_based = u32::from(address) + 1;
        match (self.numbering, table) {
            (Numbering::ZeroBased, _) => address.to_string(),
            (Numbering::Hexadecimal, _) => format!("0x{address:04X}"),
            (Numbering::OneBased, _) => one_based.to_string(),
            // Five digits reach as far as 9999.
            (Numbering::Reference, _) if one_based > 9999 => {
                format!("{}{one_based:05}", digit(table))
            }
            (Numbering::Reference, _) => format!("{}{one_based:04}", digit(table)),
        }
    }

    fn type_of(self, item: &Item) -> String {
        if let Some(part) = item.part {
            let lowest = part.lowest + self.first_bit;
            return match part.count {
                1 => format!("bit {lowest}"),
                count => format!("bits {lowest}..{}", lowest + count - 1),
            };
        }
        let (bits, sign) = match item.encoding {
            Encoding::Bit => return "bit".to_owned(),
            Encoding::F32 => return "32 bit float".to_owned(),
            Encoding::U16 => (16, "unsigned"),
            Encoding::I16 => (16, "signed"),
            Encoding::U32 => (32, "unsigned"),
            Encoding::I32 => (32, "signed"),
        };
        if self.says.signs {
            format!("{bits} bit {sign}")
        } else {
            format!("{bits} bit")
        }
    }
}

fn digit(table: Table) -> char {
    match table {
        Table::Coil => '0',
        Table::Discrete => '1',
        Table::Input => '3',
        Table::Holding => '4',
    }
}

/// What the raw number 1 stands for, and from where it counts.
fn step(item: &Item) -> String {
    if matches!(item.what, What::State(_)) || item.part.is_some() {
        return "-".to_owned();
    }
    let unit = match item.unit {
        Unit::PercentOfSpan(_) => "% of span",
        unit => unit.text(),
    };
    match item.scale {
        Scale::Display => format!("1 digit of display, {unit}"),
        Scale::Fixed { per_unit, offset } => {
            let step = format!("{} {unit}", 1.0 / per_unit);
            let from = if offset < 0.0 {
                format!(" above {offset}")
            } else {
                String::new()
            };
            format!("{}{from}", step.trim_end())
        }
    }
}

fn notes(layout: &dyn Layout, item: &Item) -> String {
    let mut notes: Vec<String> = item
        .coded_names()
        .map(|(code, name)| format!("{code} = {name}"))
        .collect();
    if matches!(item.what, What::ProcessValue | What::Deviation) {
        notes.push(match item.broken {
            Broken::Raw(raw) => format!("{} = sensor open", item.encoding.shown(raw)),
            Broken::Top => "sensor open shows as the top of the range".to_owned(),
        });
    }
    if let Unit::PercentOfSpan(span) = item.unit {
        let unit = layout.temperature_unit();
        let width = unit.of(Kind::Difference, span);
        notes.push(format!("span of {width} {}", unit.text()));
    }
    notes.join(", ")
}
