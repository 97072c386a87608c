//! Probes: what each said last, how sure it is, and its calibrations.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use chrono::NaiveDate;
use inkdwell_config::problem::suggestion;
use inkdwell_config::quantity::Celsius;
use inkdwell_config::shop::{Calibration, Place, Probe};
use inkdwell_cure::live::Latest;
use inkdwell_cure::plan::ProbeDoubt;

use super::Api;
use super::extract::{Answer, Told, name};
use super::refusal::Refusal;
use super::view::{
    CAUTION, CalibrationView, Clock, NewCalibration, ProbeView, Probes, ReadingView,
};
use crate::keeper::{Command, Keeper, Refused};
use crate::record::Calibrated;
use crate::time::Micros;

/// Where a probe's doubt is told while no batch is open at its station: where a plastisol cures.
const USUAL: Celsius = Celsius(160.0);

/// A probe as the daemon has it now.
struct Seen {
    probe: Probe,
    latest: Option<Latest>,
    near: Celsius,
    doubt: Option<ProbeDoubt>,
}

fn seen(keeper: &Keeper, probe: &Probe) -> Seen {
    let floor = keeper.floor();
    let station = probe.station.as_deref();
    let near = station.and_then(|station| keeper.open_threshold(station));
    let near = near.unwrap_or(USUAL);
    Seen {
        // With the calibration that holds, whether the shop file or a person made it.
        probe: floor.probe(&probe.id).unwrap_or(probe).clone(),
        latest: floor.latest(&probe.id),
        near,
        doubt: floor.doubt(&probe.id, near),
    }
}

/// `GET /api/probes`
pub(super) async fn list(State(api): State<Arc<Api>>) -> Answer<Probes> {
    let (all, now) = api
        .look(|keeper, now| {
            let probes = keeper.shop().probes.iter();
            (
                probes.map(|probe| seen(keeper, probe)).collect::<Vec<_>>(),
                now,
            )
        })
        .await?;
    let told = api
        .read(move |_, clock| Ok(all.into_iter().map(|seen| told(seen, now, clock)).collect()))
        .await?;
    Ok(Json(Probes {
        probes: told,
        caution: CAUTION.to_owned(),
    }))
}

/// `GET /api/probes/{probe}`
pub(super) async fn get(
    State(api): State<Arc<Api>>,
    Path(probe): Path<String>,
) -> Answer<ProbeView> {
    show(&api, probe).await.map(Json)
}

async fn show(api: &Api, id: String) -> Result<ProbeView, Refusal> {
    let looked = api
        .look(move |keeper, now| {
            let probes = &keeper.shop().probes;
            match probes.iter().find(|probe| probe.id == id) {
                Some(probe) => Ok((seen(keeper, probe), now)),
                None => {
                    let known: Vec<&str> = probes.iter().map(|probe| probe.id.as_str()).collect();
                    let remedy = suggestion(&id, &known);
                    Err(Refusal::absent(Refused::NoProbe { id, remedy }.to_string()))
                }
            }
        })
        .await?;
    let (seen, now) = looked?;
    api.read(move |_, clock| Ok(told(seen, now, clock))).await
}

fn told(seen: Seen, now: Micros, clock: &Clock) -> ProbeView {
    let Seen {
        probe,
        latest,
        near,
        doubt,
    } = seen;
    let today = clock.day(now);
    ProbeView {
        station: probe.station,
        place: place(probe.place).to_owned(),
        zone: probe.zone,
        source: probe.source,
        channel: probe.channel,
        reading: latest.map(|latest| ReadingView {
            at: clock.moment(latest.at),
            age_s: now.seconds_since(latest.at),
            celsius: latest.value.filter(|value| value.is_finite()),
        }),
        uncertainty_c: doubt.map_or(0.0, |doubt| doubt.uncertainty.at(near.0)),
        uncertainty_at_c: near.0,
        uncertainty_assumed: doubt.and_then(|doubt| doubt.assumed),
        calibration: probe
            .calibration
            .map(|calibration| told_calibration(calibration, &today)),
        probe: probe.id,
    }
}

fn told_calibration(calibration: Calibration, today: &str) -> CalibrationView {
    let due = calibration.due.map(|due| due.to_string());
    let points = calibration.points.into_iter();
    CalibrationView {
        points_c: points.map(|(shown, right)| (shown.0, right.0)).collect(),
        uncertainty_c: calibration.uncertainty.map(|uncertainty| uncertainty.0),
        date: calibration.date.to_string(),
        by: calibration.by,
        // Days written as 2026-01-31 sort as they follow.
        overdue: due.as_deref().is_some_and(|due| due < today),
        due,
    }
}

fn place(place: Place) -> &'static str {
    match place {
        Place::Ride => "ride",
        Place::Cloth => "cloth",
        Place::Exit => "exit",
        Place::Zone => "zone",
        Place::Platen => "platen",
        Place::Room => "room",
    }
}

/// `POST /api/probes/{probe}/calibrations`
pub(super) async fn calibrate(
    State(api): State<Arc<Api>>,
    Path(probe): Path<String>,
    Told(new): Told<NewCalibration>,
) -> Result<(StatusCode, Json<ProbeView>), Refusal> {
    show(&api, probe.clone()).await?;
    let date = day("date", &new.date)?;
    if let Some(due) = &new.due
        && day("due", due)? <= date
    {
        return Err(Refusal::wrong(format!(
            "due: {due} is not after {date}, the day of the calibration; give the day by which it has to be \
             made again"
        )));
    }
    let rises = |pair: &[(f64, f64)]| pair[0].1 < pair[1].1;
    if !new.points_c.windows(2).all(rises) {
        return Err(Refusal::wrong(
            "the points: what was true has to rise from point to point, as what was shown does",
        ));
    }
    let calibrated = Calibrated {
        probe: probe.clone(),
        points_c: new.points_c,
        uncertainty_c: new.uncertainty_c,
        date: date.to_string(),
        due: new.due,
        by: name("by", new.by)?,
    };
    api.ask(Command::Calibrate(calibrated)).await?;
    let probe = show(&api, probe).await?;
    Ok((StatusCode::CREATED, Json(probe)))
}

fn day(key: &str, text: &str) -> Result<NaiveDate, Refusal> {
    NaiveDate::parse_from_str(text, "%Y-%m-%d")
        .map_err(|_| Refusal::wrong(format!("{key}: {text:?} is no day; write it as 2026-01-31")))
}
