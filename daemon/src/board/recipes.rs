//! Rides and recipes: what is locked, and the rides that more can be locked from.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use inkdwell_config::display::Units;
use inkdwell_config::quantity::CelsiusDifference;
use maud::{Markup, html};
use serde::Deserialize;

use super::form::{Sent, by, done, number, some_number};
use super::page::{Frame, Kept, Refused, page};
use super::prints::is_ride;
use super::words::{day_and_minute, degrees, look_of, mark, speed};
use crate::api::Api;
use crate::api::extract::Told;
use crate::api::recipes as api_recipes;
use crate::api::recipes::{EXIT_DRIFT, ZONE_DRIFT};
use crate::api::refusal::Refusal;
use crate::api::view::{Clock, NewRecipe, ToRetire};
use crate::journal::{KeptPass, KeptRecipe, PassQuery, Reader};
use crate::record::Place;

/// So many passes are looked through for rides.
const LOOKED: u64 = 400;
/// So many rides are listed.
const RIDES: usize = 40;

/// `GET /recipes`
pub(super) async fn list(
    State(api): State<Arc<Api>>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let frame = Frame::now(&api, &headers).await?;
    let units = api.look(|keeper, _| keeper.shop().units).await?;
    let may_change = frame.may_change;
    let question = move |reader: &Reader, clock: &Clock| {
        let mut recipes = reader.recipes()?;
        recipes.sort_by_key(|kept| {
            (
                kept.retired.is_some(),
                std::cmp::Reverse(kept.recipe.recipe),
            )
        });
        let rides = rides(reader)?;
        Ok(html! {
            h1 { "Recipes" }
            p { "A recipe is what a good ride proved: belt, chamber and exit as they were then. While a batch runs by it, leaving it is said at once." }
            h2 { "Locked" }
            @for kept in &recipes { (recipe(kept, units, may_change, clock)) }
            @if recipes.is_empty() { p { "None is locked yet." } }
            h2 { "Rides" }
            @for kept in &rides { (ride(kept, units, may_change, clock)) }
            @if rides.is_empty() { p { "No print of a batch was measured by a probe in its ink yet." } }
        })
    };
    let body = api.read(question).await?;
    Ok(page(&frame, "/recipes", "Recipes", Kept::Whole, &body))
}

/// The newest measured passes of batches, the newest first.
fn rides(reader: &Reader) -> Result<Vec<KeptPass>, crate::journal::ReadError> {
    let passes = reader.passes(&PassQuery {
        newest: Some(LOOKED),
        ..PassQuery::default()
    })?;
    let rides = passes.into_iter().filter(|kept| {
        let is_there = matches!(kept.pass.place, Place::Ride | Place::Flash);
        is_there && kept.pass.batch.is_some() && kept.pass.judged.is_some()
    });
    Ok(rides.take(RIDES).collect())
}

fn recipe(kept: &KeptRecipe, units: Units, may_change: bool, clock: &Clock) -> Markup {
    let own = &kept.recipe;
    let drift = |by: f64| units.difference(CelsiusDifference(by));
    html! {
        article .card aria-labelledby={ "recipe-" (own.recipe) } {
            h3 id={ "recipe-" (own.recipe) } { "Recipe " (own.recipe) ": " (own.ink) " on " (own.fabric) " at " (own.station) }
            dl .facts {
                @if let Some(belt) = own.belt_m_per_min {
                    dt { "Belt" } dd { (speed(belt, units)) ", within " (format!("{:.0} %", own.belt_drift * 100.0)) }
                }
                @for (probe, celsius) in &own.zones_c {
                    dt { (probe) } dd { (degrees(*celsius, units)) ", within " (drift(own.zone_drift_c)) }
                }
                @if let Some(exit) = own.exit_c { dt { "At the exit" } dd { (degrees(exit, units)) ", within " (drift(own.exit_drift_c)) } }
                @if let Some(every) = own.ride_every_s { dt { "Ride again" } dd { "after " (format!("{:.1} h", every / 3600.0)) } }
                dt { "Ride" } dd { a href={ "/prints/" (own.ride) } { "pass " (own.ride) } }
                dt { "Locked" } dd { (own.by) ", " (day_and_minute(kept.locked, clock)) }
                @if let Some((at, retired)) = &kept.retired {
                    dt { "Retired" } dd { (retired.by) ", " (day_and_minute(*at, clock)) ": " (retired.why) }
                }
            }
            @if may_change && kept.retired.is_none() {
                details {
                    summary { "Retire it" }
                    form method="post" action="/do/retire-recipe" .sheet {
                        input type="hidden" name="recipe" value=(own.recipe);
                        label { "Why" input name="why" required maxlength="4000" autocomplete="off"; }
                        (by())
                        button { "Retire it" }
                    }
                }
            }
        }
    }
}

fn ride(kept: &KeptPass, units: Units, may_change: bool, clock: &Clock) -> Markup {
    let pass = &kept.pass;
    let look = look_of(pass.judged.as_ref());
    html! {
        div .row id={ "ride-" (pass.pass) } {
            p {
                (mark(look)) a href={ "/prints/" (pass.pass) } { "Pass " (pass.pass) } ", " (pass.station) ", " (look.word)
                @if let Some(judged) = &pass.judged { ", peak " (degrees(judged.peak_c, units)) }
                @if let Some(belt) = pass.belt_m_per_min { " at " (speed(belt, units)) }
                span .faint { ", " (day_and_minute(pass.end, clock)) }
            }
            @if may_change && is_ride(kept) { (locking(pass.pass, units)) }
        }
    }
}

