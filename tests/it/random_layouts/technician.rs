//! Somebody who writes a map from nothing but a printed manual. What the manual leaves out (where its
//! numbers begin, word order, signs) would have to be tried out; here it is asked of the layout.

use std::fmt::Write as _;

use emberline::name::Name;
use mock_device::registers::{
    Access, Encoding, Item, Layout, Numbering, Random, Setting, Table, What, register_table,
};

/// The manual, row by row, and the item behind each row.
pub(super) struct Technician {
    layout: &'static Random,
    manual: String,
    rows: Vec<Row>,
}

/// One row of the table.
struct Row {
    name: String,
    item: Item,
    number: String,
    kind: String,
    step: String,
    notes: String,
}

impl Technician {
    pub(super) fn with_the_manual_of(layout: &'static Random) -> Self {
        let manual = register_table(layout);
        let mut rows = Vec::new();
        let mut table = None;
        for line in manual.lines() {
            table = titled(line).or(table);
            let cells: Vec<&str> = line.split("  ").map(str::trim).collect();
            let cells: Vec<&str> = cells.into_iter().filter(|cell| !cell.is_empty()).collect();
            if let ([number, label, _, kind, step, notes @ ..], Some(table)) = (&*cells, table)
                && *number != "No."
            {
                rows.push(Row {
                    name: format!("p{}", rows.len()),
                    item: *item(layout, table, number, label),
                    number: (*number).to_owned(),
                    kind: (*kind).to_owned(),
                    step: (*step).to_owned(),
                    notes: notes.first().copied().unwrap_or_default().to_owned(),
                });
            }
        }
        Self {
            layout,
            manual,
            rows,
        }
    }

    pub(super) fn rows(&self) -> usize {
        self.rows.len()
    }

    pub(super) fn item(&self, name: &Name) -> &Item {
        let mut rows = self.rows.iter();
        &rows.find(|row| row.name == name.as_str()).unwrap().item
    }

    /// The map, of everything that can be read.
    pub(super) fn map(&self) -> String {
        let mut map = "schema = 1\ntitle = \"Unknown controller\"\n[access]\n".to_owned();
        self.access(&mut map).unwrap();
        let read = |row: &&Row| row.item.access != Access::Write;
        for row in self.rows.iter().filter(read) {
            self.point(&mut map, row).unwrap();
        }
        map
    }

    fn access(&self, map: &mut String) -> std::fmt::Result {
        let numbering = match self.layout.manual().numbering {
            Numbering::ZeroBased | Numbering::Hexadecimal => "zero-based",
            Numbering::OneBased => "one-based",
            Numbering::Reference => "reference",
        };
        writeln!(map, "addresses = \"{numbering}\"")?;
        writeln!(map, "max_words = {}", self.said("reads at most ").unwrap())?;
        if let Some(rest) = self.said("controller needs ") {
            let gap = rest.parse::<u32>().unwrap() + 5;
            writeln!(map, "gap = \"{gap} ms\"")?;
        }
        if self.orders().0 {
            writeln!(map, "word_order = \"low-first\"")?;
        }
        Ok(())
    }

    /// Whether the low word, and the low byte, come first.
    fn orders(&self) -> (bool, bool) {
        let order = self.layout.order();
        if self.layout.manual().says.order && self.manual.contains("A 32 bit value") {
            let low = |what: &str| self.manual.contains(&format!("the low {what}"));
            let found = (low("word first"), low("byte of each word"));
            assert_eq!(found, (order.low_word_first, order.low_byte_first));
        }
        (order.low_word_first, order.low_byte_first)
    }

    /// The number behind a phrase.
    fn said(&self, phrase: &str) -> Option<&str> {
        let (_, rest) = self.manual.split_once(phrase)?;
        rest.split_whitespace().next()
    }

