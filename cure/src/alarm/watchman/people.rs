//! What people do with alarms, and what the daemon is told besides readings.

use super::{Unheeded, Watchman};
use crate::alarm::cause::{Cause, lasting};
use crate::alarm::detect::notice::Notice;
use crate::alarm::event::{AlarmEvent, Change};
use crate::alarm::kind::{AlarmId, Concerns, Kind};
use crate::alarm::life::State;
use crate::alarm::plan::day_number;
use crate::alarm::register::{Origin, Says};
use crate::live::Micros;

impl Watchman {
    /// A probe was calibrated.
    pub fn calibrated(&mut self, probe: &str, due: Option<chrono::NaiveDate>) {
        if let Some(number) = self.plan.probe(probe) {
            self.plan.probes[number].due = due.map(day_number);
        }
    }

    /// Takes up an alarm of which only is known what was recorded of it last: its state, until when it is
    /// shelved, why it held and how often it came.
    pub fn adopt(
        &mut self,
        at: Micros,
        id: AlarmId,
        (state, until): (State, Option<Micros>),
        (cause, count): (Option<Cause>, u64),
        events: &mut impl FnMut(AlarmEvent),
    ) {
        let now = self.now(at);
        if self.plan.knows(&id) {
            let origin = self.plan.origin(&id);
            let register = &mut self.state.register;
            register.adopt(now, (id, origin), (state, until), (cause, count), events);
        }
    }

    /// Something else has happened.
    pub fn notice(&mut self, at: Micros, notice: &Notice, events: &mut impl FnMut(AlarmEvent)) {
        let now = self.now(at);
        match notice {
            Notice::Woke => {
                let probes = self.state.probes.iter_mut();
                probes.for_each(|probe| probe.health.woke(now));
            }
            Notice::SourceEnded(source) if !self.state.ended.contains(source) => {
                self.state.ended.push(source.clone());
            }
            Notice::SourceUp(source) | Notice::SourceDown(source, _) => {
                self.state.ended.retain(|ended| ended != source);
            }
            _ => {}
        }
        if let Some((kind, of, says, momentary)) = notice.says() {
            self.raise(now, AlarmId::new(kind, of), says, events);
            if momentary {
                self.raise(now, AlarmId::new(kind, of), Says::Off, events);
            }
        }
    }

    fn raise(&mut self, now: Micros, id: AlarmId, says: Says, events: &mut impl FnMut(AlarmEvent)) {
        let delays = self.plan.whole_shop.delays(id.kind);
        let origin = Origin {
            station: None,
            ..self.plan.origin(&id)
        };
        let register = &mut self.state.register;
        register.says(now, (id, origin), says, delays, false, events);
    }

    /// Raises a test alarm, which is over by itself and stays to be acknowledged.
    pub fn drill(&mut self, at: Micros, by: &str, why: &str, events: &mut impl FnMut(AlarmEvent)) {
        let now = self.now(at);
        let cause = Cause::Drill {
            by: by.to_owned(),
            why: why.to_owned(),
        };
        let id = || AlarmId::new(Kind::Drill, "");
        // One that still stands ends, so that each drill is raised anew.
        let register = &mut self.state.register;
        register.end_now(now, &id(), events);
        self.raise(now, id(), Says::On(cause), events);
        self.raise(now, id(), Says::Off, events);
    }

    /// A person acknowledges, resets, shelves, takes out of service or back.
    ///
    /// # Errors
    /// When there can be no such alarm, or its state does not allow it: then nothing has changed.
    pub fn person(
        &mut self,
        at: Micros,
        id: &AlarmId,
        change: &Change,
        events: &mut impl FnMut(AlarmEvent),
    ) -> Result<(), Unheeded> {
        let now = self.now(at);
        if !self.plan.knows(id) {
            return Err(self.no_such(id));
        }
        if let Change::Shelved { until, .. } = change {
            let long = until.seconds_since(now);
            let longest = self.plan.shelve_longest;
            if !(long > 0.0 && long <= longest) {
                let longest = lasting(inkdwell_config::quantity::Seconds(longest));
                return Err(Unheeded::Shelf { longest });
            }
        }
        let origin = self.plan.origin(id);
        let off = self.is_off(self.plan.station_of(id));
        let register = &mut self.state.register;
        Ok(register.person(now, (id, origin), change, off, events)?)
    }

    fn no_such(&self, id: &AlarmId) -> Unheeded {
        let sheet = id.kind.sheet();
        let ids = self.plan.ids(sheet.concerns);
        let known = match sheet.concerns {
            Concerns::Shop => format!("it is of the whole shop: write {}", sheet.name),
            _ if ids.is_empty() => "the shop file declares nothing that it could be of".to_owned(),
            _ => format!(
                "write {}@ID, the ID being one of {}",
                sheet.name,
                ids.join(", ")
            ),
        };
        Unheeded::NoSuch {
            id: id.to_string(),
            known,
        }
    }
}
