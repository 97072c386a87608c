//! The bytes of a line become text.

use std::borrow::Cow;

/// How devices write the degree sign where they know no UTF-8: in Latin-1, in code page 437, and in the
/// character set of small displays.
const DEGREES: [u8; 3] = [0xb0, 0xf8, 0xdf];

/// The text of a line; `None` where noise has touched it.
///
/// What frames a line is taken off its ends: zero bytes (a wire that was held low), the control characters
/// that begin and end a text, and a byte order mark. Any other control character, and
/// bytes that are no UTF-8 but for a degree sign before its letter, are noise: one may stand where a digit
/// was, so the line is not to be trusted.
pub(super) fn of_line(line: &[u8]) -> Option<Cow<'_, str>> {
    let text = match std::str::from_utf8(line) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => Cow::Owned(with_degrees(line)?),
    };
    let text = match text {
        Cow::Borrowed(text) => Cow::Borrowed(text.trim_matches(frames)),
        Cow::Owned(text) => Cow::Owned(text.trim_matches(frames).to_owned()),
    };
    let noise = |letter: char| letter.is_control() && letter != '\t';
    (!text.contains(noise)).then_some(text)
}

/// How many bytes of a line are noise: control characters within it, and what is no text. At least one, for a line of
/// which there is no text.
pub(super) fn noise_in(line: &[u8]) -> usize {
    let within = line.trim_ascii();
    let mut noise = 0;
    for chunk in within.utf8_chunks() {
        let controls = chunk.valid().chars();
        noise += controls
            .filter(|letter| letter.is_control() && *letter != '\t')
            .count();
        noise += chunk.invalid().len();
    }
    noise.max(1)
}

fn frames(letter: char) -> bool {
    const BEGIN_OF_TEXT: char = '\u{2}';
    const END_OF_TEXT: char = '\u{3}';
    const BYTE_ORDER_MARK: char = '\u{feff}';
    matches!(letter, '\0' | BEGIN_OF_TEXT | END_OF_TEXT | BYTE_ORDER_MARK)
}

fn with_degrees(line: &[u8]) -> Option<String> {
    let following = line.iter().skip(1).map(Some).chain([None]);
    let letters = line.iter().zip(following).map(|(byte, next)| match byte {
        byte if byte.is_ascii() => Some(char::from(*byte)),
        byte if DEGREES.contains(byte) && matches!(next, Some(b'C' | b'F' | b'c' | b'f')) => {
            Some('°')
        }
        _ => None,
    });
    letters.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_are_taken_off_and_noise_is_not_let_in() {
        let text = |line: &[u8]| of_line(line).map(Cow::into_owned);
        let some = |text: &str| Some(text.to_owned());
        assert_eq!(text(b"\0\0 168.2 \t\0"), some(" 168.2 \t"));
        assert_eq!(text(b"\x02168.2,95\x03"), some("168.2,95"));
        assert_eq!(text("\u{feff}a\tb".as_bytes()), some("a\tb"));
        assert_eq!(text("168.2 °C".as_bytes()), some("168.2 °C"));
        assert_eq!(
            text(b"168.2\xb0C;335\xf8F;20 \xdfC"),
            some("168.2°C;335°F;20 °C")
        );
        assert_eq!(text(b"\0"), some(""));
        // "1" with its highest bit set, as a line with seven data bits and parity sends it.
        for noise in [
            &b"\xb168.2"[..],
            b"16\x008.2",
            b"16\x1b8.2",
            b"168.2\xb0",
            b"168.2\xb05",
            b"\xff\xfe",
            b"168.2\x7f",
        ] {
            assert_eq!(text(noise), None, "{noise:?}");
        }
    }

    #[test]
    fn noise_is_counted_by_its_bytes() {
        for (line, bytes) in [
            (&b"16\x008.2"[..], 1),
            (b"168.2\x7f\x1b[2J,9", 2),
            (b"\xff\xfe168.2", 2),
        ] {
            assert_eq!((of_line(line), noise_in(line)), (None, bytes), "{line:?}");
        }
    }
}
