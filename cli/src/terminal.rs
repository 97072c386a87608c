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

    /// Prose with its lines set `indent` columns in, the first behind `lead`. A number stays on the line
    /// of its unit.
    pub(crate) fn wrap(self, lead: &str, indent: usize, text: &str) -> String {
        let rest = " ".repeat(indent);
        let options = textwrap::Options::new(self.width)
            .initial_indent(lead)
            .subsequent_indent(&rest);
        textwrap::fill(&tied(text), options).replace(TIE, " ")
    }
}

/// A space at which no line is broken.
const TIE: char = '\u{a0}';
/// Units as they stand behind numbers.
const UNITS: [&str; 7] = ["°C", "°F", "s", "min", "h", "%", "um"];

/// A text in which units are tied to their numbers.
fn tied(text: &str) -> String {
    let mut tied = String::with_capacity(text.len());
    let mut after_number = false;
    for (number, word) in text.split(' ').enumerate() {
        let unit = word.trim_end_matches([',', '.', ';', ':', ')']);
        if number > 0 {
            tied.push(if after_number && UNITS.contains(&unit) {
                TIE
            } else {
                ' '
            });
        }
        tied.push_str(word);
        after_number = word.ends_with(|letter: char| letter.is_ascii_digit());
    }
    tied
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_keeps_its_unit_wherever_the_line_ends() {
        let text = "at least 14 times what the fabric can take (peak 243.8 °C); about 35.9 °C cooler, 90 s";
        for width in 20..90 {
            let setting = Setting {
                width,
                colour: false,
            };
            let lines = setting.wrap("", 2, text);
            let starts_with_unit = |line: &str| {
                UNITS
                    .iter()
                    .any(|unit| line.trim_start().starts_with(&format!("{unit} ")))
            };
            assert!(!lines.lines().any(starts_with_unit), "{width}: {lines}");
            assert!(
                lines.lines().all(|line| line.chars().count() <= width),
                "{width}: {lines}"
            );
            assert!(!lines.contains(TIE));
        }
    }

    #[test]
    fn every_kind_of_verdict_has_a_shape_of_its_own() {
        use Verdict::{Cured, Overheated, UnderCured, Unproven};
        let mut marks = [Cured, UnderCured, Overheated, Unproven].map(mark).to_vec();
        marks.sort_unstable();
        marks.dedup();
        assert_eq!(marks.len(), 4);
    }
}
