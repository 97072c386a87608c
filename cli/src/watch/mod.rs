//! `inkdwell watch`: the dryer at a glance, in a terminal.
//!
//! One thread asks the daemon (`contact`), one hears that there is news (`news`), and the one that owns the
//! terminal (`screen`) draws what is known and takes keys. What a key means is decided apart from all of them
//! (`keys`), and so is how everything looks (`view`).
//!
//! Whatever happens to the daemon, the screen stays: it says since when nothing is heard, and that what stands
//! there is old; when the daemon is back, it says so.

mod contact;
mod keys;
mod news;
mod once;
mod screen;
mod view;

use std::io::IsTerminal;

use clap::Args;

use crate::Outcome;
use crate::client::{ByArguments, DaemonArguments};
use crate::failure::Failure;

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell watch
  inkdwell watch --station belt-1
  inkdwell watch --once
  inkdwell watch --json | jq 'select(.kind == \"pass-judged\")'

Press ? in it for its keys. A colour never means anything that a mark does not also say; NO_COLOR takes colours
away.

Exit codes: 0 fine; with --once 1 if something is to be done about a print; 2 it cannot be shown, and why.")]
pub(crate) struct WatchArguments {
    /// The station to look at; all of them where nothing is said
    #[arg(long, value_name = "ID")]
    pub(crate) station: Option<String>,
    /// Print once what is seen now, and end
    #[arg(long)]
    pub(crate) once: bool,
    /// Write what happens as it is committed, one JSON object a line, until it is stopped
    #[arg(long, conflicts_with_all = ["once", "station"])]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) by: ByArguments,
    #[command(flatten)]
    pub(crate) daemon: DaemonArguments,
}

pub(crate) fn run(typed: WatchArguments) -> Result<Outcome, Failure> {
    if typed.json {
        return news::write(&typed.daemon);
    }
    if typed.once {
        return once::run(&typed);
    }
    if !std::io::stdout().is_terminal() || !std::io::stdin().is_terminal() {
        return Err(Failure::new(
            "this is no terminal; use --once to print what is seen now, or --json for programs",
        ));
    }
    screen::run(typed)
}
