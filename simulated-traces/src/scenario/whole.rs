//! From a scenario file to a scenario, in which everything that is drawn once has been drawn.

use std::path::Path;

use inkdwell_config::problem::{Problem, suggestion};
use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::Shop;
use inkdwell_config::station::{Station, StationKind};

use super::file::{File, Place, RecordKind, Truth, parse};
use super::{Heat, Record, Scenario, chance, columns, faults, library};
use crate::likely::{Batch, likely_flash, likely_oven, usual_flash, usual_oven};

/// Room where the file says nothing.
const USUAL_ROOM: Celsius = Celsius(22.0);

pub(super) fn read(
    file: &str,
    text: &str,
    shop: &Shop,
    seed: Option<u64>,
) -> Result<Scenario, Vec<Problem>> {
    let mut written = parse(file, text).map_err(|problem| vec![problem])?;
    written.seed = seed.unwrap_or(written.seed);
    let place = Place { file, text };
    let mut problems = Vec::new();
    let library = library(shop);
    let station = note(&mut problems, station(&place, &written, shop));
    let ink = library.ink(written.ink.get_ref()).map_err(|unknown| {
        let what = format!("ink {:?} is unknown", written.ink.get_ref());
        let at = Some(written.ink.span().start);
        place.problem(at, "ink", what, unknown.remedy)
    });
    let ink = note(&mut problems, ink.cloned());
    let fabric = library.fabric(written.fabric.get_ref()).map_err(|unknown| {
        let what = format!("fabric {:?} is unknown", written.fabric.get_ref());
        let at = Some(written.fabric.span().start);
        place.problem(at, "fabric", what, unknown.remedy)
    });
    let fabric = note(&mut problems, fabric.cloned());
    let room = written.room.map_or(USUAL_ROOM, |room| room.0);
    let mut channels = Vec::new();
    let desk = columns::Desk {
        place,
        shop,
        station: written.station.get_ref(),
        room,
        seed: written.seed,
        place_seed: place_seed(&written),
        exact: written.truth.as_declared,
    };
    for column in &written.column {
        channels.extend(note(&mut problems, desk.read(column)));
    }
    let desk = faults::Desk {
        place,
        library: &library,
        zones: station.as_ref().map_or(0, |station| station.zones.len()),
        columns: channels
            .iter()
            .map(|channel| channel.name.clone())
            .collect(),
    };
    let mut events = Vec::new();
    for fault in &written.event {
        events.extend(note(&mut problems, desk.read(fault)));
    }
    if channels.is_empty() && problems.is_empty() {
        let remedy = "add [[column]] with name = \"film_c\" and sees = \"film\"".to_owned();
        problems.push(place.problem(None, "column", "no column is recorded".to_owned(), remedy));
    }
    let (Some(station), Some(ink), Some(fabric), true) =
        (station, ink, fabric, problems.is_empty())
    else {
        return Err(problems);
    };
    let record = record(&written);
    let stem = Path::new(file)
        .file_name()
        .map(|name| name_of(&name.to_string_lossy()));
    let seconds = |written: Option<super::file::Written<_>>, otherwise: f64| {
        written.map_or(
            otherwise,
            |written: super::file::Written<inkdwell_config::quantity::Seconds>| written.0.0,
        )
    };
    let mut batch = if written.truth.as_declared {
        Batch::usual(&ink, &fabric, room)
    } else {
        Batch::likely(
            &ink,
            &fabric,
            room,
            &mut chance(place_seed(&written), "batch"),
        )
    };
    settle_batch(&mut batch, &written.truth);
    Ok(Scenario {
        name: stem.unwrap_or_else(|| "scenario".to_owned()),
        about: written.about.clone(),
        seed: written.seed,
        started: written.started.clone(),
        heat: heat(&station, &written, room),
        belt: written
            .belt
            .map(|belt| belt.0)
            .or(station.belt)
            .map_or(0.0, |belt| belt.0),
        record,
        batch,
        room,
        prints: written.prints.or((record != Record::Run).then_some(1)),
        ride_every: written.ride_every,
        first: seconds(written.first, 8.0),
        every: seconds(written.every, 40.0),
        stay: seconds(written.stay, 10.0),
        platen: written
            .platen
            .map_or((30.0, 55.0), |[cold, hot]| (cold.0.0, hot.0.0)),
        interval: seconds(written.interval, 1.0).max(1e-3),
        span: (
            seconds(written.begin, 0.0),
            written.until.map(|until| until.0.0),
        ),
        channels,
        events,
        uncertainty: written.uncertainty.clone(),
        station,
        ink,
        fabric,
    })
}

