//! What can be typed.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;

use crate::command::alarms::AlarmsArguments;
use crate::command::batch::BatchArguments;
use crate::command::export::ExportArguments;
use crate::command::holds::HoldsArguments;
use crate::command::key::KeyArguments;
use crate::command::probe::ProbeArguments;
use crate::command::recipe::RecipeArguments;
use crate::command::report::ReportArguments;
use crate::command::sinks::SinksArguments;
use crate::demo::arguments::DemoArguments;
use crate::start::StartArguments;
use crate::tune::arguments::TuneArguments;
use crate::watch::WatchArguments;

const EXIT_CODES: &str = "\
Exit codes: 0 fine; 1 at least one print is not proved cured; 2 the input or the call is wrong.";

const CAUTION: &str = "\
Inkdwell watches and advises; it is no safety device. The ink maker's data sheet, a wash test, local \
codes and licensed practice come before any figure it shows.";

/// Watches the heat that prints receive, and says of each whether it is cured and unharmed.
#[derive(Debug, Parser)]
#[command(name = "inkdwell", version, after_help = CAUTION, max_term_width = 100)]
pub(crate) struct Arguments {
    #[command(subcommand)]
    pub(crate) command: Option<Command>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// See it work: the daemon on a simulated shop in which things go wrong, and what it says of them
    Demo(DemoArguments),
    /// Set up and start: asks a few questions, listens to what is plugged in, writes the shop file, starts the daemon
    Start(Box<StartArguments>),
    /// Judge recorded traces: for each print whether the ink was cured and the fabric unharmed
    Judge(Box<JudgeArguments>),
    /// Tune a belt dryer or a flash unit: from test rides to the belt speeds, or the seconds under the
    /// lamp, at which every print is proved good
    Tune(Box<TuneArguments>),
    /// Make traces of a simulated shop, each with the truth of every print
    Simulate(SimulateArguments),
    /// Check a shop, ink or fabric file and name everything that is wrong in it
    Check(CheckArguments),
    /// List the inks, or show one with its cure law
    Inks(InksArguments),
    /// List the fabrics, or show one with its limits
    Fabrics(FabricsArguments),
    /// Watch the dryer: its state in large words, what is in the heat, what has left it, what is to be done
    Watch(Box<WatchArguments>),
    /// Open, close, list, show and note batches; give passes to one later
    Batch(Box<BatchArguments>),
    /// List the holds, prints to be pulled, and settle them
    Holds(HoldsArguments),
    /// Lock a recipe from a ride; list, show and retire recipes
    Recipe(RecipeArguments),
    /// List the probes with their last readings and doubts, and enter calibrations
    Probe(ProbeArguments),
    /// List the alarms, say what to do about each, acknowledge and shelve them
    Alarms(Box<AlarmsArguments>),
    /// List the ways out: whether each takes what is sent, what waits, what was refused; send that again
    Sinks(SinksArguments),
    /// Report a day, a batch, a station, a job or a range: what was run, how each print was proved, what to do tomorrow
    Report(Box<ReportArguments>),
    /// Verify a journal, a backup or a report: name the first link that is broken, or figure that is not supported
    Verify(VerifyArguments),
    /// Export readings, passes or events as CSV or Parquet
    Export(ExportArguments),
    /// Make the shop's own key, with which reports are signed
    Key(KeyArguments),
    /// Copy the journal into a new file, also while the daemon runs, and verify the copy
    Backup(BackupArguments),
    /// Write the completions of a shell to standard output
    Completions(CompletionsArguments),
    /// Write the manual pages
    Man(ManArguments),
}

/// The units in which people are shown figures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum UnitsArgument {
    /// °C and m/min
    Metric,
    /// °F and ft/min
    Us,
}

impl UnitsArgument {
    pub(crate) fn units(self) -> inkdwell_config::display::Units {
        match self {
            UnitsArgument::Metric => inkdwell_config::display::Units::Metric,
            UnitsArgument::Us => inkdwell_config::display::Units::Us,
        }
    }
}

/// Where the probe was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum PlaceArgument {
    /// In the wet ink, riding through a dryer
    Ride,
    /// Looking at the surface under a flash unit
    Flash,
    /// Fixed behind a dryer, seeing prints leave; needs --reference, --shop and --station
    Exit,
}

/// Where inks and fabrics come from; a later file wins by id.
#[derive(Debug, Args)]
pub(crate) struct LibraryArguments {
    /// A shop file, with its own inks, fabrics, stations and probes
    #[arg(long, value_name = "FILE")]
    pub(crate) shop: Option<PathBuf>,
    /// A file of inks
    #[arg(long, value_name = "FILE")]
    pub(crate) inks: Vec<PathBuf>,
    /// A file of fabrics
    #[arg(long, value_name = "FILE")]
    pub(crate) fabrics: Vec<PathBuf>,
}

