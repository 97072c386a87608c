//! Bytes become lines.

/// No line is longer, in bytes.
pub const LONGEST: usize = 4096;

/// What was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heard<'a> {
    /// A line without its end; never empty.
    Line(&'a [u8]),
    /// [`LONGEST`] bytes without a line's end. It comes once for each so many, and what is left up to the
    /// line's end is passed over.
    TooLong,
}

/// Cuts bytes into lines, whatever pieces they come in. CR, LF and CRLF end a line; empty lines are none.
#[derive(Debug, Default)]
pub struct LineReader {
    line: Vec<u8>,
    /// Bytes since the last line's end.
    length: usize,
    /// Whether what comes up to the next line's end is the rest of a line whose beginning nobody heard.
    torn: bool,
}

impl LineReader {
    /// Begins at a line's beginning.
    pub fn new() -> LineReader {
        LineReader::default()
    }

    /// Forgets what it holds and begins anew, in the midst of a line: what comes up to the next line's end
    /// is passed over. Of `168.2,95.0` nobody would see that `8.2,95.0` was more.
    pub fn begin_torn(&mut self) {
        self.begin();
        self.torn = true;
    }

    /// Forgets what it holds and begins anew, at a line's beginning.
    pub fn begin(&mut self) {
        self.line.clear();
        self.length = 0;
        self.torn = false;
    }

    /// Takes bytes, and gives out what they complete.
    pub fn feed(&mut self, bytes: &[u8], take: &mut impl FnMut(Heard<'_>)) {
        // All pieces but the last have their end.
        let mut pieces = bytes.split(|byte| matches!(byte, b'\r' | b'\n'));
        let last = pieces.next_back().unwrap_or_default();
        for piece in pieces {
            self.go_on(piece, take);
            self.end(take);
        }
        self.go_on(last, take);
    }

    fn go_on(&mut self, piece: &[u8], take: &mut impl FnMut(Heard<'_>)) {
        let runs = |length: usize| length.saturating_sub(1) / LONGEST;
        let before = runs(self.length);
        self.length = self.length.saturating_add(piece.len());
        let after = runs(self.length);
        if after == 0 {
            if !self.torn {
                self.line.extend_from_slice(piece);
            }
            return;
        }
        self.line.clear();
        for _ in before..after {
            take(Heard::TooLong);
        }
    }

    fn end(&mut self, take: &mut impl FnMut(Heard<'_>)) {
        if !self.line.is_empty() {
            take(Heard::Line(&self.line));
        }
        self.begin();
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Lines as text, and `None` for what was too long.
    fn heard(reader: &mut LineReader, bytes: &[u8]) -> Vec<Option<String>> {
        let mut all = Vec::new();
        reader.feed(bytes, &mut |heard| {
            all.push(match heard {
                Heard::Line(line) => Some(String::from_utf8_lossy(line).into_owned()),
                Heard::TooLong => None,
            });
        });
        all
    }

    fn lines(texts: &[&str]) -> Vec<Option<String>> {
        texts.iter().map(|text| Some((*text).to_owned())).collect()
    }

    #[test]
    fn every_usual_line_end_ends_a_line_once() {
        let mut reader = LineReader::new();
        assert_eq!(
            heard(&mut reader, b"1\n2\r3\r\n\n\r4\n\r5"),
            lines(&["1", "2", "3", "4"])
        );
        assert_eq!(heard(&mut reader, b"6\r"), lines(&["56"]));
        assert_eq!(heard(&mut reader, b"\n7\r\n"), lines(&["7"]));
    }

    #[test]
    fn a_torn_line_is_passed_over_and_not_taken_for_a_shorter_one() {
        let mut reader = LineReader::new();
        assert_eq!(heard(&mut reader, b"16"), lines(&[]));
        reader.begin_torn();
        assert_eq!(heard(&mut reader, b"8.2,95"), lines(&[]));
        assert_eq!(heard(&mut reader, b".0\r\n168.3,"), lines(&[]));
        assert_eq!(heard(&mut reader, b"95.1\r\n"), lines(&["168.3,95.1"]));
        reader.begin_torn();
        assert_eq!(heard(&mut reader, &[b'x'; LONGEST]), lines(&[]));
        // A torn line without an end is one without an end.
        assert_eq!(heard(&mut reader, b"x"), [None]);
        assert_eq!(heard(&mut reader, b"\n1\n"), lines(&["1"]));
    }

    #[test]
    fn a_line_without_end_is_counted_for_each_so_many_bytes_and_never_kept() {
        let mut reader = LineReader::new();
        let longest = "a".repeat(LONGEST);
        let whole = heard(&mut reader, format!("{longest}\n").as_bytes());
        assert_eq!(whole, lines(&[&longest]));
        assert_eq!(
            heard(&mut reader, format!("{longest}b\n").as_bytes()),
            [None]
        );
        for _ in 0..10 {
            assert!(heard(&mut reader, longest.as_bytes()).len() <= 1);
            assert!(reader.line.capacity() <= 2 * LONGEST);
        }
        // 40 961 bytes: more than ten times 4096.
        assert_eq!(heard(&mut reader, b"b\n1\n"), [None, Some("1".to_owned())]);
    }

    proptest! {
        /// However the bytes are cut, the lines are the same, and what is held stays bounded.
        #[test]
        fn pieces_make_no_difference(
            bytes in proptest::collection::vec(
                prop_oneof![4 => any::<u8>(), 1 => Just(b'\n'), 1 => Just(b'\r')], 0..400),
            long in 0..3 * LONGEST,
            size in 1..100usize,
        ) {
            let mut stream = bytes.clone();
            stream.extend(std::iter::repeat_n(b'x', long));
            stream.extend_from_slice(b"\n");
            stream.extend_from_slice(&bytes);
            let whole = heard(&mut LineReader::new(), &stream);
            let mut reader = LineReader::new();
            let mut pieces = Vec::new();
            for piece in stream.chunks(size) {
                pieces.extend(heard(&mut reader, piece));
                prop_assert!(reader.line.capacity() <= 2 * LONGEST);
            }
            prop_assert_eq!(whole, pieces);
        }
    }
}
