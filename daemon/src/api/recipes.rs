//! Recipes: settings and a reference ride, locked for one ink, fabric and station.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use inkdwell_config::shop::Shop;
use schemars::JsonSchema;
use serde::Deserialize;

use super::Api;
use super::batches::odd;
use super::extract::{Answer, Asked, Told, absent, name, number, prose};
use super::reference::{self, Found};
use super::refusal::Refusal;
use super::ride::{self, Settings};
use super::view::{CAUTION, Clock, LockedNow, NewRecipe, RecipeView, Recipes, ToRetire};
use crate::journal::{KeptBatch, KeptPass, Reader};
use crate::keeper::Command;
use crate::record::{Place, RecipeLocked, Record};

/// By what share a belt may be off where nothing is said. Common practice, no source.
const BELT_DRIFT: f64 = 0.05;
/// By how many °C a zone. Common practice, no source.
pub(crate) const ZONE_DRIFT: f64 = 8.0;
/// By how many °C an exit temperature. Common practice, no source.
pub(crate) const EXIT_DRIFT: f64 = 6.0;

/// Which recipes.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Which {
    /// Also those that were retired.
    #[serde(default)]
    retired: bool,
}

/// `GET /api/recipes`
pub(super) async fn list(
    State(api): State<Arc<Api>>,
    Asked(which): Asked<Which>,
) -> Answer<Recipes> {
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = match which.retired {
            true => reader.recipes()?,
            false => reader.recipes_in_force()?,
        };
        Ok(Recipes {
            recipes: kept
                .iter()
                .map(|kept| RecipeView::new(kept, clock))
                .collect(),
            caution: CAUTION.to_owned(),
        })
    };
    api.read(question).await.map(Json)
}

/// `GET /api/recipes/{recipe}`
pub(super) async fn get(
    State(api): State<Arc<Api>>,
    Path(recipe): Path<String>,
) -> Answer<RecipeView> {
    let recipe = number("recipe", &recipe)?;
    show(&api, recipe).await.map(Json)
}

async fn show(api: &Api, recipe: u64) -> Result<RecipeView, Refusal> {
    let question = move |reader: &Reader, clock: &Clock| {
        let kept = reader.recipe(recipe)?;
        let kept = kept.ok_or_else(|| absent("recipe", recipe))?;
        Ok(RecipeView::new(&kept, clock))
    };
    api.read(question).await
}

/// `POST /api/recipes`
pub(crate) async fn lock(
    State(api): State<Arc<Api>>,
    Told(new): Told<NewRecipe>,
) -> Result<(StatusCode, Json<LockedNow>), Refusal> {
    if let Some(every) = new.ride_every_s
        && !(every > 0.0 && every.is_finite())
    {
        return Err(Refusal::wrong(format!(
            "ride_every_s cannot be {every}; give seconds above zero, or leave it out"
        )));
    }
    let by = name("by", new.by)?;
    let shop = api.look(|keeper, _| keeper.shop().clone()).await?;
    let pass = new.ride;
    let (ride, batch, mut settings, found) = api
        .read(move |reader, _| {
            let (ride, batch, settings) = measure(reader, &shop, pass)?;
            let found = reference::of(reader, &shop, &ride, &batch)?;
            Ok((ride, batch, settings, found))
        })
        .await?;
    let reference = match found {
        Found::NoExitProbe => None,
        Found::Ride(ride, shown, promise) => {
            settings.remarks.extend(promise);
            settings.exit_c = shown.or(settings.exit_c);
            Some(ride)
        }
        Found::Unfit(why) => {
            settings.remarks.push(why);
            None
        }
    };
    let locked = RecipeLocked {
        recipe: 0,
        station: ride.pass.station,
        ink: batch.batch.ink,
        fabric: batch.batch.fabric,
        declared: batch.batch.declared,
        ride: pass,
        belt_m_per_min: ride.pass.belt_m_per_min,
        zones_c: settings.zones_c,
        exit_c: settings.exit_c,
        belt_drift: new.belt_drift.unwrap_or(BELT_DRIFT),
        zone_drift_c: new.zone_drift_c.unwrap_or(ZONE_DRIFT),
        exit_drift_c: new.exit_drift_c.unwrap_or(EXIT_DRIFT),
        ride_every_s: new.ride_every_s,
        by,
        reference,
    };
    let done = api.ask(Command::LockRecipe(Box::new(locked))).await?;
    let Record::RecipeLocked(locked) = done else {
        return Err(odd());
    };
    let locked = LockedNow {
        recipe: show(&api, locked.recipe).await?,
        remarks: settings.remarks,
        caution: CAUTION.to_owned(),
    };
    Ok((StatusCode::CREATED, Json(locked)))
}

/// The ride, if it is fit to be one's measure, its batch, and how the station stood.
fn measure(
    reader: &Reader,
    shop: &Shop,
    pass: u64,
) -> Result<(KeptPass, KeptBatch, Settings), Refusal> {
    let ride = reader.pass(pass)?.ok_or_else(|| absent("pass", pass))?;
    let unfit = |why: &str| Err(Refusal::conflict(format!("pass {pass} {why}")));
    let is_ride = matches!(ride.pass.place, Place::Ride | Place::Flash);
    let (Some(batch), Some(judged)) = (ride.pass.batch, &ride.pass.judged) else {
        return unfit(
            "has no batch, so that nobody knows its ink and fabric; assign it to one first",
        );
    };
    if !is_ride || judged.evidence != "measured" {
        return unfit(
            "is no ride: no probe was in its print; lock a recipe from one that was measured",
        );
    }
    if !judged.is_good() {
        let why = format!(
            "is {}; lock a recipe from a ride that is proved good",
            judged.verdict
        );
        return unfit(&why);
    }
    if !ride.readings_kept {
        return unfit("has lost its readings, which say how the zones stood; lock a newer ride");
    }
    let batch = reader.batch(batch)?.ok_or_else(|| absent("batch", batch))?;
    let settings = ride::settings(reader, shop, &ride.pass)?;
    Ok((ride, batch, settings))
}

/// `POST /api/recipes/{recipe}/retire`
pub(crate) async fn retire(
    State(api): State<Arc<Api>>,
    Path(recipe): Path<String>,
    Told(new): Told<ToRetire>,
) -> Answer<RecipeView> {
    let recipe = number("recipe", &recipe)?;
    let (by, why) = (name("by", new.by)?, prose("why", new.why)?);
    show(&api, recipe).await?;
    api.ask(Command::RetireRecipe { recipe, by, why }).await?;
    show(&api, recipe).await.map(Json)
}
