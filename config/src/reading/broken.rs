//! Files that are not quite TOML: what is wrong with their lines, and which other problems still stand.
//!
//! The parser goes on after a mistake, so that the rest of the file can be judged too. After a mistake in
//! a single value, or a line without one, it is sure of its place. After any other one, what it makes of
//! the lines that follow is a guess, up to the next heading, `[table]` or `[[table]]`; a problem found
//! there may be the guess's own and is left out. What is missing anywhere may then stand in a line that
//! could not be read.

use std::borrow::Cow;
use std::ops::Range;

use toml::de::DeTable;

use super::{Ground, Reading};
use crate::problem::Problem;

/// What the parser complained of.
#[derive(Default)]
pub(super) struct Broken {
    problems: Vec<Problem>,
    /// Lines whose reading is a guess.
    guessed: Vec<Range<u64>>,
    /// Whether something may have gone unread.
    unread: bool,
}

/// How much of a file a mistake puts in doubt.
enum Doubt {
    /// Nothing: a key written twice.
    Nothing,
    /// The value in question.
    Value,
    /// Its line, which was left out.
    Line,
    /// The lines up to the next heading.
    Table,
    /// All that follows.
    Rest,
}

/// The complaint at which the parser gives up.
const GIVES_UP: &str = "key with no value";

/// A complaint of the parser: where, and in its words.
type Mistake = (usize, String);

/// A text that the parser goes through to its end, of the same length as the one given, and the lines
/// that had to be blanked for that: at a key without a value it would give up.
pub(super) fn readable(text: &str) -> (Cow<'_, str>, Vec<Mistake>) {
    // Every line blanked costs another parse; a file with more such lines is no TOML at all.
    const MOST: usize = 32;
    let mut readable = Cow::Borrowed(text);
    let mut blanked = Vec::new();
    while blanked.len() < MOST {
        let mistakes = mistakes(&DeTable::parse_recoverable(&readable).1);
        let Some(mistake) = mistakes
            .into_iter()
            .find(|(_, message)| message.starts_with(GIVES_UP))
        else {
            break;
        };
        // The complaint points behind the key, where the line may be over already.
        let within = mistake.0.min(readable.len());
        let line = line_around(readable.as_bytes(), within);
        let spaces = " ".repeat(line.len());
        if readable.get(line.clone()) == Some(spaces.as_str()) {
            break;
        }
        readable.to_mut().replace_range(line, &spaces);
        blanked.push(mistake);
    }
    (readable, blanked)
}

/// The line around a place, without its end.
fn line_around(text: &[u8], at: usize) -> Range<usize> {
    let start = text[..at].iter().rposition(|byte| *byte == b'\n');
    let end = text[at..].iter().position(|byte| *byte == b'\n');
    start.map_or(0, |start| start + 1)..end.map_or(text.len(), |end| at + end)
}

fn mistakes(errors: &[toml::de::Error]) -> Vec<Mistake> {
    let place = |error: &toml::de::Error| error.span().map_or(0, |span| span.start);
    let mistake = |error| (place(error), error.message().to_owned());
    errors.iter().map(mistake).collect()
}

impl Broken {
    pub(super) fn of(
        reading: &Reading<'_>,
        errors: &[toml::de::Error],
        blanked: Vec<Mistake>,
    ) -> Broken {
        let mut mistakes = mistakes(errors);
        mistakes.extend(blanked);
        mistakes.sort_unstable();
        // Where a list never ends, the first complaint shows where that began to matter, the last why.
        let endless = mistakes
            .iter()
            .map(|(_, message)| message.as_str())
            .rfind(|message| matches!(doubt(message), Doubt::Rest));
        let mut broken = Broken::default();
        for (offset, message) in &mistakes {
            let offset = *offset;
            match (doubt(message), endless) {
                (Doubt::Value | Doubt::Line | Doubt::Table | Doubt::Rest, Some(message)) => {
                    broken.note(reading, offset, message, &Doubt::Rest);
                }
                (doubt, _) => broken.note(reading, offset, message, &doubt),
            }
        }
        broken
    }

