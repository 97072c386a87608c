//! The ride of a recipe as exit evidence needs it, from the journal's readings.

use inkdwell_config::library::Library;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond};
use inkdwell_config::shop::{Place, Probe, Shop, SignalKind};
use inkdwell_config::station::{Station, StationKind};
use inkdwell_cure::heat::oven::USUAL_ROOM;
use inkdwell_cure::live::exit::{RecipeExit, RecipeModel, RecipeRide, Shown};
use inkdwell_cure::sensor::declared_uncertainty;

use super::refusal::Refusal;
use crate::journal::{KeptBatch, KeptPass, Reader};
use crate::shown::{numbers, temperatures as readings};
use crate::time::Micros;

/// Readings are kept from so long before the ride to so long after it, in seconds.
const ABOUT: f64 = 60.0;
/// What is assumed of a probe that declares nothing.
const USUAL_TYPE: char = 'K';

/// What came of it.
pub(super) enum Found {
    /// Nothing looks at prints that leave this station.
    NoExitProbe,
    /// The ride, what the nearest exit probe showed of its print, in °C, and what it promises of prints that follow,
    /// in sentences.
    Ride(Box<RecipeRide>, Option<f64>, Option<String>),
    /// Why no print can be inferred from it, in a sentence.
    Unfit(String),
}

/// Gathers what was read during a ride, and fits the heat model to it once, to know that it can be.
pub(super) fn of(
    reader: &Reader,
    shop: &Shop,
    ride: &KeptPass,
    batch: &KeptBatch,
) -> Result<Found, Refusal> {
    let exits = exit_probes(shop, &ride.pass.station);
    let station = shop.station(&ride.pass.station);
    let (Some(station), false) = (station, exits.is_empty()) else {
        return Ok(Found::NoExitProbe);
    };
    let gathered = gather(reader, shop, station, ride, &exits)?;
    let Some(gathered) = gathered else {
        let why = "Nobody knows how fast the belt ran: no print can be inferred from this ride.";
        return Ok(Found::Unfit(why.to_owned()));
    };
    let declared = Library::parse("journal", &batch.batch.declared).value;
    let (Some(ink), Some(fabric)) = (declared.inks().first(), declared.fabrics().first()) else {
        return Ok(Found::Unfit(
            "The batch's ink and fabric cannot be read from the journal.".to_owned(),
        ));
    };
    let unfit = |why: String| {
        format!(
            "No print can be inferred from this ride: {why}. Record the exit probe from before the ridden print \
             until after it, and ride again."
        )
    };
    let model = match RecipeModel::fitted(gathered, station, ink, fabric) {
        Ok(model) => model,
        Err(error) => return Ok(Found::Unfit(unfit(error.to_string()))),
    };
    let desk = match model.ready() {
        Ok(desk) => desk,
        Err(error) => return Ok(Found::Unfit(unfit(error.to_string()))),
    };
    let shown = desk.shown().map(|shown| shown.0);
    let outlook = desk.outlook(model.ride().room.unwrap_or(USUAL_ROOM));
    let promise = outlook.ok().map(|outlook| outlook.sentences(shop.units));
    Ok(Found::Ride(Box::new(model.ride().clone()), shown, promise))
}

/// The station's exit probes whose place is known, nearest to the heat first.
fn exit_probes<'a>(shop: &'a Shop, station: &str) -> Vec<&'a Probe> {
    let is_belt = |station: &Station| station.kind == StationKind::BeltDryer;
    if !shop.station(station).is_some_and(is_belt) {
        return Vec::new();
    }
    let here = shop.probes.iter().filter(|probe| {
        let placed = probe.distance.is_some() && probe.spot.is_some();
        probe.place == Place::Exit && placed && probe.station.as_deref() == Some(station)
    });
    let mut exits: Vec<&Probe> = here.collect();
    let distance = |probe: &Probe| probe.distance.map_or(0.0, |distance| distance.0);
    exits.sort_by(|a, b| distance(a).total_cmp(&distance(b)));
    exits
}

