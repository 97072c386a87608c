//! From the journal's rides to a fit and its answer.

use std::collections::BTreeMap;

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::library::Library;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond, Seconds};
use inkdwell_config::shop::{Place as ProbePlace, Probe, Shop};
use inkdwell_config::station::{Station, StationKind};
use inkdwell_cure::good_samples;
use inkdwell_cure::heat::HeatError;
use inkdwell_cure::heat::fit::{Aim, Explained, Fit, FitOptions, Prediction, Ride, Trip, fit};
use inkdwell_cure::plan::ProbeDoubt;
use inkdwell_cure::tuning::{
    Declared, FlashTuning, Heating, Tuning, USUAL_PLATENS, tune, tune_flash,
};

use super::since;
use crate::api::refusal::Refusal;
use crate::journal::{KeptBatch, KeptPass, PassQuery, Reader};
use crate::keeper::Keeper;
use crate::record::Place;
use crate::shown::temperatures as readings;
use crate::time::Micros;

/// So much of a trace around a ride goes into its fit, in seconds, if no other print was in the way.
const AROUND: f64 = 60.0;
/// Speeds, or stays, that are drawn.
const DRAWN: u32 = 25;
/// Platens further apart than this under the rides, in °C, are worth a word.
const ALIKE: f64 = 10.0;

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
    rides: Vec<Ridden>,
    of: Of,
}

/// What all rides of a fit are of.
#[derive(PartialEq)]
struct Of {
    station: Station,
    ink: Ink,
    fabric: Fabric,
    /// Whether a flash unit was the last heat.
    last_heat: bool,
}

/// A ride, and how warm its platen was where it lay on one.
struct Ridden {
    ride: Ride,
    platen: Option<Celsius>,
}

/// What rides are read with.
struct Desk<'a> {
    reader: &'a Reader,
    shop: &'a Shop,
    doubts: &'a Doubts,
}

/// Reads rides of one station, ink and fabric from the journal.
pub(super) fn to_fit(
    reader: &Reader,
    shop: &Shop,
    doubts: &Doubts,
    kept: Vec<KeptPass>,
) -> Result<ToFit, Refusal> {
    let desk = Desk {
        reader,
        shop,
        doubts,
    };
    let mut all: Option<Of> = None;
    let mut rides = Vec::new();
    for kept in &kept {
        let own = desk.of(kept)?;
        rides.push(match own.station.kind {
            StationKind::BeltDryer => desk.belt_ride(kept)?,
            StationKind::FlashUnit => desk.lamp_ride(kept)?,
        });
        match &all {
            Some(all) if *all != own => {
                return Err(Refusal::conflict(
                    "the rides are of different stations, inks or fabrics; tick rides of one print",
                ));
            }
            Some(_) => {}
            None => all = Some(own),
        }
    }
    let of = all.ok_or_else(|| Refusal::wrong("no ride is named"))?;
    Ok(ToFit { kept, rides, of })
}

fn unfit(kept: &KeptPass, why: &str) -> Refusal {
    Refusal::conflict(format!("pass {} {why}", kept.pass.pass))
}

