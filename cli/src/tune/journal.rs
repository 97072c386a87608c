//! Rides out of the daemon's journal: those of the call's ink on its fabric through its station.
//!
//! A journal of a year holds hundreds of rides, most of them at one speed. The newest are taken, at most
//! [`OF_ONE_SPEED`] of about one speed, so that those at other speeds, which tell most, are among them.

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::path::PathBuf;

use chrono::DateTime;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, MetresPerSecond, Seconds};
use inkdwell_config::shop::{Place, Probe};
use inkdwell_cure::heat::fit::{Ride, Trip};
use inkdwell_cure::trace_file::{Column, ColumnKind, Notes};
use inkdwell_daemon::journal::{Batches, KeptPass, PassQuery, ReadError, Reader, Readers};
use inkdwell_daemon::record::{Judged, PassJudged, Place as Seen};
use inkdwell_daemon::shown::temperatures;
use inkdwell_daemon::time::Micros;

use super::call::Call;
use crate::failure::Failure;
use crate::ride_file::Trace;

/// The variable that names the data folder.
const FOLDER: &str = "INKDWELL_DATA";
/// So many rides are taken: more tell little that is new.
const MOST: usize = 6;
/// So many of about one speed.
const OF_ONE_SPEED: usize = 2;
/// Speeds closer than this (as a share) are about one.
const ALIKE: f64 = 0.05;
/// Readings are taken from so many seconds before a pass to so many after it.
const AROUND: f64 = 60.0;
/// Of heatings under a lamp so many are read; their file's reader chooses among them.
const HEATINGS: usize = 12;

/// Rides that were found.
pub(super) struct Found<R> {
    /// In the order of time.
    pub(super) rides: Vec<R>,
    /// What is said of where they come from.
    pub(super) remarks: Vec<String>,
}

/// A ride on a belt.
pub(super) struct BeltRide {
    /// Its pass, by its number in the journal.
    pub(super) pass: u64,
    /// What it is called.
    pub(super) name: String,
    pub(super) ride: Ride,
    pub(super) peak: Celsius,
}

/// Heatings under a lamp in one stretch of time.
pub(super) struct Stretch {
    pub(super) name: String,
    pub(super) trace: Trace,
    /// The probe's doubt then.
    pub(super) uncertainty: CelsiusDifference,
}

/// The journal of a call.
struct Book<'a> {
    call: &'a Call,
    file: PathBuf,
    reader: Reader,
}

/// The rides on a belt that the journal holds for a call.
pub(super) fn belt_rides(call: &Call) -> Result<Found<BeltRide>, Failure> {
    let book = Book::open(call)?;
    let mut taken: Vec<BeltRide> = Vec::new();
    let mut left_out = Vec::new();
    let mut older = 0;
    for (pass, judged) in book.passes(Seen::Ride)?.into_iter().rev() {
        let belt = match usable(&pass, &judged) {
            Ok(belt) => belt,
            Err(why) => {
                left_out.push(format!("{}: {why}", book.name(&pass.pass)));
                continue;
            }
        };
        let alike = |ride: &&BeltRide| is_alike(&ride.ride, belt);
        if taken.len() == MOST || taken.iter().filter(alike).count() == OF_ONE_SPEED {
            older += 1;
            continue;
        }
        taken.push(book.belt_ride(&pass.pass, &judged, belt)?);
    }
    if taken.is_empty() {
        return Err(book.nothing(&left_out));
    }
    taken.reverse();
    let numbers: Vec<u64> = taken.iter().map(|ride| ride.pass).collect();
    Ok(Found {
        remarks: book.remarks(&numbers, older, &left_out),
        rides: taken,
    })
}

/// The heatings under a lamp that the journal holds for a call.
pub(super) fn stretches(call: &Call) -> Result<Found<Stretch>, Failure> {
    let book = Book::open(call)?;
    let mut left_out = Vec::new();
    let mut passes = Vec::new();
    for (pass, judged) in book.passes(Seen::Flash)? {
        match whole(&pass, &judged) {
            Ok(()) => passes.push((pass.pass, judged)),
            Err(why) => left_out.push(format!("{}: {why}", book.name(&pass.pass))),
        }
    }
    let older = passes.len().saturating_sub(HEATINGS);
    passes.drain(..older);
    if passes.is_empty() {
        return Err(book.nothing(&left_out));
    }
    let numbers: Vec<u64> = passes.iter().map(|(pass, _)| pass.pass).collect();
    let mut groups: Vec<Vec<(PassJudged, Judged)>> = Vec::new();
    for next in passes {
        let joins = |group: &Vec<(PassJudged, Judged)>| {
            group.last().is_some_and(|(last, _)| {
                last.probe == next.0.probe && next.0.start.seconds_since(last.end) < 2.0 * AROUND
            })
        };
        match groups.last_mut() {
            Some(group) if joins(group) => group.push(next),
            _ => groups.push(vec![next]),
        }
    }
    let rides = groups.iter().map(|group| book.stretch(group));
    Ok(Found {
        rides: rides.collect::<Result<_, _>>()?,
        remarks: book.remarks(&numbers, older, &left_out),
    })
}

