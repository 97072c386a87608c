//! A line of text with what stands out in it.

use super::super::picture::Kind;
use super::super::words::verdict_words;

/// A piece of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in super::super) enum Piece {
    Text(String),
    /// What must not be overlooked.
    Strong(String),
    /// What stands behind.
    Small(String),
    /// What can be typed.
    Code(String),
    /// A long hexadecimal number.
    Hash(String),
    /// A verdict, with the sign of its kind before it.
    Verdict(Kind, String),
    /// A link to a name in the report.
    Link(String, String),
    /// What follows stands on a line of its own.
    Turn,
}

/// See the module.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(in super::super) struct Line(pub(in super::super) Vec<Piece>);

impl Line {
    /// A text.
    pub(super) fn of(text: impl Into<String>) -> Line {
        Line(vec![Piece::Text(text.into())])
    }

    /// Prose in which what can be typed stands between backticks.
    pub(super) fn marked(text: &str) -> Line {
        let parts = text.split('`').enumerate();
        let parts = parts.filter(|(_, part)| !part.is_empty());
        Line(
            parts
                .map(|(place, part)| match place % 2 {
                    0 => Piece::Text(part.to_owned()),
                    _ => Piece::Code(part.to_owned()),
                })
                .collect(),
        )
    }

    fn with(mut self, piece: Piece) -> Line {
        self.0.push(piece);
        self
    }

    pub(super) fn say(self, text: impl Into<String>) -> Line {
        self.with(Piece::Text(text.into()))
    }

    pub(super) fn strong(self, text: impl Into<String>) -> Line {
        self.with(Piece::Strong(text.into()))
    }

    pub(super) fn small(self, text: impl Into<String>) -> Line {
        self.with(Piece::Small(text.into()))
    }

    pub(super) fn hash(self, text: impl Into<String>) -> Line {
        self.with(Piece::Hash(text.into()))
    }

    pub(super) fn code(self, text: impl Into<String>) -> Line {
        self.with(Piece::Code(text.into()))
    }

    pub(super) fn verdict(self, verdict: &str, harm: Option<&str>) -> Line {
        let words = verdict_words(verdict, harm);
        self.with(Piece::Verdict(Kind::of(verdict), words))
    }

    /// A link to a pass.
    pub(super) fn pass(self, pass: u64, text: impl Into<String>) -> Line {
        self.with(Piece::Link(format!("pass-{pass}"), text.into()))
    }

    pub(super) fn link(self, id: impl Into<String>, text: impl Into<String>) -> Line {
        self.with(Piece::Link(id.into(), text.into()))
    }

    pub(super) fn turn(self) -> Line {
        self.with(Piece::Turn)
    }

    pub(super) fn and(mut self, other: Line) -> Line {
        self.0.extend(other.0);
        self
    }

    /// As text alone; a line that turns has a new line there.
    pub(in super::super) fn plain(&self) -> String {
        let pieces = self.0.iter().map(|piece| match piece {
            Piece::Text(text)
            | Piece::Strong(text)
            | Piece::Small(text)
            | Piece::Code(text)
            | Piece::Hash(text)
            | Piece::Link(_, text) => text.clone(),
            Piece::Verdict(kind, words) => format!("{} {words}", kind.sign()),
            Piece::Turn => "\n".to_owned(),
        });
        pieces.collect()
    }
}

impl From<String> for Line {
    fn from(text: String) -> Line {
        Line::of(text)
    }
}

impl From<&str> for Line {
    fn from(text: &str) -> Line {
        Line::of(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_can_be_typed_stands_between_backticks() {
        let line = Line::marked("see `inkdwell holds`.");
        let expected = [
            Piece::Text("see ".to_owned()),
            Piece::Code("inkdwell holds".to_owned()),
            Piece::Text(".".to_owned()),
        ];
        assert_eq!(line.0, expected);
        let told = line.turn().verdict("overheated", Some("scorch"));
        assert_eq!(told.plain(), "see inkdwell holds.\n▲ scorched");
    }
}
