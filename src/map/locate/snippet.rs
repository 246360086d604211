//! A candidate as a point of a map.

use std::fmt::Write as _;

use super::Candidate;
use crate::map::model::{ByteOrder, Role, Table, WordOrder};
use crate::name::Name;

/// The point as a map's TOML. Its unit is left for the person who reads the panel.
pub fn snippet(candidate: &Candidate, name: &Name, role: Role) -> String {
    let address = candidate.address.0;
    let one_based = u32::from(address) + 1;
    let table = candidate.table;
    let mut text = format!(
        "[points.{name}]\n\
         role = \"{}\"\n\
         table = \"{}\"\n\
         address = {address}  # counted from zero; one-based {one_based}",
        role.word(),
        table.word(),
    );
    // Tables of references have five digits, or six for the higher addresses.
    let leading = match table {
        Table::Coil => 0,
        Table::Discrete => 1,
        Table::Input => 3,
        Table::Holding => 4,
    };
    let digits = if one_based < 10_000 { 4 } else { 5 };
    let _ = write!(text, ", {leading}{one_based:0digits$} as a reference");
    let _ = write!(text, "\nencoding = \"{}\"\n", candidate.encoding.word());
    if candidate.word_order != WordOrder::HighFirst {
        let _ = writeln!(text, "word_order = \"{}\"", candidate.word_order.word());
    }
    if candidate.byte_order != ByteOrder::HighFirst {
        let _ = writeln!(text, "byte_order = \"{}\"", candidate.byte_order.word());
    }
    let _ = match candidate.power {
        0 => Ok(()),
        ..0 => writeln!(text, "decimals = {}", candidate.power.unsigned_abs()),
        1.. => writeln!(
            text,
            "scale = 1{}",
            "0".repeat(candidate.power.unsigned_abs().into())
        ),
    };
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::{Address, Encoding, Map};

    #[test]
    fn it_is_a_point_of_a_map_that_reads_what_the_candidate_reads() {
        let candidate = Candidate {
            table: Table::Input,
            address: Address(40),
            encoding: Encoding::I32,
            word_order: WordOrder::LowFirst,
            byte_order: ByteOrder::LowFirst,
            power: -2,
        };
        let point = snippet(&candidate, &"pv".parse().unwrap(), Role::ProcessValue);
        assert!(point.contains("one-based 41, 30041 as a reference"));
        let text = format!("schema = 1\ntitle = \"t\"\n{point}");
        let map = Map::parse(&text, "t.toml").unwrap();
        let mut image = crate::map::Image::default();
        image.put_words(Table::Input, Address(40), &[0xE209, 0x0000]);
        let read = map.read(&map.points[0], &image).to_string();
        assert_eq!(read, candidate.value(&image).unwrap().to_string());
        assert_eq!(read, "25.30");
    }
}