fn is_alike(ride: &Ride, belt: MetresPerSecond) -> bool {
    match ride.trip {
        Trip::Belt(speed) => (speed.0 / belt.0).ln().abs() < ALIKE,
        Trip::Lamp(_) => false,
    }
}

/// Whether a pass was seen whole and its readings are still there.
fn whole(pass: &KeptPass, judged: &Judged) -> Result<(), &'static str> {
    match (judged.cut, pass.readings_kept) {
        (true, _) => Err("it was seen only in part"),
        (_, false) => Err("its readings were forgotten by age"),
        _ => Ok(()),
    }
}

/// The speed of a ride that a fit can use, or why it cannot.
fn usable(pass: &KeptPass, judged: &Judged) -> Result<MetresPerSecond, &'static str> {
    whole(pass, judged)?;
    match pass.pass.belt_m_per_min {
        Some(belt) if belt > 0.0 => Ok(MetresPerSecond(belt / 60.0)),
        Some(_) => Err("the belt stood still"),
        None => Err("nobody recorded how fast the belt ran"),
    }
}

impl<'a> Book<'a> {
    fn open(call: &'a Call) -> Result<Book<'a>, Failure> {
        let named = call.data.clone().or_else(|| {
            let folder: OsString = std::env::var_os(FOLDER)?;
            (!folder.is_empty()).then(|| PathBuf::from(folder))
        });
        let Some(folder) = named else {
            return Err(Failure::new(format!(
                "no ride is given; name one to three ride files with --ride FILE, or the data folder whose \
                 journal holds rides with --data DIR or in {FOLDER}"
            )));
        };
        let opened = Readers::at(&folder);
        let readers = opened.map_err(|error| Failure::new(error.to_string()))?;
        let reader = readers.reader();
        Ok(Book {
            call,
            file: readers.file().to_owned(),
            reader: reader.map_err(|error| Failure::new(error.to_string()))?,
        })
    }

    fn failed(&self, error: &ReadError) -> Failure {
        Failure::new(format!("{}: {error}", self.file.display()))
    }

    /// The passes of the call's ink, fabric and station that were seen like this, in the order of time.
    fn passes(&self, seen: Seen) -> Result<Vec<(KeptPass, Judged)>, Failure> {
        let call = self.call;
        let batches = self.reader.batches(Batches::All);
        let batches: BTreeSet<u64> = batches
            .map_err(|error| self.failed(&error))?
            .into_iter()
            .map(|kept| kept.batch)
            .filter(|batch| batch.station == call.station.id)
            .filter(|batch| batch.ink == call.ink.id && batch.fabric == call.fabric.id)
            .map(|batch| batch.batch)
            .collect();
        let query = PassQuery {
            station: Some(call.station.id.clone()),
            ..PassQuery::default()
        };
        let passes = self.reader.passes(&query);
        let passes = passes.map_err(|error| self.failed(&error))?;
        let wanted = passes.into_iter().filter_map(|kept| {
            let pass = &kept.pass;
            let of_channel = |name: &String| pass.probe.as_ref() == Some(name);
            let is_wanted = pass.place == seen
                && pass.batch.is_some_and(|batch| batches.contains(&batch))
                && call.channel.as_ref().is_none_or(of_channel);
            let judged = pass.judged.clone()?;
            is_wanted.then_some((kept, judged))
        });
        Ok(wanted.collect())
    }

    /// A pass as people call it.
    fn name(&self, pass: &PassJudged) -> String {
        let at = DateTime::from_timestamp_micros(pass.start.0).unwrap_or_default();
        let at = at.with_timezone(&self.call.timezone);
        format!("pass {} of {}", pass.pass, at.format("%Y-%m-%d %H:%M"))
    }

    /// The probe that saw a pass.
    fn probe_of(&self, pass: &PassJudged) -> Result<&'a Probe, Failure> {
        let named = |probe: &&Probe| Some(&probe.id) == pass.probe.as_ref();
        self.call.probes.iter().find(named).ok_or_else(|| {
            Failure::new(format!(
                "{}: {} was seen by a probe {:?}, which the shop file does not declare; name the shop file \
                 that the daemon runs with",
                self.file.display(),
                self.name(pass),
                pass.probe.as_deref().unwrap_or_default()
            ))
        })
    }

