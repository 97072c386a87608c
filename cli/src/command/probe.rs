//! `inkdwell probe`: what each probe says, how sure it is, and its calibrations; and what comes over its wire.

use clap::{Args, Subcommand};
use inkdwell_config::Quantity;
use inkdwell_config::display::Units;
use inkdwell_config::quantity::{Celsius, CelsiusDifference};
use inkdwell_daemon::api::view::{NewCalibration, ProbeView, Probes};

use super::daemon_words::{caution, line};
use super::library_json::written;
use super::recipe::quantity;
use super::table::table;
use crate::Outcome;
use crate::client::{ByArguments, Client, DaemonArguments, part};
use crate::failure::Failure;
use crate::probe;
use crate::probe::listen::arguments::ListenArguments;
use crate::terminal::{Setting, print};

#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  inkdwell probe calibrate film --point \"100 C=101.2 C\" --point \"160 C=161.8 C\" \
--uncertainty \"0.8 C\" --date 2026-02-02 --due 2027-02-02

Each point says what the probe showed and, behind the sign, what was true. From then on its readings are \
corrected between the points and beyond; its doubt U follows with the next batch.

Exit codes: 0 done; 2 it could not be done, and why.")]
pub(crate) struct ProbeArguments {
    #[command(subcommand)]
    pub(crate) command: ProbeCommand,
    /// Write the daemon's JSON instead of text
    #[arg(long, global = true)]
    pub(crate) json: bool,
    #[command(flatten)]
    pub(crate) daemon: DaemonArguments,
}

#[derive(Debug, Subcommand)]
pub(crate) enum ProbeCommand {
    /// List the probes with their last readings, doubts and calibrations
    List,
    /// Enter a calibration
    Calibrate(CalibrateArguments),
    /// Listen to a wire: what comes, byte by byte, beside what the daemon would take it for
    Listen(Box<ListenArguments>),
}

#[derive(Debug, Args)]
pub(crate) struct CalibrateArguments {
    /// The probe, by its id
    probe: String,
    /// What it showed and what was true, such as "100 C=101.2 C"; may be repeated, rising
    #[arg(long, value_name = "SHOWN=TRUE", required = true)]
    point: Vec<String>,
    /// The calibration's expanded uncertainty (k = 2), such as "0.8 C"
    #[arg(long, value_name = "DIFFERENCE")]
    uncertainty: Option<String>,
    /// The day it was made, as 2026-01-31
    #[arg(long, value_name = "DAY")]
    date: String,
    /// The day by which it has to be made again
    #[arg(long, value_name = "DAY")]
    due: Option<String>,
    #[command(flatten)]
    by: ByArguments,
}

pub(crate) fn run(typed: ProbeArguments) -> Result<Outcome, Failure> {
    let setting = Setting::of_stdout();
    let client = || Client::find(&typed.daemon);
    let (text, json) = match typed.command {
        ProbeCommand::Listen(listen) => return probe::listen::run(&listen, typed.json),
        ProbeCommand::List => {
            let client = client()?;
            let (probes, json) = client.get::<Probes>("/api/probes")?;
            (list(&probes, client.units()?, setting), json)
        }
        ProbeCommand::Calibrate(calibrate) => {
            let client = client()?;
            let path = format!("/api/probes/{}/calibrations", part(&calibrate.probe));
            let (probe, json) = client.post::<ProbeView>(&path, &meant(&calibrate)?)?;
            (calibrated(&probe, client.units()?, setting), json)
        }
    };
    print(&if typed.json { written(&json)? } else { text })?;
    Ok(Outcome::Fine)
}

/// What is meant by a call of `calibrate`.
fn meant(typed: &CalibrateArguments) -> Result<NewCalibration, Failure> {
    let points = typed.point.iter().map(|text| point(text));
    let uncertainty = quantity::<CelsiusDifference>("--uncertainty", typed.uncertainty.as_deref())?;
    Ok(NewCalibration {
        points_c: points.collect::<Result<_, _>>()?,
        uncertainty_c: uncertainty.map(CelsiusDifference::value),
        date: typed.date.clone(),
        due: typed.due.clone(),
        by: typed.by.name()?,
    })
}