    fn note(&mut self, reading: &Reading<'_>, offset: usize, message: &str, doubt: &Doubt) {
        let line = reading.line_of(offset);
        let before = self.guessed.last().filter(|lines| lines.contains(&line));
        // One mistake draws several complaints: about the rest of its line, or of all the file.
        let same_line = self.problems.last().and_then(|problem| problem.line) == Some(line);
        let echo = match doubt {
            Doubt::Nothing | Doubt::Value => false,
            Doubt::Line | Doubt::Table => same_line,
            Doubt::Rest => before.is_some(),
        };
        self.unread |= matches!(doubt, Doubt::Line | Doubt::Table | Doubt::Rest);
        self.doubt(guessed(reading, line, doubt, before));
        if echo {
            return;
        }
        let problem = if matches!(doubt, Doubt::Nothing) {
            let what = "this key is written twice in one table";
            reading.problem(offset, "", what.to_owned(), "keep one of them".to_owned())
        } else {
            let what = message.lines().collect::<Vec<_>>().join(", ");
            let remedy = match doubt {
                Doubt::Rest => "end the list, table or text that begins here or above".to_owned(),
                _ => remedy(reading.line(line)),
            };
            reading.problem(offset, "", format!("this is not TOML ({what})"), remedy)
        };
        self.problems.push(problem);
    }

    /// Adds lines to those whose reading is a guess. They come in the order in which they begin, and what
    /// overlaps is joined, so that they can be searched.
    fn doubt(&mut self, lines: Range<u64>) {
        match self.guessed.last_mut() {
            Some(last) if lines.start < last.end => last.end = last.end.max(lines.end),
            _ if lines.is_empty() => {}
            _ => self.guessed.push(lines),
        }
    }

    fn is_guessed(&self, line: u64) -> bool {
        let after = self.guessed.partition_point(|lines| lines.end <= line);
        self.guessed
            .get(after)
            .is_some_and(|lines| lines.contains(&line))
    }

    /// The complaints, and of the problems found those that stand.
    pub(super) fn merge(self, found: Vec<(Problem, Ground)>) -> Vec<Problem> {
        let stands = |problem: &Problem, ground: Ground| {
            let guessed = self.is_guessed(problem.line.unwrap_or(0));
            !(guessed || self.unread && ground == Ground::Absent)
        };
        let standing: Vec<Problem> = found
            .into_iter()
            .filter(|(problem, ground)| stands(problem, *ground))
            .map(|(problem, _)| problem)
            .collect();
        self.problems.into_iter().chain(standing).collect()
    }
}

/// The lines that a mistake makes a guess of. Those of the mistake before, if it lies within them, reach as
/// far as its own heading would.
fn guessed(
    reading: &Reading<'_>,
    line: u64,
    doubt: &Doubt,
    before: Option<&Range<u64>>,
) -> Range<u64> {
    let last = reading.lines.len() as u64;
    match (doubt, before) {
        (Doubt::Nothing, _) => line..line,
        (Doubt::Value | Doubt::Line, _) => line..line + 1,
        (Doubt::Rest, _) => line..last + 1,
        (Doubt::Table, Some(before)) if before.end > line + 1 => line..before.end,
        (Doubt::Table, _) => {
            let heading = (line + 1..=last).find(|line| reading.line(*line).starts_with('['));
            line..heading.unwrap_or(last + 1)
        }
    }
}

/// What a complaint of the parser puts in doubt; what is not known here puts the table in doubt.
fn doubt(message: &str) -> Doubt {
    const VALUE: [&str; 5] = [
        "string values must be quoted",
        "invalid float",
        "invalid basic string",
        "invalid literal string",
        "invalid date",
    ];
    const REST: [&str; 4] = [
        "unclosed array,",
        "unclosed inline table",
        "invalid multi-line",
        "cannot recurse further",
    ];
    if message == "duplicate key" {
        Doubt::Nothing
    } else if message.starts_with(GIVES_UP) {
        Doubt::Line
    } else if VALUE.iter().any(|begin| message.starts_with(begin)) {
        Doubt::Value
    } else if REST.iter().any(|begin| message.starts_with(begin)) {
        Doubt::Rest
    } else {
        Doubt::Table
    }
}

/// What to do about a line that is not TOML.
fn remedy(line: &str) -> String {
    let value = line.split_once('=').map(|(_, value)| value.trim());
    match value {
        Some("") => "write a value after the =".to_owned(),
        Some(value) if begins_with_quantity(value) => {
            "put what has a unit in quotes, as \"160 C\"".to_owned()
        }
        Some(_) => "check its quotes, commas and brackets".to_owned(),
        None => "write KEY = VALUE, or a heading as [[station]]".to_owned(),
    }
}

/// A bare number with something like a unit after it.
fn begins_with_quantity(value: &str) -> bool {
    let rest =
        value.trim_start_matches(|letter: char| letter.is_ascii_digit() || ".+-".contains(letter));
    let unit = rest.trim_start();
    let unit = unit.starts_with(|letter: char| letter.is_alphabetic() || "°%".contains(letter));
    rest.len() < value.len() && unit
}

