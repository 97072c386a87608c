//! `inkdwell` alone: what to do first.

use crate::Outcome;
use crate::failure::Failure;
use crate::terminal::print;

const WELCOME: &str = "\
Inkdwell says of each print whether its ink was cured and its fabric unharmed.

  inkdwell demo               see it work in a simulated shop, half a minute
  inkdwell start              set up: questions, a shop file, and the daemon runs
  inkdwell judge RIDE.csv --ink plastisol-standard --fabric cotton-jersey
                              judge a recorded trace
  inkdwell tune --ride RIDE.csv ...
                              how fast the belt may run
  inkdwell inks               list the inks; with a name, show one
  inkdwell fabrics            list the fabrics
  inkdwell check SHOP.toml    check what the shop declares
  inkdwelld --shop SHOP.toml --data DIR
                              watch all day; then, from another terminal:
  inkdwell watch              the dryer at a glance
  inkdwell batch, recipe      print jobs, and what they are printed by
  inkdwell holds              prints to pull, and what became of them
  inkdwell alarms             what is wrong, and what to do first
  inkdwell probe              what the probes show, and their calibrations
  inkdwell probe listen       what comes over a wire, before anything works
  inkdwell report, export     the record of a day; tables of all that was written
  inkdwell backup, verify     copy the journal; prove that it is whole
  inkdwell help COMMAND       everything about a command

It watches and advises; it is no safety device. The ink maker's data sheet and a wash test decide.
";

pub(crate) fn run() -> Result<Outcome, Failure> {
    print(WELCOME)?;
    Ok(Outcome::Fine)
}
