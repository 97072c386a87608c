//! What ends a call: sentences for standard error.

use std::fmt::Display;
use std::io;
use std::path::Path;

use inkdwell_config::problem::Problem;

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

    pub(crate) fn say(&self) {
        for sentence in &self.0 {
            eprintln!("inkdwell: {sentence}");
        }
    }
}

impl From<Vec<Problem>> for Failure {
    fn from(problems: Vec<Problem>) -> Failure {
        Failure(problems.iter().map(ToString::to_string).collect())
    }
}
