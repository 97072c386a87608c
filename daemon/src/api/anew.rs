//! Judging a pass anew from the journal's readings.
//!
//! A pass that ended while no batch was open has no verdict: nobody knew what its ink needed. When it is
//! given to a batch later, its readings go once more through the same engine, with the ticks, calibrations
//! and stops that there were, and this time the batch is open. The pass that comes out has to be the very
//! one, by its start and its end; else nothing is said of it.

use std::sync::Arc;

use inkdwell_config::library::Library;
use inkdwell_config::shop::{Calibration, Probe, Shop};
use inkdwell_cure::live::{BatchLaws, BatchPlan, Floor, FloorEvent, InputId, SeenPass};
use inkdwell_cure::plan::PrintLaws;

use crate::journal::{KeptPass, ReadError, Reader, RecordQuery, Shown};
use crate::keeper::{TICK, calibration_of, nobody_saw_it};
use crate::record::{BatchOpened, Judged, Occurrence, Place, Record};
use crate::time::Micros;

/// Reading begins so long before the pass, in seconds: longer than a probe takes from one print to the next.
const BEFORE: f64 = 120.0;
/// And goes on so long after it, in seconds: nearly always that is enough; a probe that fell silent inside a
/// pass was given up after ten minutes.
const AFTER: [f64; 2] = [60.0, 700.0];
/// The pass is the same if it begins and ends as close as this, in microseconds. (Under a lamp it is the same if
/// it begins there: when a print has cooled depends on what is asked of it.)
const SAME: i64 = 1000;

/// Why a pass cannot be judged anew.
#[derive(Debug, thiserror::Error)]
pub enum NotAnew {
    /// Its readings were forgotten.
    #[error(
        "the readings of pass {pass} are not kept any more, so that it cannot be judged by another batch's \
         laws; let its print be wash-tested"
    )]
    Forgotten {
        /// The pass.
        pass: u64,
    },
    /// The shop file knows nothing of where it was seen.
    #[error(
        "pass {pass} was seen by {probe} at {station}, which the shop file does not declare any more; \
         declare it again as it was, and ask again"
    )]
    Undeclared {
        /// The pass.
        pass: u64,
        /// The probe.
        probe: String,
        /// The station.
        station: String,
    },
    /// The engine does not find it.
    #[error(
        "pass {pass} is not found again in its readings: station, probe or limits are declared otherwise \
         now; declare them as they were, or let its print be wash-tested"
    )]
    NotFound {
        /// The pass.
        pass: u64,
    },
    /// The batch's laws cannot be read.
    #[error(
        "the laws of batch {batch} cannot be read from the journal; `inkdwell verify` tells more"
    )]
    NoLaws {
        /// The batch.
        batch: u64,
    },
    /// The journal cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
}

/// What happens to the floor, in order.
enum Happening {
    Reading(InputId, Option<f64>),
    Tick,
    Calibrated(Arc<str>, Calibration),
    /// The laws changed: what a flash unit had in hand was settled.
    BatchChanged,
    Stopped,
}

/// Judges a pass by the laws of a batch.
///
/// # Errors
/// When the readings are gone, or do not give the same pass any more.
pub fn judge(
    reader: &Reader,
    shop: &Shop,
    batch: &BatchOpened,
    kept: &KeptPass,
) -> Result<Judged, NotAnew> {
    let pass = kept.pass.pass;
    let batch_number = batch.batch;
    let declared = Library::parse("journal", &batch.declared).value;
    let (Some(ink), Some(fabric)) = (declared.inks().first(), declared.fabrics().first()) else {
        return Err(NotAnew::NoLaws {
            batch: batch_number,
        });
    };
    if kept.pass.place == Place::Count {
        return Ok(nobody_saw_it(ink.threshold.0));
    }
    if !kept.readings_kept {
        return Err(NotAnew::Forgotten { pass });
    }
    let plan = BatchPlan {
        number: batch_number,
        laws: BatchLaws {
            laws: PrintLaws::new(ink, fabric),
            last_heat: batch.last_heat,
        },
        recipe: None,
    };
    for after in AFTER {
        let found = Again::new(reader, shop, kept, after)?.find(&plan)?;
        if let Some(judged) = found.and_then(|found| found.judged) {
            return Ok(Judged::new(&judged, shop.units));
        }
    }
    Err(NotAnew::NotFound { pass })
}

/// One pass's time, played again.
struct Again<'a> {
    reader: &'a Reader,
    kept: &'a KeptPass,
    floor: Floor,
    station: String,
    /// Sources and channels of the station's probes.
    channels: Vec<(&'a str, &'a str)>,
    from: Micros,
    to: Micros,
    probe: &'a str,
}

