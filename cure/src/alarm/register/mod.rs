//! All alarms of a shop: delays, first-out, counts and the cap on floods.

mod alarm;
mod flood;
mod people;

use std::collections::{BTreeMap, VecDeque};

use serde::{Deserialize, Serialize};

use self::alarm::Pending;
pub use self::alarm::{Alarm, Origin};
use self::flood::{CLOSE_TOGETHER, forget, remember};
use super::cause::Cause;
use super::event::{AlarmEvent, Change};
use super::kind::AlarmId;
use super::life::State;
use crate::live::Micros;

/// How long a condition has to hold, or be gone, before it counts, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delays {
    /// Before the alarm is raised.
    pub on: f64,
    /// Before it returns.
    pub off: f64,
}

/// What a condition does.
#[derive(Debug, Clone, PartialEq)]
pub enum Says {
    /// It begins to hold.
    On(Cause),
    /// It holds and has come once more: another print, say.
    Again(Cause),
    /// It holds no more.
    Off,
}

/// All alarms of a shop. Those that never came are not in it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Register {
    alarms: BTreeMap<AlarmId, Alarm>,
    /// When something was announced, as far as that is close to now.
    announced: VecDeque<Micros>,
    flood: bool,
}

impl Register {
    /// All alarms that ever came or were touched, by name.
    pub fn alarms(&self) -> impl Iterator<Item = &Alarm> {
        self.alarms.values()
    }

    /// One alarm.
    pub fn alarm(&self, id: &AlarmId) -> Option<&Alarm> {
        self.alarms.get(id)
    }

    /// A condition has changed. `suppressed` says whether the alarm's station is off.
    pub fn says(
        &mut self,
        at: Micros,
        (id, origin): (AlarmId, Origin),
        says: Says,
        delays: Delays,
        suppressed: bool,
        events: &mut impl FnMut(AlarmEvent),
    ) {
        if !self.alarms.contains_key(&id) {
            if says == Says::Off {
                return;
            }
            self.alarms
                .insert(id.clone(), Alarm::fresh(id.clone(), origin, at, suppressed));
        }
        let Some(alarm) = self.alarms.get_mut(&id) else {
            return;
        };
        match says {
            Says::On(cause) | Says::Again(cause) => {
                alarm.cause = Some(cause);
                if alarm.life.holds() {
                    alarm.pending = None;
                    alarm.count += 1;
                    if is_told(alarm.count) {
                        events(alarm.event(at, Change::Counted, alarm.state(), false));
                    }
                    return;
                }
                if alarm.pending.is_none_or(|pending| !pending.on) {
                    alarm.pending = Some(Pending {
                        on: true,
                        since: at,
                        delay: delays.on,
                    });
                }
            }
            Says::Off => {
                if !alarm.life.holds() {
                    alarm.pending = None;
                } else if alarm.pending.is_none() {
                    let held = if alarm.chatters() {
                        CLOSE_TOGETHER
                    } else {
                        0.0
                    };
                    alarm.pending = Some(Pending {
                        on: false,
                        since: at,
                        delay: delays.off.max(held),
                    });
                }
            }
        }
        self.settle(&id, at, events);
    }

    /// Time goes on: delays and shelves end.
    pub fn tick(&mut self, at: Micros, events: &mut impl FnMut(AlarmEvent)) {
        forget(&mut self.announced, at);
        let due = |alarm: &&Alarm| {
            let shelf = alarm.life.shelved_until();
            alarm.pending.is_some() || shelf.is_some_and(|until| until <= at)
        };
        let due: Vec<AlarmId> = self
            .alarms
            .values()
            .filter(due)
            .map(|a| a.id.clone())
            .collect();
        for id in due {
            self.settle(&id, at, events);
            self.end_shelf(&id, at, events);
        }
        self.subside(at, events);
    }

    fn end_shelf(&mut self, id: &AlarmId, at: Micros, events: &mut impl FnMut(AlarmEvent)) {
        self.with(id, at, events, |alarm| {
            let over = alarm.life.shelved_until().is_some_and(|until| until <= at);
            let announce = over.then(|| alarm.life.unshelve().ok()).flatten()?;
            alarm.said = None;
            Some((Change::ShelfEnded, announce))
        });
    }

    /// Ends a delay that is over.
    fn settle(&mut self, id: &AlarmId, at: Micros, events: &mut impl FnMut(AlarmEvent)) {
        let Some(alarm) = self.alarms.get(id) else {
            return;
        };
        let Some(pending) = alarm.pending else {
            return;
        };
        if at.seconds_since(pending.since) < pending.delay {
            return;
        }
        let first = if pending.on { self.first_of(id) } else { None };
        self.with(id, at, events, |alarm| {
            alarm.pending = None;
            if !pending.on {
                alarm.life.ends();
                return Some((Change::Returned, false));
            }
            if alarm.state() == State::Normal {
                alarm.count = 0;
            }
            alarm.follows = first;
            alarm.life.begins();
            alarm.count += 1;
            alarm.raised = Some(at);
            alarm.said = None;
            remember(&mut alarm.recent, at);
            Some((Change::Raised, true))
        });
    }

    /// The alarm that was first in a group and still holds.
    fn first_of(&self, id: &AlarmId) -> Option<AlarmId> {
        let group = self.alarms.get(id)?.origin.group.as_ref()?;
        let others = self.alarms.values().filter(|other| {
            other.id != *id && other.life.holds() && other.origin.group.as_ref() == Some(group)
        });
        let first = others.min_by_key(|other| other.raised)?;
        Some(first.follows.clone().unwrap_or_else(|| first.id.clone()))
    }

    /// Changes an alarm, and tells what has changed.
    fn with(
        &mut self,
        id: &AlarmId,
        at: Micros,
        events: &mut impl FnMut(AlarmEvent),
        change: impl FnOnce(&mut Alarm) -> Option<(Change, bool)>,
    ) {
        let Some(alarm) = self.alarms.get_mut(id) else {
            return;
        };
        let from = alarm.state();
        let Some((change, announce)) = change(alarm) else {
            return;
        };
        if alarm.state() != from {
            alarm.since = at;
        }
        if alarm.state() == State::Normal {
            alarm.follows = None;
        }
        let announce = announce && !alarm.state().is_silenced() && !alarm.hangs_on_a_wire();
        let event = alarm.event(at, change, from, announce);
        self.told(event, events);
    }
}

/// Counts that are worth a line: 2, 5, 10, 20, 50, 100 and so on.
fn is_told(count: u64) -> bool {
    let mut left = count;
    while left >= 10 && left.is_multiple_of(10) {
        left /= 10;
    }
    count > 1 && matches!(left, 1 | 2 | 5)
}
