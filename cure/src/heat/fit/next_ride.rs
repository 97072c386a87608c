//! Which ride would tell most.
//!
//! A ride that is not ridden yet would show the film's peak y at its speed, for a garment of its own. With
//! q the margin whose doubt ends the window, that leaves of q's variance
//!
//!   var(q | y) = var(q) − cov(q, y)² / (var(y) + s_y² + n²),
//!
//! cov and var from the fit, s_y the scatter of garments in y, and n the noise of a reading. The
//! garments' own scatter and the probe's own doubt stay, however many rides there are.

use inkdwell_config::quantity::CelsiusDifference;

use super::Fit;
use super::carry::{Extent, FIRST_MARGIN, PEAK};
use super::limit::LimitName;
use super::ride::Trip;
use crate::heat::HeatError;

/// A ride worth making.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NextRide {
    /// How the print should go through the heat.
    pub trip: Trip,
    /// Doubt (k = 2) of the margin as it is,
    pub doubt_now: CelsiusDifference,
    /// and as it would be then.
    pub doubt_then: CelsiusDifference,
}

/// Noise of a ride's peak, in °C.
const READING: f64 = 0.5;
/// Rides are tried from so far below the asked speed to so far above it, in ln of speed.
const REACH: f64 = 0.3;
/// How many speeds are tried.
const TRIED: u32 = 7;

impl Fit {
    /// The ride, at a speed like that of `at`, that would shrink the doubt of a margin there most. Each
    /// speed that is tried is first brought `within` what can be run, so that the doubt is that of the ride
    /// which is named.
    ///
    /// `None` where the fit has no such limit.
    ///
    /// # Errors
    /// Where the model has no answer.
    pub fn next_ride(
        &self,
        limit: LimitName,
        at: Trip,
        within: impl Fn(Trip) -> Trip,
    ) -> Result<Option<NextRide>, HeatError> {
        let Some(number) = self.limits.iter().position(|own| own.name == limit) else {
            return Ok(None);
        };
        let carried = self.carry(at, Extent::Margins)?;
        let asked = self.dependence(&carried, FIRST_MARGIN + number);
        let now = self.covariance(&asked, &asked);
        let beside = self.own(&asked) + asked.scatter.iter().sum::<f64>() + self.probe.powi(2);
        let doubt = |variance: f64| CelsiusDifference(2.0 * (variance + beside).max(0.0).sqrt());
        let mut tried: Vec<Trip> = (0..TRIED)
            .map(|step| {
                let share = f64::from(step) / f64::from(TRIED - 1);
                within(at.at_haste(at.haste() + REACH * (2.0 * share - 1.0)))
            })
            .collect();
        tried.dedup();
        let mut best: Option<(Trip, f64)> = None;
        for trip in tried {
            let carried = self.carry(trip, Extent::Margins)?;
            let shown = self.dependence(&carried, PEAK);
            let with = self.covariance(&asked, &shown);
            let variance = self.covariance(&shown, &shown)
                + self.own(&shown)
                + shown.scatter.iter().sum::<f64>()
                + READING.powi(2);
            let then = now - with * with / variance;
            if best.is_none_or(|(_, least)| then < least) {
                best = Some((trip, then));
            }
        }
        Ok(best.map(|(trip, then)| NextRide {
            trip,
            doubt_now: doubt(now),
            doubt_then: doubt(then),
        }))
    }
}
