//! What can be typed after `inkdwell tune`.

use std::path::PathBuf;

use clap::Args;

use crate::arguments::{LibraryArguments, UnitsArgument};

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell tune --ink water-based --fabric cotton-jersey --shop shop.toml --station belt-1 \
--ride ride-1.csv --ride ride-2.csv
  inkdwell tune --ink plastisol-standard --fabric cotton-jersey --shop shop.toml --station flash-1 \
--ride flash.csv
  inkdwell tune --ink plastisol-standard --fabric cotton-jersey --shop shop.toml --station belt-1 \
--data data

A belt dryer: each ride file holds one whole pass with a probe in the ink, and says how fast the belt ran: \
a note \"# belt: 2.6 m/min\", or a column such as belt_m_per_min. The answer is a window of belt speeds. It \
holds for prints of this batch: the probe's doubt, the fit's and the scatter of the garments are taken off.

A flash unit: each file holds one or more heatings as an infrared probe sees the surface: a rise of 15 C or \
more from the trough before, and a fall after it. How long the lamp stood over the print is taken from the \
note \"# stay: 8 s\" (what the timer was set to), else from the heating itself: from where the rise begins \
to where the surface begins to cool. A column such as platen_c tells how warm the platen was; without it \
the trough before does. Of each file the last heatings on a platen of one warmth are used, six at most. The \
answer is in seconds under the lamp, and says how they shorten as platens warm.

Without --ride the rides are those that the daemon has journaled while a batch of this ink on this fabric was \
open at this station, each with the belt speed recorded then: the newest, at most two of about one speed, six \
in all. The answer says which. The shop file has to be the daemon's.

Exit codes: 0 a window is proved; 1 none is; 2 the input or the call is wrong.

Inkdwell advises; it never drives a dryer. The ink maker's data sheet and a wash test come before any \
figure it shows. Hot surfaces burn, fumes need exhaust, and nobody leaves a lit flash unit alone.")]
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
    /// A ride of this ink on this fabric through this station; may be repeated. Without it the rides of the
    /// daemon's journal are taken
    #[arg(long, value_name = "FILE")]
    pub(crate) ride: Vec<String>,
    /// The data folder (or a backup) whose journal holds the rides [default: INKDWELL_DATA]
    #[arg(long, value_name = "PATH", conflicts_with = "ride")]
    pub(crate) data: Option<PathBuf>,
    /// The ride's channel, where a file has several; in the journal, the ride's probe
    #[arg(long, value_name = "NAME")]
    pub(crate) channel: Option<String>,
    /// The probe's expanded uncertainty (k = 2), such as "1.5 C"
    #[arg(long, value_name = "DIFFERENCE", allow_hyphen_values = true)]
    pub(crate) uncertainty: Option<String>,
    /// How far the mass of one garment may be from its batch's, two standard deviations [default: "5.8 %", what
    /// cloth sold to ±5 % scatters by]
    #[arg(long, value_name = "SHARE", allow_hyphen_values = true)]
    pub(crate) mass_scatter: Option<String>,
    /// Predict for this belt speed too (for a flash unit: these seconds); may be repeated
    #[arg(long, value_name = "SPEED", allow_hyphen_values = true)]
    pub(crate) at: Vec<String>,
    /// Ask about another garment, film or chamber: mass="250 g/m2", regain="8 %", film="60 um",
    /// mesh="230/48 um" (threads an inch, and their diameter), strokes=2, zone1="200 C",
    /// panel1="450 C", slowest="1 m/min", fastest="5 m/min"; may be repeated
    #[arg(long, value_name = "CHANGE")]
    pub(crate) what_if: Vec<String>,
    /// Of a flash unit: the lamp is the last heat, so the ink's cure law decides, not its gel window
    #[arg(long)]
    pub(crate) r#final: bool,
    /// Write JSON (schema inkdwell.tune/1) instead of text
    #[arg(long)]
    pub(crate) json: bool,
    /// The units of the text
    #[arg(long, value_enum)]
    pub(crate) units: Option<UnitsArgument>,
    /// Draw peak and doses over belt speed (or over the stay); the ending .svg or .png says how
    #[arg(long, value_name = "FILE")]
    pub(crate) plot: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) library: LibraryArguments,
}
