//! How a station stood while a print rode through it, from the journal's readings.

use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::{Place, Probe, Shop};
use inkdwell_cure::sensor::Meter;

use super::refusal::Refusal;
use crate::journal::{Reader, Shown};
use crate::keeper::calibration_of;
use crate::record::PassJudged;
use crate::time::Micros;

/// Before the film wakes, the print has been in the heat for some seconds; so far back it is looked for.
const BEFORE: f64 = 30.0;
/// A film that is so much warmer than before is in the heat, in °C.
const WARMED: f64 = 1.0;
/// What an exit probe shows within so many seconds of the print's moment under it is the print's.
const UNDER: f64 = 1.0;

/// How it stood.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Settings {
    /// Mean of each zone probe's readings, by its id, in °C.
    pub(super) zones_c: Vec<(String, f64)>,
    /// What the exit probe showed of that print, in °C.
    pub(super) exit_c: Option<f64>,
    /// What could not be told, in sentences.
    pub(super) remarks: Vec<String>,
}

/// Looks at the readings of a ride's time.
pub(super) fn settings(
    reader: &Reader,
    shop: &Shop,
    ride: &PassJudged,
) -> Result<Settings, Refusal> {
    let mut settings = Settings {
        zones_c: Vec::new(),
        exit_c: None,
        remarks: Vec::new(),
    };
    let here = |probe: &&Probe| probe.station.as_deref() == Some(ride.station.as_str());
    for probe in shop.probes.iter().filter(here) {
        match probe.place {
            Place::Zone => {
                let readings = readings(reader, probe, ride.start, ride.end)?;
                match mean(&readings) {
                    Some(mean) => settings.zones_c.push((probe.id.clone(), mean)),
                    None => settings.remarks.push(format!(
                        "{} showed nothing during the ride: the recipe does not watch it.",
                        probe.id
                    )),
                }
            }
            Place::Exit if settings.exit_c.is_none() => {
                settings.exit_c = exit(reader, shop, ride, probe)?;
                if settings.exit_c.is_none() {
                    settings.remarks.push(format!(
                        "What {} showed of this print could not be told: the recipe does not watch it.",
                        probe.id
                    ));
                }
            }
            _ => {}
        }
    }
    if ride.belt_m_per_min.is_none() && shop.station(&ride.station).is_some_and(is_belt) {
        let remark = "Nobody knows how fast the belt ran: the recipe does not watch it.";
        settings.remarks.push(remark.to_owned());
    }
    Ok(settings)
}

fn is_belt(station: &inkdwell_config::station::Station) -> bool {
    station.kind == inkdwell_config::station::StationKind::BeltDryer
}

/// What an exit probe showed when the print that rode lay under it.
///
/// It entered the heat at t₀, when its film began to warm, and the belt carried it at v over the heated
/// length L and the distance d to the spot: t = t₀ + (L + d) / v.
fn exit(
    reader: &Reader,
    shop: &Shop,
    ride: &PassJudged,
    probe: &Probe,
) -> Result<Option<f64>, Refusal> {
    let station = shop.station(&ride.station);
    let own = shop
        .probes
        .iter()
        .find(|own| Some(&own.id) == ride.probe.as_ref());
    let (Some(station), Some(own), Some(belt), Some(distance)) =
        (station, own, ride.belt_m_per_min, probe.distance)
    else {
        return Ok(None);
    };
    let film = readings(reader, own, ride.start.plus_seconds(-BEFORE), ride.start)?;
    let Some(entered) = entered(&film) else {
        return Ok(None);
    };
    let way = station.heated_length.0 + distance.0;
    let under = entered.plus_seconds(way / (belt / 60.0));
    let shown = readings(
        reader,
        probe,
        under.plus_seconds(-UNDER),
        under.plus_seconds(UNDER),
    )?;
    Ok(mean(&shown))
}

/// When a film began to warm: the last reading that is not warmer than the coolest before it.
fn entered(film: &[(Micros, f64)]) -> Option<Micros> {
    let coolest = film.iter().map(|(_, celsius)| *celsius).reduce(f64::min)?;
    let cool = film.iter().rev();
    let mut cool = cool.filter(|(_, celsius)| *celsius <= coolest + WARMED);
    cool.next().map(|(at, _)| *at)
}

fn mean(readings: &[(Micros, f64)]) -> Option<f64> {
    let sum: f64 = readings.iter().map(|(_, celsius)| celsius).sum();
    (!readings.is_empty()).then(|| sum / readings.len() as f64)
}

/// A probe's temperatures from one moment to another, as it was calibrated then.
pub(crate) fn readings(
    reader: &Reader,
    probe: &Probe,
    from: Micros,
    to: Micros,
) -> Result<Vec<(Micros, f64)>, Refusal> {
    let Some(source) = &probe.source else {
        return Ok(Vec::new());
    };
    let mut meter = Meter::new(probe);
    for kept in reader.calibrations(Some(&probe.id))? {
        let made = calibration_of(&kept.calibration);
        let declared = probe.calibration.as_ref();
        if let Some(made) = made
            && kept.at <= from
            && declared.is_none_or(|declared| declared.date <= made.date)
        {
            meter.calibrate(&made);
        }
    }
    let junction = match &probe.junction {
        Some(junction) => Some(numbers(reader, source, junction, from, to)?),
        None => None,
    };
    let numbers = numbers(reader, source, &probe.channel, from, to)?;
    let celsius = numbers.into_iter().filter_map(|(at, number)| {
        let junction = match &junction {
            None => None,
            // Millivolts whose junction is not known are no temperature.
            Some(junction) => Some(Celsius(before(junction, at)?)),
        };
        let celsius = meter.celsius(number, junction)?;
        celsius.0.is_finite().then_some((at, celsius.0))
    });
    Ok(celsius.collect())
}

/// What was read last at a moment.
fn before(readings: &[(Micros, f64)], at: Micros) -> Option<f64> {
    let after = readings.partition_point(|(own, _)| *own <= at);
    readings[..after].last().map(|(_, number)| *number)
}

fn numbers(
    reader: &Reader,
    source: &str,
    channel: &str,
    from: Micros,
    to: Micros,
) -> Result<Vec<(Micros, f64)>, Refusal> {
    let Some(channel) = reader.channel(source, channel)? else {
        return Ok(Vec::new());
    };
    let mut numbers = Vec::new();
    for reading in reader.readings(channel, from, to) {
        let reading = reading?;
        if let (Shown::Number(number), true) = (reading.shown, reading.fed) {
            numbers.push((reading.at, number));
        }
    }
    numbers.sort_by_key(|(at, _)| *at);
    Ok(numbers)
}
