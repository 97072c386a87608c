//! Alarms on their way out: which changes of an alarm go through which sink, and what is told of them.
//!
//! A broker and a time series server are told of every change, and so see each alarm's whole life. People, by a
//! webhook or a command, are told when an alarm is announced; where a sink waits first, only of what nobody has
//! acknowledged by then. A drill goes through every way out, whatever its priority and whoever knows of it.

use inkdwell_config::quantity::Seconds;
use inkdwell_config::shop::{Priority, Sink, SinkKind};

use super::message::Alarm;
use crate::api::view::{CAUTION, Clock};
use crate::journal::{ChainedRecord, ReadError, Reader};
use crate::record::{AlarmChanged, Record};
use crate::time::Micros;

/// Which alarms go through a sink.
#[derive(Debug, Clone, Copy)]
pub(super) struct Wanted {
    from: Priority,
    to_people: bool,
    after: Option<Seconds>,
}

impl Wanted {
    pub(super) fn of(sink: &Sink, after: Option<Seconds>) -> Wanted {
        Wanted {
            from: sink.alarms_from,
            to_people: matches!(
                sink.kind,
                SinkKind::Webhook { .. } | SinkKind::Command { .. }
            ),
            after,
        }
    }

    /// Whether a change of an alarm goes through.
    pub(super) fn takes(
        &self,
        reader: &Reader,
        at: Micros,
        changed: &AlarmChanged,
    ) -> Result<bool, ReadError> {
        if self.to_people && !changed.announce {
            return Ok(false);
        }
        if changed.drill {
            return Ok(true);
        }
        if changed.priority < self.from {
            return Ok(false);
        }
        match self.after {
            Some(after) => is_unheeded(reader, at, at.plus_seconds(after.0), changed),
            None => Ok(true),
        }
    }
}

/// Whether nobody had acknowledged an alarm by then, nor put it aside.
fn is_unheeded(
    reader: &Reader,
    from: Micros,
    to: Micros,
    changed: &AlarmChanged,
) -> Result<bool, ReadError> {
    let last = reader.last_of_alarm(&changed.alarm, from, to)?;
    Ok(match last.map(|kept| kept.record) {
        Some(Record::AlarmChanged(last)) => last.state.wants_acknowledging(),
        _ => changed.state.wants_acknowledging(),
    })
}

/// What is told of a change.
pub(super) fn told(
    shop: &str,
    id: String,
    clock: &Clock,
    record: &ChainedRecord,
    changed: &AlarmChanged,
) -> Alarm {
    let sheet = changed.kind().map(|kind| kind.sheet());
    let said = changed.change.said();
    let hazard = sheet.and_then(|sheet| sheet.hazard);
    Alarm {
        schema: "inkdwell.alarm/1".to_owned(),
        id,
        shop: shop.to_owned(),
        station: changed.station.clone(),
        record: record.kept.number.0,
        at: clock.moment(record.kept.at).at,
        alarm: changed.alarm.clone(),
        title: sheet.map_or_else(|| changed.alarm.clone(), |sheet| sheet.title.to_owned()),
        change: changed.change.name().to_owned(),
        state: changed.state.name().to_owned(),
        priority: changed.priority.name().to_owned(),
        count: changed.count,
        words: changed.words.clone(),
        first: sheet.map(|sheet| sheet.first.to_owned()),
        then: sheet.map(|sheet| sheet.then.to_owned()),
        time: sheet.map(|sheet| sheet.time.to_owned()),
        by: said.map(|(by, _)| by.to_owned()),
        why: said.map(|(_, why)| why.to_owned()),
        follows: changed.follows.clone(),
        announce: changed.announce,
        drill: changed.drill,
        caution: hazard.map_or(CAUTION, |hazard| hazard.caution()).to_owned(),
    }
}
