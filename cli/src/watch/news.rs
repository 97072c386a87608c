//! What is committed, as it comes: to look again at once, or to be written as JSON for programs.

use std::io::{self, BufRead, Write};
use std::sync::mpsc::Sender;
use std::time::Duration;

use serde_json::Value;

use super::contact::Wish;
use crate::Outcome;
use crate::client::{Client, DaemonArguments};
use crate::failure::Failure;

/// A daemon that was lost is looked for again after so long.
const AGAIN: Duration = Duration::from_secs(1);

/// A piece of news, as server-sent events have it (WHATWG HTML, section 9.2).
#[derive(Debug, Default, PartialEq)]
struct Piece {
    id: Option<u64>,
    event: String,
    data: String,
}

/// Reads pieces until the other side ends, and gives each to `take`, which says whether to go on.
fn read(lines: impl BufRead, take: &mut impl FnMut(Piece) -> bool) -> io::Result<()> {
    let mut piece = Piece::default();
    for line in lines.lines() {
        let line = line?;
        if line.is_empty() {
            let whole = std::mem::take(&mut piece);
            if !whole.data.is_empty() && !take(whole) {
                return Ok(());
            }
            continue;
        }
        // A line that begins with a colon is a comment: a sign of life.
        let (name, value) = line.split_once(':').unwrap_or((&line, ""));
        let value = value.strip_prefix(' ').unwrap_or(value);
        match name {
            "id" => piece.id = value.parse().ok(),
            "event" => value.clone_into(&mut piece.event),
            "data" => {
                if !piece.data.is_empty() {
                    piece.data.push('\n');
                }
                piece.data += value;
            }
            _ => {}
        }
    }
    Ok(())
}

/// Wakes the asking thread whenever there is news, until nobody listens any more.
pub(super) fn wake(typed: &DaemonArguments, wishes: &Sender<Wish>) {
    loop {
        let heard = Client::find(typed).and_then(|client| client.follow(None));
        let mut is_heard = true;
        if let Ok(lines) = heard {
            // However it ends, it is asked for again.
            let _ = read(lines, &mut |_| {
                is_heard = wishes.send(Wish::Look).is_ok();
                is_heard
            });
        }
        if !is_heard || wishes.send(Wish::Look).is_err() {
            return;
        }
        std::thread::sleep(AGAIN);
    }
}

/// Writes each piece as one line, with its kind, until it is stopped or nobody reads any more.
pub(super) fn write(typed: &DaemonArguments) -> Result<Outcome, Failure> {
    let mut lines = Client::find(typed)?.follow(None)?;
    let mut last = None;
    let mut out = io::stdout().lock();
    loop {
        let mut written = Ok(());
        let ended = read(lines, &mut |piece| {
            last = piece.id.or(last);
            written = write_one(&mut out, &piece);
            written.is_ok()
        });
        match written {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => return Ok(Outcome::Fine),
            Err(error) => {
                return Err(Failure::new(format!(
                    "standard output cannot be written ({error}); check its disk"
                )));
            }
            Ok(()) => {}
        }
        let why = ended
            .err()
            .map_or_else(|| "it has ended".to_owned(), |error| error.to_string());
        eprintln!("inkdwell: the daemon is not heard any more ({why}); waiting for it");
        lines = loop {
            std::thread::sleep(AGAIN);
            if let Ok(lines) = Client::find(typed).and_then(|client| client.follow(last)) {
                eprintln!("inkdwell: the daemon is heard again; nothing was missed");
                break lines;
            }
        };
    }
}

fn write_one(out: &mut impl Write, piece: &Piece) -> io::Result<()> {
    let mut json: Value = serde_json::from_str(&piece.data)?;
    if let Value::Object(members) = &mut json {
        members.insert("kind".to_owned(), Value::from(piece.event.as_str()));
    }
    writeln!(out, "{json}")?;
    out.flush()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pieces(text: &str) -> Vec<Piece> {
        let mut pieces = Vec::new();
        read(text.as_bytes(), &mut |piece| {
            pieces.push(piece);
            true
        })
        .unwrap();
        pieces
    }

    /// The format's own examples (WHATWG HTML, section 9.2.6): a comment, an event of two lines of data, one space
    /// after the colon that is none of the data, and a last block that no empty line ends, which is discarded.
    #[test]
    fn news_come_in_pieces() {
        let read = pieces(
            ": test stream\n\ndata: first event\nid: 1\n\ndata:second event\ndata: of two lines\n\nid: 7\n\ndata: cut",
        );
        let piece = |id, data: &str| Piece {
            id,
            event: String::new(),
            data: data.to_owned(),
        };
        assert_eq!(
            read,
            [
                piece(Some(1), "first event"),
                piece(None, "second event\nof two lines")
            ]
        );
    }

    #[test]
    fn a_piece_is_written_on_one_line_with_its_kind() {
        let piece = Piece {
            id: Some(4),
            event: "pass-judged".to_owned(),
            data: "{\n \"record\": 4\n}".to_owned(),
        };
        let mut out = Vec::new();
        write_one(&mut out, &piece).unwrap();
        let line = String::from_utf8(out).unwrap();
        assert_eq!(line.lines().count(), 1);
        let json: Value = serde_json::from_str(&line).unwrap();
        assert_eq!(
            json,
            serde_json::json!({ "record": 4, "kind": "pass-judged" })
        );
    }
}
