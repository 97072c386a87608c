//! Everything that can be asked, each with its description.
//!
//! The router and the OpenAPI document are both made from this one list, so that neither knows of anything that the
//! other does not.

use std::sync::Arc;

use axum::Router;
use axum::http::{Method, Uri};
use axum::middleware::from_fn_with_state;
use axum::routing::{MethodRouter, get, post};
use schemars::{JsonSchema, Schema, SchemaGenerator};

use super::refusal::Refusal;
use super::view::{Acknowledgement, AlarmHistory, AlarmView, Alarms, ByWhy, Catalogue, ToShelve};
use super::view::{
    Assigned, BatchInFull, BatchView, Batches, By, Events, HoldView, Holds, LockedNow, NewBatch,
    NewCalibration, NewNote, NewRecipe, NewSignOff, NowView, PassInFull, Passes, ProbeView, Probes,
    RecipeView, Recipes, Settlement, SinkView, Sinks, Status, ToAssign, ToRetire,
};
use super::{
    Api, alarms, batches, describe, events, guard, holds, passes, probes, recipes, sinks, status,
    stream,
};
use crate::board::told;

/// Makes the schema of a type.
pub(super) type MakeSchema = fn(&mut SchemaGenerator) -> Schema;

/// What comes back where all is well.
#[derive(Debug, Clone, Copy)]
pub(super) enum Back {
    /// JSON of this schema.
    Json(MakeSchema),
    /// Some JSON.
    AnyJson,
    /// Server-sent events.
    Events,
    /// Text of this media type.
    Text(&'static str),
}

/// Something that can be asked.
pub(super) struct Route {
    /// The method, in small letters.
    pub(super) method: &'static str,
    pub(super) path: &'static str,
    pub(super) handler: MethodRouter<Arc<Api>>,
    /// What it is about, in a few words.
    pub(super) title: &'static str,
    /// What stands behind the question mark.
    pub(super) query: Option<MakeSchema>,
    /// What is sent.
    pub(super) body: Option<MakeSchema>,
    /// The status where all is well.
    pub(super) status: u16,
    pub(super) back: Back,
    /// The statuses that it may be refused with, besides those of every request.
    pub(super) refusals: &'static [u16],
}

impl Route {
    fn get(path: &'static str, handler: MethodRouter<Arc<Api>>, title: &'static str) -> Route {
        Route {
            method: "get",
            path,
            handler,
            title,
            query: None,
            body: None,
            status: 200,
            back: Back::AnyJson,
            refusals: &[],
        }
    }

    fn post<T: JsonSchema>(
        path: &'static str,
        handler: MethodRouter<Arc<Api>>,
        title: &'static str,
    ) -> Route {
        Route {
            method: "post",
            body: Some(schema::<T>),
            ..Route::get(path, handler, title)
        }
    }

    fn query<T: JsonSchema>(self) -> Route {
        Route {
            query: Some(inline::<T>),
            ..self
        }
    }

    fn back<T: JsonSchema>(self) -> Route {
        Route {
            back: Back::Json(schema::<T>),
            ..self
        }
    }

    fn created<T: JsonSchema>(self) -> Route {
        Route {
            status: 201,
            ..self.back::<T>()
        }
    }

