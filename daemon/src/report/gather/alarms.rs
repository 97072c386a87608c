//! The alarms of the time: when each came, and how long until somebody had seen it and until it was over.

use std::collections::HashMap;

use inkdwell_cure::alarm::Change;

use super::super::period::Asked;
use super::super::{Alarm, Known, ReportError};
use super::Desk;
use crate::journal::RecordQuery;
use crate::record::{AlarmChanged, Record};
use crate::time::Micros;

/// More alarms than this are told of by their number alone.
const MOST: usize = 500;

/// An alarm that has come.
struct Came {
    at: Micros,
    what: String,
    station: Option<String>,
    acknowledged: Option<Micros>,
    over: Option<Micros>,
}

impl Came {
    /// Whether all is known of it that is told.
    fn is_told(&self) -> bool {
        self.acknowledged.is_some() && self.over.is_some()
    }

    fn new(at: Micros, changed: &AlarmChanged) -> Came {
        let title = changed.kind().map(|kind| kind.sheet().title);
        let title = title.unwrap_or(&changed.alarm);
        let drill = if changed.drill { " (a drill)" } else { "" };
        let what = match changed.words.is_empty() {
            true => format!("{title}{drill}"),
            false => format!("{title}{drill}: {}", changed.words),
        };
        Came {
            at,
            what,
            station: changed.station.clone(),
            acknowledged: None,
            over: None,
        }
    }
}

impl Desk<'_> {
    /// Alarms that came in the time, those of other stations left out where one was asked for. What became of them
    /// later is told as far as the records go.
    pub(super) fn alarms(&self, asked: &Asked) -> Result<Known<Vec<Alarm>>, ReportError> {
        let mut came: Vec<Came> = Vec::new();
        let mut standing: HashMap<String, usize> = HashMap::new();
        let query = RecordQuery {
            from: self.from,
            kinds: vec!["alarm-changed"],
            ..RecordQuery::default()
        };
        for kept in self.reader.records(query) {
            let kept = kept?;
            let Record::AlarmChanged(changed) = kept.record else {
                continue;
            };
            if kept.number > self.as_of {
                continue;
            }
            let at = kept.at;
            // Nothing that comes later is told of these any more.
            if at >= self.before && came.iter().all(Came::is_told) {
                break;
            }
            if changed.change == Change::Raised {
                let elsewhere = asked.station.is_some()
                    && changed.station.is_some()
                    && changed.station != asked.station;
                if at < self.before && self.holds(at) && !elsewhere {
                    standing.insert(changed.alarm.clone(), came.len());
                    came.push(Came::new(at, &changed));
                } else {
                    // A later one of that name is another alarm.
                    standing.remove(&changed.alarm);
                }
                continue;
            }
            let Some(own) = standing
                .get(&changed.alarm)
                .and_then(|own| came.get_mut(*own))
            else {
                continue;
            };
            match changed.change {
                Change::Acknowledged { .. } => own.acknowledged = own.acknowledged.or(Some(at)),
                Change::Returned => own.over = own.over.or(Some(at)),
                _ => {}
            }
        }
        if came.len() > MOST {
            let unknown = format!(
                "{} alarms came: too many to be told one by one.",
                came.len()
            );
            return Ok(Known::not(&unknown));
        }
        let told = came.into_iter().map(|own| Alarm {
            what: own.what,
            station: own.station,
            at: self.clock.moment(own.at),
            acknowledged_after_s: own.acknowledged.map(|at| at.seconds_since(own.at)),
            normal_after_s: own.over.map(|at| at.seconds_since(own.at)),
        });
        Ok(Known::Is(told.collect()))
    }
}
