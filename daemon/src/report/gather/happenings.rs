//! What happened, and troubles counted.

use std::collections::BTreeMap;

use super::super::period::Asked;
use super::super::{Happening, ReportError, Totals};
use super::Desk;
use super::tally::Tally;
use crate::api::view::sentence;
use crate::record::Occurrence;
use crate::time::Micros;

/// More events than this are counted, and not told one by one.
const MOST_TOLD: usize = 400;

impl Desk<'_> {
    /// Events of the time, those of other stations left out where one was asked for.
    pub(super) fn happenings(
        &self,
        asked: &Asked,
        tally: &Tally,
    ) -> Result<(Vec<Happening>, Totals), ReportError> {
        let mut totals = tally.totals.clone();
        let mut told = Vec::new();
        let mut silent: BTreeMap<String, Micros> = BTreeMap::new();
        let mut last = self.from;
        for kept in self.reader.events(self.from, self.before)? {
            let elsewhere = asked.station.is_some()
                && kept.event.station.is_some()
                && kept.event.station != asked.station;
            if kept.record > self.as_of || elsewhere || !self.holds(kept.at) {
                continue;
            }
            last = kept.at;
            count(&mut totals, &mut silent, kept.at, &kept.event.what);
            if told.len() < MOST_TOLD {
                told.push(Happening {
                    at: self.clock.moment(kept.at),
                    station: kept.event.station,
                    what: sentence(&kept.event.what),
                    record: kept.record.0,
                });
            }
        }
        let end = tally.last.map_or(last, |end| end.max(last));
        for since in silent.values() {
            totals.outage_s += end.seconds_since(*since).max(0.0);
        }
        Ok((told, totals))
    }
}

fn count(
    totals: &mut Totals,
    silent: &mut BTreeMap<String, Micros>,
    at: Micros,
    what: &Occurrence,
) {
    match what {
        Occurrence::ClockStepped { .. } => totals.clock_steps += 1,
        Occurrence::SourceDown { source, .. } if !silent.contains_key(source) => {
            totals.outages += 1;
            silent.insert(source.clone(), at);
        }
        Occurrence::SourceUp { source } => {
            if let Some(since) = silent.remove(source) {
                totals.outage_s += at.seconds_since(since);
            }
        }
        Occurrence::Late { readings, .. } => totals.late_readings += readings,
        Occurrence::TurnedAway { readings, .. } => totals.turned_away += readings,
        Occurrence::DiskFree { after_s } => totals.disk_full_s += after_s,
        _ => {}
    }
}
