//! What can be typed after `inkdwell demo`.

use std::path::PathBuf;

use clap::Args;

use super::chapter::LEAST_MINUTES;

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  inkdwell demo
  inkdwell demo --speed 300 --seed 7
  inkdwell demo --keep demo-data

The daemon that works beside a dryer runs here in one process on a shop that never was: an invented dryer, \
its garments and its imperfect probes. Five batches are printed. All goes well in the first; then a heater \
sags, the belt stops, a wrong garment lies among the others, and a probe breaks. Each chapter says before \
what will happen there, then what Inkdwell said and when, beside what the simulation alone can know. A \
figure such as +42 s counts from where the trouble began. Ctrl-C ends it; what was recorded stays.

Exit codes: 0 the story was told whole and no verdict was false; 1 it was not; 2 the call is wrong.

Inkdwell watches and advises; it is no safety device. The ink maker's data sheet, a wash test, local codes \
and licensed practice come before any figure it shows.")]
pub(crate) struct DemoArguments {
    /// How many times as fast as real the simulated shop works
    #[arg(long, value_name = "N", default_value_t = 90, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    pub(crate) speed: u32,
    /// About how many minutes of the shop's time; what is left over goes into the good run
    #[arg(long, value_name = "M", default_value_t = LEAST_MINUTES, value_parser = clap::value_parser!(u32).range(i64::from(LEAST_MINUTES)..=1440))]
    pub(crate) minutes: u32,
    /// Another seed: other garments, other errors of the ride probes
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(crate) seed: u32,
    /// Keep everything in this folder, which is made, or is there and empty [default: a new one among
    /// the temporary files]
    #[arg(long, value_name = "DIR")]
    pub(crate) keep: Option<PathBuf>,
}
