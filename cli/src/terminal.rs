//! What the terminal is: its width, whether it shows colour; and writing to standard output.

use std::io::{self, IsTerminal, Write};

use anstyle::{AnsiColor, Style};
use inkdwell_cure::judged::Verdict;

use crate::failure::Failure;

/// The widest that prose is set.
const WIDEST: usize = 100;

/// How text for people is set.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Setting {
    /// Columns.
    pub(crate) width: usize,
    /// Whether colours may be used; no meaning rests on them alone.
    pub(crate) colour: bool,
}

impl Setting {
    /// As standard output is.
    pub(crate) fn of_stdout() -> Setting {
        let terminal = io::stdout().is_terminal();
        let wanted = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
        let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
        let width = terminal_size::terminal_size().map_or(80, |(width, _)| usize::from(width.0));
        Setting {
            width: width.clamp(40, WIDEST),
            colour: terminal && wanted && !dumb,
        }
    }

    /// A text in a style.
    pub(crate) fn paint(self, style: Style, text: &str) -> String {
        if self.colour {
            format!("{style}{text}{style:#}")
        } else {
            text.to_owned()
        }
    }

    pub(crate) fn strong(self, text: &str) -> String {
        self.paint(Style::new().bold(), text)
    }

    pub(crate) fn faint(self, text: &str) -> String {
        self.paint(Style::new().dimmed(), text)
    }

    /// A text in a verdict's colour.
    pub(crate) fn verdict(self, verdict: Verdict, text: &str) -> String {
        let colour = match verdict {
            Verdict::Cured | Verdict::Gelled => AnsiColor::Cyan,
            Verdict::UnderCured | Verdict::UnderFlashed => AnsiColor::Blue,
            Verdict::Overheated | Verdict::OverFlashed => AnsiColor::Red,
            Verdict::Unproven => AnsiColor::Yellow,
        };
        self.paint(Style::new().bold().fg_color(Some(colour.into())), text)
    }

    /// Prose with its lines set `indent` columns in, the first behind `lead`.
    pub(crate) fn wrap(self, lead: &str, indent: usize, text: &str) -> String {
        let rest = " ".repeat(indent);
        let options = textwrap::Options::new(self.width)
            .initial_indent(lead)
            .subsequent_indent(&rest);
        textwrap::fill(text, options)
    }
}

/// The mark of a verdict; each has a shape of its own.
pub(crate) fn mark(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Cured | Verdict::Gelled => "●",
        Verdict::UnderCured | Verdict::UnderFlashed => "▽",
        Verdict::Overheated | Verdict::OverFlashed => "▲",
        Verdict::Unproven => "◇",
    }
}

/// Writes to standard output; a reader that has gone away is no failure.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    copy_to_stdout(&mut text.as_bytes())
}

/// Copies to standard output; a reader that has gone away is no failure.
pub(crate) fn copy_to_stdout(from: &mut impl io::Read) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match io::copy(from, &mut out).and_then(|_| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::new(format!(
            "standard output cannot be written ({error}); check its disk"
        ))),
        _ => Ok(()),
    }
}
