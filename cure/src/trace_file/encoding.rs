//! Telling text from what is none, by the first line and the header.

/// What the bytes are instead of text in UTF-8, and what to do.
pub(super) struct NotText {
    pub(super) what: &'static str,
    pub(super) remedy: &'static str,
}

const NAME_A_CSV: &str = "name a CSV file, saved as UTF-8";

/// Why a line cannot be the beginning of a text file; `None` where it can.
pub(super) fn why_not_text(line: &[u8]) -> Option<NotText> {
    let zeros = line.iter().filter(|byte| **byte == 0).count();
    let marked = line.starts_with(&[0xFF, 0xFE]) || line.starts_with(&[0xFE, 0xFF]);
    // Latin text in UTF-16 has a zero in every second byte.
    if marked || zeros * 3 > line.len() {
        return Some(NotText {
            what: "the file is written in UTF-16",
            remedy: "save it as UTF-8 (a spreadsheet offers \"CSV UTF-8\" under Save As, an editor an encoding)",
        });
    }
    if line.starts_with(b"PK\x03\x04") || line.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        return Some(NotText {
            what: "the file is a workbook or an archive, no text",
            remedy: "open it in the program that wrote it and save it as CSV in UTF-8",
        });
    }
    if zeros > 0 {
        return Some(NotText {
            what: "the file is binary, no text",
            remedy: NAME_A_CSV,
        });
    }
    None
}

/// The text of a header line. Other loggers' headers may be in Latin-1, whose degree sign is no
/// UTF-8; Inkdwell's own are not.
pub(super) fn header_text(line: &[u8], foreign: bool) -> Result<String, NotText> {
    if let Some(reason) = why_not_text(line) {
        return Err(reason);
    }
    if line.contains(&b'\r') {
        return Err(NotText {
            what: "the file's lines end with a carriage return alone",
            remedy: "save it with LF or CRLF at the ends of its lines",
        });
    }
    if line
        .iter()
        .any(|byte| byte.is_ascii_control() && *byte != b'\t')
    {
        return Err(NotText {
            what: "the header holds control characters, so that this is no text",
            remedy: NAME_A_CSV,
        });
    }
    match std::str::from_utf8(line) {
        Ok(text) => Ok(text.to_owned()),
        // Latin-1 is the first 256 characters of Unicode.
        Err(_) if foreign => Ok(line.iter().copied().map(char::from).collect()),
        Err(_) => Err(NotText {
            what: "the header is no text in UTF-8",
            remedy: NAME_A_CSV,
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn what(line: &[u8]) -> &'static str {
        why_not_text(line).map_or("", |reason| reason.what)
    }

    /// Byte order marks: The Unicode Standard, section 23.8. Zip: APPNOTE, local file header.
    #[test]
    fn foreign_encodings_are_told_by_their_marks_and_zeros() {
        let little: Vec<u8> = "time_s,film_c".bytes().flat_map(|byte| [byte, 0]).collect();
        let big: Vec<u8> = "time_s,film_c".bytes().flat_map(|byte| [0, byte]).collect();
        assert!(what(&little).contains("UTF-16"));
        assert!(what(&big).contains("UTF-16"));
        assert!(what(b"\xFF\xFEt").contains("UTF-16"));
        assert!(what(b"\xFE\xFF").contains("UTF-16"));
        assert!(what(b"PK\x03\x04\x14\x00\x06\x00").contains("workbook"));
        assert!(what(b"time_s,film\x00_c,more of it").contains("binary"));
        assert_eq!(what("time_s,Temperatur °C".as_bytes()), "");
    }

    #[test]
    fn latin_1_is_read_in_other_loggers_headers_only() {
        let latin = b"Zeit;Temp \xB0C";
        assert_eq!(header_text(latin, true).ok().unwrap(), "Zeit;Temp °C");
        assert!(header_text(latin, false).is_err());
        assert!(header_text(b"\x88\x07\xFFjunk", true).is_err());
        assert!(header_text(b"time_s,film_c\r0,20\r1,21", false).is_err());
    }
}
