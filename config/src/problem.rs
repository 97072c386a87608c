//! What is wrong in a file: where, what, and what to do about it.

use std::fmt;

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file, as it was named.
    pub file: String,
    /// The line, from 1; `None` where it is the whole file.
    pub line: Option<u64>,
    /// The key, such as `ink[0].cure.points[1]`; empty where it is none in particular.
    pub key: String,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub remedy: String,
}

impl Problem {
    /// A problem of a file as a whole.
    pub fn of_file(file: &str, what: impl Into<String>, remedy: impl Into<String>) -> Problem {
        Problem {
            file: file.to_owned(),
            line: None,
            key: String::new(),
            what: what.into(),
            remedy: remedy.into(),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
        }
        if !self.key.is_empty() {
            write!(f, ": {}", self.key)?;
        }
        write!(f, ": {}; {}", self.what, self.remedy)
    }
}

/// A file as far as it could be read, with everything that is wrong in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked<T> {
    /// What was read; to be used only where there is no problem.
    pub value: T,
    /// What must be mended.
    pub problems: Vec<Problem>,
    /// What deserves a look.
    pub warnings: Vec<Problem>,
}

impl<T> Checked<T> {
    /// The value, or the problems.
    ///
    /// # Errors
    /// When there is any problem.
    pub fn into_result(self) -> Result<T, Vec<Problem>> {
        if self.problems.is_empty() {
            Ok(self.value)
        } else {
            Err(self.problems)
        }
    }
}

/// The name in `known` that looks most like `name`, if any looks like it at all.
pub fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    known
        .into_iter()
        .map(|candidate| {
            (
                strsim::jaro_winkler(&name.to_lowercase(), &candidate.to_lowercase()),
                candidate,
            )
        })
        .filter(|(likeness, _)| *likeness > 0.7)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, candidate)| candidate)
}

/// What to do about an unknown name: the nearest one, or those there are.
pub fn suggestion(name: &str, known: &[&str]) -> String {
    // More than anybody reads through.
    const MOST: usize = 12;
    match nearest(name, known.iter().copied()) {
        Some(near) => format!("did you mean {near:?}?"),
        None if known.is_empty() => "none is declared".to_owned(),
        None if known.len() > MOST => {
            let some = known[..MOST].join(", ");
            format!("known are {some} and {} more", known.len() - MOST)
        }
        None => format!("known are {}", known.join(", ")),
    }
}

/// A text as it was written, in quotes, control characters escaped, and cut short where it is long:
/// a problem is one line.
pub fn quoted(text: &str) -> String {
    const LONGEST: usize = 48;
    match text.char_indices().nth(LONGEST) {
        Some((at, _)) => format!("{:?}...", &text[..at]),
        None => format!("{text:?}"),
    }
}
