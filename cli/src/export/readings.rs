//! Readings: what every device said.

use std::collections::HashMap;

use inkdwell_config::shop::Probe;
use inkdwell_cure::sensor::Meter;
use inkdwell_daemon::journal::{KnownChannel, ReadError, Shown, WordNumber};
use inkdwell_daemon::keeper::calibration_of;
use inkdwell_daemon::table::{Cell, Column, Kind, column};

use super::Wanted;
use super::table::Rows;
use crate::failure::Failure;

/// The columns.
pub(crate) const COLUMNS: [Column; 10] = [
    column(
        "at",
        Kind::Moment,
        "when it was taken, as the clock on the wall showed it, UTC",
    ),
    column(
        "steady_us",
        Kind::Whole,
        "the same in the daemon's steady time, microseconds since 1970: for durations",
    ),
    column("source", Kind::Text, "the source's id"),
    column("channel", Kind::Text, "the source's channel"),
    column(
        "probe",
        Kind::Text,
        "the probe or signal that the shop file reads from it",
    ),
    column(
        "number",
        Kind::Number,
        "the number, in the unit of the device",
    ),
    column(
        "word",
        Kind::Text,
        "what the device said in place of a number",
    ),
    column(
        "celsius",
        Kind::Number,
        "a probe's temperature, °C, corrected by its calibration; empty where a reference junction is needed",
    ),
    column(
        "fed",
        Kind::Truth,
        "whether it was judged; false where it came too late",
    ),
    column(
        "place",
        Kind::Text,
        "where the probe sits: ride, cloth, exit, zone, platen, room",
    ),
];

/// What the shop file says of a channel.
struct Meaning {
    id: Option<String>,
    place: Option<&'static str>,
    meter: Option<Meter>,
}

/// Gives every reading, channel by channel, each in the order in which it was journaled.
pub(crate) fn rows(
    wanted: &Wanted<'_>,
    rows: &mut impl Rows,
    each: &mut impl FnMut(),
) -> Result<(), Failure> {
    let failed = |error: ReadError| Failure::new(error.to_string());
    let (from, before) = wanted.steady();
    let mut words: HashMap<WordNumber, String> = HashMap::new();
    for known in wanted.reader.channels().map_err(failed)? {
        let meaning = meaning(wanted, &known)?;
        for reading in wanted.reader.readings(known.number, from, before) {
            let reading = reading.map_err(failed)?;
            each();
            if !wanted.holds(reading.at) {
                continue;
            }
            let (number, word) = match reading.shown {
                Shown::Number(number) => (Some(number), None),
                Shown::Word(word) => {
                    if let std::collections::hash_map::Entry::Vacant(new) = words.entry(word) {
                        new.insert(
                            wanted
                                .reader
                                .word(word)
                                .map_err(failed)?
                                .unwrap_or_default(),
                        );
                    }
                    (None, words.get(&word).cloned())
                }
            };
            let celsius = meaning
                .meter
                .as_ref()
                .and_then(|meter| meter.celsius(number?, None))
                .map(|celsius| celsius.0);
            rows.row(vec![
                Cell::Moment(wanted.walls.shown(reading.at).0),
                Cell::Whole(reading.at.0),
                Cell::Text(known.source.clone()),
                Cell::Text(known.name.clone()),
                Cell::text(meaning.id.clone()),
                Cell::number(number),
                Cell::text(word),
                Cell::number(celsius),
                Cell::Truth(reading.fed),
                Cell::text(meaning.place),
            ])?;
        }
    }
    Ok(())
}

fn meaning(wanted: &Wanted<'_>, known: &KnownChannel) -> Result<Meaning, Failure> {
    let mut meaning = Meaning {
        id: None,
        place: None,
        meter: None,
    };
    let Some(file) = wanted.shop else {
        return Ok(meaning);
    };
    let here = |source: &Option<String>, channel: &str| {
        source.as_deref() == Some(known.source.as_str()) && channel == known.name
    };
    let signal = file
        .shop
        .signals
        .iter()
        .find(|own| here(&own.source, &own.channel));
    meaning.id = signal.map(|own| own.id.clone());
    if let Some(probe) = file
        .shop
        .probes
        .iter()
        .find(|own| here(&own.source, &own.channel))
    {
        meaning.id = Some(probe.id.clone());
        meaning.place = Some(place(probe));
        let meter = meter(wanted, probe)?;
        meaning.meter = (!meter.needs_junction() || probe.junction.is_none()).then_some(meter);
    }
    Ok(meaning)
}

/// The probe as it was last calibrated before the end of the time.
fn meter(wanted: &Wanted<'_>, probe: &Probe) -> Result<Meter, Failure> {
    let mut meter = Meter::new(probe);
    let (_, before) = wanted.steady();
    let kept = wanted.reader.calibrations(Some(&probe.id));
    for kept in kept.map_err(|error| Failure::new(error.to_string()))? {
        let declared = probe.calibration.as_ref();
        if let Some(made) = calibration_of(&kept.calibration)
            && kept.at < before
            && declared.is_none_or(|declared| declared.date <= made.date)
        {
            meter.calibrate(&made);
        }
    }
    Ok(meter)
}

fn place(probe: &Probe) -> &'static str {
    use inkdwell_config::shop::Place;
    match probe.place {
        Place::Ride => "ride",
        Place::Cloth => "cloth",
        Place::Exit => "exit",
        Place::Zone => "zone",
        Place::Platen => "platen",
        Place::Room => "room",
    }
}