impl<'a> Again<'a> {
    fn new(
        reader: &'a Reader,
        shop: &'a Shop,
        kept: &'a KeptPass,
        after: f64,
    ) -> Result<Again<'a>, NotAnew> {
        let pass = &kept.pass;
        let probe = pass.probe.as_deref().unwrap_or_default();
        let mut probes = shop.probes.iter();
        let is_declared = probes.any(|own| {
            own.id == probe && own.station.as_ref() == Some(&pass.station) && own.source.is_some()
        });
        if !is_declared {
            return Err(NotAnew::Undeclared {
                pass: pass.pass,
                probe: probe.to_owned(),
                station: pass.station.clone(),
            });
        }
        let from = pass.start.plus_seconds(-BEFORE);
        Ok(Again {
            reader,
            kept,
            floor: Floor::new(shop, from),
            station: pass.station.clone(),
            channels: channels_at(shop, &pass.station),
            from,
            to: pass.end.plus_seconds(after),
            probe,
        })
    }

    /// Plays it, and gives out the pass.
    fn find(mut self, plan: &BatchPlan) -> Result<Option<SeenPass>, NotAnew> {
        let mut happenings = self.calibrate_before()?;
        happenings.extend(self.readings()?);
        happenings.sort_by_key(|(at, order, _)| (*at, *order));
        let (probe, pass) = (self.probe, &self.kept.pass);
        let same = |seen: &SeenPass| {
            let near = |a: Micros, b: Micros| (a.0 - b.0).abs() <= SAME;
            seen.probe.as_deref() == Some(probe)
                && near(seen.start, pass.start)
                && (near(seen.end, pass.end) || pass.place == Place::Flash)
        };
        let mut found = None;
        let mut note = |event: FloorEvent| {
            if let FloorEvent::PassEnded(seen) = event
                && same(&seen)
            {
                found = Some(*seen);
            }
        };
        self.floor
            .open_batch(&self.station, self.from, plan.clone(), &mut note);
        for (at, _, happening) in happenings {
            match happening {
                Happening::Reading(input, value) => {
                    self.floor.read(input, at, value, &mut note);
                }
                Happening::Tick => self.floor.tick(at, &mut note),
                Happening::Calibrated(probe, made) => self.floor.calibrate(&probe, &made),
                Happening::BatchChanged => {
                    self.floor
                        .open_batch(&self.station, at, plan.clone(), &mut note);
                }
                Happening::Stopped => self.floor.finish(&mut note),
            }
        }
        self.floor.finish(&mut note);
        Ok(found)
    }

    /// Calibrations that held when it began are taken at once; later ones are given back with their times.
    fn calibrate_before(&mut self) -> Result<Vec<(Micros, u32, Happening)>, NotAnew> {
        let mut later = Vec::new();
        for kept in self.reader.calibrations(None)? {
            let Some(made) = calibration_of(&kept.calibration) else {
                continue;
            };
            let probe = &kept.calibration.probe;
            if kept.at > self.from {
                let probe = Arc::from(probe.as_str());
                later.push((kept.at, 0, Happening::Calibrated(probe, made)));
                continue;
            }
            let holds = self.floor.probe(probe);
            let holds = holds.and_then(|probe| probe.calibration.as_ref());
            // The shop file may know a newer one.
            if holds.is_none_or(|holds| holds.date <= made.date) {
                self.floor.calibrate(probe, &made);
            }
        }
        Ok(later)
    }

    /// The readings of every probe of the station, ticks, and what was done meanwhile, each with its time and
    /// its place among those of the same time.
    fn readings(&self) -> Result<Vec<(Micros, u32, Happening)>, NotAnew> {
        let mut happenings = Vec::new();
        for known in self.reader.channels()? {
            let is_tick = known.source.is_empty() && known.name == TICK;
            let name = (known.source.as_str(), known.name.as_str());
            let input = self.floor.input(&known.source, &known.name);
            if !is_tick && (input.is_none() || !self.channels.contains(&name)) {
                continue;
            }
            for reading in self.reader.readings(known.number, self.from, self.to) {
                let reading = reading?;
                let happening = match (input, reading.shown) {
                    _ if !reading.fed => continue,
                    (None, _) => Happening::Tick,
                    (Some(input), Shown::Number(number)) => Happening::Reading(input, Some(number)),
                    (Some(input), Shown::Word(_)) => Happening::Reading(input, None),
                };
                // Channels were numbered in the order in which a delivery is fed.
                happenings.push((reading.at, known.number.0, happening));
            }
        }
        self.decisions(&mut happenings)?;
        Ok(happenings)
    }

    fn decisions(&self, happenings: &mut Vec<(Micros, u32, Happening)>) -> Result<(), NotAnew> {
        let records = self.reader.records(RecordQuery {
            from: self.from,
            before: self.to,
            kinds: vec!["batch-opened", "batch-closed", "occurred"],
        });
        for kept in records {
            let kept = kept?;
            let happening = match kept.record {
                Record::BatchOpened(opened) if opened.station == self.station => {
                    Happening::BatchChanged
                }
                Record::BatchClosed(closed) if self.is_here(closed.batch)? => {
                    Happening::BatchChanged
                }
                Record::Occurred(occurred) if occurred.what == Occurrence::Stopped => {
                    Happening::Stopped
                }
                _ => continue,
            };
            happenings.push((kept.at, u32::MAX, happening));
        }
        Ok(())
    }

    fn is_here(&self, batch: u64) -> Result<bool, NotAnew> {
        let batch = self.reader.batch(batch)?;
        Ok(batch.is_some_and(|kept| kept.batch.station == self.station))
    }
}

/// What the probes of a station read, their reference junctions included.
fn channels_at<'a>(shop: &'a Shop, station: &str) -> Vec<(&'a str, &'a str)> {
    let here = |probe: &&Probe| probe.station.as_deref() == Some(station);
    let mut channels = Vec::new();
    for probe in shop.probes.iter().filter(here) {
        if let Some(source) = &probe.source {
            channels.push((source.as_str(), probe.channel.as_str()));
            let junction = probe.junction.iter();
            channels.extend(junction.map(|junction| (source.as_str(), junction.as_str())));
        }
    }
    channels
}
