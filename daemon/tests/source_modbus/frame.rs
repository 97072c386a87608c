//! RTU frames, made apart from the library that is tested.

/// CRC-16 as Modbus uses it: MODBUS over serial line V1.02, section 6.2.2; low byte first in a frame.
pub fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xffff, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| match crc & 1 {
            0 => crc >> 1,
            _ => crc >> 1 ^ 0xa001,
        })
    })
}

/// A frame with its check sum.
pub fn framed(mut bytes: Vec<u8>) -> Vec<u8> {
    let crc = crc(&bytes);
    bytes.extend(crc.to_le_bytes());
    bytes
}

/// The answer of a unit to a question for words.
pub fn answer(unit: u8, function: u8, words: &[u16]) -> Vec<u8> {
    let mut bytes = vec![unit, function, 2 * words.len() as u8];
    bytes.extend(words.iter().flat_map(|word| word.to_be_bytes()));
    framed(bytes)
}

/// The published check value of CRC-16/MODBUS, and a question as a widely printed example has it (unit 17 is
/// asked for the holding registers 107 to 109; from memory).
#[test]
fn the_check_sum_is_the_published_one() {
    assert_eq!(crc(b"123456789"), 0x4b37);
    let question = framed(vec![0x11, 0x03, 0x00, 0x6b, 0x00, 0x03]);
    assert_eq!(question, [0x11, 0x03, 0x00, 0x6b, 0x00, 0x03, 0x76, 0x87]);
}
