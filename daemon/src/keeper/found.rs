//! What the floor has found, as it is recorded.

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_cure::live::{FloorEvent, SeenBy, SeenPass};

use super::{Keeper, words};
use crate::record::{Judged, Occurrence, PassJudged, Place, Record};
use crate::time::Micros;

impl Keeper {
    pub(super) fn note_all(&mut self, events: Vec<FloorEvent>) {
        for event in events {
            self.note(event);
        }
    }

    pub(super) fn note(&mut self, event: FloorEvent) {
        self.told(event.clone());
        let rang = &mut self.rang;
        self.watchman.floor(&event, &mut |event| rang.push(event));
        self.note_alarms();
    }

    pub(super) fn told(&mut self, event: FloorEvent) {
        match event {
            FloorEvent::PassStarted { .. } | FloorEvent::PassDropped { .. } => {
                self.entry.began.push(event);
            }
            FloorEvent::PassEnded(pass) => self.note_pass(*pass),
            FloorEvent::PrintLeft(left) => self.print_left(*left),
            FloorEvent::RecipeLeft {
                station,
                recipe,
                what,
                at,
            } => {
                let what = words::departure(&what, self.shop.units);
                self.occurred(at, Some(station), Occurrence::RecipeLeft { recipe, what });
            }
            FloorEvent::RecipeMet {
                station,
                recipe,
                at,
            } => self.occurred(at, Some(station), Occurrence::RecipeMet { recipe }),
        }
    }

    pub(super) fn note_pass(&mut self, seen: SeenPass) {
        self.state.passes += 1;
        let units = self.shop.units;
        let judged = match (&seen.judged, seen.by, seen.batch) {
            (Some(judged), _, _) => Some(Judged::new(judged, units)),
            (None, SeenBy::Counter, Some(_)) => {
                let threshold = self.threshold_of(&seen.station);
                Some(words::nobody_saw_it(threshold))
            }
            _ => None,
        };
        let pass = PassJudged {
            pass: self.state.passes,
            station: seen.station,
            probe: seen.probe,
            place: match seen.by {
                SeenBy::Ride => Place::Ride,
                SeenBy::Flash => Place::Flash,
                SeenBy::Exit => Place::Exit,
                SeenBy::Counter => Place::Count,
            },
            start: seen.start,
            end: seen.end,
            batch: seen.batch,
            print: seen.print,
            belt_m_per_min: seen.belt.map(in_m_per_min),
            judged,
        };
        let held = self.state.holds.note(&pass);
        let at = pass.end;
        self.entry.records.push((at, Record::PassJudged(pass)));
        self.add(at, held);
    }

    pub(super) fn threshold_of(&self, station: &str) -> f64 {
        let open = self.state.batches.get(station);
        open.map_or(0.0, |open| open.threshold_c)
    }

    pub(super) fn add(&mut self, at: Micros, records: Vec<Record>) {
        self.entry
            .records
            .extend(records.into_iter().map(|record| (at, record)));
    }
}

/// To a thousandth of a millimetre a minute: what lies below is rounding.
pub(super) fn in_m_per_min(belt: MetresPerSecond) -> f64 {
    (belt.0 * 60e6).round() / 1e6
}