#[derive(Debug, Args)]
#[command(after_help = format!("\
Example:
  inkdwell judge ride.csv --ink plastisol-standard --fabric cotton-jersey

A trace file has a header with time_s or time, and a column for each channel that names its unit: \
film_c, film_f, or film_k_mv for the millivolts of a type K thermocouple. A second junction on \
unprinted cloth, in a column such as cloth_c, shows scorch, shrinkage and melting where they strike.

{EXIT_CODES}

{CAUTION}"))]
pub(crate) struct JudgeArguments {
    /// Trace files, or patterns for them; `-` is standard input
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<String>,
    /// The ink, by its id; else the note `# ink:` of each file
    #[arg(long, value_name = "INK")]
    pub(crate) ink: Option<String>,
    /// The fabric, by its id; else the note `# fabric:` of each file
    #[arg(long, value_name = "FABRIC")]
    pub(crate) fabric: Option<String>,
    /// Judge this channel only: its name, or its whole column's; may be repeated
    #[arg(long, value_name = "NAME")]
    pub(crate) channel: Vec<String>,
    /// The probe's expanded uncertainty (k = 2), such as "1.5 C"
    #[arg(long, value_name = "DIFFERENCE", allow_hyphen_values = true)]
    pub(crate) uncertainty: Option<String>,
    /// Where the probe was
    #[arg(long, value_enum, default_value = "ride")]
    pub(crate) place: PlaceArgument,
    /// With --place exit: a ride of the same print whose file has the exit probe's column too
    #[arg(long, value_name = "RIDE_FILE")]
    pub(crate) reference: Option<String>,
    /// With --place flash: the lamp is the last heat, so the ink's cure law decides
    #[arg(long)]
    pub(crate) r#final: bool,
    /// Write JSON (schema inkdwell.judge/1) instead of text
    #[arg(long)]
    pub(crate) json: bool,
    /// The units of the text
    #[arg(long, value_enum)]
    pub(crate) units: Option<UnitsArgument>,
    /// Draw the traces with their limits and verdicts; the ending .svg or .png says how
    #[arg(long, value_name = "FILE")]
    pub(crate) plot: Option<PathBuf>,
    /// The station of the shop file whose max_gap and wake hold
    #[arg(long, value_name = "ID", requires = "shop")]
    pub(crate) station: Option<String>,
    /// Samples further apart are a gap [default: the station's, else "5 s"]
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub(crate) max_gap: Option<String>,
    /// A pass lies above this temperature [default: the station's, else "45 C"]
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    pub(crate) wake: Option<String>,
    #[command(flatten)]
    pub(crate) library: LibraryArguments,
    #[command(flatten)]
    pub(crate) layout: LayoutArguments,
}

/// How another logger's file is laid out.
#[derive(Debug, Args)]
#[command(next_help_heading = "Files of other loggers")]
pub(crate) struct LayoutArguments {
    /// What separates cells: a character, or tab, space, semicolon, comma
    #[arg(long, value_name = "CHARACTER")]
    pub(crate) delimiter: Option<String>,
    /// Numbers have a comma for their decimal point
    #[arg(long)]
    pub(crate) decimal_comma: bool,
    /// Lines to pass over before the header
    #[arg(long, value_name = "LINES", default_value_t = 0)]
    pub(crate) skip_lines: u64,
    /// There is no header: columns are named 1, 2, 3 and so on
    #[arg(long)]
    pub(crate) no_header: bool,
    /// The time column: its header
    #[arg(long, value_name = "COLUMN")]
    pub(crate) time_column: Option<String>,
    /// What the time column holds: seconds, milliseconds, minutes, rfc3339, or a pattern such as
    /// "%d.%m.%Y %H:%M:%S" [default: seconds]
    #[arg(long, value_name = "FORM", requires = "time_column")]
    pub(crate) time_form: Option<String>,
    /// A temperature column: COLUMN=NAME:UNIT, the unit being C, F or the millivolts of a
    /// thermocouple, as K-mV; may be repeated
    #[arg(long, value_name = "COLUMN=NAME:UNIT")]
    pub(crate) temperature: Vec<String>,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell simulate --list
  inkdwell simulate good-ride --out try
  inkdwell simulate --example --out try
  inkdwell simulate try/example.scenario.toml --seed 8 --out try
  inkdwell simulate --shop-seed 3 --out shop-3

A scenario says what stands in a shop, what is printed, what is recorded and what goes wrong; the one that \
--example writes explains every key. From it come NAME.csv, a trace as imperfect probes see it, and \
NAME.truth.json, what every print truly got. The same scenario and seed give the same bytes. Nothing in it \
uses the heat model that tuning fits.

Exit codes: 0 written; 2 the scenario or the call is wrong.")]
pub(crate) struct SimulateArguments {
    /// Scenario files, or names of scenarios that ship
    #[arg(value_name = "SCENARIO")]
    pub(crate) scenarios: Vec<PathBuf>,
    /// Another seed than the scenario's
    #[arg(long, value_name = "N", requires = "scenarios")]
    pub(crate) seed: Option<u64>,
    /// The folder that files are written into; it is made if it is not there
    #[arg(long, value_name = "FOLDER", default_value = ".")]
    pub(crate) out: PathBuf,
    /// Write over files that are there
    #[arg(long)]
    pub(crate) force: bool,
    /// List the scenarios that ship
    #[arg(long, conflicts_with_all = ["scenarios", "example", "shop_seed"])]
    pub(crate) list: bool,
    /// Write a scenario in which every key is explained, and its shop file
    #[arg(long, conflicts_with_all = ["scenarios", "shop_seed"])]
    pub(crate) example: bool,
    /// Draw a whole shop: its shop file, rides, a run, heatings under a flash unit, and its true window
    #[arg(long, value_name = "N", conflicts_with = "scenarios")]
    pub(crate) shop_seed: Option<u64>,
}

#[derive(Debug, Args)]
#[command(after_help = "Exit codes: 0 the file is sound; 2 it is not.")]
pub(crate) struct CheckArguments {
    /// The file: what a shop declares, or inks, or fabrics
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Write JSON (schema inkdwell.check/1) to standard output besides
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, Args)]
#[command(after_help = CAUTION)]
pub(crate) struct InksArguments {
    /// The ink to show in full
    #[arg(value_name = "INK")]
    pub(crate) id: Option<String>,
    /// Write JSON (schema inkdwell.inks/1) instead of text
    #[arg(long)]
    pub(crate) json: bool,
    /// The units of the figures
    #[arg(long, value_enum)]
    pub(crate) units: Option<UnitsArgument>,
    #[command(flatten)]
    pub(crate) library: LibraryArguments,
}

