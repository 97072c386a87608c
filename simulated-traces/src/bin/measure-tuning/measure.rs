//! One shop: its rides, its fit, what is predicted and recommended, and what is true.

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_cure::heat::fit::{Fit, LimitName, Ride, Trip, fit};
use inkdwell_cure::tuning::{best_window, proved_window, recommend};
use inkdwell_simulated_traces::physics::TrueGarment;
use inkdwell_simulated_traces::shop::{SimulatedShop, draw_shop};
use inkdwell_simulated_traces::tryout::tried_rides;

use crate::call::Call;
use crate::clock::Clock;
use crate::said::{detail, say};
use crate::shown::{Recommendation, Refused, Shown, holds};

/// Speeds at which predictions are held against the truth, as shares of the rides' middle speed.
const ASKED: [f64; 4] = [0.75, 0.88, 1.14, 1.33];
/// Garments of the batch that go along at a recommended speed.
const GARMENTS: u32 = 40;
/// How many of them may fail where 95 % are good.
const MAY_FAIL: usize = 2;

/// The fastest speed at which at most two of forty garments of the batch truly fail; `None` where there is
/// none. The weakest garments are told by one run each, where most of them are only just cured.
fn fastest_for_most(shop: &SimulatedShop, middle: f64) -> Option<f64> {
    let garments = shop.garments(GARMENTS);
    let cures = |speed: f64, garment| shop.truth_of(MetresPerSecond(speed), garment).cure >= 1.0;
    let mut ranked: Vec<(f64, &TrueGarment)> = garments
        .iter()
        .map(|garment| {
            let truth = shop.truth_of(MetresPerSecond(middle), garment);
            (truth.cure + 1e-3 * truth.peak_c, garment)
        })
        .collect();
    ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (_, weakest) = ranked.get(MAY_FAIL)?;
    let slowest = shop
        .station
        .belt_slowest
        .map_or(0.25 * middle, |speed| speed.0);
    let fastest = shop
        .station
        .belt_fastest
        .map_or(2.0 * middle, |speed| speed.0);
    let (mut good, mut bad) = (0.75 * middle, (1.25 * middle).min(fastest));
    while !cures(good, weakest) {
        bad = good;
        good *= 0.75;
        if good < slowest {
            return None;
        }
    }
    if cures(bad, weakest) {
        good = bad;
    }
    while bad / good > 1.004 {
        let between = (good * bad).sqrt();
        if cures(between, weakest) {
            good = between;
        } else {
            bad = between;
        }
    }
    (shop.good_share(MetresPerSecond(good), GARMENTS) >= 0.95).then_some(good)
}

/// Of so many shops one has no speed that is safe.
const ONE_WITHOUT: u64 = 4;
/// Seeds that are tried for one shop lie so far apart.
const APART: u64 = 100_000;

/// The shop of a number: every fourth has no safe speed, the others have one. Seeds are tried until one fits.
fn shop_of(number: u64, call: &Call) -> SimulatedShop {
    if call.as_drawn {
        return draw_shop(call.first_seed + number);
    }
    let without = number % ONE_WITHOUT == ONE_WITHOUT - 1;
    let seeds = (0..).map(|again| call.first_seed + number + APART * again);
    let mut shops = seeds.map(draw_shop);
    let fits = |shop: &SimulatedShop| shop.fastest_safe().is_none() == without;
    // One in eight has none, so that one is soon found; without end it would be searched for otherwise.
    shops
        .by_ref()
        .take(MOST_DRAWS)
        .find(fits)
        .unwrap_or_else(|| draw_shop(call.first_seed + number))
}

/// No more seeds are tried for one shop.
const MOST_DRAWS: usize = 400;

