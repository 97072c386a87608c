//! Where each station stands, for whoever subscribes only now.

use inkdwell_config::shop::Shop;

use crate::api::view::{CAUTION, Clock};
use crate::journal::{Batches, Holds, PassQuery, ReadError, Reader};
use crate::record::Record;
use crate::sink::message::{Standing, StandingAlarm, State};

/// All stations, as the journal tells it.
pub(super) fn states(reader: &Reader, clock: &Clock, shop: &Shop) -> Result<Vec<State>, ReadError> {
    let record = reader.head()?.number.0;
    let open = reader.batches(Batches::Open)?;
    let holds = reader.holds(Holds::Open)?;
    let mut states = Vec::with_capacity(shop.stations.len());
    for station in &shop.stations {
        let id = &station.id;
        let kept = open.iter().find(|kept| kept.batch.station == *id);
        let newest = PassQuery {
            station: Some(id.clone()),
            newest: Some(1),
            ..PassQuery::default()
        };
        let last = reader.passes(&newest)?.pop().map(|kept| kept.pass);
        let counts = kept.into_iter().flat_map(|kept| &kept.counts);
        let mut by_verdict = std::collections::BTreeMap::new();
        for count in counts {
            if let Some(verdict) = &count.verdict {
                *by_verdict.entry(verdict.clone()).or_default() += count.passes;
            }
        }
        states.push(State {
            schema: "inkdwell.state/1".to_owned(),
            shop: shop.name.clone(),
            station: id.clone(),
            record,
            batch: kept.map(|kept| kept.batch.batch),
            job: kept.map(|kept| kept.batch.job.clone()),
            ink: kept.map(|kept| kept.batch.ink.clone()),
            fabric: kept.map(|kept| kept.batch.fabric.clone()),
            counts: by_verdict,
            last_pass: last.as_ref().map(|pass| pass.pass),
            last_verdict: last
                .as_ref()
                .and_then(|pass| Some(pass.judged.as_ref()?.verdict.clone())),
            last_at: last.as_ref().map(|pass| clock.moment(pass.end).at),
            open_holds: holds.iter().filter(|kept| kept.hold.station == *id).count() as u64,
            caution: CAUTION.to_owned(),
        });
    }
    Ok(states)
}

/// The alarms that are not normal, of each station and of what belongs to none.
pub(super) fn alarms(
    reader: &Reader,
    clock: &Clock,
    shop: &Shop,
) -> Result<Vec<Standing>, ReadError> {
    let record = reader.head()?.number.0;
    let kept = reader.standing_alarms()?;
    let stations = shop.stations.iter().map(|station| Some(station.id.clone()));
    let all = stations.chain([None]).map(|station| {
        let own = kept.iter().filter_map(|kept| match &kept.record {
            Record::AlarmChanged(changed) if changed.station == station => Some(StandingAlarm {
                alarm: changed.alarm.clone(),
                state: changed.state.name().to_owned(),
                priority: changed.priority.name().to_owned(),
                since: clock.moment(kept.at).at,
                words: changed.words.clone(),
            }),
            _ => None,
        });
        Standing {
            schema: "inkdwell.alarms/1".to_owned(),
            shop: shop.name.clone(),
            alarms: own.collect(),
            station,
            record,
            caution: CAUTION.to_owned(),
        }
    });
    Ok(all.collect())
}
