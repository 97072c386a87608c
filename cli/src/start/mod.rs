//! `inkdwell start`: from nothing to a daemon that runs.
//!
//! Where there is a shop file it is checked, and the daemon started. Where there is none, [`questions`] walks through what
//! has been answered ([`state`]) and says what has to be known next: an answer, which an option gave or a person gives
//! ([`dialogue`]), or what is heard on a wire ([`hear`]). What comes of it is a [`plan`], which [`shop_file`] puts into
//! words and [`place`] writes, once the shop file's own checker takes it.

mod arguments;
mod channels;
mod checks;
mod daemon;
mod dialogue;
mod hear;
mod options;
mod place;
mod plan;
mod ports;
mod questions;
mod shop_file;
mod state;
mod tell;
mod wires;

use std::io::IsTerminal;
use std::path::{Path, PathBuf};

pub(crate) use arguments::StartArguments;

use self::dialogue::{End, Wish};
use self::plan::Plan;
use self::state::{Question, State, Step};
use crate::Outcome;
use crate::command::check;
use crate::failure::Failure;
use crate::probe::listen::runtime;
use crate::terminal::{Setting, print};

pub(crate) fn run(typed: &StartArguments) -> Result<Outcome, Failure> {
    let setting = Setting::of_stdout();
    let data = data(typed);
    let program = match typed.no_run {
        true => None,
        false => Some(daemon::program()?),
    };
    if typed.shop.exists() {
        if let Some(option) = options::first(&typed.answers) {
            return Err(Failure::of_file(
                typed.shop.display(),
                format_args!("is there already, so that {option} would change nothing"),
                "change the file by hand, or name another with --shop; without answers it is checked and used",
            ));
        }
    } else {
        place::there(&typed.shop)?;
        let plan = planned(typed, setting)?;
        place::write(&typed.shop, &shop_file::text(&plan))?;
        print(&format!("{} is written.\n", typed.shop.display()))?;
    }
    print(&check::told(&typed.shop)?)?;
    print(&tell::next(&typed.shop, &data, program.is_some(), setting))?;
    match program {
        None => Ok(Outcome::Fine),
        Some(program) => Err(daemon::become_it(&program, &typed.shop, &data)),
    }
}

/// The data folder: `data` beside the shop file where nothing else is said.
fn data(typed: &StartArguments) -> PathBuf {
    let folder = typed.shop.parent().unwrap_or(Path::new(""));
    typed.data.clone().unwrap_or_else(|| folder.join("data"))
}

/// Asks, or takes from the options, all that has to be known.
fn planned(typed: &StartArguments, setting: Setting) -> Result<Plan, Failure> {
    let mut state = State::default();
    options::fill(&typed.answers, &mut state)?;
    let runtime = runtime()?;
    if !std::io::stdin().is_terminal() {
        return by_options(
            &mut state,
            &runtime,
            setting,
            &options::channels(&typed.answers),
        );
    }
    let file = typed.shop.display().to_string();
    print(&dialogue::opening(setting, &file))?;
    let mut lines = std::io::stdin().lock();
    loop {
        match questions::plan(&state) {
            Err(Step::Hear(place)) => hear_and_tell(&mut state, &runtime, &place, setting)?,
            Err(Step::Ask(question)) => match dialogue::ask(&question, setting, &mut lines)? {
                Wish::Answer(answer) => state.take(&question.key, answer),
                Wish::HearAgain => state.findings.forget(),
                Wish::Back if state.back() => {}
                Wish::Back => print("  This is the first question.\n")?,
            },
            Ok(plan) => match dialogue::confirm(&state.answered(), &file, setting, &mut lines)? {
                End::Write => return Ok(plan),
                End::Correct(key) => state.take_away(&key),
                End::Back => {
                    state.back();
                }
            },
        }
    }
}

fn hear_and_tell(
    state: &mut State,
    runtime: &tokio::runtime::Runtime,
    place: &hear::Where,
    setting: Setting,
) -> Result<(), Failure> {
    print(&tell::before(place, setting))?;
    let progress = |words: &str| {
        // Whoever does not see it misses nothing.
        let _ = print(&format!("  {words}\n"));
    };
    runtime.block_on(state.findings.hear(place, progress))?;
    print(&tell::heard(place, &state.findings, setting))
}

/// Without a terminal: what has to be answered and is not is named, all of it.
fn by_options(
    state: &mut State,
    runtime: &tokio::runtime::Runtime,
    setting: Setting,
    named: &[String],
) -> Result<Plan, Failure> {
    let mut wrong = Vec::new();
    let mut missing: Vec<&'static str> = Vec::new();
    let plan = loop {
        match questions::plan(state) {
            Ok(plan) => break plan,
            // As long as something is missing, nothing is worth listening to.
            Err(Step::Hear(hear::Where::Ports)) if missing.is_empty() => {
                runtime.block_on(state.findings.hear(&hear::Where::Ports, |_| {}))?;
            }
            Err(Step::Hear(place)) if missing.is_empty() && wrong.is_empty() => {
                hear_and_tell(state, runtime, &place, setting)?;
            }
            Err(Step::Hear(place)) => state.findings.hear_nothing(&place),
            Err(Step::Ask(question)) => {
                let Question {
                    key,
                    option,
                    quiet,
                    example,
                    wrong: complaint,
                    check,
                    ..
                } = *question;
                if let Some(why) = complaint {
                    let typed = state.answers.get(&key);
                    let typed = typed
                        .map(|typed| format!("{typed:?}: "))
                        .unwrap_or_default();
                    wrong.push(format!("{option}: {typed}{why}"));
                } else if let Some(quiet) = quiet {
                    state.answers.insert(key, quiet);
                    continue;
                } else if !missing.contains(&option) {
                    missing.push(option);
                }
                if check(&example).is_err() {
                    // It cannot be guessed what would be asked after this.
                    return Err(lacking(wrong, &missing));
                }
                state.answers.insert(key, example);
            }
        }
    };
    if !wrong.is_empty() || !missing.is_empty() {
        return Err(lacking(wrong, &missing));
    }
    let asked = state.answered();
    let channels: Vec<&str> = asked
        .iter()
        .filter_map(|own| own.key.split_once(".channel.")?.1.strip_suffix(".what"))
        .collect();
    let unknown = named.iter().find(|name| !channels.contains(&name.as_str()));
    if let Some(unknown) = unknown {
        return Err(Failure::new(format!(
            "--probe or --signal: no channel {unknown:?} is there; there are {}",
            channels.join(", ")
        )));
    }
    if plan.channels.is_empty() {
        return Err(Failure::new(format!(
            "no channel is taken, so that nothing would be watched; say of each that is to be what it measures, with --probe \
             CHANNEL=PLACE:UNIT:SENSOR or --signal CHANNEL=KIND. There are {}",
            channels.join(", ")
        )));
    }
    Ok(plan)
}

fn lacking(mut wrong: Vec<String>, missing: &[&str]) -> Failure {
    if !missing.is_empty() {
        wrong.push(format!(
            "there is no terminal to ask at, and these are not answered: {}; give them as options (inkdwell help start says \
             how), or call it from a terminal",
            missing.join(", ")
        ));
    }
    Failure::new(wrong.join("\ninkdwell: "))
}
