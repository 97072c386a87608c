//! All alarms of a shop: delays, first-out, counts and the cap on floods.

use std::collections::{BTreeMap, VecDeque};

use inkdwell_config::shop::Priority;
use serde::{Deserialize, Serialize};

use super::cause::Cause;
use super::event::{AlarmEvent, Change};
use super::kind::{AlarmId, Kind};
use super::life::{Life, NotNow, State};
use crate::live::Micros;

/// An alarm that comes this often within [`FLOOD_WITHIN`] chatters: once it holds, it stays until its condition
/// has been gone for that long. (EEMUA 191 and ISA-18.2 call three in a minute chattering, from memory; a slow
/// one disturbs as well.)
const CHATTERS_FROM: usize = 3;
/// So many announcements within [`FLOOD_WITHIN`] are a flood (ISA-18.2, 16.5: more than 10 in 10 minutes; from
/// memory): low and medium ones are then recorded, but held back.
const FLOOD_FROM: usize = 10;
/// A flood is over below so many (the same place: fewer than 5).
const FLOOD_ENDS_BELOW: usize = 5;
/// What counts as close together, in seconds.
const FLOOD_WITHIN: f64 = 600.0;

/// How long a condition has to hold, or be gone, before it counts, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delays {
    /// Before the alarm is raised.
    pub on: f64,
    /// Before it returns.
    pub off: f64,
}

/// What an alarm belongs to.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Origin {
    /// Its station.
    pub station: Option<String>,
    /// The group within which the first counts: a station's heat, a source's wire.
    pub group: Option<String>,
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

/// Waiting for a delay to be over.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Pending {
    on: bool,
    since: Micros,
    delay: f64,
}

/// One alarm as it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alarm {
    /// Which.
    pub id: AlarmId,
    /// Where it belongs.
    pub origin: Origin,
    /// Its life.
    pub life: Life,
    /// When it came into its state.
    pub since: Micros,
    /// When it was raised last.
    pub raised: Option<Micros>,
    /// How many times its condition has come since it was last normal.
    pub count: u64,
    /// Why it holds or held.
    pub cause: Option<Cause>,
    /// The alarm of its group that was first.
    pub follows: Option<AlarmId>,
    /// Who put it into its state, and why, where a person did.
    pub said: Option<(String, String)>,
    pending: Option<Pending>,
    /// When it was raised, as far as that is close to now.
    recent: VecDeque<Micros>,
}

impl Alarm {
    /// What people see.
    pub fn state(&self) -> State {
        self.life.state()
    }

    fn chatters(&self) -> bool {
        self.recent.len() >= CHATTERS_FROM
    }
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
                .insert(id.clone(), fresh(id.clone(), origin, at, suppressed));
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
                        counted(alarm, at, events);
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
                    let held = if alarm.chatters() { FLOOD_WITHIN } else { 0.0 };
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
        while self
            .announced
            .front()
            .is_some_and(|first| is_old(*first, at))
        {
            self.announced.pop_front();
        }
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
        if self.flood && self.announced.len() < FLOOD_ENDS_BELOW {
            self.flood = false;
            let id = AlarmId::new(Kind::AlarmFlood, "");
            self.with(&id, at, events, |alarm| {
                alarm.life.ends();
                Some((Change::Returned, false))
            });
        }
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
            while alarm.recent.front().is_some_and(|first| is_old(*first, at)) {
                alarm.recent.pop_front();
            }
            alarm.recent.push_back(at);
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
        let announce = announce && !alarm.state().is_silenced() && !hangs_on_a_wire(alarm);
        let event = event_of(alarm, at, change, from, announce);
        self.told(event, events);
    }

    /// Tells of an event, unless a flood drowns it.
    fn told(&mut self, mut event: AlarmEvent, events: &mut impl FnMut(AlarmEvent)) {
        let at = event.at;
        let is_meta = matches!(event.id.kind, Kind::AlarmFlood | Kind::Drill);
        if event.announce && !is_meta {
            self.announced.push_back(at);
            while self
                .announced
                .front()
                .is_some_and(|first| is_old(*first, at))
            {
                self.announced.pop_front();
            }
            event.announce = !self.flood || event.priority == Priority::High;
        }
        events(event);
        if self.announced.len() > FLOOD_FROM && !is_meta {
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
            .or_insert_with(|| fresh(id.clone(), Origin::default(), at, false));
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
        let mut alarm = fresh(id.clone(), origin, at, false);
        alarm.life = Life::known_by(id.kind.sheet().latches, state, until);
        alarm.cause = cause;
        alarm.count = count;
        if alarm.state() != state {
            events(event_of(&alarm, at, Change::Returned, state, false));
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
        let mut gone = fresh(id.clone(), alarm.origin.clone(), at, false);
        gone.cause = alarm.cause.clone();
        let event = event_of(&gone, at, Change::Withdrawn, alarm.state(), false);
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
            .or_insert_with(|| fresh(id.clone(), origin, at, suppressed));
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

fn fresh(id: AlarmId, origin: Origin, at: Micros, suppressed: bool) -> Alarm {
    let sheet = id.kind.sheet();
    let mut life = Life::new(sheet.latches);
    if sheet.rests_with_station {
        life.suppress(suppressed);
    }
    Alarm {
        id,
        origin,
        life,
        since: at,
        raised: None,
        count: 0,
        cause: None,
        follows: None,
        said: None,
        pending: None,
        recent: VecDeque::new(),
    }
}

fn is_old(then: Micros, now: Micros) -> bool {
    now.seconds_since(then) > FLOOD_WITHIN
}

/// Counts that are worth a line: 2, 5, 10, 20, 50, 100 and so on.
fn is_told(count: u64) -> bool {
    let mut left = count;
    while left >= 10 && left.is_multiple_of(10) {
        left /= 10;
    }
    count > 1 && matches!(left, 1 | 2 | 5)
}

/// Whether an alarm merely follows one of its own wire, which has been told of: the source that is down, the
/// probe that is open.
fn hangs_on_a_wire(alarm: &Alarm) -> bool {
    let wire = |kind: Kind| {
        matches!(
            kind,
            Kind::SourceDown
                | Kind::ProbeOpen
                | Kind::ProbeSilent
                | Kind::ProbeOutOfRange
                | Kind::ProbeNoisy
                | Kind::ProbeStuck
        )
    };
    let own = alarm.id.kind;
    let follows = |first: &AlarmId| {
        let same_silence = own == Kind::ProbeSilent && first.kind == own;
        first.kind == Kind::SourceDown
            || same_silence
            || (wire(first.kind) && first.of == alarm.id.of)
    };
    wire(own) && alarm.follows.as_ref().is_some_and(follows)
}

fn counted(alarm: &Alarm, at: Micros, events: &mut impl FnMut(AlarmEvent)) {
    let state = alarm.state();
    events(event_of(alarm, at, Change::Counted, state, false));
}

fn event_of(alarm: &Alarm, at: Micros, change: Change, from: State, announce: bool) -> AlarmEvent {
    AlarmEvent {
        id: alarm.id.clone(),
        station: alarm.origin.station.clone(),
        at,
        change,
        from,
        state: alarm.state(),
        priority: alarm.id.kind.sheet().priority,
        count: alarm.count,
        cause: alarm.cause.clone(),
        follows: alarm.follows.clone(),
        announce,
        drill: alarm.id.kind == Kind::Drill,
    }
}
