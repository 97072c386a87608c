//! What holds at a station: what its shop file says, and our defaults where it says nothing.
//!
//! No default has a published source, but for those that the catalogue names; each is common practice or our
//! own judgement, and each can be set.

use inkdwell_config::shop::{Shop, Thresholds};

use super::kind::Kind;
use super::register::Delays;

/// The limits of one station, in internal units.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Limits {
    pub(super) chamber_limit: Option<f64>,
    /// Only what is declared: panels may rise as fast as they like otherwise.
    pub(super) panel_rise: Option<f64>,
    pub(super) air_rise: f64,
    pub(super) cooled_below: f64,
    pub(super) stack_limit: Option<f64>,
    pub(super) platen_limit: f64,
    pub(super) belt_slip: f64,
    pub(super) unproven_in_row: u64,
    pub(super) exhaust_grace: f64,
    pub(super) silent_after: f64,
    pub(super) flash_idle: f64,
    pub(super) flash_lit_from: f64,
    pub(super) belt_stop_grace: f64,
    pub(super) zone_reach: f64,
    pub(super) warm_up: f64,
    pub(super) zone_sag: f64,
    pub(super) zone_apart: f64,
    pub(super) stuck_after: f64,
    pub(super) noise_limit: f64,
    pub(super) drift_horizon: f64,
}

/// 200 °F, below which a chamber counts as cooled: common practice, no source.
const COOLED_BELOW: f64 = (200.0 - 32.0) / 1.8;

impl Limits {
    /// Those of a station; of one that is not declared, the shop's.
    pub(super) fn of(shop: &Shop, station: Option<&str>) -> Limits {
        let set = match station {
            Some(station) => shop.alarms.at(station),
            None => shop.alarms.thresholds.clone(),
        };
        Limits::from(&set)
    }

    /// The delays of an alarm here.
    pub(super) fn delays(&self, kind: Kind) -> Delays {
        let usual = kind.sheet().delays;
        let on = match kind {
            Kind::BeltStoppedHot => self.belt_stop_grace,
            Kind::ExhaustNotProved => self.exhaust_grace,
            _ => usual.on,
        };
        Delays { on, ..usual }
    }
}

impl From<&Thresholds> for Limits {
    fn from(set: &Thresholds) -> Limits {
        let seconds = |set: Option<inkdwell_config::quantity::Seconds>, usual: f64| {
            set.map_or(usual, |time| time.0)
        };
        let kelvin = |set: Option<inkdwell_config::quantity::CelsiusDifference>, usual: f64| {
            set.map_or(usual, |difference| difference.0)
        };
        let celsius = |set: Option<inkdwell_config::quantity::Celsius>, usual: f64| {
            set.map_or(usual, |temperature| temperature.0)
        };
        Limits {
            chamber_limit: set.chamber_limit.map(|limit| limit.0),
            panel_rise: set.chamber_rise_per_min.map(|rise| rise.0),
            air_rise: kelvin(set.chamber_rise_per_min, 60.0),
            cooled_below: celsius(set.cooled_below, COOLED_BELOW),
            stack_limit: set.stack_limit.map(|limit| limit.0),
            platen_limit: celsius(set.platen_limit, 75.0),
            belt_slip: set.belt_slip.map_or(0.2, |share| share.0),
            unproven_in_row: set.unproven_in_row.unwrap_or(3),
            exhaust_grace: seconds(set.exhaust_grace, 30.0),
            silent_after: seconds(set.silent_after, 60.0),
            flash_idle: seconds(set.flash_idle, 120.0),
            flash_lit_from: celsius(set.flash_lit_from, 90.0),
            belt_stop_grace: seconds(set.belt_stop_grace, 5.0),
            zone_reach: kelvin(set.zone_reach, 15.0),
            warm_up: seconds(set.warm_up, 2_700.0),
            zone_sag: kelvin(set.zone_sag, 12.0),
            zone_apart: kelvin(set.zone_apart, 25.0),
            stuck_after: seconds(set.stuck_after, 120.0),
            noise_limit: kelvin(set.noise_limit, 3.0),
            drift_horizon: set.drift_horizon.unwrap_or(50) as f64,
        }
    }
}