#[cfg(test)]
mod tests {
    use crate::library::Library;

    fn lines(text: &str) -> Vec<String> {
        let problems = Library::parse("x", text).problems;
        problems.iter().map(ToString::to_string).collect()
    }

    /// A sound ink but for what stands in its third line, and after it a fabric with a mistake of its own.
    fn ink(line: &str) -> String {
        format!(
            "[[ink]]\nid = \"a\"\n{line}\nfamily = \"other\"\n\
             cure = {{ law = \"hold\", at = \"160 C\", for = \"5 s\" }}\nsource = \"test\"\n\
             \n[[fabric]]\nid = \"f\"\nmass = \"180 g/m2\"\nregain = 2\nharms = []\nsource = \"t\"\n"
        )
    }

    const REGAIN: &str = "x:11: fabric[0].regain: \"2\" is more than the whole; ";

    #[test]
    fn a_mistake_in_one_value_leaves_all_else_judged() {
        let found = lines(&ink("film = 80 um"));
        assert_eq!(found.len(), 2, "{found:#?}");
        assert!(found[0].starts_with("x:3: this is not TOML"), "{found:?}");
        assert!(
            found[0].ends_with("put what has a unit in quotes, as \"160 C\""),
            "{found:?}"
        );
        assert!(found[1].starts_with(REGAIN), "{found:?}");
        // The value was not read, and what is missing elsewhere is missing still.
        let found = lines(&ink("film =").replace("family = \"other\"", ""));
        assert!(found[0].starts_with("x:1: ink[0].family: is missing"));
        assert!(found[1].starts_with("x:3: this is not TOML"), "{found:?}");
        assert!(found[1].ends_with("write a value after the ="), "{found:?}");
        assert_eq!(found.len(), 3, "{found:#?}");
    }

    #[test]
    fn a_mistake_in_a_line_leaves_the_other_tables_judged() {
        for line in [
            "film",
            "film \"80 um\"",
            "[[ink",
            "film = \"80 um\" \"90 um\"",
        ] {
            let found = lines(&ink(line));
            assert!(found[0].starts_with("x:3: this is not TOML"), "{found:?}");
            assert_eq!(found.len(), 2, "{line}: {found:#?}");
            assert!(found[1].starts_with(REGAIN), "{line}: {found:?}");
        }
    }

    #[test]
    fn every_broken_line_is_named() {
        for line in [
            "film",
            "film \"80 um\"",
            "film = 80 um",
            "film = \"80 um\" \"90 um\"",
        ] {
            let text = ink(line).replace("family = ", "family ") + "regain 0.1\n[[ink\n";
            let found = lines(&text);
            let at: Vec<&str> = found
                .iter()
                .filter_map(|line| line.split_once(": this is not TOML"))
                .map(|(place, _)| place)
                .collect();
            assert_eq!(at, ["x:3", "x:4", "x:14", "x:15"], "{line}: {found:#?}");
        }
    }

    #[test]
    fn a_list_without_its_end_is_one_mistake() {
        for line in ["film = [1,", "gel = { from = \"104 C\",", "name = \"\"\"x"] {
            let found = lines(&ink(line));
            let mistakes = found.iter().filter(|line| line.contains("is not TOML"));
            assert_eq!(mistakes.count(), 1, "{line}: {found:#?}");
            assert!(found.len() <= 2, "{line}: {found:#?}");
        }
    }

    #[test]
    fn a_key_twice_puts_nothing_in_doubt() {
        let found = lines(&ink("id = \"b\"\nfilm = 80"));
        assert!(
            found[0].starts_with("x:3: this key is written twice"),
            "{found:?}"
        );
        assert!(
            found[1].starts_with("x:4: ink[0].film: 80 has no unit"),
            "{found:?}"
        );
        assert_eq!(found.len(), 3, "{found:#?}");
    }

    #[test]
    fn nesting_without_end_is_refused() {
        for text in [
            format!("ink = {}", "[".repeat(100_000)),
            format!("ink = {}{}", "[".repeat(100_000), "]".repeat(100_000)),
            format!("{} = 1", vec!["a"; 100_000].join(".")),
            format!("[{}]", vec!["a"; 100_000].join(".")),
            format!("ink = {}", "{ a = ".repeat(100_000)),
        ] {
            let found = lines(&text);
            assert!(!found.is_empty() && found.len() < 10, "{}", found.len());
        }
    }
}
