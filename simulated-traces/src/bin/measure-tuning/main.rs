//! Measures how far tuning can be trusted: how well a fitted model predicts speeds that nobody rode, how
//! often its bands hold what is true, and how near its recommended speed comes to the fastest safe one.
//!
//! Shops are drawn, every fourth without a safe speed; each makes rides at speeds that a person would choose who does not know the truth. The fit is told
//! what the shop declares and what the probes read. What is true is known from the simulation, whose physics
//! is not that of the fitted model. The same call prints the same figures, times apart.
//!
//!     cargo run -p inkdwell-simulated-traces --bin measure-tuning -- --shops 240 --rides 2 [--first-seed 1] [--cloth]
//!         [--mass-scatter 0.1] [--regain-scatter 0.02] [--as-drawn] [--verbose]
//!
//! The scatters are what is declared of the garments (k = 2); without them it is what is usual of one batch.

use std::collections::BTreeMap;
use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use inkdwell_config::quantity::{MetresPerSecond, Share};
use inkdwell_cure::heat::fit::{
    DoubtParts, Fit, FitOptions, LimitName, Prediction, Ride, Trip, fit,
};
use inkdwell_cure::judged::Band;
use inkdwell_cure::tuning::{best_window, proved_window, recommend};
use inkdwell_simulated_traces::physics::TrueGarment;
use inkdwell_simulated_traces::shop::{SimulatedShop, draw_shop};
use inkdwell_simulated_traces::truth::PrintTruth;
use inkdwell_simulated_traces::tryout::tried_rides;

/// Speeds at which predictions are held against the truth, as shares of the rides' middle speed.
const ASKED: [f64; 4] = [0.75, 0.88, 1.14, 1.33];
/// Garments of the batch that go along at a recommended speed.
const GARMENTS: u32 = 40;
/// How many of them may fail where 95 % are good.
const MAY_FAIL: usize = 2;

struct Call {
    shops: u64,
    rides: usize,
    first_seed: u64,
    cloth: bool,
    verbose: bool,
    /// Shops as they come, not every fourth without a safe speed.
    as_drawn: bool,
    /// What is declared of the garments, where it is not what is usual of one batch.
    mass_scatter: Option<Share>,
    regain_scatter: Option<Share>,
}

impl Call {
    fn options(&self, shop: &SimulatedShop) -> FitOptions {
        let usual = FitOptions::of_one_batch(&shop.fabric);
        FitOptions {
            mass_scatter: self.mass_scatter.unwrap_or(usual.mass_scatter),
            regain_scatter: self.regain_scatter.unwrap_or(usual.regain_scatter),
            ..usual
        }
    }
}

fn call() -> Result<Call, String> {
    let mut call = Call {
        shops: 40,
        rides: 2,
        first_seed: 1,
        cloth: false,
        verbose: false,
        as_drawn: false,
        mass_scatter: None,
        regain_scatter: None,
    };
    let mut typed = std::env::args().skip(1);
    while let Some(option) = typed.next() {
        let mut number = || {
            let value = typed.next().unwrap_or_default();
            value
                .parse::<f64>()
                .map_err(|_| format!("{option} takes a number, not {value:?}"))
        };
        match option.as_str() {
            "--shops" => call.shops = number()? as u64,
            "--rides" => call.rides = number()?.max(1.0) as usize,
            "--first-seed" => call.first_seed = number()? as u64,
            "--mass-scatter" => call.mass_scatter = Some(Share(number()?)),
            "--regain-scatter" => call.regain_scatter = Some(Share(number()?)),
            "--cloth" => call.cloth = true,
            "--as-drawn" => call.as_drawn = true,
            "--verbose" => call.verbose = true,
            other => return Err(format!("{other} is no option of this program")),
        }
    }
    Ok(call)
}

/// How often something held, by its name.
type Held = BTreeMap<&'static str, (u32, u32)>;

/// What one shop showed.
#[derive(Default)]
struct Shown {
    /// Predicted less true peak of the film and of unprinted cloth.
    errors: Vec<f64>,
    cloth_errors: Vec<f64>,
    /// The same for drawn garments, over one standard deviation as the fit reckons it.
    pulls: Vec<f64>,
    held: Held,
    /// The fastest speed that is truly safe: for the garment in the middle, and for 95 % of the batch's.
    fastest: Option<f64>,
    fastest_for_most: Option<f64>,
    recommended: Option<Recommendation>,
    refused_for: Option<Refused>,
    worst_rms: f64,
    seconds: [f64; 2],
    said: String,
    /// Each prediction against one garment.
    details: Vec<String>,
}

struct Recommendation {
    belt: f64,
    middle_is_good: bool,
    good_share: f64,
    parts: Option<DoubtParts>,
}

/// Measures how long this thread has computed; where the system does not tell, how long it took.
struct Clock {
    begun: Instant,
    computed: Option<f64>,
}

impl Clock {
    fn start() -> Clock {
        Clock {
            begun: Instant::now(),
            computed: Clock::computed(),
        }
    }

