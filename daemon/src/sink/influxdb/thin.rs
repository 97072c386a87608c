//! Readings, thinned without losing a peak.
//!
//! Of every channel the lowest and the highest reading in each interval are sent as they are, each with its own
//! time. A probe that stays within a degree sends two points in ten seconds; one that shoots up for a tenth of a
//! second is seen to do so. Should an interval be gone over twice, or in two parts, the points are the same or
//! more of them, never others.

use std::collections::{BTreeMap, HashMap, HashSet};

use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::{Probe, Shop, SignalKind};
use inkdwell_cure::sensor::Meter;

use super::lines::{Point, READING};
use crate::journal::{ChannelNumber, CommitNumber, ForgottenReadings, ReadError, Reader, Shown};
use crate::keeper::calibration_of;
use crate::time::Micros;
use crate::wall::WallTimes;

/// What a channel's numbers are.
enum Meaning {
    Probe {
        meter: Box<Meter>,
        /// The channel of its reference junction, and what that showed last.
        junction: Option<(ChannelNumber, Option<f64>)>,
        /// Calibrations that people have made, by the time from which they hold.
        made: Vec<(Micros, inkdwell_config::shop::Calibration)>,
    },
    /// A signal's number, times this.
    Signal { field: &'static str, factor: f64 },
}

struct Series {
    /// Its probe or signal.
    id: String,
    station: Option<String>,
    meaning: Meaning,
}

/// The lowest and the highest of an interval.
#[derive(Debug, Clone, Copy)]
struct Extremes {
    lowest: (Micros, f64),
    highest: (Micros, f64),
}

/// Lines of readings, and up to which commit they are.
pub(super) struct Thinned {
    pub(super) lines: Vec<Vec<u8>>,
    pub(super) commit: CommitNumber,
    /// What is missing among them, since the journal keeps readings for a limited time only.
    pub(super) forgotten: Option<ForgottenReadings>,
}

/// Goes over the next piece of what was committed after a commit and up to another, or a little further; `None` where
/// there is nothing.
pub(super) fn next(
    reader: &Reader,
    walls: &WallTimes,
    shop: &Shop,
    (after, to): (CommitNumber, CommitNumber),
    every: Micros,
) -> Result<Option<Thinned>, ReadError> {
    loop {
        let mut series = all_series(reader, shop)?;
        // In a packed stretch channels come one after another: a junction's must be known before.
        let (cold, first) = junctions(reader, &series, after, to)?;
        let mut by_channel: HashMap<ChannelNumber, Vec<usize>> = HashMap::new();
        for (place, (channel, _)) in series.iter().enumerate() {
            by_channel.entry(*channel).or_default().push(place);
        }
        let mut found: BTreeMap<(usize, i64), Extremes> = BTreeMap::new();
        let commit = reader.readings_after(after, to, &mut |reading| {
            let (Shown::Number(number), true) = (reading.shown, reading.fed) else {
                return;
            };
            for place in by_channel.get(&reading.channel).into_iter().flatten() {
                let value = series[*place].1.value(reading.at, number, &cold);
                if let Some(value) = value.filter(|value| value.is_finite()) {
                    let interval = reading.at.0.div_euclid(every.0.max(1));
                    note(&mut found, (*place, interval), (reading.at, value));
                }
            }
        })?;
        // Where readings were packed between the two looks, these were not of the same piece.
        if first.is_some_and(|first| first != commit) {
            continue;
        }
        let Some(commit) = commit else {
            return Ok(None);
        };
        return Ok(Some(Thinned {
            lines: lines(shop, walls, &series, &found),
            commit,
            forgotten: reader.forgotten_readings(after, commit)?,
        }));
    }
}

/// What reference junctions showed, and when; and the piece that this is of, where there are any.
type Junctions = (
    BTreeMap<(ChannelNumber, Micros), f64>,
    Option<Option<CommitNumber>>,
);

fn junctions(
    reader: &Reader,
    series: &[(ChannelNumber, Series)],
    after: CommitNumber,
    to: CommitNumber,
) -> Result<Junctions, ReadError> {
    let mut cold = BTreeMap::new();
    let wanted: HashSet<ChannelNumber> = series
        .iter()
        .filter_map(|(_, own)| match &own.meaning {
            Meaning::Probe { junction, .. } => junction.map(|(channel, _)| channel),
            Meaning::Signal { .. } => None,
        })
        .collect();
    if wanted.is_empty() {
        return Ok((cold, None));
    }
    let commit = reader.readings_after(after, to, &mut |reading| {
        if let (true, Shown::Number(number)) = (wanted.contains(&reading.channel), reading.shown) {
            cold.insert((reading.channel, reading.at), number);
        }
    })?;
    Ok((cold, Some(commit)))
}

fn lines(
    shop: &Shop,
    walls: &WallTimes,
    series: &[(ChannelNumber, Series)],
    found: &BTreeMap<(usize, i64), Extremes>,
) -> Vec<Vec<u8>> {
    let mut lines = Vec::with_capacity(2 * found.len());
    for ((place, _), Extremes { lowest, highest }) in found {
        let own = &series[*place].1;
        lines.extend(own.line(shop, walls, *lowest));
        if highest.0 != lowest.0 {
            lines.extend(own.line(shop, walls, *highest));
        }
    }
    lines
}

fn note(found: &mut BTreeMap<(usize, i64), Extremes>, place: (usize, i64), reading: (Micros, f64)) {
    let extremes = found.entry(place).or_insert(Extremes {
        lowest: reading,
        highest: reading,
    });
    if reading.1 < extremes.lowest.1 {
        extremes.lowest = reading;
    }
    if reading.1 > extremes.highest.1 {
        extremes.highest = reading;
    }
}

fn all_series(reader: &Reader, shop: &Shop) -> Result<Vec<(ChannelNumber, Series)>, ReadError> {
    let mut all = Vec::new();
    for probe in &shop.probes {
        let Some(source) = &probe.source else {
            continue;
        };
        let Some(channel) = reader.channel(source, &probe.channel)? else {
            continue;
        };
        let junction = match &probe.junction {
            None => None,
            Some(junction) => match reader.channel(source, junction)? {
                Some(channel) => Some((channel, None)),
                // Millivolts whose junction is not known are no temperature.
                None => continue,
            },
        };
        let series = Series {
            id: probe.id.clone(),
            station: probe.station.clone(),
            meaning: Meaning::Probe {
                meter: Box::new(Meter::new(probe)),
                junction,
                made: made(reader, probe)?,
            },
        };
        all.push((channel, series));
    }
    for signal in &shop.signals {
        let Some(source) = &signal.source else {
            continue;
        };
        let Some(channel) = reader.channel(source, &signal.channel)? else {
            continue;
        };
        let (field, factor) = match signal.kind {
            SignalKind::Belt { metres_per_second } => ("m_per_min", metres_per_second * 60.0),
            SignalKind::Count { .. } => ("prints", 1.0),
            SignalKind::Exhaust { .. } => ("proof", 1.0),
        };
        let series = Series {
            id: signal.id.clone(),
            station: Some(signal.station.clone()),
            meaning: Meaning::Signal { field, factor },
        };
        all.push((channel, series));
    }
    Ok(all)
}

/// The calibrations of a probe that win over the one that the shop file declares, oldest first.
fn made(
    reader: &Reader,
    probe: &Probe,
) -> Result<Vec<(Micros, inkdwell_config::shop::Calibration)>, ReadError> {
    let declared = probe.calibration.as_ref();
    let kept = reader.calibrations(Some(&probe.id))?.into_iter();
    let mut made: Vec<_> = kept
        .filter_map(|kept| Some((kept.at, calibration_of(&kept.calibration)?)))
        .filter(|(_, made)| declared.is_none_or(|declared| declared.date <= made.date))
        .collect();
    made.sort_by_key(|(at, _)| *at);
    Ok(made)
}

impl Series {
    fn value(
        &mut self,
        at: Micros,
        number: f64,
        cold: &BTreeMap<(ChannelNumber, Micros), f64>,
    ) -> Option<f64> {
        match &mut self.meaning {
            Meaning::Signal { factor, .. } => Some(number * *factor),
            Meaning::Probe {
                meter,
                junction,
                made,
            } => {
                let due = made.partition_point(|(from, _)| *from <= at);
                for (_, calibration) in made.drain(..due) {
                    meter.calibrate(&calibration);
                }
                let junction = match junction {
                    None => None,
                    Some((channel, last)) => {
                        let range = (*channel, Micros(i64::MIN))..=(*channel, at);
                        let before = cold.range(range).next_back();
                        *last = before.map(|(_, number)| *number).or(*last);
                        Some(Celsius((*last)?))
                    }
                };
                meter.celsius(number, junction).map(|celsius| celsius.0)
            }
        }
    }

    fn line(&self, shop: &Shop, walls: &WallTimes, (at, value): (Micros, f64)) -> Option<Vec<u8>> {
        let (tag, field) = match self.meaning {
            Meaning::Probe { .. } => ("probe", "celsius"),
            Meaning::Signal { field, .. } => ("signal", field),
        };
        let point = Point::new(READING)
            .tag("shop", Some(&shop.name))
            .tag("station", self.station.as_deref())
            .tag(tag, Some(&self.id))
            .number(field, Some(value));
        point.line(walls.shown(at), 0).ok()
    }
}
