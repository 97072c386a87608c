//! The cap on floods: when too much cries at once, only what is urgent is heard.

use std::collections::VecDeque;

use inkdwell_config::shop::Priority;

use super::{Alarm, Origin, Register};
use crate::alarm::cause::Cause;
use crate::alarm::event::{AlarmEvent, Change};
use crate::alarm::kind::{AlarmId, Kind};
use crate::live::Micros;

/// So many announcements within [`CLOSE_TOGETHER`] are a flood (ISA-18.2, 16.5: more than 10 in 10 minutes; from
/// memory): low and medium ones are then recorded, but held back.
const FROM: usize = 10;
/// A flood is over below so many (the same place: fewer than 5).
const ENDS_BELOW: usize = 5;
/// What counts as close together, in seconds.
pub(super) const CLOSE_TOGETHER: f64 = 600.0;

impl Register {
    /// Tells of an event, unless a flood drowns it.
    pub(super) fn told(&mut self, mut event: AlarmEvent, events: &mut impl FnMut(AlarmEvent)) {
        let at = event.at;
        let is_meta = matches!(event.id.kind, Kind::AlarmFlood | Kind::Drill);
        if event.announce && !is_meta {
            remember(&mut self.announced, at);
            event.announce = !self.flood || event.priority == Priority::High;
        }
        events(event);
        if self.announced.len() > FROM && !is_meta {
            self.flooded(at, events);
        }
    }

    fn flooded(&mut self, at: Micros, events: &mut impl FnMut(AlarmEvent)) {
        let id = AlarmId::new(Kind::AlarmFlood, "");
        let alarms = self.announced.len() as u64;
        let begins = !std::mem::replace(&mut self.flood, true);
        let alarm = self
            .alarms
            .entry(id.clone())
            .or_insert_with(|| Alarm::fresh(id.clone(), Origin::default(), at, false));
        alarm.cause = Some(Cause::Flood { alarms });
        if begins {
            self.with(&id, at, events, |alarm| {
                alarm.life.begins();
                alarm.count = 1;
                alarm.raised = Some(at);
                Some((Change::Raised, true))
            });
        }
    }

    /// A flood ends once few enough were announced lately.
    pub(super) fn subside(&mut self, at: Micros, events: &mut impl FnMut(AlarmEvent)) {
        if self.flood && self.announced.len() < ENDS_BELOW {
            self.flood = false;
            let id = AlarmId::new(Kind::AlarmFlood, "");
            self.with(&id, at, events, |alarm| {
                alarm.life.ends();
                Some((Change::Returned, false))
            });
        }
    }
}

/// Adds a time to those that are close to it, and forgets the others.
pub(super) fn remember(times: &mut VecDeque<Micros>, at: Micros) {
    forget(times, at);
    times.push_back(at);
}

/// Forgets times that are not close to now any more.
pub(super) fn forget(times: &mut VecDeque<Micros>, now: Micros) {
    let is_old = |then: &Micros| now.seconds_since(*then) > CLOSE_TOGETHER;
    while times.front().is_some_and(is_old) {
        times.pop_front();
    }
}