fn note<T>(problems: &mut Vec<Problem>, read: Result<T, Problem>) -> Option<T> {
    read.map_err(|problem| problems.push(problem)).ok()
}

fn record(written: &File) -> Record {
    match written.record {
        RecordKind::Rides => Record::Rides,
        RecordKind::Run => Record::Run,
        RecordKind::Flash => Record::Flash,
    }
}

fn station(place: &Place<'_>, written: &File, shop: &Shop) -> Result<Station, Problem> {
    let name = written.station.get_ref();
    let at = Some(written.station.span().start);
    let Some(station) = shop.station(name) else {
        let known: Vec<&str> = shop
            .stations
            .iter()
            .map(|station| station.id.as_str())
            .collect();
        let what = format!("the shop has no station {name:?}");
        return Err(place.problem(at, "station", what, suggestion(name, &known)));
    };
    let flash = matches!(written.record, RecordKind::Flash);
    if flash != (station.kind == StationKind::FlashUnit) {
        let what = format!("{name:?} is no station for this kind of record");
        let remedy = "write record = \"flash\" for a flash unit, \"rides\" or \"run\" for a dryer";
        return Err(place.problem(at, "station", what, remedy.to_owned()));
    }
    if !flash
        && written
            .belt
            .or(station.belt.map(super::file::Written))
            .is_none_or(|belt| belt.0.0 <= 0.0)
    {
        let what = "no belt speed is known".to_owned();
        return Err(place.problem(at, "belt", what, "add belt = \"2.6 m/min\"".to_owned()));
    }
    Ok(station.clone())
}

fn heat(station: &Station, written: &File, room: Celsius) -> Heat {
    let mut chance = chance(place_seed(written), "oven");
    let declared = written.truth.as_declared;
    match (station.kind, declared) {
        (StationKind::FlashUnit, true) => Heat::Flash(Box::new(usual_flash(station, room))),
        (StationKind::FlashUnit, false) => {
            Heat::Flash(Box::new(likely_flash(station, room, &mut chance)))
        }
        (StationKind::BeltDryer, _) => {
            let mut oven = if declared {
                usual_oven(station, room)
            } else {
                likely_oven(station, room, &mut chance)
            };
            let truth = &written.truth;
            for (number, zone) in oven.zones.iter_mut().enumerate() {
                let declared = &station.zones[number];
                if let (Some(off), Some(air)) = (truth.air_off.get(number), declared.air) {
                    zone.air = Celsius(air.0 + off.0.0);
                }
                if let (Some(off), Some(set), Some(panel)) =
                    (truth.panel_off.get(number), declared.panel, &mut zone.panel)
                {
                    panel.temperature = Celsius(set.0 + off.0.0);
                }
            }
            Heat::Oven(Box::new(oven))
        }
    }
}

fn settle_batch(batch: &mut Batch, truth: &Truth) {
    if let Some(film) = truth.film {
        batch.nominal.film.thickness = film.0;
    }
    if let Some(moisture) = truth.moisture {
        batch.nominal.cloth.moisture = moisture.0;
    }
}

/// A scenario's name: its file's without its endings.
fn name_of(file: &str) -> String {
    let name = file.strip_suffix(".toml").unwrap_or(file);
    name.strip_suffix(".scenario").unwrap_or(name).to_owned()
}

/// The seed of what stands there for good.
fn place_seed(written: &File) -> u64 {
    written.truth.seed.unwrap_or(written.seed)
}
