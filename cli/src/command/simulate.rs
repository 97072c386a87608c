//! `inkdwell simulate`: traces of a shop that never was, with the truth of every print.

use std::fs;
use std::io::IsTerminal;
use std::path::Path;
use std::time::Duration;

use indicatif::ProgressBar;
use inkdwell_config::problem::suggestion;
use inkdwell_simulated_traces::scenario::Scenario;
use inkdwell_simulated_traces::shipped::{EXAMPLE, SHIPPED, SHOP, Shipped};
use inkdwell_simulated_traces::shop::draw_shop;
use inkdwell_simulated_traces::shop_files::{NamedText, shop_files};
use inkdwell_simulated_traces::write::{WriteError, texts_watched};

use crate::Outcome;
use crate::arguments::SimulateArguments;
use crate::failure::Failure;
use crate::terminal::{Setting, print};

/// How often a person who waits sees something move.
const TICK: Duration = Duration::from_millis(200);
/// Rows between two looks at the clock.
const ROWS: u64 = 500;

pub(crate) fn run(typed: &SimulateArguments) -> Result<Outcome, Failure> {
    if typed.list {
        print(&list()?)?;
        return Ok(Outcome::Fine);
    }
    let waiting = Waiting::new();
    let files = if typed.example {
        vec![
            ("shop.toml".to_owned(), SHOP.to_owned()),
            ("example.scenario.toml".to_owned(), EXAMPLE.to_owned()),
        ]
    } else if let Some(seed) = typed.shop_seed {
        waiting.say(&format!("shop {seed}"));
        shop_files(&draw_shop(seed)).map_err(not_made)?
    } else {
        made(typed, &waiting)?
    };
    drop(waiting);
    write(files, typed)?;
    Ok(Outcome::Fine)
}

/// The files of every scenario of a call.
fn made(typed: &SimulateArguments, waiting: &Waiting) -> Result<Vec<NamedText>, Failure> {
    if typed.scenarios.is_empty() {
        return Err(Failure::new(
            "SCENARIO: none is named; name a scenario file or one that ships (--list), or begin with \
             --example",
        ));
    }
    let mut files: Vec<NamedText> = Vec::new();
    for path in &typed.scenarios {
        let scenario = read(path, typed.seed)?;
        let name = scenario.name.clone();
        let (csv, truth) = texts_watched(&scenario, |rows| {
            if rows.is_multiple_of(ROWS) {
                waiting.say(&format!("{name}: {rows} rows"));
            }
        })
        .map_err(not_made)?;
        let new = [
            (format!("{name}.csv"), csv),
            (format!("{name}.truth.json"), truth),
        ];
        if files.iter().any(|(known, _)| *known == new[0].0) {
            return Err(Failure::of_file(
                path.display(),
                format_args!("makes {} a second time", new[0].0),
                "name each scenario once, or give its file another name",
            ));
        }
        files.extend(new);
    }
    Ok(files)
}

/// A scenario from its file, or one that ships.
fn read(path: &Path, seed: Option<u64>) -> Result<Scenario, Failure> {
    if path.exists() {
        let read = match seed {
            Some(seed) => Scenario::load_with_seed(path, seed),
            None => Scenario::load(path),
        };
        return read.map_err(Failure::from);
    }
    let name = path.to_string_lossy();
    if let Some(shipped) = Shipped::named(&name) {
        return shipped.scenario(seed).map_err(Failure::from);
    }
    let known: Vec<&str> = SHIPPED.iter().map(|shipped| shipped.name).collect();
    Err(Failure::of_file(
        &name,
        "is neither a file nor a scenario that ships",
        suggestion(&name, &known),
    ))
}

fn not_made(error: WriteError) -> Failure {
    Failure::new(error.to_string())
}

/// Writes all files, or none where one would be written over.
fn write(files: Vec<NamedText>, typed: &SimulateArguments) -> Result<(), Failure> {
    let folder = &typed.out;
    if let Some((name, _)) = files.iter().find(|(name, _)| folder.join(name).exists())
        && !typed.force
    {
        return Err(Failure::of_file(
            folder.join(name).display(),
            "is there already",
            "add --force to write over it, or name another folder with --out",
        ));
    }
    fs::create_dir_all(folder).map_err(|error| Failure::writing(folder, &error))?;
    let mut said = String::new();
    for (name, text) in files {
        let path = folder.join(name);
        fs::write(&path, text).map_err(|error| Failure::writing(&path, &error))?;
        said += &format!("{}\n", path.display());
    }
    print(&said)
}

/// The scenarios that ship, with what each shows.
fn list() -> Result<String, Failure> {
    let setting = Setting::of_stdout();
    let widest = SHIPPED.iter().map(|shipped| shipped.name.len());
    let indent = widest.max().unwrap_or(0) + 2;
    let mut text = String::new();
    for shipped in &SHIPPED {
        let about = shipped.scenario(None).map_err(Failure::from)?.about;
        let lead = format!("{:indent$}", shipped.name);
        text += &setting.wrap(&lead, indent, &about);
        text.push('\n');
    }
    text +=
        "\nTheir shop file, and a scenario with every key explained: inkdwell simulate --example\n";
    Ok(text)
}

/// Shows on standard error, if that is a terminal, what is being made.
struct Waiting(Option<ProgressBar>);

impl Waiting {
    fn new() -> Waiting {
        let bar = std::io::stderr().is_terminal().then(|| {
            let bar = ProgressBar::new_spinner();
            bar.enable_steady_tick(TICK);
            bar
        });
        Waiting(bar)
    }

    fn say(&self, what: &str) {
        if let Some(bar) = &self.0 {
            bar.set_message(what.to_owned());
        }
    }
}

impl Drop for Waiting {
    fn drop(&mut self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}