    fn refusals(self, refusals: &'static [u16]) -> Route {
        Route { refusals, ..self }
    }
}

fn schema<T: JsonSchema>(generator: &mut SchemaGenerator) -> Schema {
    generator.subschema_for::<T>()
}

fn inline<T: JsonSchema>(generator: &mut SchemaGenerator) -> Schema {
    T::json_schema(generator)
}

/// The list.
pub(super) fn routes() -> Vec<Route> {
    let mut routes = vec![
        Route::get("/api/openapi.json", get(describe::get), "This description"),
        Route::get("/api/status", get(status::get), "How everything is").back::<Status>(),
        Route::get(
            "/api/now",
            get(told::get),
            "The stations as people look at them: state, what is in the heat, what has left it, what to do",
        )
        .query::<told::Which>()
        .back::<NowView>()
        .refusals(&[404]),
        Route::get("/api/events", get(events::list), "What has happened")
            .query::<events::Which>()
            .back::<Events>(),
        Route {
            back: Back::Events,
            ..Route::get(
                "/api/stream",
                get(stream::get),
                "The news as it is committed, resumable by the number of a record",
            )
            .query::<stream::From>()
            .refusals(&[409])
        },
    ];
    routes.extend(of_batches());
    routes.extend(of_passes_and_holds());
    routes.extend(of_recipes_and_probes());
    routes.extend(of_ways_out());
    routes.extend(of_alarms());
    routes
}

fn of_alarms() -> Vec<Route> {
    let deal = |path, handler, title| {
        let route = Route::post::<ByWhy>(path, handler, title);
        route.back::<AlarmView>().refusals(&[404, 409])
    };
    vec![
        Route::get("/api/alarms", get(alarms::list), "Alarms as they stand")
            .query::<alarms::Asking>()
            .back::<Alarms>(),
        Route::get(
            "/api/alarms/catalogue",
            get(alarms::catalogue),
            "Every alarm that there is: cause, consequence, what to do first, how long one has",
        )
        .back::<Catalogue>(),
        Route::get(
            "/api/alarms/history",
            get(alarms::history),
            "What has happened to alarms",
        )
        .query::<alarms::Past>()
        .back::<AlarmHistory>()
        .refusals(&[404]),
        Route::post::<ByWhy>(
            "/api/alarms/drill",
            post(alarms::drill),
            "Raise a marked test alarm, which goes through every way out",
        )
        .back::<AlarmView>(),
        Route::get("/api/alarms/{alarm}", get(alarms::get), "One alarm")
            .back::<AlarmView>()
            .refusals(&[404]),
        Route::post::<Acknowledgement>(
            "/api/alarms/{alarm}/acknowledge",
            post(alarms::acknowledge),
            "Acknowledge an alarm",
        )
        .back::<AlarmView>()
        .refusals(&[404, 409]),
        Route::post::<ToShelve>(
            "/api/alarms/{alarm}/shelve",
            post(alarms::shelve),
            "Put an alarm aside for a limited time",
        )
        .back::<AlarmView>()
        .refusals(&[404, 409]),
        deal(
            "/api/alarms/{alarm}/unshelve",
            post(alarms::unshelve),
            "Take an alarm off the shelf",
        ),
        deal(
            "/api/alarms/{alarm}/reset",
            post(alarms::reset),
            "Let a latched alarm go, once somebody has looked",
        ),
        deal(
            "/api/alarms/{alarm}/take-out",
            post(alarms::take_out),
            "Take an alarm out of service",
        ),
        deal(
            "/api/alarms/{alarm}/put-back",
            post(alarms::put_back),
            "Put an alarm back into service",
        ),
    ]
}

fn of_batches() -> [Route; 7] {
    [
        Route::get("/api/batches", get(batches::list), "Batches")
            .query::<batches::Which>()
            .back::<Batches>(),
        Route::post::<NewBatch>(
            "/api/batches",
            post(batches::open),
            "Open a batch; the one before at that station is closed",
        )
        .created::<BatchView>()
        .refusals(&[409]),
        Route::get(
            "/api/batches/{batch}",
            get(batches::get),
            "One batch with its laws and holds",
        )
        .back::<BatchInFull>()
        .refusals(&[404]),
        Route::post::<By>(
            "/api/batches/{batch}/close",
            post(batches::close),
            "Close a batch",
        )
        .back::<BatchView>()
        .refusals(&[404, 409]),
        Route::post::<NewNote>(
            "/api/batches/{batch}/notes",
            post(batches::note),
            "Write a note to a batch",
        )
        .back::<BatchView>()
        .refusals(&[404]),
        Route::post::<NewSignOff>(
            "/api/batches/{batch}/sign-offs",
            post(batches::sign_off),
            "Record what a wash, rub, stretch or solvent test of a print found",
        )
        .back::<BatchView>()
        .refusals(&[404, 409]),
        Route::post::<ToAssign>(
            "/api/batches/{batch}/passes",
            post(batches::assign),
            "Give passes without a batch to this one, each judged anew by its laws: all, or none where one cannot be",
        )
        .back::<Assigned>()
        .refusals(&[404, 409]),
    ]
}

fn of_passes_and_holds() -> [Route; 5] {
    [
        Route::get("/api/passes", get(passes::list), "Passes")
            .query::<passes::Which>()
            .back::<Passes>(),
        Route::get(
            "/api/passes/{pass}",
            get(passes::get),
            "One pass with the holds that its print is in",
        )
        .back::<PassInFull>()
        .refusals(&[404]),
        Route::get(
            "/api/holds",
            get(holds::list),
            "Holds: prints to be pulled, why, and what can still be done",
        )
        .query::<holds::Asking>()
        .back::<Holds>(),
        Route::get("/api/holds/{hold}", get(holds::get), "One hold")
            .back::<HoldView>()
            .refusals(&[404]),
        Route::post::<Settlement>(
            "/api/holds/{hold}/settle",
            post(holds::settle),
            "Settle a hold: re-run, scrapped or released",
        )
        .back::<HoldView>()
        .refusals(&[404, 409]),
    ]
}

fn of_recipes_and_probes() -> [Route; 7] {
    [
        Route::get("/api/recipes", get(recipes::list), "Recipes")
            .query::<recipes::Which>()
            .back::<Recipes>(),
        Route::post::<NewRecipe>(
            "/api/recipes",
            post(recipes::lock),
            "Lock a recipe from a ride that is proved good",
        )
        .created::<LockedNow>()
        .refusals(&[404, 409]),
        Route::get("/api/recipes/{recipe}", get(recipes::get), "One recipe")
            .back::<RecipeView>()
            .refusals(&[404]),
        Route::post::<ToRetire>(
            "/api/recipes/{recipe}/retire",
            post(recipes::retire),
            "Retire a recipe",
        )
        .back::<RecipeView>()
        .refusals(&[404, 409]),
        Route::get(
            "/api/probes",
            get(probes::list),
            "Probes: last readings, doubts, calibrations",
        )
        .back::<Probes>(),
        Route::get("/api/probes/{probe}", get(probes::get), "One probe")
            .back::<ProbeView>()
            .refusals(&[404]),
        Route::post::<NewCalibration>(
            "/api/probes/{probe}/calibrations",
            post(probes::calibrate),
            "Enter a calibration: readings are corrected from now on, the doubt follows with the next batch",
        )
        .created::<ProbeView>()
        .refusals(&[404]),
    ]
}

fn of_ways_out() -> [Route; 4] {
    [
        Route::get(
            "/api/sinks",
            get(sinks::list),
            "Ways out: how each is, what waits for it, and what was set aside and why",
        )
        .back::<Sinks>(),
        Route::post::<By>(
            "/api/sinks/{sink}/retry",
            post(sinks::retry),
            "Have a way out send again what it has set aside until now",
        )
        .back::<SinkView>()
        .refusals(&[404, 409]),
        Route::get(
            "/api/messages.json",
            get(sinks::schemas),
            "The JSON schemas of what the ways out send",
        ),
        Route {
            back: Back::Text(crate::metrics::MEDIA_TYPE),
            ..Route::get(
                "/metrics",
                get(sinks::metrics),
                "Figures for whoever watches many of these, as OpenMetrics text",
            )
        },
    ]
}

/// Sends every request through the guard, and then to its handler.
pub(super) fn router(api: Arc<Api>) -> Router {
    let mut router = Router::new();
    for route in routes() {
        router = router.route(route.path, route.handler);
    }
    router
        .merge(crate::board::router())
        .fallback(nowhere)
        .method_not_allowed_fallback(not_so)
        .layer(from_fn_with_state(Arc::clone(&api), guard::pass))
        .with_state(api)
}

async fn nowhere(uri: Uri) -> Refusal {
    let path: String = uri.path().chars().take(80).collect();
    Refusal::absent(format!(
        "there is nothing at {path:?}; /api/openapi.json lists what there is"
    ))
}

async fn not_so(method: Method) -> Refusal {
    let method: String = method.as_str().chars().take(20).collect();
    Refusal::new(
        axum::http::StatusCode::METHOD_NOT_ALLOWED,
        format!("this cannot be asked with {method}; /api/openapi.json lists what can"),
    )
}
