//! How the daemon and everything that it watches are.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use inkdwell_config::display::Units;
use inkdwell_config::station::StationKind;

use super::Api;
use super::batches::unassigned;
use super::extract::Answer;
use super::view::{CAUTION, Clock, RunningPass, SourceState, SourceView, StationView, Status};
use crate::journal::{Holds, Reader};
use crate::keeper::Keeper;
use crate::source::health::{Health, Line};
use crate::time::Micros;

/// A station as the daemon has it now.
struct Seen {
    id: String,
    name: String,
    kind: StationKind,
    batch: Option<u64>,
    belt_m_per_min: Option<f64>,
    belt_is_live: bool,
    running: Vec<(String, Micros)>,
}

fn stations(keeper: &Keeper, now: Micros) -> Vec<Seen> {
    let (shop, floor) = (keeper.shop(), keeper.floor());
    let stations = shop.stations.iter().map(|station| {
        let own = shop
            .probes
            .iter()
            .filter(|probe| probe.station.as_ref() == Some(&station.id));
        let running = own.filter_map(|probe| Some((probe.id.clone(), floor.open_pass(&probe.id)?)));
        Seen {
            id: station.id.clone(),
            name: station.name.clone(),
            kind: station.kind,
            batch: keeper.open_batch(&station.id),
            belt_m_per_min: floor.belt(&station.id, now).map(|belt| belt.0 * 60.0),
            belt_is_live: floor.belt_is_live(&station.id, now),
            running: running.collect(),
        }
    });
    stations.collect()
}

/// `GET /api/status`
pub(super) async fn get(State(api): State<Arc<Api>>) -> Answer<Status> {
    let (shop, units, stations, now) = api
        .look(|keeper, now| {
            let shop = keeper.shop();
            (shop.name.clone(), shop.units, stations(keeper, now), now)
        })
        .await?;
    let (disk_full, sources) = (api.shift.disk_is_full(), api.shift.sources());
    let question = move |reader: &Reader, clock: &Clock| {
        Ok(Status {
            shop,
            version: env!("CARGO_PKG_VERSION").to_owned(),
            now: clock.moment(now),
            timezone: clock.zone.name().to_owned(),
            us_units: units == Units::Us,
            disk_full,
            stations: stations.into_iter().map(|seen| told(seen, clock)).collect(),
            sources: sources
                .iter()
                .map(|(id, health)| told_source(id, health))
                .collect(),
            open_holds: reader.holds(Holds::Open)?.len() as u64,
            unassigned: unassigned(reader)?,
            last_record: reader.head()?.number.0,
            caution: CAUTION.to_owned(),
        })
    };
    api.read(question).await.map(Json)
}

fn told(seen: Seen, clock: &Clock) -> StationView {
    let running = seen.running.into_iter().map(|(probe, since)| RunningPass {
        probe,
        since: clock.moment(since),
    });
    StationView {
        station: seen.id,
        name: seen.name,
        kind: seen.kind.name().to_owned(),
        batch: seen.batch,
        belt_m_per_min: seen.belt_m_per_min,
        belt_is_live: seen.belt_is_live,
        running: running.collect(),
    }
}

fn told_source(id: &str, health: &Health) -> SourceView {
    let counts = health.counts();
    let (state, why) = match health.line() {
        Line::Starting => (SourceState::Starting, None),
        Line::Up => (SourceState::Up, None),
        Line::Down(why) => (SourceState::Down, Some(why)),
        Line::Ended => (SourceState::Ended, None),
    };
    SourceView {
        source: id.to_owned(),
        state,
        why,
        messages: counts.messages,
        readings: counts.readings,
        garbled: counts.garbled,
        repeated: counts.repeated,
        losses: counts.losses,
    }
}
