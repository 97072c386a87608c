//! What can be typed after `inkdwell tune`.

use std::path::PathBuf;

use clap::Args;

use crate::arguments::{LibraryArguments, UnitsArgument};

#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  inkdwell tune --ink water-based --fabric cotton-jersey --shop shop.toml --station belt-1 \
--ride ride-1.csv --ride ride-2.csv

Each ride file holds one whole pass with a probe in the ink, and says how fast the belt ran: a note \
\"# belt: 2.6 m/min\", or a column such as belt_m_per_min. The window holds for prints of this batch: \
the probe's doubt, the fit's and the scatter of the garments are taken off.

Exit codes: 0 a window is proved; 1 no belt speed is; 2 the input or the call is wrong.

Inkdwell advises; it never drives a dryer. The ink maker's data sheet and a wash test come before any \
figure it shows.")]
pub(crate) struct TuneArguments {
    /// The ink, by its id
    #[arg(long, value_name = "INK")]
    pub(crate) ink: String,
    /// The fabric, by its id
    #[arg(long, value_name = "FABRIC")]
    pub(crate) fabric: String,
    /// The station of the shop file
    #[arg(long, value_name = "ID")]
    pub(crate) station: String,
    /// A ride of this ink on this fabric through this station; may be repeated
    #[arg(long, value_name = "FILE", required = true)]
    pub(crate) ride: Vec<String>,
    /// The ride's channel, where a file has several
    #[arg(long, value_name = "NAME")]
    pub(crate) channel: Option<String>,
    /// The probe's expanded uncertainty (k = 2), such as "1.5 C"
    #[arg(long, value_name = "DIFFERENCE")]
    pub(crate) uncertainty: Option<String>,
    /// Predict for this belt speed too; may be repeated
    #[arg(long, value_name = "SPEED")]
    pub(crate) at: Vec<String>,
    /// Ask about another garment, film or chamber: mass=…, regain=…, film=…, zone1=…, panel1=…,
    /// slowest=…, fastest=…; may be repeated
    #[arg(long, value_name = "CHANGE")]
    pub(crate) what_if: Vec<String>,
    /// Write JSON (schema inkdwell.tune/1) instead of text
    #[arg(long)]
    pub(crate) json: bool,
    /// The units of the text
    #[arg(long, value_enum)]
    pub(crate) units: Option<UnitsArgument>,
    /// Draw peak and doses over belt speed; the ending .svg or .png says how
    #[arg(long, value_name = "FILE")]
    pub(crate) plot: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) library: LibraryArguments,
}
