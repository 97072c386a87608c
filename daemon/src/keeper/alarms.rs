//! The keeper and its alarms.
//!
//! The watchman of `inkdwell-cure` hears each reading that the floor is fed, what the floor finds, and each tick.
//! What else it is told (a source down, a disk full) stands in the journal as an occurrence. It hears of that
//! only when the entry is closed, after all of the entry's readings: a replay feeds an entry's readings first and
//! then its records, and so comes to the same alarms.

use inkdwell_config::problem::suggestion;
use inkdwell_config::quantity::{Celsius, MetresPerSecond, Seconds};
use inkdwell_cure::alarm::{
    Alarm, AlarmEvent, AlarmId, Cause, Change, Kind, Notice, State, Unheeded, Watchman,
};
use inkdwell_cure::judged::Evidence;
use inkdwell_cure::live::{Floor, FloorEvent, InputId, SeenBy, SeenPass, Shows};

use super::decide::said;
use super::{Deal, Keeper, Refused};
use crate::record::{AlarmChanged, Occurrence, PassJudged, Record};
use crate::time::Micros;

/// What the watchman hears when an entry is closed.
#[derive(Debug)]
pub(super) enum ToHear {
    /// Something has occurred.
    Notice(Notice),
    /// It is known what is to be said of a print that has passed an exit probe.
    Print(Box<PassJudged>),
}

/// A print that was inferred, as the watchman is told of prints: by its record, which a replay has too.
fn inferred(pass: &PassJudged) -> SeenPass {
    let judged = pass.judged.as_ref();
    let peak = judged.filter(|judged| judged.evidence == Evidence::Inferred.name());
    SeenPass {
        station: pass.station.clone(),
        probe: pass.probe.clone(),
        by: SeenBy::Exit,
        start: pass.start,
        end: pass.end,
        batch: pass.batch,
        print: pass.print,
        belt: pass
            .belt_m_per_min
            .map(|speed| MetresPerSecond(speed / 60.0)),
        peak: peak.map(|judged| Celsius(judged.peak_c)),
        judged: judged.map(|judged| Box::new(judged.figures())),
    }
}

/// What an occurrence means to the watchman; `None` where it means nothing, or where the watchman finds it out
/// by itself.
pub(super) fn notice_of(what: &Occurrence) -> Option<Notice> {
    Some(match what {
        Occurrence::Started { .. } => Notice::Woke,
        Occurrence::SourceUp { source } => Notice::SourceUp(source.clone()),
        Occurrence::SourceDown { source, why } => Notice::SourceDown(source.clone(), why.clone()),
        Occurrence::SourceEnded { source } => Notice::SourceEnded(source.clone()),
        Occurrence::ClockStepped { ahead_us } => {
            Notice::ClockStepped(Seconds(*ahead_us as f64 / 1e6))
        }
        Occurrence::TurnedAway { source, readings } => {
            Notice::TurnedAway(source.clone(), *readings)
        }
        Occurrence::DiskLow { free_bytes } => Notice::DiskLow(*free_bytes),
        Occurrence::DiskFull => Notice::DiskFull,
        Occurrence::DiskFree { .. } | Occurrence::DiskRoomAgain => Notice::DiskRoom,
        Occurrence::OutboxGrowing { sink, waiting } => {
            Notice::OutboxGrowing(sink.clone(), *waiting)
        }
        Occurrence::OutboxClear { sink } => Notice::OutboxClear(sink.clone()),
        _ => return None,
    })
}

/// Tells the watchman what an input shows that was just read; `raw` is the number as it came.
pub(super) fn show(
    floor: &Floor,
    watchman: &mut Watchman,
    (input, at, raw): (InputId, Micros, Option<f64>),
    events: &mut impl FnMut(AlarmEvent),
) {
    for shows in floor.shows(input) {
        match shows {
            Shows::Probe(number, latest) => {
                let celsius = latest.and_then(|latest| latest.value).map(Celsius);
                watchman.probe(number, at, raw, celsius, events);
            }
            Shows::Signal(number, latest) => {
                let value = latest.and_then(|latest| latest.value);
                watchman.signal(number, at, value, events);
            }
        }
    }
}

impl Keeper {
    /// All alarms that ever came or were touched, by name.
    pub fn alarms(&self) -> impl Iterator<Item = &Alarm> {
        self.watchman.register().alarms()
    }

    /// One alarm, where it ever came or was touched.
    pub fn alarm(&self, id: &AlarmId) -> Option<&Alarm> {
        self.watchman.register().alarm(id)
    }

    /// How long an alarm may be shelved at most, in seconds.
    pub fn shelve_longest(&self) -> f64 {
        self.watchman.shelve_longest()
    }

