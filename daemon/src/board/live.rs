//! The live page, and its parts.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, PreEscaped, html};

use super::now::{self, ShopNow, StationNow};
use super::page::{Frame, Kept, Refused, page};
use super::state::State as Says;
use super::words::hour;
use super::{heat, out, todo};
use crate::api::Api;
use crate::api::refusal::Refusal;

/// The parts of a page: the id of the element that each fills, and with what.
pub(super) type Parts = Vec<(String, Markup)>;

/// What of the shop is shown while it changes, in parts.
pub(super) fn parts(shop: &ShopNow) -> Parts {
    let mut parts = vec![
        ("clock".to_owned(), html! { (hour(shop.now, &shop.clock)) }),
        // No element has this id: pages that are kept whole are fetched anew when it changes.
        ("record".to_owned(), html! { (shop.record) }),
    ];
    let frame = frame(shop, false);
    parts.extend(
        frame
            .count("/holds")
            .map(|(id, count)| (id.to_owned(), count)),
    );
    for station in &shop.stations {
        parts.extend(parts_of(shop, station));
    }
    parts
}

fn parts_of(shop: &ShopNow, station: &StationNow) -> [(String, Markup); 4] {
    let id = |part: &str| format!("{part}-{}", plain(&station.id));
    [
        (id("state"), Says::of(shop, station).part()),
        (id("heat"), heat::part(shop, station)),
        (id("out"), out::part(shop, station)),
        (id("todo"), todo::part(shop, station)),
    ]
}

/// A station's id as an element's can be.
fn plain(id: &str) -> String {
    id.bytes().map(|byte| format!("{byte:02x}")).collect()
}

fn frame(shop: &ShopNow, may_change: bool) -> Frame {
    Frame {
        shop: shop.name.clone(),
        hour: hour(shop.now, &shop.clock),
        holds: shop.open_holds,
        record: shop.record,
        may_change,
    }
}

/// `GET /`
pub(super) async fn all(
    State(api): State<Arc<Api>>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    show(&api, &headers, None).await
}

/// `GET /station/{station}`
pub(super) async fn one(
    State(api): State<Arc<Api>>,
    Path(station): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    show(&api, &headers, Some(station)).await
}

async fn show(
    api: &Arc<Api>,
    headers: &HeaderMap,
    only: Option<String>,
) -> Result<Response, Refused> {
    let shop = now::look(api, only.clone()).await?;
    if let (Some(only), true) = (&only, shop.stations.is_empty()) {
        let only: String = only.chars().take(80).collect();
        return Err(Refused(Refusal::absent(format!(
            "the shop has no station {only:?}; the live page shows which there are"
        ))));
    }
    let frame = frame(&shop, api.door.may_change(headers));
    let several = shop.stations.len() > 1;
    let body = html! {
        h1 .unseen { "Live" }
        @for station in &shop.stations { (lane(&shop, station, several)) }
        @if shop.stations.is_empty() { p { "The shop file declares no station yet." } }
    };
    Ok(page(&frame, "/", "Live", Kept::InParts, &body))
}

/// A station: its state across, and below it what is in the heat, what has left it, and what to do.
fn lane(shop: &ShopNow, station: &StationNow, several: bool) -> Markup {
    let [state, heat, out, todo] = parts_of(shop, station);
    let id = plain(&station.id);
    html! {
        section .lane aria-labelledby={ "name-" (id) } {
            h2 id={ "name-" (id) } .unseen[!several] {
                @if several { a href={ "/station/" (in_path(&station.id)) } { (station.name) } } @else { (station.name) }
            }
            div id=(state.0) .state role="status" { (state.1) }
            div .belt {
                section .in-heat aria-label="In the heat" { div id=(heat.0) { (heat.1) } }
                section .is-out aria-label="Out of the heat" { div id=(out.0) { (out.1) } }
                section .to-do aria-label="To do" { h3 { "To do" } div id=(todo.0) { (todo.1) } }
            }
        }
    }
}

/// An id as the path of an address has it.
fn in_path(id: &str) -> PreEscaped<String> {
    let mut path = String::new();
    for byte in id.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'_' | b'.' => {
                path.push(char::from(byte))
            }
            byte => path.push_str(&format!("%{byte:02X}")),
        }
    }
    PreEscaped(path)
}