fn gather(
    reader: &Reader,
    shop: &Shop,
    station: &Station,
    ride: &KeptPass,
    exits: &[&Probe],
) -> Result<Option<RecipeRide>, Refusal> {
    let pass = &ride.pass;
    let began = pass.start.plus_seconds(-ABOUT);
    let ended = pass.end.plus_seconds(ABOUT);
    let since = |readings: Vec<(Micros, f64)>| -> Shown {
        let readings = readings.into_iter();
        readings
            .map(|(at, value)| (at.seconds_since(began), Some(value)))
            .collect()
    };
    let shown = |probe: &Probe| readings(reader, probe, began, ended).map(since);
    let film = shop
        .probes
        .iter()
        .find(|own| Some(&own.id) == pass.probe.as_ref());
    let (Some(film), Some(judged)) = (film, &pass.judged) else {
        return Ok(None);
    };
    let here = |probe: &&Probe| probe.station.as_deref() == Some(station.id.as_str());
    let cloth = shop.probes.iter().filter(here);
    let cloth = cloth.into_iter().find(|own| own.place == Place::Cloth);
    let speeds = speeds(reader, shop, station, (began, ended))?;
    let running: Vec<f64> = speeds
        .iter()
        .map(|own| own.1)
        .filter(|own| *own > 0.0)
        .collect();
    let belt = if running.is_empty() {
        pass.belt_m_per_min.map(|speed| speed / 60.0)
    } else {
        Some(running.iter().sum::<f64>() / running.len() as f64)
    };
    let Some(belt) = belt else {
        return Ok(None);
    };
    let room = shop.probes.iter().find(|own| {
        own.place == Place::Room && own.station.as_ref().is_none_or(|id| *id == station.id)
    });
    let room = room
        .map(|room| readings(reader, room, began, ended))
        .transpose()?;
    let room = room
        .filter(|readings| !readings.is_empty())
        .map(|readings| readings.iter().map(|own| own.1).sum::<f64>() / readings.len() as f64);
    let mut seen = Vec::new();
    for exit in exits {
        let (Some(distance), Some(spot)) = (exit.distance, exit.spot) else {
            continue;
        };
        seen.push(RecipeExit {
            probe: exit.id.clone(),
            distance,
            spot,
            uncertainty: exit.uncertainty,
            shown: shown(exit)?,
        });
    }
    Ok(Some(RecipeRide {
        began,
        pass: (
            pass.start.seconds_since(began),
            pass.end.seconds_since(began),
        ),
        belt: MetresPerSecond(belt),
        film: shown(film)?,
        cloth: cloth.map(shown).transpose()?.unwrap_or_default(),
        speeds: since(speeds),
        exits: seen,
        room: room.map(Celsius),
        uncertainty: CelsiusDifference(judged.uncertainty_c),
        assumed: assumed(film, Celsius(judged.threshold_c)),
        passed: 0.0,
        station: Some(Box::new(station.clone())),
    }))
}

/// Letter of the thermocouple type that was assumed of a probe that declares nothing.
fn assumed(film: &Probe, near: Celsius) -> Option<char> {
    use inkdwell_config::shop::Sensor;
    match (declared_uncertainty(film, near), &film.sensor) {
        (Some(_), _) => None,
        (None, Some(Sensor::Thermocouple { kind, .. })) => Some(*kind),
        (None, _) => Some(USUAL_TYPE),
    }
}

/// The belt's signal, in m/s.
fn speeds(
    reader: &Reader,
    shop: &Shop,
    station: &Station,
    (began, ended): (Micros, Micros),
) -> Result<Vec<(Micros, f64)>, Refusal> {
    for signal in shop.signals.iter().filter(|own| own.station == station.id) {
        if let (SignalKind::Belt { metres_per_second }, Some(source)) =
            (signal.kind, &signal.source)
        {
            let shown = numbers(reader, source, &signal.channel, began, ended)?;
            let shown = shown.into_iter();
            return Ok(shown
                .map(|(at, value)| (at, value * metres_per_second))
                .collect());
        }
    }
    Ok(Vec::new())
}
