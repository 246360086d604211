//! The identity of a serial adapter, as a setup names it.

use std::fmt;

/// What tells a USB serial adapter from others, whatever port name it has got this time:
/// `usb:VENDOR:PRODUCT` or `usb:VENDOR:PRODUCT:SERIAL`, vendor and product in four hex digits.
///
/// ```
/// use emberline::setup::AdapterId;
/// let id = AdapterId::parse("usb:0403:6001:A5").unwrap().unwrap();
/// assert_eq!((id.vendor, id.product, id.serial.as_deref()), (0x0403, 0x6001, Some("A5")));
/// assert_eq!(id.to_string(), "usb:0403:6001:A5");
/// assert_eq!(AdapterId::parse("/dev/ttyUSB0"), None);
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AdapterId {
    /// Number of the chip's maker.
    pub vendor: u16,
    /// Number of the chip.
    pub product: u16,
    /// Serial number; without it any adapter of this kind is meant.
    pub serial: Option<String>,
}

/// A text that begins as an adapter's identity and is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BadAdapterId;

impl AdapterId {
    /// How it is written, for help texts.
    pub(crate) const NOTATION: &str =
        "write usb:VENDOR:PRODUCT or usb:VENDOR:PRODUCT:SERIAL, as 'emberline find' prints it";

    /// The identity that `text` is; `None` where it is a port's name instead.
    pub fn parse(text: &str) -> Option<Result<Self, BadAdapterId>> {
        let numbers = text.strip_prefix("usb:")?;
        Some(Self::from_numbers(numbers).ok_or(BadAdapterId))
    }

    fn from_numbers(text: &str) -> Option<Self> {
        let mut parts = text.splitn(3, ':');
        let mut number = || {
            let digits = parts.next()?;
            let are_hex =
                digits.len() == 4 && digits.bytes().all(|digit| digit.is_ascii_hexdigit());
            are_hex.then(|| u16::from_str_radix(digits, 16).ok())?
        };
        let (vendor, product) = (number()?, number()?);
        let serial = parts.next().map(str::to_owned);
        (serial.as_deref() != Some("")).then_some(Self {
            vendor,
            product,
            serial,
        })
    }

    /// Whether `adapter` is what this identity means. Systems write serial numbers in different
    /// case.
    pub fn means(&self, adapter: &Self) -> bool {
        let same_serial = match (&self.serial, &adapter.serial) {
            (None, _) => true,
            (Some(wanted), Some(there)) => wanted.eq_ignore_ascii_case(there),
            (Some(_), None) => false,
        };
        (self.vendor, self.product) == (adapter.vendor, adapter.product) && same_serial
    }
}

impl fmt::Display for AdapterId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "usb:{:04x}:{:04x}", self.vendor, self.product)?;
        match &self.serial {
            Some(serial) => write!(f, ":{serial}"),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_identity_reads_back_as_it_was_written_whatever_its_serial_number_holds() {
        for text in ["usb:0403:6001", "usb:1a86:7523:A:5 x", "usb:ffff:0000:0"] {
            let id = AdapterId::parse(text).unwrap().unwrap();
            assert_eq!(id.to_string(), text);
        }
    }

    #[test]
    fn what_begins_as_an_identity_and_is_none_is_told_from_a_ports_name() {
        for text in [
            "usb:",
            "usb:403:6001",
            "usb:0403",
            "usb:0403:+001",
            "usb:0403:6001:",
        ] {
            assert_eq!(AdapterId::parse(text), Some(Err(BadAdapterId)), "{text}");
        }
        for text in ["COM3", "/dev/serial/by-id/usb-x-if00"] {
            assert_eq!(AdapterId::parse(text), None, "{text}");
        }
    }
}
