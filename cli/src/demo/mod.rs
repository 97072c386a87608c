//! `inkdwell demo`: the daemon at work in a shop that never was, and what it said of all that went wrong.
//!
//! The daemon is the real one, in this process: its sources, engine and journal. Only the shop is simulated
//! ([`inkdwell_simulated_traces`]), and time goes faster there. Each chapter of the story ([`chapter`]) is a
//! batch and a scenario; [`stage`] plays one after the other, [`teller`] puts what is committed into
//! sentences and holds every verdict against the truth, and [`summary`] reads from the journal what became of it all.
//! Everything lies in one [`folder`].

pub(crate) mod arguments;
mod chapter;
mod folder;
mod stage;
mod summary;
mod teller;

use std::fmt::Display;

use inkdwell_daemon::journal::Readers;

use crate::Outcome;
use crate::failure::Failure;
use crate::terminal::{Setting, print};
use arguments::DemoArguments;
use folder::Folder;
use stage::{End, Stage};

pub(crate) fn run(typed: &DemoArguments) -> Result<Outcome, Failure> {
    let setting = Setting::of_stdout();
    let folder = Folder::open(typed.keep.as_deref())?;
    print(&opening(setting, typed))?;
    let stage = Stage {
        folder: &folder,
        setting,
        typed,
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| Failure::new(format!("no thread can be started ({error})")))?;
    let (end, tally) = runtime.block_on(stage.play())?;
    if end == End::Interrupted {
        let where_all = summary::where_all_lies(setting, &folder);
        print(&format!(
            "\nInterrupted; the journal is closed.\n{where_all}"
        ))?;
        return Ok(Outcome::Finding);
    }
    let readers = Readers::at(&folder.data()).map_err(failed)?;
    let reader = readers.reader().map_err(failed)?;
    let summed = summary::of(setting, &folder, &reader, &tally).map_err(failed)?;
    print(&summed.text)?;
    match summed.is_sound && tally.wrong == 0 {
        true => Ok(Outcome::Fine),
        false => Ok(Outcome::Finding),
    }
}

fn opening(setting: Setting, typed: &DemoArguments) -> String {
    let text = format!(
        "Lantern Yard Print, a shop that never was: one dryer, a probe that rides in the ink of every \
         print, one on the cloth beside it. Inkdwell's daemon watches it, {} times as fast as real.",
        typed.speed
    );
    setting.wrap("", 0, &text) + "\n"
}

/// A failure of the daemon or its journal.
fn failed(error: impl Display) -> Failure {
    Failure::new(error.to_string())
}