impl Desk<'_> {
    /// Station, ink and fabric of a ride, the last two as they were when its batch was opened.
    fn of(&self, kept: &KeptPass) -> Result<Of, Refusal> {
        let station = self.shop.station(&kept.pass.station);
        let station =
            station.ok_or_else(|| unfit(kept, "was not seen at a station of this shop"))?;
        let batch: Option<KeptBatch> = match kept.pass.batch {
            Some(batch) => self.reader.batch(batch)?,
            None => None,
        };
        let batch =
            batch.ok_or_else(|| unfit(kept, "has no batch, so that nobody knows its ink"))?;
        let library = Library::parse("journal", &batch.batch.declared).value;
        let (Some(ink), Some(fabric)) = (library.inks().first(), library.fabrics().first()) else {
            return Err(unfit(kept, "is of a batch whose laws cannot be read"));
        };
        if ink.film.is_none() {
            return Err(unfit(
                kept,
                "is of an ink that does not say how thick its film is; add film = \"80 um\" to it",
            ));
        }
        let is_flash = station.kind == StationKind::FlashUnit;
        if is_flash && !batch.batch.last_heat && ink.gel.is_none() {
            return Err(unfit(
                kept,
                "is of an ink without a gel window; add gel = { from = \"104 C\", to = \"121 C\" } to it, or open its \
                 batch with the flash unit as the last heat",
            ));
        }
        Ok(Of {
            station: station.clone(),
            ink: ink.clone(),
            fabric: fabric.clone(),
            last_heat: is_flash && batch.batch.last_heat,
        })
    }

    /// The probe that saw a ride.
    fn probe_of(&self, kept: &KeptPass) -> Result<&Probe, Refusal> {
        if !kept.readings_kept {
            return Err(unfit(kept, "has lost its readings; tick a newer one"));
        }
        let mut probes = self.shop.probes.iter();
        let probe = probes.find(|own| Some(&own.id) == kept.pass.probe.as_ref());
        probe.ok_or_else(|| unfit(kept, "was seen by a probe that is not declared any more"))
    }

    /// The first probe at one place of a ride's station.
    fn probe_at(&self, kept: &KeptPass, place: ProbePlace) -> Option<&Probe> {
        let mut probes = self.shop.probes.iter();
        probes.find(|own| own.place == place && own.station.as_ref() == Some(&kept.pass.station))
    }

    /// A probe's good samples, in seconds from the first moment.
    fn good(&self, probe: &Probe, from: Micros, to: Micros) -> Result<Vec<(f64, f64)>, Refusal> {
        let shown = readings(self.reader, probe, from, to)?.into_iter();
        let shown: Vec<(f64, f64)> = shown.map(|(at, own)| (since(at, from), own)).collect();
        Ok(good_samples(&shown))
    }

    fn doubt(&self, probe: &Probe, peak: f64) -> CelsiusDifference {
        let doubt = self.doubts.get(&probe.id);
        CelsiusDifference(doubt.map_or(0.0, |doubt| doubt.uncertainty.at(peak)))
    }

    fn belt_ride(&self, kept: &KeptPass) -> Result<Ridden, Refusal> {
        let pass = &kept.pass;
        let (Some(belt), Place::Ride) = (pass.belt_m_per_min, pass.place) else {
            return Err(unfit(
                kept,
                "is no ride with a known belt speed; tick another",
            ));
        };
        let probe = self.probe_of(kept)?;
        let (from, to) = self.around(kept)?;
        let series = |probe: &Probe| -> Result<Vec<(Seconds, Celsius)>, Refusal> {
            let good = self.good(probe, from, to)?.into_iter();
            Ok(good
                .map(|(at, celsius)| (Seconds(at), Celsius(celsius)))
                .collect())
        };
        let beside = self.probe_at(kept, ProbePlace::Cloth);
        let peak = pass.judged.as_ref().map_or(160.0, |judged| judged.peak_c);
        let ride = Ride {
            trip: Trip::Belt(MetresPerSecond(belt / 60.0)),
            film: series(probe)?,
            cloth: beside.map_or(Ok(Vec::new()), series)?,
            room: None,
            uncertainty: self.doubt(probe, peak),
        };
        Ok(Ridden { ride, platen: None })
    }

    fn lamp_ride(&self, kept: &KeptPass) -> Result<Ridden, Refusal> {
        let pass = &kept.pass;
        if pass.place != Place::Flash {
            return Err(unfit(kept, "is no heating under the lamp; tick another"));
        }
        let probe = self.probe_of(kept)?;
        let samples = self.good(probe, pass.start, pass.end)?;
        let end = Seconds(since(pass.end, pass.start));
        let heating = Heating::seen(&samples, Seconds(0.0), end);
        let heating =
            heating.ok_or_else(|| unfit(kept, "has no good sample left; tick another"))?;
        if heating.is_coarse {
            return Err(unfit(
                kept,
                "is sampled too coarsely to tell how long the lamp stayed; let the probe tell ten readings a second",
            ));
        }
        let platen = match self.probe_at(kept, ProbePlace::Platen) {
            Some(platen) => mean(&self.good(platen, pass.start, pass.end)?),
            None => None,
        };
        Ok(Ridden {
            ride: heating.ride(self.doubt(probe, heating.peak.0)),
            platen,
        })
    }

    /// The time of a ride with some around it, as far as its probe was in no other print then.
    fn around(&self, kept: &KeptPass) -> Result<(Micros, Micros), Refusal> {
        let pass = &kept.pass;
        let (mut from, mut to) = (
            pass.start.plus_seconds(-AROUND),
            pass.end.plus_seconds(AROUND),
        );
        let near = self.reader.passes(&PassQuery {
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
}

fn mean(samples: &[(f64, f64)]) -> Option<Celsius> {
    let sum: f64 = samples.iter().map(|own| own.1).sum();
    (!samples.is_empty()).then(|| Celsius(sum / samples.len() as f64))
}

/// The answer, and what it rests on.
pub(super) struct Tuned {
    pub(super) kept: Vec<KeptPass>,
    pub(super) explained: Vec<Explained>,
    pub(super) station: Station,
    pub(super) ink: Ink,
    pub(super) fabric: Fabric,
    pub(super) answer: Answer,
    /// What would be at speeds, in m/min, or at stays, in seconds, that are worth drawing.
    pub(super) curve: Vec<(f64, Prediction)>,
}

/// The answer itself.
pub(super) enum Answer {
    /// For a belt dryer.
    Belt(Tuning),
    /// For a flash unit.
    Lamp(OnLamp),
}

/// The answer for a flash unit.
pub(super) struct OnLamp {
    pub(super) tuning: FlashTuning,
    /// What the heat is for.
    pub(super) aim: Aim,
    /// The platen under the rides.
    pub(super) platen: Celsius,
    /// Whether a probe showed it; else the surface before the lamp stands in for it.
    pub(super) platen_is_seen: bool,
    /// Whether the rides were made on platens of unlike warmth.
    pub(super) is_unlike: bool,
}

/// Fits and tunes.
pub(super) fn tuned(to_fit: ToFit) -> Result<Tuned, Refusal> {
    let ToFit { kept, rides, of } = to_fit;
    let unfit = |error: &dyn std::fmt::Display| {
        Refusal::conflict(format!("{error}; check the station's zones and the rides"))
    };
    let on = match of.station.kind {
        StationKind::BeltDryer => None,
        StationKind::FlashUnit => Some(Lying::of(&rides)),
    };
    let mut options = FitOptions::of_one_batch(&of.fabric);
    if let Some(on) = &on {
        // What prints start from, as the rides did.
        options.room = on.start;
        options.aim = if of.last_heat { Aim::Cure } else { Aim::Gel };
    }
    let ridden: Vec<Ride> = rides.into_iter().map(|own| own.ride).collect();
    let fitted = fit(&ridden, &of.station, &of.ink, &of.fabric, options);
    let fitted = fitted.map_err(|error| unfit(&error))?;
    let declared = Declared {
        station: &of.station,
        ink: &of.ink,
        fabric: &of.fabric,
    };
    let answer = match on {
        None => Answer::Belt(tune(&fitted, declared).map_err(|error| unfit(&error))?),
        Some(on) => Answer::Lamp(OnLamp {
            tuning: tune_flash(&fitted, on.platen, &USUAL_PLATENS)
                .map_err(|error| unfit(&error))?,
            aim: options.aim,
            platen: on.platen,
            platen_is_seen: on.is_seen,
            is_unlike: on.is_unlike,
        }),
    };
    let curve = curve(&fitted, &answer).map_err(|error| unfit(&error))?;
    Ok(Tuned {
        explained: fitted.rides().to_vec(),
        kept,
        station: of.station,
        ink: of.ink,
        fabric: of.fabric,
        answer,
        curve,
    })
}

/// What prints under a lamp lay on.
struct Lying {
    /// The mean of the surface before the lamp.
    start: Celsius,
    /// The mean of the platens.
    platen: Celsius,
    is_seen: bool,
    is_unlike: bool,
}

impl Lying {
    fn of(rides: &[Ridden]) -> Lying {
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len().max(1) as f64;
        let start = |own: &Ridden| own.ride.room.map_or(0.0, |room| room.0);
        let starts: Vec<f64> = rides.iter().map(start).collect();
        let platen = |own: &Ridden| own.platen.map_or_else(|| start(own), |platen| platen.0);
        let platens: Vec<f64> = rides.iter().map(platen).collect();
        let coolest = platens.iter().copied().fold(f64::INFINITY, f64::min);
        let warmest = platens.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Lying {
            start: Celsius(mean(&starts)),
            platen: Celsius(mean(&platens)),
            is_seen: rides.iter().all(|own| own.platen.is_some()),
            is_unlike: warmest - coolest > ALIKE,
        }
    }
}

/// What is drawn along: m/min of a belt, seconds under a lamp.
pub(super) fn along(trip: Trip) -> f64 {
    match trip {
        Trip::Belt(belt) => belt.0 * 60.0,
        Trip::Lamp(stay) => stay.0,
    }
}

/// Predictions over the speeds or stays worth showing: a little beyond the window and the rides.
fn curve(fitted: &Fit, answer: &Answer) -> Result<Vec<(f64, Prediction)>, HeatError> {
    let ridden = fitted.rides().iter().map(|ride| along(ride.trip));
    let (slow, fast) = answer.window();
    let all: Vec<f64> = ridden.chain(slow).chain(fast).collect();
    let least = all.iter().copied().fold(f64::INFINITY, f64::min) * 0.75;
    let most = all.iter().copied().fold(0.0, f64::max) * 1.3;
    let step = (most - least) / f64::from(DRAWN - 1);
    (0..DRAWN)
        .map(|number| least + step * f64::from(number))
        .map(|at| {
            let trip = match answer {
                Answer::Belt(_) => Trip::Belt(MetresPerSecond(at / 60.0)),
                Answer::Lamp(_) => Trip::Lamp(Seconds(at)),
            };
            Ok((at, fitted.predict(trip)?))
        })
        .collect()
}

impl Answer {
    /// The ends of what is proved, along the drawing; those that nothing limits, or all where nothing is proved, are
    /// `None`.
    pub(super) fn window(&self) -> (Option<f64>, Option<f64>) {
        match self {
            Answer::Belt(tuning) => tuning.window.as_ref().map_or((None, None), |window| {
                let slow = window.slow.map(|edge| edge.belt.0 * 60.0);
                (slow, Some(window.fast.belt.0 * 60.0))
            }),
            Answer::Lamp(on) => on.tuning.window.map_or((None, None), |stays| {
                let longest = stays.longest.map(|end| end.stay.0);
                (Some(stays.shortest.stay.0), longest)
            }),
        }
    }

    /// Whether anything is proved.
    pub(super) fn is_proved(&self) -> bool {
        match self {
            Answer::Belt(tuning) => tuning.window.is_some(),
            Answer::Lamp(on) => on.tuning.window.is_some(),
        }
    }

    /// What is recommended, along the drawing.
    fn recommended(&self) -> Option<f64> {
        match self {
            Answer::Belt(tuning) => Some(tuning.recommended.as_ref()?.belt.0 * 60.0),
            Answer::Lamp(on) => Some(on.tuning.recommended.as_ref()?.stay.0),
        }
    }
}

impl Tuned {
    /// The ride that is fit to be locked and was made nearest to what is recommended.
    pub(super) fn nearest(&self, is_fit: impl Fn(&KeptPass) -> bool) -> Option<&KeptPass> {
        let best = self.answer.recommended()?;
        let rides = self.kept.iter().zip(&self.explained);
        let rides = rides.filter(|(kept, _)| is_fit(kept));
        let off = |explained: &Explained| (along(explained.trip) - best).abs();
        let nearest = rides.min_by(|one, other| off(one.1).total_cmp(&off(other.1)));
        nearest.map(|(kept, _)| kept)
    }
}
