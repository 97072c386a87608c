//! What the live page shows, as JSON: the terminal's view says the same in the same words.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use schemars::JsonSchema;
use serde::Deserialize;

use super::now::{self, ShopNow, StationNow, ZoneNow};
use super::running::Trip;
use super::state::State as Says;
use super::words::look_of;
use super::{out, todo};
use crate::api::Api;
use crate::api::extract::{Answer, Asked};
use crate::api::refusal::Refusal;
use crate::api::view::{
    CAUTION, Clock, LeftView, LevelView, NowView, ProgressView, SaysView, StationNowView, ToDoView,
    TripView, ZoneNowView,
};
use crate::journal::{KeptBatch, KeptPass};

/// A curve has so many points at most: more than a terminal shows.
const POINTS: usize = 400;

/// Which stations.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Which {
    /// One station's id; all of them where nothing is said.
    station: Option<String>,
}

/// `GET /api/now`
pub(crate) async fn get(
    State(api): State<Arc<Api>>,
    Asked(which): Asked<Which>,
) -> Answer<NowView> {
    let shop = now::look(&api, which.station.clone()).await?;
    if let (Some(station), true) = (&which.station, shop.stations.is_empty()) {
        let known = api.look(|keeper, _| {
            let stations = keeper.shop().stations.iter();
            stations.map(|own| own.id.clone()).collect::<Vec<_>>()
        });
        let known = known.await?.join(", ");
        let station: String = station.chars().take(80).collect();
        return Err(Refusal::absent(format!(
            "the shop has no station {station:?}; it has {known}"
        )));
    }
    let stations = shop.stations.iter();
    Ok(Json(NowView {
        shop: shop.name.clone(),
        us_units: shop.units == inkdwell_config::display::Units::Us,
        now: shop.clock.moment(shop.now),
        stations: stations.map(|station| told(&shop, station)).collect(),
        last_record: shop.record,
        shelve_longest_s: shop.shelve_longest,
        caution: CAUTION.to_owned(),
    }))
}

fn told(shop: &ShopNow, station: &StationNow) -> StationNowView {
    let says = Says::of(shop, station);
    let clock = &shop.clock;
    StationNowView {
        station: station.id.clone(),
        name: station.name.clone(),
        kind: station.kind.name().to_owned(),
        says: SaysView {
            mark: says.mark.to_owned(),
            tone: says.tone.to_owned(),
            large: says.large,
            small: says.small,
        },
        trip: station.trip.as_ref().map(|trip| told_trip(shop, trip)),
        belt_m_per_min: station.belt.map(|belt| belt.0 * 60.0),
        belt_is_live: station.belt_is_live,
        zones: station.zones.iter().map(ZoneNowView::from).collect(),
        last: station.last.iter().map(|kept| left(kept, clock)).collect(),
        batch: station.batch.as_ref().map(|batch| progress(station, batch)),
        to_do: todo::of(shop, station)
            .into_iter()
            .map(|own| ToDoView {
                mark: own.mark().map(str::to_owned),
                tone: own.tone().to_owned(),
                what: own.what,
                more: own.more,
                hold: own.hold,
                alarm: own.alarm,
                urgent: own.is_urgent,
            })
            .collect(),
    }
}

fn told_trip(shop: &ShopNow, trip: &Trip) -> TripView {
    let levels = trip.levels.iter().map(|level| LevelView {
        name: level.name.clone(),
        celsius: level.celsius,
        is_limit: level.is_limit,
    });
    TripView {
        since: shop.clock.moment(trip.since),
        running_s: trip.is_running.then(|| shop.now.seconds_since(trip.since)),
        print: trip.print,
        points: thinned(&trip.points, POINTS),
        levels: levels.collect(),
        cure: trip.cure,
        harms: trip.harms.clone(),
    }
}

/// A curve of at most so many points: of each stretch its coolest and its hottest, in their order.
fn thinned(points: &[(f64, f64)], most: usize) -> Vec<(f64, f64)> {
    if points.len() <= most {
        return points.to_vec();
    }
    let stretch = points.len().div_ceil((most / 2).max(1));
    let mut kept = Vec::with_capacity(most);
    for stretch in points.chunks(stretch) {
        let by_heat = |a: &&(f64, f64), b: &&(f64, f64)| a.1.total_cmp(&b.1);
        let coolest = stretch.iter().min_by(by_heat);
        let hottest = stretch.iter().max_by(by_heat);
        let mut both: Vec<(f64, f64)> = coolest.into_iter().chain(hottest).copied().collect();
        both.sort_by(|a, b| a.0.total_cmp(&b.0));
        both.dedup();
        kept.extend(both);
    }
    kept
}

impl From<&ZoneNow> for ZoneNowView {
    fn from(zone: &ZoneNow) -> ZoneNowView {
        ZoneNowView {
            name: zone.name.clone(),
            shows_c: zone.shows,
            set_c: zone.set,
        }
    }
}

fn left(kept: &KeptPass, clock: &Clock) -> LeftView {
    let judged = kept.pass.judged.as_ref();
    let look = look_of(judged);
    LeftView {
        pass: kept.pass.pass,
        name: out::name(kept),
        print: kept.pass.print.filter(|print| *print > 0),
        out: clock.moment(kept.pass.end),
        mark: look.mark.to_owned(),
        tone: look.tone.to_owned(),
        word: look.word.to_owned(),
        evidence: judged.map(|judged| judged.evidence.clone()),
        peak_c: judged
            .filter(|judged| judged.evidence != "none")
            .map(|judged| judged.peak_c),
    }
}

fn progress(station: &StationNow, batch: &KeptBatch) -> ProgressView {
    let counts = out::Counts::of(station, batch);
    ProgressView {
        batch: batch.batch.batch,
        job: batch.batch.job.clone(),
        ink: batch.batch.ink.clone(),
        fabric: batch.batch.fabric.clone(),
        done: counts.done,
        good: counts.good,
        to_pull: counts.held,
        of: batch.batch.quantity,
    }
}

#[cfg(test)]
mod tests {
    use super::thinned;

    #[test]
    fn a_thinned_curve_keeps_its_order_and_its_peak() {
        let points: Vec<(f64, f64)> = (0..10_000)
            .map(|number| {
                let time = f64::from(number);
                // One sample stands out.
                let celsius = match number {
                    7321 => 240.0,
                    _ => 150.0 - (time - 5000.0).abs() / 100.0,
                };
                (time, celsius)
            })
            .collect();
        let kept = thinned(&points, 400);
        assert!(kept.len() <= 400, "{}", kept.len());
        assert!(kept.contains(&(7321.0, 240.0)));
        assert!(kept.windows(2).all(|pair| pair[0].0 < pair[1].0));
        assert!(kept.iter().all(|point| points.contains(point)));
        assert_eq!(thinned(&points[..400], 400), points[..400]);
    }
}