    /// Seconds of computing since the thread began: the first number, in nanoseconds, of Linux's schedstat.
    fn computed() -> Option<f64> {
        let stat = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
        let nanoseconds: f64 = stat.split_whitespace().next()?.parse().ok()?;
        Some(1e-9 * nanoseconds)
    }

    fn seconds(&self) -> f64 {
        match (self.computed, Clock::computed()) {
            (Some(from), Some(to)) => to - from,
            _ => self.begun.elapsed().as_secs_f64(),
        }
    }
}

/// Why nothing is recommended to a shop with a speed that is safe for its middle garment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Refused {
    /// At no speed are 95 % of its garments truly good.
    NotForTheBatch,
    /// There most likely is a speed, but the doubt is wider than the window.
    Doubt,
    /// Not even a most likely one was found.
    NotEvenLikely,
}

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

fn holds(band: Band, value: f64) -> bool {
    (band.low - 1e-9..=band.high + 1e-9).contains(&value)
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

fn measure(number: u64, call: &Call) -> Result<Shown, String> {
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

fn detail(share: f64, told: &Prediction, truth: &PrintTruth) -> String {
    let band = |band: Band, value: f64| {
        let mark = if holds(band, value) { "" } else { " OUT" };
        let Band { low, best, high } = band;
        format!("{low:.2} {best:.2} {high:.2} true {value:.2}{mark}")
    };
    let harms = told.harms.iter().zip(&truth.harms);
    let harms: Vec<String> = harms
        .map(|(harm, truth)| format!("{} {}", harm.harm.name(), band(harm.dose, truth.dose)))
        .collect();
    format!(
        "  at {share} peak {}; cloth {}; above {}; cure {}; {}",
        band(told.peak, truth.peak_c),
        band(told.cloth_peak, truth.cloth_peak_c),
        band(told.time_above, truth.time_above_s),
        band(told.cure, truth.cure),
        harms.join(" ")
    )
}

fn say(shop: &SimulatedShop, rides: &[Ride], shown: &Shown) -> String {
    let speeds: Vec<String> = rides
        .iter()
        .map(|ride| match ride.trip {
            Trip::Belt(belt) => format!("{:.4}", belt.0),
            Trip::Lamp(_) => String::new(),
        })
        .collect();
    let worst = shown
        .errors
        .iter()
        .map(|error| error.abs())
        .fold(0.0, f64::max);
    let head = format!(
        "shop {:>4} {:<9} {:<21} {:<14} rides {} rms {:4.1} worst {worst:5.1} fastest {} {}",
        shop.seed,
        format!("{:?}", shop.style),
        shop.ink.id,
        shop.fabric.id,
        speeds.join(" "),
        shown.worst_rms,
        shown
            .fastest
            .map_or("none".to_owned(), |speed| format!("{speed:.4}")),
        shown
            .fastest_for_most
            .map_or("none".to_owned(), |speed| format!("{speed:.4}")),
    );
    let Some(recommended) = &shown.recommended else {
        return format!("{head} not recommended {:?}", shown.refused_for);
    };
    let parts = recommended.parts.map_or(String::new(), |parts| {
        format!(
            "margin {:.1} of unknowns {:.1} model {:.1} mass {:.1} moisture {:.1} probe {:.1}",
            parts.margin.0,
            parts.unknowns.0,
            parts.model.0,
            parts.mass.0,
            parts.moisture.0,
            parts.probe.0
        )
    });
    format!(
        "{head} recommended {:.4} ratio {:.3} good {:.2} {} {parts}",
        recommended.belt,
        recommended.belt / shown.fastest.unwrap_or(f64::NAN),
        recommended.good_share,
        if recommended.middle_is_good {
            ""
        } else {
            "UNSAFE"
        },
    )
}

fn main() -> ExitCode {
    let call = match call() {
        Ok(call) => call,
        Err(error) => {
            eprintln!("measure-tuning: {error}");
            return ExitCode::from(2);
        }
    };
    let next = AtomicU64::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            if number >= call.shops {
                return done;
            }
            done.push((number, measure(number, &call)));
        }
    };
    let mut all: Vec<(u64, Result<Shown, String>)> = std::thread::scope(|scope| {
        let other = scope.spawn(work);
        let mut done = work();
        done.extend(other.join().unwrap_or_default());
        done
    });
    all.sort_by_key(|(number, _)| *number);
    let mut shown = Vec::new();
    for (number, result) in all {
        match result {
            Ok(one) => shown.push(one),
            Err(error) => println!("shop number {number}: {error}"),
        }
    }
    if call.verbose {
        for one in &shown {
            println!("{}", one.said);
            one.details.iter().for_each(|detail| println!("{detail}"));
        }
    }
    report(&shown, &call);
    ExitCode::SUCCESS
}

fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let place = (sorted.len().saturating_sub(1)) as f64 * share;
    sorted
        .get(place.round() as usize)
        .copied()
        .unwrap_or(f64::NAN)
}

