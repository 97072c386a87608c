//! Feeding once more what was committed after a checkpoint.

use super::Keeper;
use super::alarms::{self, ToHear};
use super::entry::{Entry, TICKS, Taking};
use super::sources::{bits_of, feed, remember};
use crate::intake::Value;
use crate::record::{Place, Record};
use crate::time::Micros;

impl Keeper {
    /// Feeds a reading, or a tick, again that was committed after the checkpoint. What comes of it was committed
    /// with it.
    pub fn replay(&mut self, taking: &Taking) {
        let mut found = Vec::new();
        if taking.source == TICKS {
            self.floor.tick(taking.at, &mut |event| found.push(event));
            self.note_all(std::mem::take(&mut found));
            let ahead = match taking.value {
                // Microseconds, which it was made of.
                Value::Number(ahead) => ahead as i64,
                Value::NoNumber(_) => 0,
            };
            self.watch(taking.at, ahead);
        } else if let Some(known) = self.sources.get_mut(usize::from(taking.source.0))
            && let Some(route) = known.routes.get_mut(&taking.channel)
        {
            if taking.fed {
                let rang = &mut self.rang;
                feed(
                    (&mut self.floor, &mut self.watchman),
                    route,
                    (taking.at, &taking.value),
                    &mut |event| found.push(event),
                    &mut |event| rang.push(event),
                );
            } else {
                remember(route, taking.at, bits_of(&taking.value));
            }
        }
        self.note_alarms();
        self.note_all(found);
        // What comes of it stands in the journal, and what the watchman was told is told it by the records.
        self.notices.clear();
        self.entry = Entry::default();
    }

    /// Does again what a decision that was committed after the checkpoint says.
    pub fn replay_record(&mut self, at: Micros, record: &Record) {
        if let Record::PassAssigned(assigned) = record {
            let (batch, pass) = (Some(assigned.batch), assigned.pass);
            let holds = &mut self.state.holds;
            holds.add(&assigned.station, batch, pass, &assigned.judged);
        }
        if let Record::PassJudged(pass) = record {
            self.was_inferred(pass);
        }
        self.obey(at, record);
        self.notices.clear();
        match record {
            Record::Occurred(occurred) => {
                let notice = alarms::notice_of(&occurred.what);
                self.notices
                    .extend(notice.map(|notice| (at, ToHear::Notice(notice))));
            }
            Record::PassJudged(pass) if pass.place == Place::Exit => {
                let print = ToHear::Print(Box::new(pass.clone()));
                self.notices.push((at, print));
            }
            _ => {}
        }
        self.heed();
        self.entry = Entry::default();
    }
}
