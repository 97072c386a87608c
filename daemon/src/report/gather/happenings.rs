//! What happened, and troubles counted.

use std::collections::BTreeMap;

use super::super::period::Asked;
use super::super::{Happening, ReportError, Totals};
use super::{Desk, Run};
use crate::api::view::sentence;
use crate::journal::{KeptPass, RecordQuery};
use crate::record::{Occurrence, Record};
use crate::time::Micros;

/// More events than this are counted, and not told one by one.
const MOST_TOLD: usize = 400;

impl Desk<'_> {
    /// Events of the time, those of other stations left out where one was asked for.
    pub(super) fn happenings(
        &self,
        asked: &Asked,
        runs: &[Run],
        without: &[KeptPass],
    ) -> Result<(Vec<Happening>, Totals), ReportError> {
        let mut totals = Totals::default();
        for kept in runs.iter().flat_map(|run| &run.passes).chain(without) {
            let Some(judged) = &kept.pass.judged else {
                continue;
            };
            totals.faults += judged.faults;
            totals.gaps += judged.gaps;
            totals.cut += u64::from(judged.cut);
            totals.unseen += u64::from(judged.evidence == "none");
        }
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
        let passes = runs.iter().flat_map(|run| &run.passes).chain(without);
        let end = passes.map(|kept| kept.pass.end).max();
        let end = end.map_or(last, |end| end.max(last));
        for since in silent.values() {
            totals.outage_s += end.seconds_since(*since).max(0.0);
        }
        Ok((told, totals))
    }

    /// The shop file that held at the end, by its digest; `None` where the journal does not say.
    pub(super) fn shop_that_held(&self) -> Result<Option<String>, ReportError> {
        let mut held = None;
        let query = RecordQuery {
            before: self.before,
            kinds: vec!["occurred"],
            ..RecordQuery::default()
        };
        for kept in self.reader.records(query) {
            let kept = kept?;
            if kept.number > self.as_of {
                continue;
            }
            if let Record::Occurred(occurred) = kept.record
                && let Occurrence::ShopLoaded { digest } = occurred.what
            {
                held = Some(digest);
            }
        }
        Ok(held)
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