fn point(text: &str) -> Result<(f64, f64), Failure> {
    let Some((shown, right)) = text.split_once('=') else {
        return Err(Failure::new(format!(
            "--point: {text:?} is none; write what was shown and what was true, \"100 C=101.2 C\""
        )));
    };
    let celsius = |text: &str| {
        let celsius = Celsius::parse(text.trim());
        celsius.map_err(|error| Failure::new(format!("--point: {error}")))
    };
    Ok((celsius(shown)?.0, celsius(right)?.0))
}

/// So long ago, in the largest unit that makes sense.
fn age(seconds: f64) -> String {
    match seconds.max(0.0) {
        seconds if seconds < 120.0 => format!("{seconds:.0} s"),
        seconds if seconds < 7200.0 => format!("{:.0} min", seconds / 60.0),
        seconds if seconds < 172_800.0 => format!("{:.0} h", seconds / 3600.0),
        seconds => format!("{:.0} days", seconds / 86_400.0),
    }
}

fn due(probe: &ProbeView) -> String {
    match &probe.calibration {
        None => "never calibrated".to_owned(),
        Some(calibration) => match &calibration.due {
            None => format!("calibrated {}", calibration.date),
            Some(due) if calibration.overdue => format!("OVERDUE since {due}"),
            Some(due) => format!("due {due}"),
        },
    }
}

fn list(probes: &Probes, units: Units, setting: Setting) -> String {
    if probes.probes.is_empty() {
        return "The shop file declares no probe.\n".to_owned();
    }
    let row = |probe: &ProbeView| {
        let (shown, ago) = match &probe.reading {
            None => ("not heard".to_owned(), String::new()),
            Some(reading) => {
                let shown = reading.celsius.map_or_else(
                    || "no number".to_owned(),
                    |celsius| units.temperature(Celsius(celsius)),
                );
                (shown, age(reading.age_s))
            }
        };
        let doubt = units.difference(CelsiusDifference(probe.uncertainty_c));
        let assumed = if probe.uncertainty_assumed.is_some() {
            "*"
        } else {
            ""
        };
        [
            probe.probe.clone(),
            probe.place.clone(),
            probe.station.clone().unwrap_or_default(),
            shown,
            ago,
            format!("{doubt}{assumed}"),
            due(probe),
        ]
    };
    let rows: Vec<[String; 7]> = probes.probes.iter().map(row).collect();
    let heads = [
        "probe",
        "place",
        "station",
        "shows",
        "since",
        "U",
        "calibration",
    ];
    let mut text = table(heads, &rows, setting);
    let mut assumed = probes.probes.iter();
    if assumed.any(|probe| probe.uncertainty_assumed.is_some()) {
        let words = "* Nothing is declared of it: class 2 of its thermocouple type (K where none is given) is \
                     assumed.";
        text += &format!("\n{}\n", setting.wrap("", 2, words));
    }
    text + "\n" + &caution(&probes.caution, setting)
}

fn calibrated(probe: &ProbeView, units: Units, setting: Setting) -> String {
    let mut text = setting.strong(&format!("Probe {} is calibrated", probe.probe)) + "\n";
    for (shown, right) in probe.calibration.iter().flat_map(|own| &own.points_c) {
        let point = format!(
            "{} is shown where {} is true",
            units.temperature(Celsius(*shown)),
            units.temperature(Celsius(*right))
        );
        text += &line("point", &point, setting);
    }
    let doubt = format!(
        "{} at {}, with the next batch",
        units.difference(CelsiusDifference(probe.uncertainty_c)),
        units.temperature(Celsius(probe.uncertainty_at_c))
    );
    text += &line("U", &doubt, setting);
    text + &line("again", &due(probe), setting)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_age_is_told_in_a_unit_that_makes_sense() {
        for (seconds, told) in [
            (0.4, "0 s"),
            (119.0, "119 s"),
            (120.0, "2 min"),
            (7200.0, "2 h"),
            (172_800.0, "2 days"),
        ] {
            assert_eq!(age(seconds), told);
        }
    }

    /// 212 °F is 100 °C (NIST SP 811, appendix B.8).
    #[test]
    fn a_point_is_what_was_shown_and_what_was_true() {
        assert_eq!(point("212 F = 101.2 C").unwrap(), (100.0, 101.2));
        for wrong in ["100 C", "100=101.2 C", "100 C=", "hot=warm"] {
            assert!(point(wrong).is_err(), "{wrong}");
        }
    }
}