    /// Lets the watchman hear what has occurred since the entry was begun.
    pub(super) fn heed(&mut self) {
        for (at, heard) in std::mem::take(&mut self.notices) {
            let rang = &mut self.rang;
            let mut note = |event| rang.push(event);
            match heard {
                ToHear::Notice(notice) => self.watchman.notice(at, &notice, &mut note),
                ToHear::Print(pass) => {
                    let ended = FloorEvent::PassEnded(Box::new(inferred(&pass)));
                    self.watchman.floor(&ended, &mut note);
                }
            }
        }
        self.note_alarms();
    }

    /// Records what the watchman has said.
    pub(super) fn note_alarms(&mut self) {
        let units = self.shop.units;
        for event in self.rang.drain(..) {
            let at = event.at;
            let changed = AlarmChanged::new(event, units);
            let record = Record::AlarmChanged(Box::new(changed));
            self.entry.records.push((at, record));
        }
    }

    /// A person deals with an alarm.
    pub(super) fn deal(
        &mut self,
        alarm: &str,
        deal: Deal,
        (by, why): (String, String),
        now: Micros,
    ) -> Result<Record, Refused> {
        let by = said(by, "by", "who you are")?;
        let why = match deal {
            Deal::Acknowledge => why.trim().to_owned(),
            _ => said(why, "why", "for example that the probe is being changed")?,
        };
        let id = AlarmId::parse(alarm).ok_or_else(|| no_alarm(alarm))?;
        let change = match deal {
            Deal::Acknowledge => Change::Acknowledged { by, why },
            Deal::Reset => Change::Reset { by, why },
            Deal::Shelve(seconds) => {
                let until = self.watchman.time(now).plus_seconds(seconds);
                Change::Shelved { until, by, why }
            }
            Deal::Unshelve => Change::Unshelved { by, why },
            Deal::TakeOut => Change::TakenOut { by, why },
            Deal::PutBack => Change::PutBack { by, why },
        };
        self.decide(&id, &change, now).map_err(|why| match why {
            Unheeded::NoSuch { id, known } => Refused::NoAlarm {
                name: id,
                remedy: known,
            },
            why => Refused::AlarmNotSo {
                alarm: alarm.to_owned(),
                why: why.to_string(),
            },
        })?;
        self.decided(&id)
    }

    /// Somebody raises a test alarm.
    pub(super) fn drill(
        &mut self,
        by: String,
        why: String,
        now: Micros,
    ) -> Result<Record, Refused> {
        let by = said(by, "by", "who you are")?;
        let why = said(why, "why", "for example that a new way out is tried")?;
        let rang = &mut self.rang;
        self.watchman
            .drill(now, &by, &why, &mut |event| rang.push(event));
        self.note_alarms();
        self.decided(&AlarmId::new(Kind::Drill, ""))
    }

    /// The record that was just made of an alarm.
    fn decided(&self, id: &AlarmId) -> Result<Record, Refused> {
        let name = id.to_string();
        let own = |record: &&(Micros, Record)| match &record.1 {
            Record::AlarmChanged(changed) => changed.alarm == name,
            _ => false,
        };
        let made = self.entry.records.iter().rev().find(own);
        // It was made a moment ago.
        let (_, record) = made.ok_or_else(|| no_alarm(&name))?;
        Ok(record.clone())
    }

    fn decide(&mut self, id: &AlarmId, change: &Change, now: Micros) -> Result<(), Unheeded> {
        let rang = &mut self.rang;
        let done = self
            .watchman
            .person(now, id, change, &mut |event| rang.push(event));
        self.note_alarms();
        done
    }

    /// Does again what a record says that a person did.
    pub(super) fn obey_alarm(&mut self, at: Micros, changed: &AlarmChanged) {
        let Some(id) = changed.id() else { return };
        if changed.change.said().is_some() {
            // It could be done then, and so it can now.
            let _ = self.decide(&id, &changed.change, at);
            return;
        }
        if let (Kind::Drill, Change::Raised, Some(Cause::Drill { by, why })) =
            (id.kind, &changed.change, &changed.cause)
        {
            let rang = &mut self.rang;
            self.watchman
                .drill(at, by, why, &mut |event| rang.push(event));
            self.note_alarms();
        }
    }

    /// Takes up an alarm of which only is known what was recorded of it last.
    pub fn adopt_alarm(&mut self, now: Micros, changed: &AlarmChanged) {
        let Some(id) = changed.id().filter(|_| changed.state != State::Normal) else {
            return;
        };
        let until = match changed.change {
            Change::Shelved { until, .. } => Some(until),
            _ => None,
        };
        let known = (changed.cause.clone(), changed.count);
        let rang = &mut self.rang;
        self.watchman
            .adopt(now, id, (changed.state, until), known, &mut |event| {
                rang.push(event)
            });
        self.note_alarms();
    }
}

/// There is no alarm of such a name.
pub(crate) fn no_alarm(name: &str) -> Refused {
    let names: Vec<&str> = Kind::ALL.into_iter().map(Kind::name).collect();
    let kind = name.split_once('@').map_or(name, |(kind, _)| kind);
    Refused::NoAlarm {
        name: name.to_owned(),
        remedy: suggestion(kind, &names),
    }
}
