//! The board: the daemon's own pages, for a tablet on the wall or a phone in the pocket.
//!
//! It is laid out from the job. What is in the heat stands next to what has just left it, and that next to
//! what to do: prints travel from left to right, and eyes go the same way. Words and marks are those of the
//! command line.
//!
//! Every page is whole when it arrives: rendered here, escaped by the template engine, usable without the script. The
//! one script keeps it up to date: `hub` renders what changes, once for all who look, and `stream` sends
//! it on as server-sent events. Who is slow misses what was in between and gets what is now, so that a hundred open
//! boards cost the daemon no more than their bytes.
//!
//! Pages pass the same guards as the interface for programs. Nothing in them is inline but drawings, and their
//! policy lets a browser run and fetch nothing that does not come from here. Whoever changes something has
//! logged in with the token of the data folder.

mod alarms;
mod batches;
mod curve;
mod form;
mod heat;
mod holds;
pub(crate) mod hub;
mod live;
mod login;
mod now;
mod out;
mod page;
mod prints;
mod recipes;
mod report_forms;
mod reports;
mod running;
mod state;
mod stream;
mod todo;
pub(crate) mod told;
mod tune;
mod words;

use std::sync::Arc;

use axum::Router;
use axum::http::header::{CONTENT_SECURITY_POLICY, HeaderName, HeaderValue, REFERRER_POLICY};
use axum::middleware::map_response;
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};

use crate::api::Api;

/// What a browser may do with a page: run, draw and fetch what comes from here, and nothing else.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; \
    img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";
/// What a browser may tell a page of the machine.
const PERMISSIONS: HeaderName = HeaderName::from_static("permissions-policy");
const NO_PERMISSIONS: &str = "camera=(), geolocation=(), microphone=(), payment=(), usb=()";

/// Style and script. Neither tells anything of the shop, so that the page that asks for the token has them too.
const STYLE: &str = include_str!("board.css");
const SCRIPT: &str = include_str!("board.js");
const ICON: &str = include_str!("icon.svg");

const LOGIN: &str = "/login";
/// What stands before the address of everything that a form does.
const DO: &str = "/do/";

/// All pages.
pub(crate) fn router() -> Router<Arc<Api>> {
    Router::new()
        .route("/", get(live::all))
        .route("/station/{station}", get(live::one))
        .route("/alarms", get(alarms::list))
        .route("/batches", get(batches::list))
        .route("/batches/{batch}", get(batches::one))
        .route("/holds", get(holds::list))
        .route("/prints/{pass}", get(prints::one))
        .route("/recipes", get(recipes::list))
        .route("/tune", get(tune::ask))
        .route("/reports", get(reports::days))
        .route("/reports/{day}", get(reports::day))
        .route("/reports/{day}/{form}", get(report_forms::get))
        .route(LOGIN, get(login::ask))
        .route("/live", get(stream::get))
        .route(
            "/board.css",
            get(|| fixed("text/css; charset=utf-8", STYLE)),
        )
        .route(
            "/board.js",
            get(|| fixed("text/javascript; charset=utf-8", SCRIPT)),
        )
        .route("/icon.svg", get(|| fixed("image/svg+xml", ICON)))
        .route("/do/login", post(login::enter))
        .route("/do/logout", post(login::leave))
        .route("/do/alarm", post(alarms::deal_with))
        .route("/do/drill", post(alarms::drill))
        .route("/do/open-batch", post(batches::open))
        .route("/do/close-batch", post(batches::close))
        .route("/do/note-batch", post(batches::note))
        .route("/do/assign", post(batches::assign))
        .route("/do/settle-hold", post(holds::settle))
        .route("/do/lock-recipe", post(recipes::lock))
        .route("/do/retire-recipe", post(recipes::retire))
        .route("/do/tune", post(tune::run))
        .layer(map_response(with_policy))
}

async fn with_policy(mut response: Response) -> Response {
    let headers = response.headers_mut();
    // A report is a page of its own, with a policy of its own.
    if !headers.contains_key(CONTENT_SECURITY_POLICY) {
        headers.insert(CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    }
    headers.insert(REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    headers.insert(PERMISSIONS, HeaderValue::from_static(NO_PERMISSIONS));
    response
}

async fn fixed(kind: &'static str, text: &'static str) -> Response {
    ([(axum::http::header::CONTENT_TYPE, kind)], text).into_response()
}

/// Whether a path is a page, whose reader can be asked to log in.
pub(crate) fn is_page(path: &str) -> bool {
    !path.starts_with("/api/") && path != "/live"
}

/// Whether a path is for those too who have no token yet.
pub(crate) fn is_open_to_all(path: &str) -> bool {
    matches!(
        path,
        LOGIN | "/do/login" | "/board.css" | "/board.js" | "/icon.svg"
    )
}

/// Whether a path is one that forms are sent to.
pub(crate) fn takes_forms(path: &str) -> bool {
    path.starts_with(DO)
}

/// Sends a person to where the token is asked for, and back to the page afterwards.
pub(crate) fn ask_for_token(path: &str) -> Response {
    Redirect::to(&login::before(path)).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn style_script_and_icon_are_small() {
        let bytes = STYLE.len() + SCRIPT.len() + ICON.len();
        assert!(bytes < 60_000, "{bytes}");
    }

    #[test]
    fn nothing_is_fetched_from_elsewhere() {
        for text in [STYLE, SCRIPT, ICON] {
            let text = text.replace("http://www.w3.org/2000/svg", "");
            assert!(
                !text.contains("//") || !text.contains("http"),
                "an address in {text:.60}"
            );
            assert!(!text.contains("@import") && !text.contains("url("));
        }
    }
}
