//! The probes that were used, with their calibration and doubt.

use chrono::{DateTime, NaiveDate};
use inkdwell_config::shop::Place;

use super::super::{CalibrationOf, Known, Probe, ReportError};
use super::Desk;
use super::tally::Tally;
use crate::time::Micros;

impl Desk<'_> {
    /// Probes by their id.
    pub(super) fn probes(&self, tally: &Tally) -> Result<Vec<Probe>, ReportError> {
        let mut probes = Vec::new();
        for (id, saw) in &tally.probes {
            let declared = self
                .shop
                .and_then(|file| file.shop.probes.iter().find(|probe| probe.id == *id));
            let place =
                declared.map_or("not declared in the shop file", |probe| place(probe.place));
            probes.push(Probe {
                place: place.to_owned(),
                station: Some(saw.station.clone()),
                prints: saw.prints,
                uncertainty_c: saw.uncertainty,
                calibration: self.calibration(id, saw.last)?,
                id: id.clone(),
            });
        }
        Ok(probes)
    }

    /// The last calibration before a moment: that of the shop file or that of the journal, whichever is later.
    fn calibration(&self, id: &str, at: Micros) -> Result<Known<CalibrationOf>, ReportError> {
        let shown = self.clock.walls.shown(at);
        let time = DateTime::from_timestamp_micros(shown.0).unwrap_or_default();
        let today = time.with_timezone(&self.clock.zone).date_naive();
        let declared = self
            .shop
            .and_then(|file| file.shop.probes.iter().find(|probe| probe.id == id))
            .and_then(|probe| probe.calibration.as_ref());
        let mut latest = declared.filter(|made| made.date <= today).map(|made| {
            let own = CalibrationOf {
                date: made.date.to_string(),
                due: made.due.map(|due| due.to_string()),
                due_in_days: made.due.map(|due| (due - today).num_days()),
                uncertainty_c: made.uncertainty.map(|own| own.0),
                by: made.by.clone(),
            };
            (made.date, own)
        });
        for kept in self.reader.calibrations(Some(id))? {
            let made = kept.calibration;
            let Ok(date) = made.date.parse::<NaiveDate>() else {
                continue;
            };
            if kept.at > at || latest.as_ref().is_some_and(|(other, _)| *other > date) {
                continue;
            }
            let due = made
                .due
                .as_deref()
                .and_then(|due| due.parse::<NaiveDate>().ok());
            let own = CalibrationOf {
                date: made.date,
                due: due.map(|due| due.to_string()),
                due_in_days: due.map(|due| (due - today).num_days()),
                uncertainty_c: made.uncertainty_c,
                by: made.by,
            };
            latest = Some((date, own));
        }
        Ok(match latest {
            Some((_, calibration)) => Known::Is(calibration),
            None => Known::not(
                "No calibration is recorded: its class of tolerance alone says how far it may be wrong.",
            ),
        })
    }
}

fn place(place: Place) -> &'static str {
    match place {
        Place::Ride => "ride",
        Place::Cloth => "cloth",
        Place::Exit => "exit",
        Place::Zone => "zone",
        Place::Platen => "platen",
        Place::Room => "room",
    }
}
