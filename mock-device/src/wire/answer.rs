//! A request's bytes in, an answer's bytes out: the application protocol (Modbus application
//! protocol V1.1b3, section 6), as a controller with some [`Layout`] follows it.

use crate::controller::Controller;
use crate::registers::{Bits, Exception, Layout, Words};

/// Most words one request may read and write (6.3, 6.12).
const MOST_WORDS_READ: u16 = 125;
const MOST_WORDS_WRITTEN: u16 = 123;

/// Most bits one request may read and write (6.1, 6.11).
const MOST_BITS_READ: u16 = 2000;
const MOST_BITS_WRITTEN: u16 = 1968;

/// The answer to `request`, both without unit number and check: a function code and what belongs
/// to it. An empty request has no answer.
pub fn answer(layout: &dyn Layout, controller: &mut Controller, request: &[u8]) -> Vec<u8> {
    let Some((&function, data)) = request.split_first() else {
        return Vec::new();
    };
    match respond(layout, controller, function, data) {
        Ok(mut body) => {
            body.insert(0, function);
            body
        }
        Err(exception) => vec![function | 0x80, exception.code()],
    }
}

fn respond(
    layout: &dyn Layout,
    controller: &mut Controller,
    function: u8,
    data: &[u8],
) -> Result<Vec<u8>, Exception> {
    match function {
        1 | 2 if layout.has_bits() => {
            let table = if function == 1 {
                Bits::Coil
            } else {
                Bits::Discrete
            };
            read_bits(layout, controller, table, data)
        }
        3 if layout.has_words(Words::Holding) => {
            read_words(layout, controller, Words::Holding, data)
        }
        4 if layout.has_words(Words::Input) => read_words(layout, controller, Words::Input, data),
        5 if layout.has_bits() => write_bit(layout, controller, data),
        6 => write_word(layout, controller, data),
        8 if layout.echoes() => echo(data),
        15 if layout.has_bits() => write_bits(layout, controller, data),
        16 => write_words(layout, controller, data),
        _ => Err(Exception::IllegalFunction),
    }
}

/// Two words and nothing behind them.
fn two_words(data: &[u8]) -> Result<(u16, u16), Exception> {
    match *data {
        [a, b, c, d] => Ok((u16::from_be_bytes([a, b]), u16::from_be_bytes([c, d]))),
        _ => Err(Exception::IllegalValue),
    }
}

/// The addresses of a block, unless it is empty, too long, or runs over the end of the table.
fn block(first: u16, count: u16, most: u16) -> Result<std::ops::RangeInclusive<u16>, Exception> {
    if !(1..=most).contains(&count) {
        return Err(Exception::IllegalValue);
    }
    let last = first.checked_add(count - 1);
    Ok(first..=last.ok_or(Exception::IllegalAddress)?)
}

fn read_words(
    layout: &dyn Layout,
    controller: &Controller,
    table: Words,
    data: &[u8],
) -> Result<Vec<u8>, Exception> {
    let (first, count) = two_words(data)?;
    let mut body = vec![(count * 2) as u8];
    for address in block(first, count, layout.max_words().min(MOST_WORDS_READ))? {
        let word = layout.word(controller, table, address);
        body.extend(word.ok_or(Exception::IllegalAddress)?.to_be_bytes());
    }
    Ok(body)
}

fn read_bits(
    layout: &dyn Layout,
    controller: &Controller,
    table: Bits,
    data: &[u8],
) -> Result<Vec<u8>, Exception> {
    let (first, count) = two_words(data)?;
    let addresses = block(first, count, MOST_BITS_READ)?;
    let mut body = vec![0; 1 + usize::from(count.div_ceil(8))];
    body[0] = count.div_ceil(8) as u8;
    for (n, address) in addresses.enumerate() {
        let bit = layout.bit(controller, table, address);
        body[1 + n / 8] |= u8::from(bit.ok_or(Exception::IllegalAddress)?) << (n % 8);
    }
    Ok(body)
}

/// Lets `write` work on a copy and keeps it only if everything was taken.
fn all_or_nothing(
    controller: &mut Controller,
    write: impl FnOnce(&mut Controller) -> Result<(), Exception>,
) -> Result<(), Exception> {
    let mut copy = controller.clone();
    write(&mut copy)?;
    *controller = copy;
    Ok(())
}

fn write_word(
    layout: &dyn Layout,
    controller: &mut Controller,
    data: &[u8],
) -> Result<Vec<u8>, Exception> {
    let (address, word) = two_words(data)?;
    all_or_nothing(controller, |c| layout.write_words(c, address, &[word]))?;
    Ok(data.to_vec())
}

fn write_words(
    layout: &dyn Layout,
    controller: &mut Controller,
    data: &[u8],
) -> Result<Vec<u8>, Exception> {
    let (head, count, values) = counted(data)?;
    let (first, words) = two_words(head)?;
    block(first, words, layout.max_words().min(MOST_WORDS_WRITTEN))?;
    if count != usize::from(words) * 2 || values.len() != count {
        return Err(Exception::IllegalValue);
    }
    let values: Vec<u16> = values
        .chunks_exact(2)
        .map(|pair| u16::from_be_bytes([pair[0], pair[1]]))
        .collect();
    all_or_nothing(controller, |c| layout.write_words(c, first, &values))?;
    Ok(head.to_vec())
}

fn write_bit(
    layout: &dyn Layout,
    controller: &mut Controller,
    data: &[u8],
) -> Result<Vec<u8>, Exception> {
    let (address, value) = two_words(data)?;
    let on = match value {
        0xFF00 => true,
        0x0000 => false,
        _ => return Err(Exception::IllegalValue),
    };
    all_or_nothing(controller, |c| layout.write_bit(c, address, on))?;
    Ok(data.to_vec())
}

fn write_bits(
    layout: &dyn Layout,
    controller: &mut Controller,
    data: &[u8],
) -> Result<Vec<u8>, Exception> {
    let (head, count, values) = counted(data)?;
    let (first, bits) = two_words(head)?;
    let addresses = block(first, bits, MOST_BITS_WRITTEN)?;
    if count != usize::from(bits.div_ceil(8)) || values.len() != count {
        return Err(Exception::IllegalValue);
    }
    all_or_nothing(controller, |c| {
        addresses.enumerate().try_for_each(|(n, address)| {
            let on = values[n / 8] >> (n % 8) & 1 == 1;
            layout.write_bit(c, address, on)
        })
    })?;
    Ok(head.to_vec())
}

/// First address and count, the byte count, and the bytes.
fn counted(data: &[u8]) -> Result<(&[u8], usize, &[u8]), Exception> {
    match data.split_at_checked(4) {
        Some((head, [count, values @ ..])) => Ok((head, usize::from(*count), values)),
        _ => Err(Exception::IllegalValue),
    }
}

/// Sub-function 00 sends back what it got (6.8); the others are not known here.
fn echo(data: &[u8]) -> Result<Vec<u8>, Exception> {
    match data {
        [0, 0, _, ..] => Ok(data.to_vec()),
        _ => Err(Exception::IllegalFunction),
    }
}

#[cfg(test)]
mod tests;