/// Measures the shop of a number.
///
/// # Errors
/// Where the fit or the heat model has no answer, in words.
pub fn measure(number: u64, call: &Call) -> Result<Shown, String> {
    let shop = shop_of(number, call);
    let rides = tried_rides(&shop, call.rides, call.cloth);
    let clock = Clock::start();
    let fitted = fit(
        &rides,
        &shop.station,
        &shop.ink,
        &shop.fabric,
        call.options(&shop),
    );
    let fitted = fitted.map_err(|error| error.to_string())?;
    let fit_took = clock.seconds();
    let mut shown = Shown {
        fastest: shop.fastest_safe().map(|speed| speed.0),
        worst_rms: fitted
            .rides()
            .iter()
            .map(|ride| ride.rms.0)
            .fold(0.0, f64::max),
        ..Shown::default()
    };
    shown.seconds[0] = fit_took;
    predictions(&shop, &fitted, &rides, &mut shown)?;
    shown.fastest_for_most = shown
        .fastest
        .and_then(|middle| fastest_for_most(&shop, middle));
    let clock = Clock::start();
    let window = proved_window(&fitted, &shop.station).map_err(|error| error.to_string())?;
    if let Some(window) = window {
        let recommended = recommend(&fitted, &shop.station, &window);
        let belt = recommended.map_err(|error| error.to_string())?.belt;
        shown.seconds[1] = clock.seconds();
        let parts = fitted.doubt_parts(LimitName::Cure, Trip::Belt(belt));
        shown.recommended = Some(Recommendation {
            belt: belt.0,
            middle_is_good: shop.truth_at(belt).is_good(),
            good_share: shop.good_share(belt, GARMENTS),
            parts: parts.map_err(|error| error.to_string())?,
        });
    } else {
        shown.seconds[1] = clock.seconds();
        let likely = best_window(&fitted, &shop.station).map_err(|error| error.to_string())?;
        shown.refused_for = shown
            .fastest
            .map(|_| match (likely, shown.fastest_for_most) {
                (_, None) => Refused::NotForTheBatch,
                (Some(_), _) => Refused::Doubt,
                (None, _) => Refused::NotEvenLikely,
            });
    }
    shown.said = say(&shop, &rides, &shown);
    let z: Vec<String> = fitted
        .unknowns()
        .map(|(unknown, z, spread)| format!("{unknown:?} {z:.2} {spread:.2}"))
        .collect();
    shown.details.push(format!("  found {}", z.join(", ")));
    Ok(shown)
}

fn middle(rides: &[Ride]) -> f64 {
    let hastes = rides.iter().filter_map(|ride| match ride.trip {
        Trip::Belt(belt) => Some(belt.0.ln()),
        Trip::Lamp(_) => None,
    });
    (hastes.sum::<f64>() / rides.len() as f64).exp()
}

fn predictions(
    shop: &SimulatedShop,
    fitted: &Fit,
    rides: &[Ride],
    shown: &mut Shown,
) -> Result<(), String> {
    let garments: Vec<TrueGarment> = shop.garments(2 * ASKED.len() as u32);
    for (share, garments) in ASKED.iter().zip(garments.chunks(2)) {
        let belt = MetresPerSecond(share * middle(rides));
        let prediction = fitted.predict(Trip::Belt(belt));
        let prediction = prediction.map_err(|error| error.to_string())?;
        let truth = shop.truth_at(belt);
        shown.errors.push(prediction.peak.best - truth.peak_c);
        shown
            .cloth_errors
            .push(prediction.cloth_peak.best - truth.cloth_peak_c);
        for garment in garments {
            let truth = shop.truth_of(belt, garment);
            let one = 0.25 * (prediction.peak.high - prediction.peak.low);
            shown
                .pulls
                .push((prediction.peak.best - truth.peak_c) / one);
            shown.details.push(detail(*share, &prediction, &truth));
            let mut tell = |name, band, value| {
                let held = shown.held.entry(name).or_default();
                held.0 += u32::from(holds(band, value));
                held.1 += 1;
            };
            tell("peak", prediction.peak, truth.peak_c);
            tell("time above", prediction.time_above, truth.time_above_s);
            tell("cure", prediction.cure, truth.cure);
            tell("cloth peak", prediction.cloth_peak, truth.cloth_peak_c);
            for (harm, truth) in prediction.harms.iter().zip(&truth.harms) {
                tell(harm.harm.name(), harm.dose, truth.dose);
            }
        }
    }
    Ok(())
}
