//! The check of an RTU frame.

/// CRC-16 of Modbus over Serial Line V1.02, 6.2.2: polynomial A001 reflected, start FFFF.
pub fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, &byte| {
        (0..8).fold(crc ^ u16::from(byte), |crc, _| {
            if crc & 1 == 1 {
                crc >> 1 ^ 0xA001
            } else {
                crc >> 1
            }
        })
    })
}

/// `body` with its check behind it, low byte first.
pub fn sealed(mut body: Vec<u8>) -> Vec<u8> {
    let check = crc(&body);
    body.extend(check.to_le_bytes());
    body
}

/// Whether the last two bytes are the check of those before.
pub fn is_sealed(frame: &[u8]) -> bool {
    // Over a frame with its own check the CRC is zero.
    frame.len() > 2 && crc(frame) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked example of Modbus over Serial Line V1.02, 6.2.2: 02 07 is followed by 41 12.
    #[test]
    fn the_standards_own_example() {
        assert_eq!(sealed(vec![0x02, 0x07]), [0x02, 0x07, 0x41, 0x12]);
    }

    /// The usual check value of this CRC.
    #[test]
    fn the_digits_one_to_nine_give_4b37() {
        assert_eq!(crc(b"123456789"), 0x4B37);
    }

    #[test]
    fn one_wrong_bit_anywhere_is_seen() {
        let frame = sealed(vec![0x11, 0x03, 0x00, 0x6B, 0x00, 0x03]);
        assert!(is_sealed(&frame));
        for bit in 0..frame.len() * 8 {
            let mut wrong = frame.clone();
            wrong[bit / 8] ^= 1 << (bit % 8);
            assert!(!is_sealed(&wrong), "bit {bit}");
        }
    }
}