fn report(shown: &[Shown], call: &Call) {
    let of = |part: usize, all: usize| {
        format!(
            "{part} of {all} ({:.1} %)",
            100.0 * part as f64 / all.max(1) as f64
        )
    };
    let with_window = shown.iter().filter(|one| one.fastest.is_some()).count();
    let windowless = shown.len() - with_window;
    println!(
        "{} shops, {} ride(s) each{}; without a safe speed {}",
        shown.len(),
        call.rides,
        if call.cloth {
            ", with a cloth junction"
        } else {
            ""
        },
        of(windowless, shown.len())
    );
    let errors = |name: &str, pick: fn(&Shown) -> &Vec<f64>| {
        let all: Vec<f64> = shown.iter().flat_map(pick).copied().collect();
        let sizes: Vec<f64> = all.iter().map(|error| error.abs()).collect();
        println!(
            "{name}: {:.2} to {:.2} C in 9 of 10, middle {:.2}; size: median {:.2}, 95 % within {:.2} C",
            quantile(&all, 0.05),
            quantile(&all, 0.95),
            quantile(&all, 0.5),
            quantile(&sizes, 0.5),
            quantile(&sizes, 0.95)
        );
    };
    errors("predicted less true peak", |one| &one.errors);
    errors("the same of unprinted cloth", |one| &one.cloth_errors);
    let pulls: Vec<f64> = shown
        .iter()
        .flat_map(|one| &one.pulls)
        .map(|pull| pull * pull)
        .collect();
    println!(
        "error of a garment's peak over its standard deviation: root mean square {:.2}",
        (pulls.iter().sum::<f64>() / pulls.len().max(1) as f64).sqrt()
    );
    let mut held = Held::new();
    for (name, (inside, asked)) in shown.iter().flat_map(|one| &one.held) {
        let sum = held.entry(name).or_default();
        *sum = (sum.0 + inside, sum.1 + asked);
    }
    for (name, (inside, asked)) in held {
        println!("band holds {name}: {}", of(inside as usize, asked as usize));
    }
    recommendations(shown, with_window, windowless, of);
}

fn ratios(name: &str, shown: &[Shown], fastest: fn(&Shown) -> Option<f64>) {
    let ratios: Vec<f64> = shown
        .iter()
        .filter_map(|one| Some(one.recommended.as_ref()?.belt / fastest(one)?))
        .collect();
    println!(
        "recommended over fastest safe for {name}: median {:.3}, quartiles {:.3} and {:.3}",
        quantile(&ratios, 0.5),
        quantile(&ratios, 0.25),
        quantile(&ratios, 0.75)
    );
}

fn recommendations(
    shown: &[Shown],
    with_window: usize,
    windowless: usize,
    of: impl Fn(usize, usize) -> String,
) {
    let made: Vec<&Recommendation> = shown
        .iter()
        .filter_map(|one| one.recommended.as_ref())
        .collect();
    ratios("the middle garment", shown, |one| one.fastest);
    ratios("95 % of garments", shown, |one| one.fastest_for_most);
    let safe = made.iter().filter(|one| one.middle_is_good).count();
    let batch = made.iter().filter(|one| one.good_share >= 0.95).count();
    println!("safe for the middle garment: {}", of(safe, made.len()));
    println!("safe for 95 % of garments: {}", of(batch, made.len()));
    let refused = shown
        .iter()
        .filter(|one| one.fastest.is_none() && one.recommended.is_none())
        .count();
    println!(
        "refused where no speed is safe: {}",
        of(refused, windowless)
    );
    let missed = shown
        .iter()
        .filter(|one| one.fastest.is_some() && one.recommended.is_none())
        .count();
    println!("refused where one is: {}", of(missed, with_window));
    for (reason, name) in [
        (
            Refused::NotForTheBatch,
            "no speed is good for 95 % of its garments",
        ),
        (Refused::Doubt, "the doubt is wider than the window"),
        (Refused::NotEvenLikely, "not even a likely window was found"),
    ] {
        let number = shown
            .iter()
            .filter(|one| one.refused_for == Some(reason))
            .count();
        println!("  of them because {name}: {number}");
    }
    let parts: Vec<DoubtParts> = made.iter().filter_map(|one| one.parts).collect();
    let share = |name: &str, pick: fn(&DoubtParts) -> f64| {
        let all: Vec<f64> = parts.iter().map(pick).collect();
        println!(
            "doubt of the cure there from {name}: median {:.2} C",
            quantile(&all, 0.5)
        );
    };
    share("unknowns", |parts| parts.unknowns.0);
    share("the model's error", |parts| parts.model.0);
    share("garments' mass", |parts| parts.mass.0);
    share("garments' moisture", |parts| parts.moisture.0);
    share("the probe", |parts| parts.probe.0);
    for (number, name) in [(0, "fit"), (1, "window")] {
        let all: Vec<f64> = shown.iter().map(|one| one.seconds[number]).collect();
        let (median, most) = (quantile(&all, 0.5), quantile(&all, 0.95));
        println!("computing time of a {name}: median {median:.2} s, 95 % within {most:.2} s");
    }
}
