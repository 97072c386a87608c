//! Belt and chamber through the day.

use inkdwell_config::shop::{Place, Probe, Shop, Signal, SignalKind};
use inkdwell_cure::sensor::Meter;

use super::super::period::Asked;
use super::super::{Chamber, Known, ReportError};
use super::tally::Tally;
use super::{Desk, LONGEST_CHAMBER, NO_SHOP_FILE};
use crate::journal::Shown;
use crate::keeper::calibration_of;
use crate::shown::temperatures as readings;
use crate::time::Micros;

/// The time is cut into about so many pieces.
const PIECES: f64 = 240.0;
/// No piece is shorter than this, in seconds.
const SHORTEST: f64 = 10.0;
/// What was before the first print and after the last one is shown for so many seconds.
const AROUND: f64 = 600.0;

/// Readings put into pieces of equal time.
struct Pieces {
    from: Micros,
    piece_s: f64,
    /// Least, sum, greatest, number.
    pieces: Vec<Option<(f64, f64, f64, u32)>>,
}

impl Pieces {
    fn new(from: Micros, to: Micros) -> Pieces {
        let span = to.seconds_since(from).max(SHORTEST);
        let piece_s = (span / PIECES).max(SHORTEST).ceil();
        // Some hundreds at most.
        let count = (span / piece_s).ceil() as usize;
        Pieces {
            from,
            piece_s,
            pieces: vec![None; count.max(1)],
        }
    }

    fn add(&mut self, at: Micros, figure: f64) {
        let place = at.seconds_since(self.from) / self.piece_s;
        if !(place >= 0.0 && figure.is_finite()) {
            return;
        }
        let last = self.pieces.len() - 1;
        let piece = &mut self.pieces[(place as usize).min(last)];
        let (least, sum, greatest, count) = piece.unwrap_or((figure, 0.0, figure, 0));
        *piece = Some((
            least.min(figure),
            sum + figure,
            greatest.max(figure),
            count + 1,
        ));
    }

    fn told(&self) -> Vec<(f64, f64, f64, f64)> {
        let round = |number: f64| (number * 1e3).round() / 1e3;
        let pieces = self.pieces.iter().enumerate();
        pieces
            .filter_map(|(place, piece)| {
                let (least, sum, greatest, count) = (*piece)?;
                let mean = sum / f64::from(count);
                let begins = place as f64 * self.piece_s;
                Some((begins, round(least), round(mean), round(greatest)))
            })
            .collect()
    }
}

impl Desk<'_> {
    /// What the fixed probes and the belts showed.
    pub(super) fn chamber(
        &self,
        tally: &Tally,
        asked: &Asked,
    ) -> Result<Known<Vec<Chamber>>, ReportError> {
        let Some(file) = self.shop else {
            return Ok(Known::not(NO_SHOP_FILE));
        };
        let (Some(first), Some(last)) = (tally.first, tally.last) else {
            return Ok(Known::not("Nothing was printed."));
        };
        let from = first.plus_seconds(-AROUND).max(self.from);
        let to = last.plus_seconds(AROUND).min(self.before);
        if to.seconds_since(from) > LONGEST_CHAMBER {
            return Ok(Known::not("Too long to draw; ask by the day."));
        }
        let wanted = |station: Option<&str>| {
            let here = station.is_none_or(|station| tally.stations.contains(station));
            here && (asked.station.is_none() || station == asked.station.as_deref())
        };
        let mut chamber = Vec::new();
        for probe in &file.shop.probes {
            if fixed(probe.place).is_some() && wanted(probe.station.as_deref()) {
                chamber.extend(self.probe_through(&file.shop, probe, from, to)?);
            }
        }
        for signal in &file.shop.signals {
            if wanted(Some(&signal.station)) {
                chamber.extend(self.belt_through(signal, from, to)?);
            }
        }
        Ok(match chamber.is_empty() {
            true => Known::not("No fixed probe and no belt signal was heard."),
            false => Known::Is(chamber),
        })
    }

    fn probe_through(
        &self,
        shop: &Shop,
        probe: &Probe,
        from: Micros,
        to: Micros,
    ) -> Result<Option<Chamber>, ReportError> {
        let Some(place) = fixed(probe.place) else {
            return Ok(None);
        };
        let mut pieces = Pieces::new(from, to);
        if probe.junction.is_some() {
            for (at, celsius) in readings(self.reader, probe, from, to)? {
                pieces.add(at, celsius);
            }
        } else {
            let meter = self.meter(probe, from)?;
            self.each(
                probe.source.as_deref(),
                &probe.channel,
                from,
                to,
                |at, number| {
                    if let Some(celsius) = meter.celsius(number, None) {
                        pieces.add(at, celsius.0);
                    }
                },
            )?;
        }
        let zone = probe.zone.map_or(String::new(), |zone| format!(" {zone}"));
        let station = probe.station.as_ref();
        let station = station.filter(|id| shop.station(id).is_some());
        Ok(self.piece_together(&probe.id, station, &format!("{place}{zone}"), "°C", &pieces))
    }

    /// A probe's meter as it was calibrated at a moment.
    fn meter(&self, probe: &Probe, at: Micros) -> Result<Meter, ReportError> {
        let mut meter = Meter::new(probe);
        for kept in self.reader.calibrations(Some(&probe.id))? {
            let declared = probe.calibration.as_ref();
            if let Some(made) = calibration_of(&kept.calibration)
                && kept.at <= at
                && declared.is_none_or(|declared| declared.date <= made.date)
            {
                meter.calibrate(&made);
            }
        }
        Ok(meter)
    }

    fn belt_through(
        &self,
        signal: &Signal,
        from: Micros,
        to: Micros,
    ) -> Result<Option<Chamber>, ReportError> {
        let SignalKind::Belt { metres_per_second } = signal.kind else {
            return Ok(None);
        };
        let mut pieces = Pieces::new(from, to);
        self.each(
            signal.source.as_deref(),
            &signal.channel,
            from,
            to,
            |at, number| {
                pieces.add(at, number * metres_per_second * 60.0);
            },
        )?;
        let station = Some(&signal.station);
        Ok(self.piece_together(&signal.id, station, "belt", "m/min", &pieces))
    }

    fn piece_together(
        &self,
        id: &str,
        station: Option<&String>,
        place: &str,
        unit: &str,
        pieces: &Pieces,
    ) -> Option<Chamber> {
        let told = pieces.told();
        (!told.is_empty()).then(|| Chamber {
            id: id.to_owned(),
            station: station.cloned(),
            place: place.to_owned(),
            unit: unit.to_owned(),
            piece_s: pieces.piece_s,
            pieces: told,
            from: self.clock.moment(pieces.from),
        })
    }

    /// Each number of a channel that the engine was fed with.
    fn each(
        &self,
        source: Option<&str>,
        channel: &str,
        from: Micros,
        to: Micros,
        mut take: impl FnMut(Micros, f64),
    ) -> Result<(), ReportError> {
        let Some(source) = source else { return Ok(()) };
        let Some(channel) = self.reader.channel(source, channel)? else {
            return Ok(());
        };
        for reading in self.reader.readings(channel, from, to) {
            let reading = reading?;
            if let (Shown::Number(number), true) = (reading.shown, reading.fed) {
                take(reading.at, number);
            }
        }
        Ok(())
    }
}

/// The word of a place where a probe stays.
fn fixed(place: Place) -> Option<&'static str> {
    match place {
        Place::Zone => Some("zone"),
        Place::Platen => Some("platen"),
        Place::Room => Some("room"),
        Place::Ride | Place::Cloth | Place::Exit => None,
    }
}