    fn point(&self, map: &mut String, row: &Row) -> std::fmt::Result {
        let item = &row.item;
        writeln!(map, "[points.{}]\nrole = \"{}\"", row.name, role(item))?;
        let table = match item.table {
            Table::Coil => "coil",
            Table::Discrete => "discrete",
            Table::Input => "input",
            Table::Holding => "holding",
        };
        let number = &row.number;
        let quote = if self.layout.manual().numbering == Numbering::Reference {
            "\""
        } else {
            ""
        };
        writeln!(map, "table = \"{table}\"\naddress = {quote}{number}{quote}")?;
        self.layout_of(map, row)?;
        if row.step == "-" {
            let codes: Vec<String> = pairs(&row.notes)
                .map(|(code, name)| format!("\"{code}\" = \"{name}\""))
                .collect();
            if !codes.is_empty() {
                writeln!(map, "names = {{ {} }}", codes.join(", "))?;
            }
            return Ok(());
        }
        self.scale(map, &row.step)?;
        let open = pairs(&row.notes)
            .find(|(code, meaning)| *meaning == "sensor open" && *code != "not a number");
        match open {
            Some((code, meaning)) => writeln!(map, "faults = {{ \"{code}\" = \"{meaning}\" }}"),
            None => Ok(()),
        }
    }

    fn layout_of(&self, map: &mut String, row: &Row) -> std::fmt::Result {
        let first_bit = self.layout.manual().first_bit;
        let from_zero = |bit: &str| bit.parse::<u8>().unwrap() - first_bit;
        if let Some((low, high)) = row
            .kind
            .strip_prefix("bits ")
            .and_then(|it| it.split_once(".."))
        {
            return writeln!(map, "bits = \"{}..{}\"", from_zero(low), from_zero(high));
        }
        if let Some(bit) = row.kind.strip_prefix("bit ") {
            return writeln!(map, "bit = {}", from_zero(bit));
        }
        let encoding = match &*row.kind {
            "bit" => "bit",
            "16 bit signed" => "i16",
            "16 bit unsigned" => "u16",
            "32 bit signed" => "i32",
            "32 bit unsigned" => "u32",
            "32 bit float" => "f32",
            // The manual does not say whether it is signed.
            unsaid => match (unsaid, row.item.encoding) {
                ("16 bit", Encoding::I16) => "i16",
                ("16 bit", Encoding::U16) => "u16",
                ("32 bit", Encoding::I32) => "i32",
                ("32 bit", Encoding::U32) => "u32",
                (other, encoding) => unreachable!("{other:?} is {encoding:?}"),
            },
        };
        writeln!(map, "encoding = \"{encoding}\"")?;
        if row.kind.starts_with("32") && self.orders().1 {
            writeln!(map, "byte_order = \"low-first\"")?;
        }
        Ok(())
    }

    /// `0.1 degF above -400`, `1 digit of display, degC`, `0.1 % of span` or a bare `1`.
    fn scale(&self, map: &mut String, step: &str) -> std::fmt::Result {
        let unit = if let Some((_, unit)) = step.split_once("of display, ") {
            let is_decimals = |row: &&Row| row.item.what == What::Set(Setting::Decimals);
            let decimals = self.rows.iter().find(is_decimals).unwrap();
            writeln!(map, "decimals_from = \"{}\"", decimals.name)?;
            unit
        } else {
            let (scale, unit) = step.split_once(' ').unwrap_or((step, ""));
            let (unit, offset) = unit.split_once(" above ").unwrap_or((unit, "0"));
            writeln!(map, "scale = {scale}\noffset = {offset}")?;
            unit
        };
        match unit.trim_end_matches(" of span") {
            "" => Ok(()),
            unit => writeln!(map, "unit = \"{unit}\""),
        }
    }
}

fn titled(line: &str) -> Option<Table> {
    Some(match line {
        "Coils" => Table::Coil,
        "Discrete inputs" => Table::Discrete,
        "Input registers" => Table::Input,
        "Holding registers" => Table::Holding,
        _ => return None,
    })
}

fn item(layout: &'static Random, table: Table, number: &str, label: &str) -> &'static Item {
    let is_it = |item: &&Item| {
        let numbered = layout.manual().number(table, item.address);
        item.is_listed && item.table == table && item.label == label && numbered == number
    };
    layout.items().iter().find(is_it).unwrap()
}

fn role(item: &Item) -> &'static str {
    match item.what {
        _ if item.is_copy => "other",
        What::ProcessValue => "process-value",
        What::Set(Setting::Setpoint) => "setpoint",
        What::Output => "output",
        What::Set(Setting::Decimals) => "decimal-point",
        _ => "other",
    }
}

/// `0 = automatic, 1 = manual`
fn pairs(notes: &str) -> impl Iterator<Item = (&str, &str)> {
    notes.split(", ").filter_map(|pair| pair.split_once(" = "))
}
