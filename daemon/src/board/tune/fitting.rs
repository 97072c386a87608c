//! Rides of the journal, fitted and tuned.

use std::collections::BTreeMap;

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::library::Library;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond, Seconds};
use inkdwell_config::shop::{Place as ProbePlace, Probe, Shop};
use inkdwell_config::station::{Station, StationKind};
use inkdwell_cure::good_samples;
use inkdwell_cure::heat::fit::{Explained, Fit, FitOptions, Prediction, Ride, Trip, fit};
use inkdwell_cure::live::Micros;
use inkdwell_cure::plan::ProbeDoubt;
use inkdwell_cure::tuning::{Declared, Tuning, tune};

use super::since;
use crate::api::refusal::Refusal;
use crate::api::ride::readings;
use crate::journal::{KeptPass, PassQuery, Reader};
use crate::keeper::Keeper;
use crate::record::Place;

/// A ride's readings are taken from so long before it woke to so long after it slept, in seconds, where no other
/// print was in the way.
const AROUND: f64 = 60.0;
/// Speeds that are drawn.
const SPEEDS: u32 = 25;

/// Probes' doubts by their ids.
type Doubts = BTreeMap<String, ProbeDoubt>;

/// What the daemon's task knows.
pub(super) fn shop_and_doubts(keeper: &Keeper, _: Micros) -> (Shop, Doubts) {
    let (shop, floor) = (keeper.shop(), keeper.floor());
    let doubts = shop.probes.iter().filter_map(|probe| {
        let near = probe
            .station
            .as_deref()
            .and_then(|station| keeper.open_threshold(station));
        Some((
            probe.id.clone(),
            floor.doubt(&probe.id, near.unwrap_or(Celsius(160.0)))?,
        ))
    });
    (shop.clone(), doubts.collect())
}

/// What a fit takes.
pub(super) struct ToFit {
    kept: Vec<KeptPass>,
    rides: Vec<Ride>,
    station: Station,
    ink: Ink,
    fabric: Fabric,
}

/// Reads rides of one station, ink and fabric from the journal.
pub(super) fn to_fit(
    reader: &Reader,
    shop: &Shop,
    doubts: &Doubts,
    kept: Vec<KeptPass>,
) -> Result<ToFit, Refusal> {
    let mut of: Option<(Station, Ink, Fabric)> = None;
    let mut rides = Vec::new();
    for kept in &kept {
        let own = declared(reader, shop, kept)?;
        match &of {
            Some(of) if of.0.id != own.0.id || of.1 != own.1 || of.2 != own.2 => {
                return Err(Refusal::conflict(
                    "the rides are of different stations, inks or fabrics; tick rides of one print",
                ));
            }
            Some(_) => {}
            None => of = Some(own),
        }
        rides.push(ride(reader, shop, doubts, kept)?);
    }
    let (station, ink, fabric) = of.ok_or_else(|| Refusal::wrong("no ride is named"))?;
    Ok(ToFit {
        kept,
        rides,
        station,
        ink,
        fabric,
    })
}

/// Station, ink and fabric of a ride, the last two as they were when its batch was opened.
fn declared(
    reader: &Reader,
    shop: &Shop,
    kept: &KeptPass,
) -> Result<(Station, Ink, Fabric), Refusal> {
    let pass = &kept.pass;
    let unfit = |why: &str| Refusal::conflict(format!("pass {} {why}", pass.pass));
    let station = shop.station(&pass.station);
    let station = station.filter(|own| own.kind == StationKind::BeltDryer);
    let station = station.ok_or_else(|| unfit("was not seen in a belt dryer of this shop"))?;
    let batch = match pass.batch {
        Some(batch) => reader.batch(batch)?,
        None => None,
    };
    let batch = batch.ok_or_else(|| unfit("has no batch, so that nobody knows its ink"))?;
    let library = Library::parse("journal", &batch.batch.declared).value;
    let (Some(ink), Some(fabric)) = (library.inks().first(), library.fabrics().first()) else {
        return Err(unfit("is of a batch whose laws cannot be read"));
    };
    if ink.film.is_none() {
        let why =
            "is of an ink that does not say how thick its film is; add film = \"80 um\" to it";
        return Err(unfit(why));
    }
    Ok((station.clone(), ink.clone(), fabric.clone()))
}

