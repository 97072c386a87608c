//! Notes: lines that begin with `#`, of which `# key: value` are read.

use memchr::{memchr, memchr_iter};

/// The keys that are read.
const KEYS: [&str; 8] = [
    "station",
    "ink",
    "fabric",
    "belt",
    "stay",
    "room",
    "uncertainty",
    "started",
];
/// A note that is longer is cut.
const LONGEST: usize = 4096;
/// Some programs begin a file with it.
const UTF_8_MARK: [u8; 3] = [0xEF, 0xBB, 0xBF];

/// The value of a note and where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// Its line, from 1.
    pub line: u64,
    /// What stands after the colon.
    pub value: String,
}

/// The notes of a file that are read; of a key given twice the last.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Notes(Vec<(&'static str, Note)>);

impl Notes {
    /// The note of a key.
    pub fn get(&self, key: &str) -> Option<&Note> {
        self.0
            .iter()
            .find(|(known, _)| *known == key)
            .map(|(_, note)| note)
    }

    fn set(&mut self, line: u64, text: &str) {
        let Some((key, value)) = text.trim_start_matches('#').split_once(':') else {
            return;
        };
        let Some(key) = KEYS.into_iter().find(|known| *known == key.trim()) else {
            return;
        };
        let value = value.trim().to_owned();
        self.0.retain(|(known, _)| *known != key);
        self.0.push((key, Note { line, value }));
    }
}

/// Goes over a whole file and collects its notes, far faster than its rows could be read.
#[derive(Debug, Clone)]
pub struct NoteScanner {
    notes: Notes,
    /// The line that the next byte is on.
    line: u64,
    /// Whether the next byte is the first of its line.
    at_start: bool,
    /// A note that a chunk has cut.
    open: Option<Vec<u8>>,
    /// How many bytes of the mark of UTF-8 have been seen; `None` once the file's text has begun.
    mark: Option<usize>,
}

impl Default for NoteScanner {
    fn default() -> NoteScanner {
        NoteScanner {
            notes: Notes::default(),
            line: 1,
            at_start: true,
            open: None,
            mark: Some(0),
        }
    }
}

impl NoteScanner {
    /// A scanner at the start of a file.
    pub fn new() -> NoteScanner {
        NoteScanner::default()
    }

    /// Takes the next bytes.
    pub fn feed(&mut self, mut bytes: &[u8]) {
        while let (Some(seen), Some((first, rest))) = (self.mark, bytes.split_first()) {
            if UTF_8_MARK.get(seen) != Some(first) {
                self.mark = None;
                break;
            }
            self.mark = Some(seen + 1);
            bytes = rest;
        }
        while !bytes.is_empty() {
            bytes = match self.open.take() {
                Some(open) => self.go_on(open, bytes),
                None => self.look(bytes),
            };
        }
    }

    /// Looks for the next note; gives what is left behind its `#`.
    fn look<'a>(&mut self, bytes: &'a [u8]) -> &'a [u8] {
        let mut from = 0;
        while let Some(found) = memchr(b'#', &bytes[from..]) {
            let at = from + found;
            let first = if at == 0 {
                self.at_start
            } else {
                bytes[at - 1] == b'\n'
            };
            if first {
                self.line += memchr_iter(b'\n', &bytes[..at]).count() as u64;
                self.open = Some(Vec::new());
                return &bytes[at..];
            }
            from = at + 1;
        }
        self.line += memchr_iter(b'\n', bytes).count() as u64;
        self.at_start = bytes.last() == Some(&b'\n');
        &[]
    }

    /// Takes the rest of a note as far as it is there.
    fn go_on<'a>(&mut self, mut open: Vec<u8>, bytes: &'a [u8]) -> &'a [u8] {
        let end = memchr(b'\n', bytes).unwrap_or(bytes.len());
        let room = LONGEST.saturating_sub(open.len());
        open.extend_from_slice(&bytes[..end.min(room)]);
        if end == bytes.len() {
            self.open = Some(open);
            return &[];
        }
        self.notes.set(self.line, &String::from_utf8_lossy(&open));
        self.line += 1;
        self.at_start = true;
        &bytes[end + 1..]
    }

    /// The notes of the whole file.
    pub fn finish(mut self) -> Notes {
        if let Some(open) = self.open.take() {
            self.notes.set(self.line, &String::from_utf8_lossy(&open));
        }
        self.notes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: &str =
        "# ink: one\ntime_s,a#b_c\n# nothing\n0,#1\n#belt:2.6 m/min\r\n1,2\n# ink : two";

    fn scan(size: usize) -> Notes {
        let mut scanner = NoteScanner::new();
        FILE.as_bytes()
            .chunks(size)
            .for_each(|chunk| scanner.feed(chunk));
        scanner.finish()
    }

    #[test]
    fn notes_stand_anywhere_and_the_last_of_a_key_wins() {
        for size in 1..80 {
            let notes = scan(size);
            assert_eq!(
                notes.get("ink"),
                Some(&Note {
                    line: 7,
                    value: "two".into()
                }),
                "{size}"
            );
            assert_eq!(
                notes.get("belt"),
                Some(&Note {
                    line: 5,
                    value: "2.6 m/min".into()
                })
            );
            assert_eq!(notes.get("nothing"), None);
        }
    }
}