    /// Those of the shop's probes at one place of the call's station, or in its room.
    fn probes_at(&self, place: Place) -> impl Iterator<Item = &'a Probe> {
        let station = &self.call.station.id;
        let probes = self.call.probes.iter();
        probes.filter(move |probe| {
            probe.place == place && probe.station.as_ref().is_none_or(|own| own == station)
        })
    }

    fn shown(
        &self,
        probe: &Probe,
        (from, to): (Micros, Micros),
    ) -> Result<Vec<(Micros, f64)>, Failure> {
        let shown = temperatures(&self.reader, probe, from, to);
        shown.map_err(|error| self.failed(&error))
    }

    fn belt_ride(
        &self,
        pass: &PassJudged,
        judged: &Judged,
        belt: MetresPerSecond,
    ) -> Result<BeltRide, Failure> {
        let around = (
            pass.start.plus_seconds(-AROUND),
            pass.end.plus_seconds(AROUND),
        );
        let seconds = |shown: Vec<(Micros, f64)>| -> Vec<(f64, f64)> {
            let since = |at: Micros| at.seconds_since(around.0);
            shown.into_iter().map(|(at, t)| (since(at), t)).collect()
        };
        let good = |shown: Vec<(Micros, f64)>| -> Vec<(Seconds, Celsius)> {
            let good = inkdwell_cure::good_samples(&seconds(shown));
            let pairs = good.into_iter();
            pairs.map(|(t, c)| (Seconds(t), Celsius(c))).collect()
        };
        let wake = self.call.station.wake;
        let wake = wake.unwrap_or(inkdwell_cure::plan::DEFAULT_WAKE);
        let mut cloth = Vec::new();
        for probe in self.probes_at(Place::Cloth) {
            let shown = good(self.shown(probe, around)?);
            // One that stayed at home rode with no print.
            if cloth.is_empty() && shown.iter().any(|(_, celsius)| celsius.0 > wake.0) {
                cloth = shown;
            }
        }
        let mut room = None;
        for probe in self.probes_at(Place::Room) {
            let shown = self.shown(probe, around)?;
            let sum: f64 = shown.iter().map(|(_, celsius)| celsius).sum();
            if room.is_none() && !shown.is_empty() {
                room = Some(Celsius(sum / shown.len() as f64));
            }
        }
        let own = CelsiusDifference(judged.uncertainty_c);
        Ok(BeltRide {
            pass: pass.pass,
            name: self.name(pass),
            ride: Ride {
                trip: Trip::Belt(belt),
                film: good(self.shown(self.probe_of(pass)?, around)?),
                cloth,
                room,
                uncertainty: self.call.uncertainty.unwrap_or(own),
            },
            peak: Celsius(judged.peak_c),
        })
    }

    /// Heatings that follow each other, as a file of them would be.
    fn stretch(&self, heatings: &[(PassJudged, Judged)]) -> Result<Stretch, Failure> {
        let [(first, _), ..] = heatings else {
            return Err(self.nothing(&[]));
        };
        let last = heatings.last().map_or(first, |(last, _)| last);
        let around = (
            first.start.plus_seconds(-AROUND),
            last.end.plus_seconds(AROUND),
        );
        let mut trace = Trace {
            notes: Notes::default(),
            columns: Vec::new(),
            series: Vec::new(),
        };
        let mut add = |name: &str, shown: Vec<(Micros, f64)>| {
            let since = |at: Micros| at.seconds_since(around.0);
            let series = shown.into_iter().map(|(at, celsius)| (since(at), celsius));
            trace.series.push(series.collect());
            trace.columns.push(Column {
                name: name.to_owned(),
                header: format!("{name}_c"),
                kind: ColumnKind::Celsius,
            });
        };
        add("surface", self.shown(self.probe_of(first)?, around)?);
        for probe in self.probes_at(Place::Platen) {
            let shown = self.shown(probe, around)?;
            if !shown.is_empty() {
                add("platen", shown);
                break;
            }
        }
        let doubts = heatings.iter().map(|(_, judged)| judged.uncertainty_c);
        Ok(Stretch {
            name: match first.pass == last.pass {
                true => self.name(first),
                false => format!("{} to {}", self.name(first), last.pass),
            },
            trace,
            uncertainty: CelsiusDifference(doubts.fold(0.0, f64::max)),
        })
    }

    fn remarks(&self, numbers: &[u64], older: usize, left_out: &[String]) -> Vec<String> {
        let listed: Vec<String> = numbers.iter().map(u64::to_string).collect();
        let mut remarks = vec![format!(
            "the rides are from the journal {}: {} {}{}",
            self.file.display(),
            if numbers.len() == 1 { "pass" } else { "passes" },
            listed.join(", "),
            match older {
                0 => String::new(),
                _ => format!("; {older} more tell nothing new and were left out"),
            }
        )];
        if !left_out.is_empty() {
            remarks.push(format!("not used: {}", left_out.join("; ")));
        }
        remarks
    }

    /// That there is none, and what to do.
    fn nothing(&self, left_out: &[String]) -> Failure {
        let call = self.call;
        let unused = match left_out {
            [] => String::new(),
            _ => format!(" that can be used ({})", left_out.join("; ")),
        };
        Failure::of_file(
            self.file.display(),
            format_args!(
                "holds no ride of {} on {} through {}{unused}",
                call.ink.id, call.fabric.id, call.station.id
            ),
            "send a print through with a probe in the ink while a batch of them is open, or name ride files \
             with --ride FILE",
        )
    }
}
