//! What people do with alarms, and what becomes of those whose station or declaration has changed.

use super::{Alarm, Origin, Register};
use crate::alarm::cause::Cause;
use crate::alarm::event::{AlarmEvent, Change};
use crate::alarm::kind::AlarmId;
use crate::alarm::life::{Life, NotNow, State};
use crate::live::Micros;

impl Register {
    /// A station has been switched off or on: alarms that mean nothing while it is off are suppressed.
    pub fn suppress(
        &mut self,
        at: Micros,
        station: &str,
        off: bool,
        events: &mut impl FnMut(AlarmEvent),
    ) {
        let own = |alarm: &&Alarm| {
            alarm.origin.station.as_deref() == Some(station)
                && alarm.id.kind.sheet().rests_with_station
        };
        let ids: Vec<AlarmId> = self
            .alarms
            .values()
            .filter(own)
            .map(|a| a.id.clone())
            .collect();
        for id in ids {
            self.with(&id, at, events, |alarm| {
                let announce = alarm.life.suppress(off)?;
                let change = if off {
                    Change::Suppressed
                } else {
                    Change::Unsuppressed
                };
                Some((change, announce))
            });
        }
    }

    /// Takes up an alarm that is known only by what was recorded of it last.
    pub fn adopt(
        &mut self,
        at: Micros,
        (id, origin): (AlarmId, Origin),
        (state, until): (State, Option<Micros>),
        (cause, count): (Option<Cause>, u64),
        events: &mut impl FnMut(AlarmEvent),
    ) {
        let mut alarm = Alarm::fresh(id.clone(), origin, at, false);
        alarm.life = Life::known_by(id.kind.sheet().latches, state, until);
        alarm.cause = cause;
        alarm.count = count;
        if alarm.state() != state {
            events(alarm.event(at, Change::Returned, state, false));
        }
        self.alarms.insert(id, alarm);
    }

    /// What still holds or waits of an alarm is over now, without its off delay.
    pub fn end_now(&mut self, at: Micros, id: &AlarmId, events: &mut impl FnMut(AlarmEvent)) {
        self.with(id, at, events, |alarm| {
            alarm.pending = None;
            let held = alarm.life.holds();
            alarm.life.ends();
            held.then_some((Change::Returned, false))
        });
    }

    /// What an alarm is of is not declared any more: its condition holds no more, and nobody need acknowledge.
    pub fn withdraw(&mut self, at: Micros, id: &AlarmId, events: &mut impl FnMut(AlarmEvent)) {
        let Some(alarm) = self.alarms.remove(id) else {
            return;
        };
        if alarm.state() == State::Normal {
            return;
        }
        let mut gone = Alarm::fresh(id.clone(), alarm.origin.clone(), at, false);
        gone.cause = alarm.cause.clone();
        let event = gone.event(at, Change::Withdrawn, alarm.state(), false);
        events(event);
    }

    /// Does what a person says.
    ///
    /// # Errors
    /// When it cannot be done in its state.
    pub fn person(
        &mut self,
        at: Micros,
        (id, origin): (&AlarmId, Origin),
        change: &Change,
        suppressed: bool,
        events: &mut impl FnMut(AlarmEvent),
    ) -> Result<(), NotNow> {
        let known = self.alarms.contains_key(id);
        let alarm = self
            .alarms
            .entry(id.clone())
            .or_insert_with(|| Alarm::fresh(id.clone(), origin, at, suppressed));
        let mut life = alarm.life;
        let announce = match change {
            Change::Acknowledged { .. } => life.acknowledge().map(|()| false),
            Change::Reset { .. } => life.reset().map(|()| false),
            Change::Shelved { until, .. } => life.shelve(*until).map(|()| false),
            Change::Unshelved { .. } => life.unshelve(),
            Change::TakenOut { .. } => life.take_out().map(|()| false),
            Change::PutBack { .. } => life.put_back(),
            // The others are nobody's to say.
            _ => return Ok(()),
        };
        let announce = match announce {
            Ok(announce) => announce,
            Err(not_now) => {
                if !known {
                    self.alarms.remove(id);
                }
                return Err(not_now);
            }
        };
        let said = change
            .said()
            .map(|(by, why)| (by.to_owned(), why.to_owned()));
        let change = change.clone();
        self.with(id, at, events, |alarm| {
            alarm.life = life;
            alarm.said = said;
            Some((change, announce))
        });
        Ok(())
    }
}
