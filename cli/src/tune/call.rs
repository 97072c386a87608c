//! What is meant by a call of `tune`.

use std::path::PathBuf;

use inkdwell_config::Quantity;
use inkdwell_config::display::Units;
use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::problem::suggestion;
use inkdwell_config::quantity::{CelsiusDifference, MetresPerSecond, Seconds, Share};
use inkdwell_config::shop::Probe;
use inkdwell_config::station::{Station, StationKind};
use inkdwell_cure::heat::fit::{FitOptions, Trip};

use super::arguments::TuneArguments;
use super::what_if;
use crate::command::library;
use crate::failure::Failure;
use crate::plot::Target;

/// A call that can be done, as far as the arguments alone can tell.
#[derive(Debug)]
pub(crate) struct Call {
    pub(crate) ink: Ink,
    pub(crate) fabric: Fabric,
    pub(crate) station: Station,
    /// Ride files; none where the journal's rides are asked for.
    pub(crate) rides: Vec<String>,
    /// The data folder that was typed.
    pub(crate) data: Option<PathBuf>,
    /// The shop's probes, which tell what the journal's readings are.
    pub(crate) probes: Vec<Probe>,
    /// The shop's time zone.
    pub(crate) timezone: chrono_tz::Tz,
    pub(crate) channel: Option<String>,
    pub(crate) uncertainty: Option<CelsiusDifference>,
    /// How far one garment's mass may be from its batch's (k = 2), where the call says so.
    pub(crate) mass_scatter: Option<Share>,
    /// What is predicted besides: belt speeds, or stays under the lamp.
    pub(crate) at: Vec<Trip>,
    /// Whether a flash unit is the last heat.
    pub(crate) is_last_heat: bool,
    pub(crate) json: bool,
    pub(crate) units: Units,
    pub(crate) plot: Option<Target>,
    /// What is predicted for: the same as above unless `--what-if` changes it.
    pub(crate) imagined: what_if::Setting,
    /// The changes, as they were typed.
    pub(crate) changes: Vec<String>,
}

impl Call {
    /// Understands what was typed.
    pub(crate) fn new(typed: TuneArguments) -> Result<Call, Failure> {
        let (shop, known) = library::load(&typed.library)?;
        let Some(shop) = shop else {
            return Err(Failure::new(
                "--shop: tuning needs the station's zones; name the shop file",
            ));
        };
        let ids: Vec<&str> = shop
            .stations
            .iter()
            .map(|station| station.id.as_str())
            .collect();
        let station = shop.station(&typed.station).ok_or_else(|| {
            let remedy = suggestion(&typed.station, &ids);
            Failure::new(format!(
                "--station: {:?} is unknown; {remedy}",
                typed.station
            ))
        })?;
        let unknown = |option: &str, error: String| Failure::new(format!("{option}: {error}"));
        let ink = known
            .ink(&typed.ink)
            .map_err(|error| unknown("--ink", error.to_string()))?;
        let fabric = known
            .fabric(&typed.fabric)
            .map_err(|error| unknown("--fabric", error.to_string()))?;
        if ink.film.is_none() {
            return Err(Failure::new(format!(
                "--ink: {} does not say how thick its film is; add film = \"80 um\" to it",
                ink.id
            )));
        }
        let uncertainty = typed
            .uncertainty
            .as_deref()
            .map(|text| quantity("--uncertainty", text));
        let kind = station.kind;
        if typed.r#final && kind == StationKind::BeltDryer {
            return Err(Failure::new(format!(
                "--final: {} is a belt dryer, which is always the last heat; leave it out",
                station.id
            )));
        }
        let at = typed.at.iter().map(|text| trip(kind, text));
        let setting = what_if::Setting {
            station: station.clone(),
            ink: ink.clone(),
            fabric: fabric.clone(),
        };
        Ok(Call {
            imagined: setting.changed(&typed.what_if)?,
            ink: ink.clone(),
            fabric: fabric.clone(),
            station: station.clone(),
            rides: typed.ride,
            data: typed.data,
            mass_scatter: mass_scatter(typed.mass_scatter.as_deref())?,
            timezone: shop.timezone,
            probes: shop.probes.clone(),
            channel: typed.channel,
            uncertainty: uncertainty.transpose()?,
            at: at.collect::<Result<_, _>>()?,
            is_last_heat: typed.r#final,
            changes: typed.what_if,
            json: typed.json,
            units: library::units(typed.units, Some(&shop)),
            plot: typed.plot.map(Target::new).transpose()?,
        })
    }
}

impl Call {
    /// How far the batch's garments differ, and what else a fit is told.
    pub(crate) fn fit_options(&self) -> FitOptions {
        let usual = FitOptions::of_one_batch(&self.fabric);
        FitOptions {
            mass_scatter: self.mass_scatter.unwrap_or(usual.mass_scatter),
            ..usual
        }
    }
}

fn mass_scatter(typed: Option<&str>) -> Result<Option<Share>, Failure> {
    let Some(text) = typed else {
        return Ok(None);
    };
    let share: Share = quantity("--mass-scatter", text)?;
    if (0.0..=0.5).contains(&share.0) {
        return Ok(Some(share));
    }
    Err(Failure::new(format!(
        "--mass-scatter: garments that differ by {text} are no batch; write for example \"6 %\""
    )))
}

/// A belt speed or a stay, as the station has it.
fn trip(kind: StationKind, text: &str) -> Result<Trip, Failure> {
    let (number, trip, example) = match kind {
        StationKind::BeltDryer => {
            let speed: MetresPerSecond = quantity("--at", text)?;
            (speed.0, Trip::Belt(speed), "2.6 m/min")
        }
        StationKind::FlashUnit => {
            let stay: Seconds = quantity("--at", text)?;
            (stay.0, Trip::Lamp(stay), "8 s")
        }
    };
    let (least, most) = match kind {
        StationKind::BeltDryer => (1e-4, 2.0),
        StationKind::FlashUnit => (0.2, 600.0),
    };
    if (least..=most).contains(&number) {
        return Ok(trip);
    }
    Err(Failure::new(format!(
        "--at: {text:?} is nothing that a print is heated with; write for example \"{example}\""
    )))
}

pub(super) fn quantity<Q: Quantity>(option: &str, text: &str) -> Result<Q, Failure> {
    Q::parse(text)
        .map_err(|error| Failure::new(format!("{option}: {}; {}", error.what, error.remedy)))
}
