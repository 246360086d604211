//! Reading and writing by a list of items.

use super::item::{Item, Table};
use super::{Exception, Layout};
use crate::controller::Controller;

/// The word at an address: all items that have a part in it together. `None` where there is none, or
/// where it can only be written.
pub(super) fn word<L: Layout + ?Sized>(
    layout: &L,
    c: &Controller,
    table: Table,
    address: u16,
) -> Option<u16> {
    let here = layout
        .items()
        .iter()
        .filter(|item| item.covers(table, address) && item.is_readable());
    here.map(|item| item.word(c, address, layout.order()))
        .reduce(|word, part| word | part)
}

/// Writes a run of words, or one bit as a word.
pub(super) fn write<L: Layout + ?Sized>(
    layout: &L,
    c: &mut Controller,
    table: Table,
    first: u16,
    words: &[u16],
) -> Result<(), Exception> {
    let mut left = words;
    let mut address = first;
    while let Some(&word) = left.first() {
        let here: Vec<&Item> = layout
            .items()
            .iter()
            .filter(|item| item.covers(table, address) && item.is_writable())
            .collect();
        let length = here.first().ok_or(Exception::IllegalAddress)?.length();
        let second = match length {
            1 => 0,
            _ => *left.get(1).ok_or(Exception::IllegalValue)?,
        };
        for item in here {
            // Half a value means nothing.
            if item.address != address {
                return Err(Exception::IllegalValue);
            }
            if layout.is_locked_for(item, c) {
                return Err(Exception::DeviceFailure);
            }
            item.take(c, [word, second], layout.order())?;
        }
        left = &left[usize::from(length)..];
        // The last address of all has no next one.
        match address.checked_add(length) {
            Some(next) => address = next,
            None if left.is_empty() => break,
            None => return Err(Exception::IllegalAddress),
        }
    }
    Ok(())
}
