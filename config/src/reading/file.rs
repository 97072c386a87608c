//! From a path to text: the only place of this crate that opens a file.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use crate::problem::Problem;

/// No file that people write is larger.
const LARGEST_FILE: u64 = 16 << 20;

/// The text of a file.
///
/// # Errors
/// One problem, when it is no readable UTF-8 file.
pub fn read_file(path: &Path) -> Result<String, Problem> {
    let file = path.display().to_string();
    let refuse = |what: String, remedy| Err(Problem::of_file(&file, what, remedy));
    if path.is_dir() {
        return refuse("is a folder".into(), "name a file in it");
    }
    let opened = match File::open(path) {
        Ok(opened) => opened,
        Err(error) => {
            return refuse(
                format!("cannot be opened ({error})"),
                "check its name and its rights",
            );
        }
    };
    let mut bytes = Vec::new();
    if let Err(error) = opened.take(LARGEST_FILE + 1).read_to_end(&mut bytes) {
        return refuse(
            format!("cannot be read ({error})"),
            "check its rights and its disk",
        );
    }
    if bytes.len() as u64 > LARGEST_FILE {
        return refuse("is larger than 16 MB".into(), "name a TOML file");
    }
    decode(&file, bytes)
}

/// The text that bytes hold; `file` is what the problem calls it. A byte order mark is taken off.
///
/// # Errors
/// One problem, when they are no text in UTF-8.
pub fn decode(file: &str, bytes: Vec<u8>) -> Result<String, Problem> {
    let refuse = |line, what: &str, remedy| {
        let mut problem = Problem::of_file(file, what.to_owned(), remedy);
        problem.line = line;
        Err(problem)
    };
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return refuse(None, "is written in UTF-16", "save it as UTF-8");
    }
    // Every other byte of UTF-16 without its mark is zero where the letters are Latin ones.
    if bytes.contains(&0) {
        return refuse(
            None,
            "holds zero bytes: it is no text, or one in UTF-16",
            "name a TOML file, saved as UTF-8",
        );
    }
    match String::from_utf8(bytes) {
        Ok(text) => Ok(text
            .strip_prefix('\u{FEFF}')
            .map(str::to_owned)
            .unwrap_or(text)),
        Err(error) => {
            let sound = &error.as_bytes()[..error.utf8_error().valid_up_to()];
            let line = 1 + sound.iter().filter(|byte| **byte == b'\n').count() as u64;
            refuse(
                Some(line),
                "is no text in UTF-8",
                "name a TOML file, saved as UTF-8",
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(bytes: &[u8]) -> String {
        decode("shop.toml", bytes.to_vec()).unwrap_err().to_string()
    }

    #[test]
    fn bytes_that_are_no_text_are_one_clear_problem() {
        assert!(refusal(&[0xFF, 0xFE, b'a', 0]).starts_with("shop.toml: is written in UTF-16;"));
        assert!(refusal(&[0xFE, 0xFF, 0, b'a']).starts_with("shop.toml: is written in UTF-16;"));
        assert!(refusal(b"[\0s\0]\0").contains("UTF-16"));
        assert!(refusal(b"\x7FELF\0\0").contains("zero bytes"));
        // An umlaut in ISO 8859-1 on the second line.
        assert!(refusal(b"[shop]\nname = \"M\xFCller\"\n").starts_with("shop.toml:2: is no text"));
    }

    #[test]
    fn a_byte_order_mark_is_taken_off() {
        let text = decode("shop.toml", b"\xEF\xBB\xBF[shop]".to_vec());
        assert_eq!(text.as_deref(), Ok("[shop]"));
        assert_eq!(decode("shop.toml", Vec::new()).as_deref(), Ok(""));
    }
}