fn ride(reader: &Reader, shop: &Shop, doubts: &Doubts, kept: &KeptPass) -> Result<Ride, Refusal> {
    let pass = &kept.pass;
    let unfit = |why: &str| Refusal::conflict(format!("pass {} {why}", pass.pass));
    let probe = shop
        .probes
        .iter()
        .find(|own| Some(&own.id) == pass.probe.as_ref());
    let (Some(probe), Some(belt), Place::Ride) = (probe, pass.belt_m_per_min, pass.place) else {
        return Err(unfit("is no ride with a known belt speed; tick another"));
    };
    if !kept.readings_kept {
        return Err(unfit("has lost its readings; tick a newer one"));
    }
    let (from, to) = around(reader, kept)?;
    let series = |probe: &Probe| -> Result<Vec<(Seconds, Celsius)>, Refusal> {
        let readings = readings(reader, probe, from, to)?;
        let readings: Vec<(f64, f64)> = readings
            .iter()
            .map(|(at, celsius)| (since(*at, from), *celsius))
            .collect();
        let good = good_samples(&readings).into_iter();
        Ok(good
            .map(|(at, celsius)| (Seconds(at), Celsius(celsius)))
            .collect())
    };
    let beside = shop
        .probes
        .iter()
        .find(|own| own.place == ProbePlace::Cloth && own.station.as_ref() == Some(&pass.station));
    let peak = pass.judged.as_ref().map_or(160.0, |judged| judged.peak_c);
    let doubt = doubts
        .get(&probe.id)
        .map_or(0.0, |doubt| doubt.uncertainty.at(peak));
    Ok(Ride {
        trip: Trip::Belt(MetresPerSecond(belt / 60.0)),
        film: series(probe)?,
        cloth: beside.map_or(Ok(Vec::new()), series)?,
        room: None,
        uncertainty: CelsiusDifference(doubt),
    })
}

/// The time of a ride with some around it, as far as its probe was in no other print then.
fn around(reader: &Reader, kept: &KeptPass) -> Result<(Micros, Micros), Refusal> {
    let pass = &kept.pass;
    let (mut from, mut to) = (
        pass.start.plus_seconds(-AROUND),
        pass.end.plus_seconds(AROUND),
    );
    let near = reader.passes(&PassQuery {
        from: Some(pass.start.plus_seconds(-3600.0)),
        before: Some(to),
        station: Some(pass.station.clone()),
        ..PassQuery::default()
    })?;
    let others = near.iter().map(|near| &near.pass);
    for other in others.filter(|other| other.probe == pass.probe && other.pass != pass.pass) {
        if other.end <= pass.start {
            from = from.max(other.end);
        } else if other.start >= pass.end {
            to = to.min(other.start);
        }
    }
    Ok((from, to))
}

/// The answer.
pub(super) struct Tuned {
    pub(super) kept: Vec<KeptPass>,
    pub(super) explained: Vec<Explained>,
    pub(super) station: Station,
    pub(super) ink: Ink,
    pub(super) fabric: Fabric,
    pub(super) tuning: Tuning,
    /// What would be at speeds worth drawing, in m/min.
    pub(super) curve: Vec<(f64, Prediction)>,
}

/// Fits and tunes.
pub(super) fn tuned(to_fit: ToFit) -> Result<Tuned, Refusal> {
    let ToFit {
        kept,
        rides,
        station,
        ink,
        fabric,
    } = to_fit;
    let unfit = |error: &dyn std::fmt::Display| {
        Refusal::conflict(format!("{error}; check the station's zones and the rides"))
    };
    let fitted = fit(&rides, &station, &ink, &fabric, FitOptions::default());
    let fitted = fitted.map_err(|error| unfit(&error))?;
    let declared = Declared {
        station: &station,
        ink: &ink,
        fabric: &fabric,
    };
    let tuning = tune(&fitted, declared).map_err(|error| unfit(&error))?;
    let curve = curve(&fitted, &tuning).map_err(|error| unfit(&error))?;
    Ok(Tuned {
        explained: fitted.rides().to_vec(),
        kept,
        station,
        ink,
        fabric,
        tuning,
        curve,
    })
}

/// Predictions over the speeds worth showing: a little beyond the window and the rides.
fn curve(
    fitted: &Fit,
    tuning: &Tuning,
) -> Result<Vec<(f64, Prediction)>, inkdwell_cure::heat::HeatError> {
    let ridden = fitted.rides().iter().filter_map(|ride| match ride.trip {
        Trip::Belt(belt) => Some(belt.0),
        Trip::Lamp(_) => None,
    });
    let window = tuning.window.iter();
    let ends = window.flat_map(|window| {
        let slow = window.slow.map(|edge| edge.belt.0);
        slow.into_iter().chain([window.fast.belt.0])
    });
    let speeds: Vec<f64> = ridden.chain(ends).collect();
    let least = speeds.iter().copied().fold(f64::INFINITY, f64::min) * 0.75;
    let most = speeds.iter().copied().fold(0.0, f64::max) * 1.3;
    let step = (most - least) / f64::from(SPEEDS - 1);
    (0..SPEEDS)
        .map(|number| least + step * f64::from(number))
        .map(|belt| {
            Ok((
                belt * 60.0,
                fitted.predict(Trip::Belt(MetresPerSecond(belt)))?,
            ))
        })
        .collect()
}

impl Tuned {
    /// The ride that is fit to be locked and was made nearest to the recommended speed.
    pub(super) fn nearest(&self, is_fit: impl Fn(&KeptPass) -> bool) -> Option<&KeptPass> {
        let best = self.tuning.recommended.as_ref()?.belt.0 * 60.0;
        let off = |kept: &&KeptPass| {
            let belt = kept.pass.belt_m_per_min.unwrap_or(f64::INFINITY);
            (belt - best).abs()
        };
        let fit = self.kept.iter().filter(|kept| is_fit(kept));
        fit.min_by(|one, other| off(one).total_cmp(&off(other)))
    }
}
