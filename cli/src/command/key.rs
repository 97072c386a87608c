//! `inkdwell key`: the shop's own key, with which reports are signed.

use std::path::PathBuf;

use clap::Args;

use crate::Outcome;
use crate::failure::Failure;
use crate::report::signing;
use crate::terminal::{Setting, print};

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell key shop.key
  inkdwell report --data data --out monday.html --sign shop.key
  inkdwell verify monday.html --public-key shop.key.pub

The key is Ed25519, in PEM. FILE is secret: keep it where nobody else reads it, and a copy of it locked away. \
FILE.pub is for everybody who gets reports.

Exit codes: 0 made; 2 it could not be, and why.")]
pub(crate) struct KeyArguments {
    /// The new file of the secret key; nothing is written over
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

pub(crate) fn run(typed: &KeyArguments) -> Result<Outcome, Failure> {
    let public = signing::make(&typed.file)?;
    let told = format!(
        "{} is the secret key, {} the public one. Give the public one to whoever gets reports, by another way than the \
         reports.",
        typed.file.display(),
        public.display()
    );
    print(&(Setting::of_stdout().wrap("", 0, &told) + "\n"))?;
    Ok(Outcome::Fine)
}
