//! Rides that are not what they seem: the fit names them, with the likeliest cause, and leaves good ones alone.

use std::sync::LazyLock;

use inkdwell_config::quantity::MetresPerSecond;
use inkdwell_cure::heat::fit::{Cause, Fit, Note, Ride, Trip};
use inkdwell_simulated_traces::chance::Chance;
use inkdwell_simulated_traces::events::{Event, GarmentChange};
use inkdwell_simulated_traces::line::LAID_BEFORE;
use inkdwell_simulated_traces::shop::SimulatedShop;

use super::{DRAWN, Drawn, drawn, fitted, read, ride};

/// Shops that each fault is tried in.
const SHOPS: usize = 6;

/// What is wrong with a ride.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Wrong {
    Nothing,
    Wet,
    Lifted,
    /// The belt ran otherwise than is noted all the way.
    NotedWrongly,
    /// The belt changed while the print was in the heat.
    ChangedOnTheWay,
}

impl Wrong {
    fn cause(self) -> Option<Cause> {
        match self {
            Wrong::Nothing => None,
            Wrong::Wet => Some(Cause::WetGarment),
            Wrong::Lifted => Some(Cause::LiftedOut),
            Wrong::NotedWrongly | Wrong::ChangedOnTheWay => Some(Cause::BeltChanged),
        }
    }
}

/// A ride that is noted as one at `belt`.
fn odd_ride(shop: &SimulatedShop, belt: f64, wrong: Wrong, chance: &mut Chance) -> Ride {
    let seed = 100 * shop.seed + 50;
    let stay = shop.oven.heated_length() / belt;
    let begun = 8.0 + LAID_BEFORE / belt;
    let other = if chance.happens(0.5) { 1.15 } else { 0.85 };
    match wrong {
        Wrong::Nothing => ride(shop, belt, seed),
        Wrong::Wet => {
            // Kilograms of water for each of dry fibre, beyond what it has in the room's air.
            let water = shop.batch.nominal.cloth.moisture.0 + chance.between(0.15, 0.4);
            let wet = Event::Garments {
                from: 1,
                count: 1,
                change: Box::new(GarmentChange::Moisture(water)),
            };
            read(shop, belt, seed, vec![wet])
        }
        Wrong::ChangedOnTheWay => {
            let change = Event::BeltSpeed {
                at: begun + chance.between(0.2, 0.4) * stay,
                to: belt * if other > 1.0 { 1.3 } else { 0.75 },
            };
            read(shop, belt, seed, vec![change])
        }
        Wrong::NotedWrongly => Ride {
            trip: Trip::Belt(MetresPerSecond(belt)),
            ..ride(shop, other * belt, seed)
        },
        Wrong::Lifted => {
            // From there on the junction cools in the room, with a time constant of 15 to 35 s (common
            // practice, no source).
            let mut ride = ride(shop, belt, seed);
            let out = begun + chance.between(0.3, 0.75) * stay;
            let (slow, room) = (chance.between(15.0, 35.0), shop.oven.room.0);
            let mut left = None;
            for (time, celsius) in ride.film.iter_mut().filter(|each| each.0.0 >= out) {
                let left = *left.get_or_insert(celsius.0);
                celsius.0 = room + (left - room) * (-(time.0 - out) / slow).exp();
            }
            ride
        }
    }
}

/// The causes named of a ride; `None` where it is not named.
fn named(fit: &Fit, number: usize) -> Option<Vec<Cause>> {
    fit.notes().iter().find_map(|note| match note {
        Note::Unexplained { ride, causes, .. } if *ride == number => Some(causes.clone()),
        _ => None,
    })
}

/// Of so many rides with a fault: how many were named, how many with its cause first; and how many good
/// rides beside them were named.
#[derive(Debug, Default, Clone, Copy)]
struct Score {
    rides: u32,
    named: u32,
    rightly: u32,
    beside: u32,
    beside_named: u32,
}

/// A shop, its fastest truly safe speed in m/s, and the two good rides that keep an odd one company.
struct Tried {
    shop: &'static SimulatedShop,
    fastest: f64,
    good: [Ride; 2],
}

/// The shops that every fault is tried in: the first ones with a safe speed.
static TRIED: LazyLock<Vec<Tried>> = LazyLock::new(|| {
    let shops = (1..=DRAWN).map(drawn).filter_map(|drawn| {
        let Drawn { shop, fastest } = drawn;
        let fastest = (*fastest)?;
        let good = |share: f64, number: u64| ride(shop, share * fastest, 100 * shop.seed + number);
        Some(Tried {
            shop,
            fastest,
            good: [good(0.75, 0), good(1.1, 1)],
        })
    });
    shops.take(SHOPS).collect()
});

/// Tries a fault alone, or after so many good rides.
fn score(wrong: Wrong, good: usize) -> Score {
    let mut score = Score::default();
    for Tried {
        shop,
        fastest,
        good: rides,
    } in &*TRIED
    {
        let mut chance = Chance::new(shop.seed, "odd rides");
        let mut rides = rides[..good].to_vec();
        rides.push(odd_ride(shop, 0.95 * fastest, wrong, &mut chance));
        let fit = fitted(shop, &rides);
        let last = rides.len() - 1;
        let causes = named(&fit, last);
        println!(
            "{wrong:?} {good} {:?} {} {} rms {:.1} {causes:?}",
            shop.style,
            shop.ink.id,
            shop.fabric.id,
            fit.rides()[last].rms.0
        );
        score.rides += 1;
        score.named += u32::from(causes.is_some());
        let first = causes.and_then(|causes| causes.first().copied());
        score.rightly += u32::from(first.is_some() && first == wrong.cause());
        score.beside += last as u32;
        score.beside_named += (0..last)
            .filter(|ride| named(&fit, *ride).is_some())
            .count() as u32;
    }
    println!("{wrong:?} beside {good}: {score:?}");
    score
}

/// The ride alone, and after two good ones.
const COMPANY: [usize; 2] = [0, 2];

#[test]
fn a_good_ride_is_not_named() {
    for good in COMPANY {
        let score = score(Wrong::Nothing, good);
        assert!(score.named == 0 && score.beside_named == 0, "{score:?}");
    }
}

#[test]
fn a_wet_garment_is_named_where_nothing_else_explains_it() {
    // What water does to one ride alone may be explained by a weaker chamber: half of them show.
    for (good, least) in COMPANY.into_iter().zip([2, 4]) {
        let score = score(Wrong::Wet, good);
        assert!(
            score.rightly >= least && score.beside_named <= 1,
            "{score:?}"
        );
    }
}

#[test]
fn a_probe_that_left_the_heat_is_named() {
    for good in COMPANY {
        let score = score(Wrong::Lifted, good);
        assert!(score.rightly >= 5 && score.beside_named <= 1, "{score:?}");
    }
}

#[test]
fn a_belt_that_ran_otherwise_than_noted_is_named() {
    for good in COMPANY {
        let score = score(Wrong::NotedWrongly, good);
        assert!(score.rightly >= 5 && score.beside_named <= 1, "{score:?}");
    }
}

#[test]
fn a_belt_that_changed_on_the_way_is_named() {
    for (good, least) in COMPANY.into_iter().zip([3, 4]) {
        let score = score(Wrong::ChangedOnTheWay, good);
        assert!(
            score.rightly >= least && score.beside_named <= 1,
            "{score:?}"
        );
    }
}