#[derive(Debug, Args)]
#[command(after_help = CAUTION)]
pub(crate) struct FabricsArguments {
    /// The fabric to show in full
    #[arg(value_name = "FABRIC")]
    pub(crate) id: Option<String>,
    /// Write JSON (schema inkdwell.fabrics/1) instead of text
    #[arg(long)]
    pub(crate) json: bool,
    /// The units of the figures
    #[arg(long, value_enum)]
    pub(crate) units: Option<UnitsArgument>,
    #[command(flatten)]
    pub(crate) library: LibraryArguments,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell verify --data data
  inkdwell verify monday.html --data data
  inkdwell verify monday.json --public-key shop.key.pub

With a report (.html or .json) it says whether the journal still supports every figure in it, and names the first \
that it does not; with the shop's public key, whether the shop signed the file and nobody changed it since.

Exit codes: 0 all is as it was written; 1 it is not; 2 the call is wrong.")]
pub(crate) struct VerifyArguments {
    /// A report to be held against the journal, the shop's key, or both
    #[arg(value_name = "REPORT")]
    pub(crate) report: Option<PathBuf>,
    /// The data folder, or a backup
    #[arg(long, value_name = "PATH")]
    pub(crate) data: Option<PathBuf>,
    /// A head that a report or an earlier call printed: the chain has to contain it
    #[arg(long, value_name = "HEAD", conflicts_with = "report")]
    pub(crate) head: Option<String>,
    /// The shop file that the report was made with, where that is not the one in the journal
    #[arg(long, value_name = "FILE", requires = "report")]
    pub(crate) shop: Option<PathBuf>,
    /// The shop's public key
    #[arg(long, value_name = "FILE", requires = "report")]
    pub(crate) public_key: Option<PathBuf>,
    /// The report's signature [default: REPORT.sig]
    #[arg(long, value_name = "FILE", requires = "public_key")]
    pub(crate) signature: Option<PathBuf>,
    /// Write JSON (schema inkdwell.verify/1, of a report inkdwell.verify-report/1) instead of text
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Put back into an empty data folder under the name journal.sqlite, a backup is a journal again.

Exit codes: 0 fine; 1 the copy is not as it was written; 2 there is no copy.")]
pub(crate) struct BackupArguments {
    /// The data folder
    #[arg(long, value_name = "DIR")]
    pub(crate) data: PathBuf,
    /// The new file; nothing is overwritten
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Write JSON (schema inkdwell.backup/1) instead of text
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, Args)]
pub(crate) struct CompletionsArguments {
    /// The shell
    #[arg(value_enum)]
    pub(crate) shell: Shell,
}

#[derive(Debug, Args)]
pub(crate) struct ManArguments {
    /// The folder that the pages are written into; without it the first page goes to standard output
    #[arg(long, value_name = "FOLDER")]
    pub(crate) out: Option<PathBuf>,
}
