//! Bytes from a wire, as they may be shown: nothing of them reaches a terminal but letters, digits and signs.

/// So many characters of one thing that was heard are kept to be shown.
pub(crate) const LONGEST: usize = 240;

/// Printable text as it is, and every other byte in hexadecimal: `168.2<1B>[2J`. Long ones are cut, with how many bytes
/// there are.
pub(crate) fn shown(bytes: &[u8]) -> String {
    let mut text = String::new();
    let mut length = 0;
    for chunk in bytes.utf8_chunks() {
        for letter in chunk.valid().chars() {
            length += put(&mut text, letter);
            if length > LONGEST {
                return cut(&text, bytes.len());
            }
        }
        for byte in chunk.invalid() {
            text += &format!("<{byte:02X}>");
            length += 4;
        }
        if length > LONGEST {
            return cut(&text, bytes.len());
        }
    }
    text
}

/// Puts a letter, or its bytes; gives how many characters that were.
fn put(text: &mut String, letter: char) -> usize {
    if is_harmless(letter) {
        text.push(letter);
        return 1;
    }
    let mut buffer = [0; 4];
    let bytes = letter.encode_utf8(&mut buffer).bytes();
    let mut length = 0;
    for byte in bytes {
        *text += &format!("<{byte:02X}>");
        length += 4;
    }
    length
}

/// Whether a letter stands for itself alone: no control character, and none that turns or hides what stands around it.
fn is_harmless(letter: char) -> bool {
    letter == ' '
        || letter.is_ascii_graphic()
        || letter.is_alphanumeric()
        || "°º˚±²³·µ–€".contains(letter)
}

fn cut(text: &str, bytes: usize) -> String {
    let kept: String = text.chars().take(LONGEST).collect();
    format!("{kept} ... ({bytes} bytes)")
}

/// Bytes in hexadecimal, two digits each and a space between them.
pub(crate) fn hexadecimal(bytes: &[u8]) -> String {
    let pairs: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
    pairs.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_is_shown_as_it_is_and_every_other_byte_in_hexadecimal() {
        for (bytes, expected) in [
            (&b"film=168.2 C"[..], "film=168.2 C"),
            ("168,2 °C".as_bytes(), "168,2 °C"),
            (b"\x1b[2J\x07168", "<1B>[2J<07>168"),
            (b"168\xb0C\t\x7f", "168<B0>C<09><7F>"),
            // A letter that turns the text around it (U+202E), and one that nobody sees (U+200B).
            (
                "a\u{202e}b\u{200b}".as_bytes(),
                "a<E2><80><AE>b<E2><80><8B>",
            ),
            // The control character of ISO 6429 that begins a sequence, in two bytes of UTF-8.
            ("\u{9b}2J".as_bytes(), "<C2><9B>2J"),
        ] {
            assert_eq!(shown(bytes), expected);
        }
    }

    #[test]
    fn no_byte_gets_through_that_a_terminal_would_obey() {
        let every: Vec<u8> = (0..=255).collect();
        for size in 1..=4 {
            let text: String = every.chunks(size).map(shown).collect();
            assert!(!text.chars().any(char::is_control), "{text:?}");
        }
    }

    #[test]
    fn what_is_long_is_cut() {
        let text = shown(&[b'x'; 5000]);
        assert!(text.ends_with("x ... (5000 bytes)"), "{text}");
        assert_eq!(text.chars().count(), LONGEST + " ... (5000 bytes)".len());
        assert!(shown(&[0xff; 5000]).chars().count() < LONGEST + 30);
    }

    #[test]
    fn bytes_are_told_in_pairs() {
        assert_eq!(hexadecimal(&[0x01, 0x04, 0xff]), "01 04 FF");
    }
}
