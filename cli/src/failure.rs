//! What ends a call: sentences for standard error.

use std::fmt::Display;
use std::io::{self, Write};
use std::path::Path;

use inkdwell_config::problem::Problem;

/// More sentences than this help nobody: then it is the wrong file.
const MOST_SAID: usize = 100;

/// Why a call cannot be done; every line says what is wrong, where, and what to do.
#[derive(Debug)]
pub(crate) struct Failure(Vec<String>);

impl Failure {
    pub(crate) fn new(sentence: impl Into<String>) -> Failure {
        Failure(vec![sentence.into()])
    }

    /// Something about a file, and what to do.
    pub(crate) fn of_file(file: impl Display, what: impl Display, remedy: impl Display) -> Failure {
        Failure::new(format!("{file}: {what}; {remedy}"))
    }

    /// Something at a line of a file.
    pub(crate) fn at_line(
        file: impl Display,
        line: u64,
        key: impl Display,
        what: impl Display,
        remedy: impl Display,
    ) -> Failure {
        Failure::new(format!("{file}:{line}: {key}: {what}; {remedy}"))
    }

    /// A file that could not be written.
    pub(crate) fn writing(file: &Path, error: &io::Error) -> Failure {
        Failure::of_file(
            file.display(),
            format_args!("cannot be written ({error})"),
            "check the folder, its rights and its disk",
        )
    }

    /// Says it on standard error, and ends quietly where nobody listens there.
    pub(crate) fn say(&self) {
        let mut out = io::stderr().lock();
        for sentence in self.0.iter().take(MOST_SAID) {
            let _ = writeln!(out, "inkdwell: {sentence}");
        }
        if self.0.len() > MOST_SAID {
            let more = self.0.len() - MOST_SAID;
            let _ = writeln!(out, "inkdwell: and {more} more; is this the right file?");
        }
    }
}

impl Display for Failure {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str(&self.0.join(" "))
    }
}

impl From<Vec<Problem>> for Failure {
    fn from(problems: Vec<Problem>) -> Failure {
        Failure(problems.iter().map(ToString::to_string).collect())
    }
}
