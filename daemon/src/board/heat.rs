//! What is in the heat: the running print, its doses filling up, the belt and the zones.

use inkdwell_config::display::Units;
use inkdwell_config::station::StationKind;
use maud::{Markup, html};

use super::curve;
use super::now::{ShopNow, StationNow, ZoneNow};
use super::running::Trip;
use super::words::{degrees, dose, hour, seconds};
use crate::record::Dose;

/// The width of a dose's bar; where the dose is 1 stands a line at two thirds of it.
const BAR: f64 = 300.0;
const ONE: f64 = 200.0;

/// The part.
pub(super) fn part(shop: &ShopNow, station: &StationNow) -> Markup {
    let units = shop.units;
    html! {
        @match &station.trip {
            Some(trip) => {
                h3 { (heading(trip, shop, station)) }
                (curve::draw(trip, units))
                (doses(trip))
            }
            None => {
                h3 { "No print yet" }
                p .faint { "The curve comes with the first print that a probe sees." }
            }
        }
        (settings(station, units))
    }
}

fn heading(trip: &Trip, shop: &ShopNow, station: &StationNow) -> String {
    let stays = shop.now.seconds_since(trip.since);
    match (trip.is_running, trip.print) {
        (true, _) => format!("A print is in the heat, for {} now", seconds(stays)),
        (false, Some(print)) => format!(
            "Empty. Print {print} was the last, {}",
            hour(trip.since, &shop.clock)
        ),
        (false, None) => format!(
            "{} is empty. The last print went in at {}",
            station.name,
            hour(trip.since, &shop.clock)
        ),
    }
}

/// The doses as bars.
pub(super) fn doses(trip: &Trip) -> Markup {
    html! {
        dl .doses {
            @if let Some(cure) = trip.cure { (bar("cure", cure, false)) }
            @for harm in &trip.harms { (bar(&harm.harm, harm.dose, true)) }
        }
    }
}

fn bar(name: &str, share: Dose, is_limit: bool) -> Markup {
    let width = |dose: f64| (dose * ONE).clamp(0.0, BAR);
    let what = if is_limit {
        "of what the fabric can take"
    } else {
        "of what the ink needs"
    };
    html! {
        dt { (name) }
        dd {
            svg .bar viewBox={ "0 0 " (BAR) " 18" } preserveAspectRatio="none" aria-hidden="true" {
                rect .ground width=(BAR) height="18" { }
                rect class=(if is_limit { "harm maybe" } else { "cure maybe" }) width=(width(share.high)) height="18" { }
                rect class=(if is_limit { "harm" } else { "cure" }) width=(width(share.low)) height="18" { }
                line .one x1=(ONE) x2=(ONE) y1="0" y2="18" { }
            }
            span .figure { (dose(share)) } " "
            span .unseen { (what) }
        }
    }
}

fn settings(station: &StationNow, units: Units) -> Markup {
    html! {
        dl .settings {
            @if station.kind == StationKind::BeltDryer {
                div {
                    dt { "Belt" }
                    dd {
                        @match station.belt {
                            Some(belt) => { (units.speed(belt)) @if !station.belt_is_live { span .faint { " as declared" } } }
                            None => "unknown",
                        }
                    }
                }
            }
            @for zone in &station.zones { (self::zone(zone, units)) }
        }
    }
}

fn zone(zone: &ZoneNow, units: Units) -> Markup {
    html! {
        div {
            dt { (zone.name) }
            dd {
                @match zone.shows {
                    Some(shows) => (degrees(shows, units)),
                    None => "silent",
                }
                @if let Some(set) = zone.set { span .faint { " set " (degrees(set, units)) } }
            }
        }
    }
}
