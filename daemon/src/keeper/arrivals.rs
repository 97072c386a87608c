//! What comes by itself: readings, what sources say of themselves, and time.

use std::sync::Arc;

use super::Keeper;
use super::alarms::{self, ToHear};
use super::entry::{TICK, TICKS, Taking};
use super::sources::{bits_of, feed};
use super::timeline::Placed;
use crate::intake::{Delivery, Notice, Said, SourceId, Value};
use crate::record::{Occurred, Occurrence, Record};
use crate::time::Micros;

/// Readings that come too late are told of once in so many seconds.
pub(super) const TELL_LATE_EVERY: f64 = 60.0;

impl Keeper {
    /// When to tick, the steady time being `now`: while a script is played, not long after its last reading,
    /// however far the machine has fallen behind.
    pub fn tick_time(&self, now: Micros) -> Micros {
        let playing = self.sources.iter().filter(|known| known.plays);
        let newest = playing.map(|known| known.newest).min();
        newest.map_or(now, |newest| now.min(newest.plus_seconds(1.0)))
    }

    /// Takes a delivery. `arrived` is its arrival in the steady time.
    pub fn take(&mut self, delivery: Delivery, arrived: Micros) {
        let Delivery {
            source,
            said,
            mark,
            receipt,
            ..
        } = delivery;
        self.entry.marks.extend(mark.map(|mark| (source, mark)));
        self.entry.receipts.extend(receipt);
        let Some(known) = self.sources.get(usize::from(source.0)) else {
            return;
        };
        let first = |said: &Said| {
            known
                .routes
                .get(&said.channel)
                .is_some_and(|r| r.comes_first)
        };
        let (before, after): (Vec<Said>, Vec<Said>) = said.into_iter().partition(first);
        for said in before.into_iter().chain(after) {
            self.take_one(source, said, arrived);
        }
    }

    pub(super) fn take_one(&mut self, source: SourceId, said: Said, arrived: Micros) {
        let wall_ahead = self.wall.ahead();
        let Some(known) = self.sources.get_mut(usize::from(source.0)) else {
            return;
        };
        let Some(route) = known.routes.get_mut(&said.channel) else {
            known.unread += 1;
            return;
        };
        let placed = match (known.is_script, said.device_time) {
            (true, Some(device)) => {
                let ahead = *known.ahead.get_or_insert(device - arrived.0);
                let at = Micros(device - ahead);
                known.plays = true;
                known.newest = known.newest.max(at);
                Placed::At(at)
            }
            (_, device) => route
                .timeline
                .place(arrived, device, said.sequence, wall_ahead),
        };
        let Placed::At(at) = placed else { return };
        let bits = bits_of(&said.value);
        if route.recent.contains(&(at, bits)) {
            return;
        }
        let (found, rang) = (&mut self.state.found, &mut self.rang);
        let fed = feed(
            (&mut self.floor, &mut self.watchman),
            route,
            (at, &said.value),
            &mut |event| found.push(event),
            &mut |event| rang.push(event),
        );
        route.late += u64::from(!fed);
        self.entry.readings.push(Taking {
            source,
            channel: said.channel,
            at,
            value: said.value,
            fed,
        });
        self.note_alarms();
        let found = std::mem::take(&mut self.state.found);
        self.note_all(found);
    }

    /// Time goes on.
    pub fn tick(&mut self, now: Micros, wall: Micros) {
        if let Some(ahead_us) = self.wall.look(now, wall) {
            self.occurred(now, None, Occurrence::ClockStepped { ahead_us });
        }
        self.entry.readings.push(Taking {
            source: TICKS,
            channel: Arc::from(TICK),
            at: now,
            value: Value::Number(self.wall.ahead() as f64),
            fed: true,
        });
        let mut found = Vec::new();
        self.floor.tick(now, &mut |event| found.push(event));
        self.note_all(found);
        self.watch(now, self.wall.ahead());
        if self
            .late_told
            .is_none_or(|told| now.seconds_since(told) >= TELL_LATE_EVERY)
        {
            self.late_told = Some(now);
            self.tell_late(now);
        }
    }

    /// The watchman's tick.
    pub(super) fn watch(&mut self, now: Micros, ahead: i64) {
        let rang = &mut self.rang;
        self.watchman
            .tick(now, ahead, &mut |event| rang.push(event));
        self.note_alarms();
    }

    pub(super) fn tell_late(&mut self, now: Micros) {
        let mut told = Vec::new();
        for source in &mut self.sources {
            for (channel, route) in &mut source.routes {
                let readings = std::mem::take(&mut route.late);
                if readings > 0 {
                    told.push((channel.to_string(), readings));
                }
            }
        }
        told.sort();
        for (of, readings) in told {
            self.occurred(now, None, Occurrence::Late { of, readings });
        }
    }

    /// A source's state has changed.
    pub fn notice(&mut self, source: SourceId, notice: Notice, now: Micros) {
        let Some(known) = self.sources.get_mut(usize::from(source.0)) else {
            return;
        };
        known.plays &= notice != Notice::Ended;
        let source = known.id.clone();
        let what = match notice {
            Notice::Up => Occurrence::SourceUp { source },
            Notice::Down(why) => Occurrence::SourceDown { source, why },
            Notice::Ended => Occurrence::SourceEnded { source },
        };
        self.occurred(now, None, what);
    }

    /// Readings of a source found the queue full.
    pub fn turned_away(&mut self, source: SourceId, readings: u64, now: Micros) {
        if let Some(known) = self.sources.get(usize::from(source.0)) {
            let source = known.id.clone();
            self.occurred(now, None, Occurrence::TurnedAway { source, readings });
        }
    }

    /// Something happened.
    pub fn occurred(&mut self, now: Micros, station: Option<String>, what: Occurrence) {
        let notice = alarms::notice_of(&what).map(ToHear::Notice);
        self.notices.extend(notice.map(|notice| (now, notice)));
        let record = Record::Occurred(Occurred { station, what });
        self.entry.records.push((now, record));
    }
}
