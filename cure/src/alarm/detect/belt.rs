//! The belt: standing while the chamber is hot, switched off too early, or slipping against its signal.

use std::collections::VecDeque;

use inkdwell_config::quantity::{Celsius, MetresPerSecond};
use serde::{Deserialize, Serialize};

use super::{Edge, Said};
use crate::alarm::cause::Cause;
use crate::alarm::kind::Kind;
use crate::alarm::register::Says;
use crate::live::Micros;

/// Slower than this share of its usual speed a belt stands.
const STANDS_BELOW: f64 = 0.05;
/// Slower than this it stands whatever its usual speed, in m/s.
const STANDS: f64 = 0.001;
/// What the signal says holds for so long, in seconds.
const HOLDS_FOR: f64 = 20.0;
/// So many rides say how far into the heat prints usually are when they are hottest.
const RIDES: usize = 5;

/// The chamber, as far as the belt is concerned.
#[derive(Debug, Clone, Copy)]
pub(in crate::alarm) struct Around {
    /// Its hottest zone; `None` where no probe tells.
    pub(in crate::alarm) hottest: Option<f64>,
    /// Whether it is cooling down.
    pub(in crate::alarm) cooling: bool,
    /// Whether a batch is open.
    pub(in crate::alarm) working: bool,
    pub(in crate::alarm) cooled_below: f64,
    /// The belt's usual speed, in m/s.
    pub(in crate::alarm) usual: Option<f64>,
}

/// A ride on its way.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Ride {
    /// The belt's way when it began.
    began: f64,
    /// The belt's way when it was hottest, and how hot it was.
    way: f64,
    hottest: f64,
}

/// The belt of a station.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(in crate::alarm) struct Belt {
    heard: Option<(Micros, f64)>,
    way: f64,
    /// What it is called that it stands.
    stands: Option<Kind>,
    ride: Option<Ride>,
    /// Way until the hottest moment, as a share of the heated length, of rides without fault.
    shares: VecDeque<f64>,
    slips: Edge,
}

impl Belt {
    /// Whether it is known to run.
    pub(in crate::alarm) fn runs(&self, at: Micros, usual: Option<f64>) -> bool {
        let live = self
            .heard
            .filter(|(heard, _)| at.seconds_since(*heard) <= HOLDS_FOR);
        live.is_some_and(|(_, speed)| !stands(speed, usual))
    }

    fn way_at(&self, at: Micros) -> f64 {
        let since = self
            .heard
            .map(|(heard, speed)| at.seconds_since(heard) * speed);
        self.way + since.unwrap_or(0.0)
    }

    /// Its signal says a speed.
    pub(in crate::alarm) fn read(
        &mut self,
        at: Micros,
        speed: f64,
        around: Around,
        said: &mut Said,
    ) {
        self.way = self.way_at(at);
        self.heard = Some((at, speed));
        self.look(at, around, said);
    }

    /// The chamber has changed, or time has passed.
    pub(in crate::alarm) fn look(&mut self, at: Micros, around: Around, said: &mut Said) {
        let Some((heard, speed)) = self.heard else {
            return;
        };
        if at.seconds_since(heard) > HOLDS_FOR {
            // Nobody knows whether it stands; what was known stays.
            return;
        }
        let hot = around
            .hottest
            .map_or(around.working, |hottest| hottest > around.cooled_below);
        if !(stands(speed, around.usual) && hot) {
            if let Some(kind) = self.stands.take() {
                said.push((kind, Says::Off));
            }
            return;
        }
        if self.stands.is_some() {
            return;
        }
        let chamber = around.hottest.map(Celsius);
        let (kind, cause) = match chamber.filter(|_| around.cooling && !around.working) {
            Some(chamber) => (
                Kind::BeltOffBeforeCooled,
                Cause::BeltOff {
                    chamber,
                    cooled_below: Celsius(around.cooled_below),
                },
            ),
            None => (Kind::BeltStoppedHot, Cause::BeltStands { chamber }),
        };
        self.stands = Some(kind);
        said.push((kind, Says::On(cause)));
    }

    /// A ride has begun.
    pub(in crate::alarm) fn ride_began(&mut self, at: Micros) {
        let way = self.way_at(at);
        self.ride = self.heard.map(|_| Ride {
            began: way,
            way,
            hottest: f64::NEG_INFINITY,
        });
    }

    /// The ride's probe shows a temperature.
    pub(in crate::alarm) fn ride_read(&mut self, at: Micros, celsius: f64) {
        if self.ride.is_some_and(|ride| celsius > ride.hottest) {
            let way = self.way_at(at);
            if let Some(ride) = &mut self.ride {
                (ride.way, ride.hottest) = (way, celsius);
            }
        }
    }

    /// The ride was none.
    pub(in crate::alarm) fn no_ride(&mut self) {
        self.ride = None;
    }

    /// The ride is over. A print is hottest where it leaves the heat, or a little before: if the belt has gone
    /// further by its signal than the heat is long, the print went slower than the signal says.
    pub(in crate::alarm) fn ride_ended(
        &mut self,
        whole: bool,
        length: f64,
        slip: f64,
        said: &mut Said,
    ) {
        let Some(ride) = self.ride.take().filter(|_| whole && length > 0.0) else {
            return;
        };
        let share = (ride.way - ride.began) / length;
        if share <= 0.0 {
            return;
        }
        let usual = self.usual_share();
        let from = usual.map_or(1.0, |usual| usual.min(1.0)) * (1.0 + slip);
        let slips = share > from;
        let signal = self.heard.map_or(0.0, |(_, speed)| speed);
        self.slips
            .set(slips, Kind::BeltSlipping, said, || Cause::Slip {
                signal: MetresPerSecond(signal),
                seen: MetresPerSecond(signal * usual.unwrap_or(1.0) / share),
            });
        if !slips {
            if self.shares.len() == RIDES {
                self.shares.pop_front();
            }
            self.shares.push_back(share);
        }
    }

    /// The middle one of the last rides.
    fn usual_share(&self) -> Option<f64> {
        let mut shares: Vec<f64> = self.shares.iter().copied().collect();
        shares.sort_by(f64::total_cmp);
        shares
            .get(shares.len() / 2)
            .copied()
            .filter(|_| shares.len() >= 3)
    }
}

fn stands(speed: f64, usual: Option<f64>) -> bool {
    speed < usual.map_or(STANDS, |usual| (usual * STANDS_BELOW).max(STANDS))
}
