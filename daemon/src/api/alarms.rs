//! Alarms: which stand, what has happened to them, and what people do with them.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use inkdwell_cure::alarm::{Alarm, AlarmId, Kind, State as Stands};
use schemars::JsonSchema;
use serde::Deserialize;

use super::Api;
use super::extract::{Answer, Asked, Told, at_most, name, prose, some_name};
use super::refusal::Refusal;
use super::view::{
    Acknowledgement, AlarmChangeView, AlarmHistory, AlarmView, Alarms, ByWhy, CAUTION, Catalogue,
    Clock, SheetView, ToShelve, order,
};
use crate::journal::Reader;
use crate::keeper::{Command, Deal, no_alarm};
use crate::record::Record;

/// Which of the alarms, by their states.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
enum Which {
    /// Those that are not normal, but for what is suppressed by design and does not hold.
    #[default]
    Standing,
    /// Those that somebody still has to acknowledge.
    Unacknowledged,
    /// All that ever came or were touched.
    All,
}

/// Which alarms.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Asking {
    /// Those that stand, where nothing is said.
    #[serde(default)]
    state: Which,
}

/// Which of the past.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Past {
    /// One alarm, `NAME@ID`, or all of a name; of all, where nothing is said.
    alarm: Option<String>,
    /// The newest so many; 200 where nothing is said, 2000 at most.
    newest: Option<u64>,
}

/// `GET /api/alarms`
pub(super) async fn list(
    State(api): State<Arc<Api>>,
    Asked(asking): Asked<Asking>,
) -> Answer<Alarms> {
    let wanted = move |alarm: &&Alarm| match asking.state {
        Which::All => true,
        Which::Unacknowledged => alarm.state().wants_acknowledging(),
        Which::Standing => match alarm.state() {
            Stands::Normal => false,
            Stands::SuppressedByDesign => alarm.life.holds(),
            _ => true,
        },
    };
    let (mut alarms, units) = api
        .look(move |keeper, _| {
            let alarms: Vec<Alarm> = keeper.alarms().filter(wanted).cloned().collect();
            (alarms, keeper.shop().units)
        })
        .await?;
    alarms.sort_by_key(order);
    let question = move |_: &Reader, clock: &Clock| {
        let told = alarms
            .iter()
            .map(|alarm| AlarmView::new(alarm, units, clock));
        Ok(Alarms {
            alarms: told.collect(),
            caution: CAUTION.to_owned(),
        })
    };
    api.read(question).await.map(Json)
}

/// `GET /api/alarms/catalogue`
pub(super) async fn catalogue() -> Answer<Catalogue> {
    let alarms = Kind::ALL.into_iter().map(SheetView::new).collect();
    Ok(Json(Catalogue { alarms }))
}

/// `GET /api/alarms/history`
pub(super) async fn history(
    State(api): State<Arc<Api>>,
    Asked(past): Asked<Past>,
) -> Answer<AlarmHistory> {
    let newest = at_most(past.newest, 200, 2000)?;
    let alarm = some_name("alarm", past.alarm)?;
    if let Some(name) = &alarm
        && AlarmId::parse(name).is_none()
    {
        return Err(no_alarm(name).into());
    }
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = reader.alarm_history(alarm.as_deref(), newest)?;
        let told = kept.iter().filter_map(|kept| match &kept.record {
            Record::AlarmChanged(changed) => {
                Some(AlarmChangeView::new(kept.number.0, kept.at, changed, clock))
            }
            _ => None,
        });
        let changes = told.collect();
        Ok(AlarmHistory { changes })
    };
    api.read(question).await.map(Json)
}

/// `GET /api/alarms/{alarm}`
pub(super) async fn get(
    State(api): State<Arc<Api>>,
    Path(alarm): Path<String>,
) -> Answer<AlarmView> {
    show(&api, &alarm).await.map(Json)
}

async fn show(api: &Api, alarm: &str) -> Result<AlarmView, Refusal> {
    let Some(id) = AlarmId::parse(alarm) else {
        return Err(no_alarm(alarm).into());
    };
    let (known, units) = api
        .look(move |keeper, _| {
            let known = keeper.alarm(&id).cloned();
            (known, keeper.shop().units)
        })
        .await?;
    let alarm = alarm.to_owned();
    let question = move |_: &Reader, clock: &Clock| match &known {
        Some(known) => Ok(AlarmView::new(known, units, clock)),
        None => Err(Refusal::absent(format!("{alarm} has never come"))),
    };
    api.read(question).await
}

async fn deal(api: &Api, alarm: String, deal: Deal, by: String, why: String) -> Answer<AlarmView> {
    let (by, why) = (name("by", by)?, prose("why", why)?);
    let command = Command::Alarm {
        alarm: alarm.clone(),
        deal,
        by,
        why,
    };
    api.ask(command).await?;
    show(api, &alarm).await.map(Json)
}

/// `POST /api/alarms/{alarm}/acknowledge`
pub(crate) async fn acknowledge(
    State(api): State<Arc<Api>>,
    Path(alarm): Path<String>,
    Told(new): Told<Acknowledgement>,
) -> Answer<AlarmView> {
    deal(&api, alarm, Deal::Acknowledge, new.by, new.why).await
}

/// `POST /api/alarms/{alarm}/reset`
pub(crate) async fn reset(
    State(api): State<Arc<Api>>,
    Path(alarm): Path<String>,
    Told(new): Told<ByWhy>,
) -> Answer<AlarmView> {
    deal(&api, alarm, Deal::Reset, new.by, new.why).await
}

/// `POST /api/alarms/{alarm}/shelve`
pub(crate) async fn shelve(
    State(api): State<Arc<Api>>,
    Path(alarm): Path<String>,
    Told(new): Told<ToShelve>,
) -> Answer<AlarmView> {
    if !new.for_s.is_finite() {
        return Err(Refusal::wrong("for_s is no number of seconds"));
    }
    deal(&api, alarm, Deal::Shelve(new.for_s), new.by, new.why).await
}

/// `POST /api/alarms/{alarm}/unshelve`
pub(crate) async fn unshelve(
    State(api): State<Arc<Api>>,
    Path(alarm): Path<String>,
    Told(new): Told<ByWhy>,
) -> Answer<AlarmView> {
    deal(&api, alarm, Deal::Unshelve, new.by, new.why).await
}

/// `POST /api/alarms/{alarm}/take-out`
pub(super) async fn take_out(
    State(api): State<Arc<Api>>,
    Path(alarm): Path<String>,
    Told(new): Told<ByWhy>,
) -> Answer<AlarmView> {
    deal(&api, alarm, Deal::TakeOut, new.by, new.why).await
}

/// `POST /api/alarms/{alarm}/put-back`
pub(crate) async fn put_back(
    State(api): State<Arc<Api>>,
    Path(alarm): Path<String>,
    Told(new): Told<ByWhy>,
) -> Answer<AlarmView> {
    deal(&api, alarm, Deal::PutBack, new.by, new.why).await
}

/// `POST /api/alarms/drill`
pub(crate) async fn drill(
    State(api): State<Arc<Api>>,
    Told(new): Told<ByWhy>,
) -> Answer<AlarmView> {
    let (by, why) = (name("by", new.by)?, prose("why", new.why)?);
    api.ask(Command::Drill { by, why }).await?;
    show(&api, Kind::Drill.name()).await.map(Json)
}