/// The form that locks a recipe from a ride.
pub(super) fn locking(ride: u64, units: Units) -> Markup {
    let usual = |celsius| format!("{:.0}", units.difference_number(CelsiusDifference(celsius)));
    html! {
        details {
            summary { "Lock a recipe from it" }
            form method="post" action="/do/lock-recipe" .sheet {
                input type="hidden" name="ride" value=(ride);
                label { "Belt may be off by (%)" input name="belt" inputmode="decimal" placeholder="5"; }
                label { "A zone may be off by (" (units.degree()) ")" input name="zone" inputmode="decimal" placeholder=(usual(ZONE_DRIFT)); }
                label { "The exit may be off by (" (units.degree()) ")" input name="exit" inputmode="decimal" placeholder=(usual(EXIT_DRIFT)); }
                label { "Ride again after (h)" input name="every" inputmode="decimal" placeholder="never"; }
                (by())
                button { "Lock it" }
            }
        }
    }
}

/// A difference as the shop reads it, in °C.
fn celsius(difference: f64, units: Units) -> f64 {
    match units {
        Units::Metric => difference,
        Units::Us => difference / 1.8,
    }
}

/// What the form to lock says.
#[derive(Deserialize)]
pub(super) struct ToLock {
    ride: String,
    #[serde(default)]
    belt: String,
    #[serde(default)]
    zone: String,
    #[serde(default)]
    exit: String,
    #[serde(default)]
    every: String,
    by: String,
}

/// `POST /do/lock-recipe`
pub(super) async fn lock(
    State(api): State<Arc<Api>>,
    headers: HeaderMap,
    Sent(form): Sent<ToLock>,
) -> Result<Response, Refused> {
    let units = api.look(|keeper, _| keeper.shop().units).await?;
    let drift = |what: &str, text: &str, example: &str| -> Result<Option<f64>, Refusal> {
        let number: Option<f64> = some_number(what, text, example)?;
        Ok(number.map(|number| celsius(number, units)))
    };
    let belt: Option<f64> = some_number("Belt may be off by", &form.belt, "5")?;
    let every: Option<f64> = some_number("Ride again after", &form.every, "4")?;
    let new = NewRecipe {
        ride: number("Ride", &form.ride, "12")?,
        belt_drift: belt.map(|percent| percent / 100.0),
        zone_drift_c: drift("A zone may be off by", &form.zone, "8")?,
        exit_drift_c: drift("The exit may be off by", &form.exit, "6")?,
        ride_every_s: every.map(|hours| hours * 3600.0),
        by: form.by,
    };
    let (_, Json(locked)) = api_recipes::lock(State(Arc::clone(&api)), Told(new)).await?;
    if locked.remarks.is_empty() {
        return done("/recipes");
    }
    let frame = Frame::now(&api, &headers).await?;
    let title = format!("Recipe {} is locked", locked.recipe.recipe);
    Ok(page(
        &frame,
        "/recipes",
        &title,
        Kept::Whole,
        &remarked(&title, &locked.remarks),
    ))
}

/// What a recipe that was locked just now lacks, and what may be expected of prints that follow it.
fn remarked(title: &str, remarks: &[String]) -> Markup {
    html! {
        h1 { (title) }
        p { "Know this of it:" }
        ul { @for remark in remarks { li { (remark) } } }
        p { a href="/recipes" { "To all recipes" } }
    }
}

/// What the form to retire says.
#[derive(Deserialize)]
pub(super) struct Retiring {
    recipe: String,
    why: String,
    by: String,
}

/// `POST /do/retire-recipe`
pub(super) async fn retire(
    State(api): State<Arc<Api>>,
    Sent(form): Sent<Retiring>,
) -> Result<Response, Refused> {
    let new = ToRetire {
        by: form.by,
        why: form.why,
    };
    let _shown = api_recipes::retire(State(api), Path(form.recipe), Told(new)).await?;
    done("/recipes")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_locked_recipe_lacks_is_said_in_full() {
        let remarks = [
            "about 6 in ten will be proved <so>".to_owned(),
            "not watched".to_owned(),
        ];
        let said = remarked("Recipe 3 is locked", &remarks).into_string();
        assert!(said.contains("<h1>Recipe 3 is locked</h1>"), "{said}");
        assert!(
            said.contains("<li>about 6 in ten will be proved &lt;so&gt;</li>"),
            "{said}"
        );
        assert!(
            said.contains("<li>not watched</li>") && said.contains("href=\"/recipes\""),
            "{said}"
        );
    }

    #[test]
    fn a_drift_is_taken_in_the_shop_s_degrees() {
        // A difference of 9 °F is one of 5 °C exactly.
        assert_eq!(celsius(9.0, Units::Us), 5.0);
        assert_eq!(celsius(8.0, Units::Metric), 8.0);
        let asks = locking(1, Units::Us).into_string();
        assert!(asks.contains("A zone may be off by (°F)"), "{asks}");
        // 8 °C are 14.4 °F.
        assert!(asks.contains("placeholder=\"14\""), "{asks}");
    }
}
