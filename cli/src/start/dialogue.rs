//! Asking at a terminal.
//!
//! A line is typed and ended with Enter, in the terminal's own way, so that it works in every terminal and over every
//! connection.

use std::io::{BufRead, Write};

use super::state::{Answered, Question};
use crate::failure::Failure;
use crate::terminal::{Setting, print};

/// What somebody wants.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Wish {
    /// This is the answer, as it is kept.
    Answer(String),
    /// To the question before.
    Back,
    /// To listen anew to everything that is plugged in.
    HearAgain,
}

/// What somebody wants at the end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum End {
    /// It is to be written.
    Write,
    /// The answer of this key is to be given anew.
    Correct(String),
    /// To the question before.
    Back,
}

/// How it goes, said once.
pub(super) fn opening(setting: Setting, file: &str) -> String {
    let words = format!(
        "There is no {file} yet. A few questions, and it will be written, checked, and the daemon started."
    );
    let how = "Enter takes what stands in brackets; < goes back to the question before; ? says more about a question; again \
               listens anew to what is plugged in; Ctrl-C leaves, and nothing is written.";
    let caution = "Inkdwell watches and advises; it is no safety device. Hot surfaces burn and fumes need exhaust: mind both \
                   while you measure. The ink maker's data sheet, a wash test, local codes and licensed practice come \
                   before any figure it shows.";
    format!(
        "{}\n\n{}\n\n{}\n\n",
        setting.strong(&setting.wrap("", 0, &words)),
        setting.wrap("", 0, how),
        setting.faint(&setting.wrap("", 0, caution))
    )
}

/// Asks a question until it is answered.
pub(super) fn ask(
    question: &Question,
    setting: Setting,
    typed: &mut impl BufRead,
) -> Result<Wish, Failure> {
    if let Some(wrong) = &question.wrong {
        complain(wrong, setting)?;
    }
    print(&format!(
        "{}\n",
        setting.strong(&setting.wrap("", 0, &question.asks))
    ))?;
    loop {
        let usual = match &question.usual {
            Some(usual) => format!("[{usual}] > "),
            None => "> ".to_owned(),
        };
        let line = line(&format!("  {usual}"), typed)?;
        let wish = match line.as_str() {
            "<" | "back" => return Ok(Wish::Back),
            super::wires::AGAIN => return Ok(Wish::HearAgain),
            "?" => {
                print(&format!("{}\n", setting.wrap("  ", 2, &question.why)))?;
                continue;
            }
            "" => match &question.usual {
                Some(usual) if usual == super::wires::AGAIN => return Ok(Wish::HearAgain),
                Some(usual) => (question.check)(usual),
                None => Err(format!("it has to be answered. {}", question.why)),
            },
            line => (question.check)(line),
        };
        match wish {
            Ok(answer) => {
                print("\n")?;
                return Ok(Wish::Answer(answer));
            }
            Err(why) => complain(&why, setting)?,
        }
    }
}

fn complain(why: &str, setting: Setting) -> Result<(), Failure> {
    print(&format!("{}\n", setting.wrap("  Not so: ", 10, why)))
}

/// Shows everything that was answered, and asks whether it is to be written.
pub(super) fn confirm(
    answered: &[Answered],
    file: &str,
    setting: Setting,
    typed: &mut impl BufRead,
) -> Result<End, Failure> {
    let mut text = format!("{}\n", setting.strong("So it stands:"));
    let width = answered
        .iter()
        .map(|own| own.about.chars().count())
        .max()
        .unwrap_or(0);
    for (number, own) in answered.iter().enumerate() {
        let lead = format!("  {:>2}  {:width$}  ", number + 1, own.about);
        let indent = lead.chars().count();
        text += &format!("{}\n", setting.wrap(&lead, indent, &own.answer));
    }
    print(&format!("{text}\n"))?;
    let asks = format!("Enter writes {file}; a number asks that one again; < goes back.");
    print(&format!(
        "{}\n",
        setting.strong(&setting.wrap("", 0, &asks))
    ))?;
    loop {
        let line = line("  [write] > ", typed)?;
        match line.as_str() {
            "" | "write" | "yes" | "y" => return Ok(End::Write),
            "<" | "back" => return Ok(End::Back),
            line => match line.parse::<usize>() {
                Ok(number) if (1..=answered.len()).contains(&number) => {
                    print("\n")?;
                    return Ok(End::Correct(answered[number - 1].key.clone()));
                }
                _ => complain(
                    &format!(
                        "press Enter, or type a number from 1 to {}, or <",
                        answered.len()
                    ),
                    setting,
                )?,
            },
        }
    }
}

/// One line that somebody types, without spaces at its ends.
fn line(prompt: &str, typed: &mut impl BufRead) -> Result<String, Failure> {
    print(prompt)?;
    std::io::stdout()
        .flush()
        .map_err(|error| gone(&error.to_string()))?;
    let mut bytes = Vec::new();
    let read = typed.read_until(b'\n', &mut bytes);
    match read.map_err(|error| gone(&error.to_string()))? {
        0 => {
            print("\n")?;
            Err(Failure::new(
                "left before the end; nothing is written. Begin again with inkdwell start, or give answers as options: \
                 inkdwell help start",
            ))
        }
        // What is no text is caught by the check of the answer.
        _ => Ok(String::from_utf8_lossy(&bytes).trim().to_owned()),
    }
}

fn gone(why: &str) -> Failure {
    Failure::new(format!("the terminal is gone ({why}); nothing is written"))
}
