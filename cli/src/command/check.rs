//! `inkdwell check`: everything that is wrong in a file, and in the libraries that it names.

use std::path::Path;

use inkdwell_config::problem::{Checked, Problem};
use inkdwell_config::shop::Shop;

use serde::Serialize;

use super::library_json::written;
use crate::Outcome;
use crate::arguments::CheckArguments;
use crate::failure::Failure;
use crate::terminal::print;

pub(crate) fn run(typed: &CheckArguments) -> Result<Outcome, Failure> {
    let file = typed.file.display().to_string();
    let Checked {
        value: shop,
        problems,
        warnings,
    } = Shop::check(&typed.file);
    if typed.json {
        print(&written(&CheckJson::new(&file, &problems, &warnings))?)?;
        return match problems.is_empty() {
            true => Ok(Outcome::Fine),
            false => Err(Failure::from(problems)),
        };
    }
    let warned = warned(&warnings);
    if !problems.is_empty() {
        print(&warned)?;
        return Err(Failure::from(problems));
    }
    print(&format!("{warned}{}", sound(&file, &shop)))?;
    Ok(Outcome::Fine)
}

/// What is told of a file that is sound.
///
/// # Errors
/// Everything that is wrong in it.
pub(crate) fn told(file: &Path) -> Result<String, Failure> {
    let Checked {
        value: shop,
        problems,
        warnings,
    } = Shop::check(file);
    match problems.is_empty() {
        true => Ok(warned(&warnings) + &sound(&file.display().to_string(), &shop)),
        false => Err(Failure::from(problems)),
    }
}

fn warned(warnings: &[Problem]) -> String {
    let lines = warnings.iter();
    lines
        .map(|warning| format!("worth a look: {warning}\n"))
        .collect()
}

fn sound(file: &str, shop: &Shop) -> String {
    format!("{file}: sound; it declares {}.\n", contents(shop))
}

fn contents(shop: &Shop) -> String {
    let counts = [
        (shop.sources.len(), "source"),
        (shop.stations.len(), "station"),
        (shop.probes.len(), "probe"),
        (shop.signals.len(), "signal"),
        (shop.sinks.len(), "sink"),
        (shop.library.inks().len(), "ink"),
        (shop.library.fabrics().len(), "fabric"),
    ];
    let named: Vec<String> = counts
        .iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, name)| format!("{count} {name}{}", if *count == 1 { "" } else { "s" }))
        .collect();
    if named.is_empty() {
        "nothing".to_owned()
    } else {
        named.join(", ")
    }
}

/// `inkdwell.check/1`.
#[derive(Serialize)]
struct CheckJson<'a> {
    schema: &'static str,
    file: &'a str,
    sound: bool,
    problems: Vec<ProblemJson<'a>>,
    warnings: Vec<ProblemJson<'a>>,
}

#[derive(Serialize)]
struct ProblemJson<'a> {
    line: Option<u64>,
    key: Option<&'a str>,
    what: &'a str,
    remedy: &'a str,
}

impl<'a> CheckJson<'a> {
    fn new(file: &'a str, problems: &'a [Problem], warnings: &'a [Problem]) -> CheckJson<'a> {
        let json = |problem: &'a Problem| ProblemJson {
            line: problem.line,
            key: Some(problem.key.as_str()).filter(|key| !key.is_empty()),
            what: &problem.what,
            remedy: &problem.remedy,
        };
        CheckJson {
            schema: "inkdwell.check/1",
            file,
            sound: problems.is_empty(),
            problems: problems.iter().map(json).collect(),
            warnings: warnings.iter().map(json).collect(),
        }
    }
}
