//! What every page has around its own: head, way to the other pages, cautions.

use std::sync::Arc;

use axum::http::{HeaderMap, StatusCode};
use axum::response::{Html, IntoResponse, Response};
use maud::{DOCTYPE, Markup, html};

use super::words::hour;
use crate::api::Api;
use crate::api::refusal::Refusal;
use crate::api::view::{CAUTION, Clock};
use crate::journal::{Holds, Reader};
use crate::time::Micros;

/// Pages and how the way to them is called.
const PAGES: [(&str, &str); 6] = [
    ("/", "Live"),
    ("/batches", "Batches"),
    ("/holds", "Holds"),
    ("/recipes", "Recipes"),
    ("/tune", "Tune"),
    ("/reports", "Reports"),
];

/// What the frame around a page shows of the shop.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub(super) shop: String,
    /// The hour of the wall clock.
    pub(super) hour: String,
    /// Holds that nobody has settled.
    pub(super) holds: usize,
    /// The number of the last record of evidence.
    pub(super) record: u64,
    /// Whether whoever reads it may change something.
    pub(super) may_change: bool,
}

impl Frame {
    /// As it is now, for whoever sent these headers.
    pub(super) async fn now(api: &Arc<Api>, headers: &HeaderMap) -> Result<Frame, Refusal> {
        let (shop, now) = api
            .look(|keeper, now| (keeper.shop().name.clone(), now))
            .await?;
        let may_change = api.door.may_change(headers);
        api.read(move |reader, clock| Frame::of(shop, now, may_change, reader, clock))
            .await
    }

    pub(super) fn of(
        shop: String,
        now: Micros,
        may_change: bool,
        reader: &Reader,
        clock: &Clock,
    ) -> Result<Frame, Refusal> {
        Ok(Frame {
            shop,
            hour: hour(now, clock),
            holds: reader.holds(Holds::Open)?.len(),
            record: reader.head()?.number.0,
            may_change,
        })
    }

    /// The counts beside the way to a page, which change while it is looked at.
    pub(super) fn count(&self, path: &str) -> Option<(&'static str, Markup)> {
        match path {
            "/holds" => Some(("nav-holds", count(self.holds, "open"))),
            _ => None,
        }
    }
}

fn count(number: usize, what: &str) -> Markup {
    html! { @if number > 0 { span .count { (number) span .unseen { " " (what) } } } }
}

/// How a page is kept up to date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kept {
    /// Its parts are replaced as they change.
    InParts,
    /// It is fetched anew when something was recorded.
    Whole,
    /// It stays as it is.
    Not,
}

/// A whole page.
pub(super) fn page(frame: &Frame, path: &str, title: &str, kept: Kept, body: &Markup) -> Response {
    let follow = match kept {
        Kept::InParts => "parts",
        Kept::Whole => "whole",
        Kept::Not => "no",
    };
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            (head(&format!("{title} · {}", frame.shop)))
            body data-follow=(follow) data-record=(frame.record) {
                a .skip href="#main" { "To the page itself" }
                header .top {
                    p .shop { (frame.shop) }
                    nav aria-label="Pages" { ul {
                        @for (own, name) in PAGES {
                            li { a href=(own) aria-current=[(own == path).then_some("page")] {
                                (name)
                                @if let Some((id, count)) = frame.count(own) { span id=(id) { (count) } }
                            } }
                        }
                    } }
                    p .clock id="clock" { (frame.hour) }
                    button type="button" id="sound" aria-pressed="false" hidden { "Sound is off" }
                }
                p .lost id="lost" role="status" hidden {
                    "The daemon is not heard. What stands here is as it was at "
                    span id="lost-since" { } ". It comes back by itself."
                }
                main id="main" tabindex="-1" { (body) }
                footer {
                    p { (CAUTION) }
                    (login_or_out(frame, path))
                }
            }
        }
    };
    Html(markup.into_string()).into_response()
}

fn login_or_out(frame: &Frame, path: &str) -> Markup {
    html! {
        @if frame.may_change {
            form method="post" action="/do/logout" { button .quiet { "Log out" } }
        } @else {
            p { a href=(super::login::before(path)) { "Log in to change something" } }
        }
    }
}

/// The head of every page.
pub(super) fn head(title: &str) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="color-scheme" content="light dark";
            title { (title) }
            link rel="icon" href="/icon.svg" type="image/svg+xml";
            link rel="stylesheet" href="/board.css";
            script src="/board.js" defer { }
        }
    }
}

/// A refusal as a page.
pub(super) fn refused(refusal: &Refusal) -> Response {
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            (head("Not done"))
            body data-follow="no" {
                main id="main" .narrow {
                    h1 { (title_of(refusal.status)) }
                    p .said role="alert" { (refusal.sentence) }
                    p { "Go back in the browser to what you wrote, or to the " a href="/" { "live page" } "." }
                }
            }
        }
    };
    (refusal.status, Html(markup.into_string())).into_response()
}

fn title_of(status: StatusCode) -> &'static str {
    match status {
        StatusCode::NOT_FOUND => "There is no such thing",
        StatusCode::SERVICE_UNAVAILABLE => "Not now",
        StatusCode::UNAUTHORIZED => "This needs a login",
        _ => "Not done",
    }
}

/// An answer that is a page either way.
#[derive(Debug)]
pub(super) struct Refused(pub(super) Refusal);

impl<T: Into<Refusal>> From<T> for Refused {
    fn from(refusal: T) -> Refused {
        Refused(refusal.into())
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        refused(&self.0)
    }
}
