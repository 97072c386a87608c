//! One print that left the heat: what was seen of it, and what is inferred.

use nalgebra::DVector;

use inkdwell_config::quantity::{
    Celsius, CelsiusDifference, Metres, MetresPerSecond, Seconds, Share,
};

use super::super::Fit;
use super::super::limit::Limit;
use super::super::predict::Estimate;
use super::account::{ExitCause, FIRST_ZONE, HOTTER, MASS, MOISTURE};
use super::mixture::{Mixture, Part};
use super::{ExitModel, Told};
use crate::heat::HeatError;
use crate::heat::journey::Journey;
use crate::judged::{Band, HarmDose};

/// What one exit probe showed of a print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// The print's own part.
    pub print: Celsius,
    /// The unprinted margin, where the spot saw it apart.
    pub margin: Option<Celsius>,
    /// The bare belt before and after it, where enough of it was seen.
    pub belt: Option<Celsius>,
    /// One standard deviation of noise that is left in them, in °C.
    pub noise: f64,
}

/// How a print went along the belt.
#[derive(Debug, Clone, PartialEq)]
pub enum Passing {
    /// At a steady speed.
    Steady(MetresPerSecond),
    /// At a speed that changed: metres and seconds from where the heat begins, the first (0, 0).
    Changing(Vec<(Metres, Seconds)>),
}

impl Passing {
    /// When it was so many metres from where the heat begins, in seconds.
    pub(super) fn time_at(&self, metres: f64) -> f64 {
        match self {
            Passing::Steady(speed) => metres / speed.0,
            Passing::Changing(points) => time_at(points, metres),
        }
    }

    /// Its mean speed over all that is known of it, in m/s.
    pub(super) fn mean_speed(&self) -> f64 {
        match self {
            Passing::Steady(speed) => speed.0,
            Passing::Changing(points) => points
                .last()
                .map_or(f64::NAN, |last| last.0.0 / last.1.0.max(1e-9)),
        }
    }

    /// The same, faster by a factor.
    pub(super) fn faster(&self, factor: f64) -> Passing {
        match self {
            Passing::Steady(speed) => Passing::Steady(MetresPerSecond(speed.0 * factor)),
            Passing::Changing(points) => Passing::Changing(
                points
                    .iter()
                    .map(|(metres, seconds)| (*metres, Seconds(seconds.0 / factor)))
                    .collect(),
            ),
        }
    }

    /// A steady journey bent to what the belt did.
    pub(super) fn bent(&self, steady: Journey, heated: f64) -> Journey {
        let Passing::Changing(points) = self else {
            return steady;
        };
        let usual = steady
            .times
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .fold(0.0, f64::max)
            .max(LONGEST_STEP);
        let mut bent = Journey {
            times: Vec::with_capacity(steady.times.len()),
            positions: Vec::with_capacity(steady.times.len()),
            exit: time_at(points, heated),
        };
        for position in steady.positions {
            let time = time_at(points, position);
            if let Some(last) = bent.times.last().copied() {
                if time - last < 1e-3 {
                    continue;
                }
                // Where the belt stood or crawled, knots come in between.
                if time - last > usual {
                    fill(&mut bent, points, (time, position), usual);
                }
            }
            bent.times.push(time);
            bent.positions.push(position);
        }
        bent
    }
}

/// No step in time is longer while a print is on its way, in seconds.
const LONGEST_STEP: f64 = 3.0;

/// Fills the stretch up to a knot with steps that are short enough.
fn fill(journey: &mut Journey, points: &[(Metres, Seconds)], until: (f64, f64), longest: f64) {
    let begin = journey.times[journey.times.len() - 1];
    let steps = ((until.0 - begin) / longest).ceil().min(400.0);
    let at = journey.positions[journey.positions.len() - 1];
    for step in 1..(steps as usize) {
        let time = begin + (until.0 - begin) * step as f64 / steps;
        journey.times.push(time);
        journey
            .positions
            .push(position_at(points, time).clamp(at, until.1));
    }
}

/// Seconds at which a way is reached, on at the first or last speed beyond what is known.
fn time_at(points: &[(Metres, Seconds)], metres: f64) -> f64 {
    let flipped = |point: &(Metres, Seconds)| (point.0.0, point.1.0);
    along(points, metres, flipped)
}

fn position_at(points: &[(Metres, Seconds)], seconds: f64) -> f64 {
    along(points, seconds, |point| (point.1.0, point.0.0))
}

/// Straight between points and on beyond them; a point reached twice counts at the first.
fn along(
    points: &[(Metres, Seconds)],
    x: f64,
    of: impl Fn(&(Metres, Seconds)) -> (f64, f64),
) -> f64 {
    if points.len() < 2 {
        return f64::NAN;
    }
    let moving = |a: usize, b: usize| {
        let (from, to) = (of(&points[a]), of(&points[b]));
        (to.0 > from.0).then(|| from.1 + (to.1 - from.1) * (x - from.0) / (to.0 - from.0))
    };
    let after = points.partition_point(|point| of(point).0 < x);
    let last = points.len() - 1;
    if after == 0 {
        (1..=last).find_map(|b| moving(0, b)).unwrap_or(f64::NAN)
    } else if after > last {
        (0..last)
            .rev()
            .find_map(|a| moving(a, last))
            .unwrap_or(f64::NAN)
    } else {
        moving(after - 1, after).unwrap_or(f64::NAN)
    }
}

/// What exit probes showed of one print, and how it went.
#[derive(Debug, Clone, PartialEq)]
pub struct Leaving {
    /// Its way along the belt.
    pub passing: Passing,
    /// Expanded uncertainty (k = 2) of the belt's speed.
    pub belt_uncertainty: Share,
    /// By probe; `None` where it did not see the print.
    pub shown: Vec<Option<Shown>>,
    /// How many parts u has at this station.
    pub(super) parts: usize,
}

impl Fit {
    /// What was seen of a print that left this fit's dryer.
    pub fn leaving(
        &self,
        passing: Passing,
        belt_uncertainty: Share,
        shown: Vec<Option<Shown>>,
    ) -> Leaving {
        let zones = self.problem.base.oven.zones.len();
        Leaving {
            passing,
            belt_uncertainty,
            shown,
            parts: FIRST_ZONE + if zones > 1 { zones } else { 0 },
        }
    }
}

/// What is inferred of a print.
#[derive(Debug, Clone, PartialEq)]
pub struct Inferred {
    /// Peak at the film's bottom.
    pub peak: Celsius,
    /// Its doubt, k = 2.
    pub doubt: CelsiusDifference,
    /// Seconds at or above the ink's threshold.
    pub time_above: Band,
    /// The steepest rise of the film, in °C a second.
    pub max_rise: f64,
    /// Dose of the cure law.
    pub cure: Band,
    /// Doses of the harms, in the fabric's order.
    pub harms: Vec<HarmDose>,
    /// Margins to all limits.
    pub margins: Vec<Estimate>,
    /// What explains best what was seen, …
    pub cause: ExitCause,
    /// … and how likely that is among all that may explain it.
    pub likely: f64,
    /// By how much the sources (one zone, where that explains it) seem hotter than when the reference was ridden.
    pub hotter: CelsiusDifference,
    /// How many times the batch's mass the garment seems to have.
    pub mass: f64,
    /// How much more water than the batch's it seems to hold, in kilograms for each of dry fibre.
    pub moisture: f64,
    /// How badly the best account explains what was seen: squares over their variance, 1 being usual.
    pub misfit: f64,
}

/// What all accounts tell together; `usual` is the place of a print as the ridden one that went as this one did.
pub(super) fn summed_up(
    model: &ExitModel<'_>,
    (told, usual): (&[Told], usize),
    print: &Leaving,
) -> Result<Inferred, HeatError> {
    let best = told
        .iter()
        .max_by(|a, b| a.evidence.total_cmp(&b.evidence))
        .ok_or(HeatError::Unsettled)?;
    let weights: Vec<f64> = told
        .iter()
        .map(|told| (told.evidence - best.evidence).exp())
        .collect();
    let own: Vec<Vec<(f64, f64)>> = told
        .iter()
        .map(|told| quantities(model, told, &model.places[usual].quantities))
        .collect();
    let values = (0..=model.fit.limits.len()).map(|number| {
        let parts = weights.iter().zip(&own).map(|(weight, own)| Part {
            weight: *weight,
            mean: own[number].0,
            deviation: own[number].1.sqrt(),
        });
        Mixture::new(parts.collect()).band()
    });
    Ok(shape(
        model,
        (best, &weights),
        &values.collect::<Vec<Band>>(),
        print,
    ))
}

/// What a change does to a print is known but to this share of it (one standard deviation): of the heat that it gets,
/// and of the garment that it is on. No source; the simulated dryers, whose heat and water go by other laws, differ by
/// about as much.
const HEAT_KNOWN: f64 = 0.15;
const GARMENT_KNOWN: f64 = 0.25;

/// The peak and all margins with their variances, as one account has them; `usual` are those of a print like the
/// ridden one.
fn quantities(model: &ExitModel<'_>, told: &Told, usual: &[f64]) -> Vec<(f64, f64)> {
    let place = &model.places[told.place];
    let film = place.setting.film_variance() + model.fit.probe.powi(2);
    (0..place.quantities.len())
        .map(|number| {
            let slopes: DVector<f64> = place.slopes.column(number).clone_owned();
            let value = place.quantities[number] + slopes.dot(&told.moved);
            // What is explained badly is known badly.
            let carried = slopes.dot(&(&told.covariance * &slopes)) * told.misfit.max(1.0);
            let known = match told.cause {
                ExitCause::AsRidden | ExitCause::Chamber | ExitCause::Zone(_) => HEAT_KNOWN,
                ExitCause::Wet | ExitCause::OtherCloth => GARMENT_KNOWN,
            };
            let changed = known * (value - usual[number]);
            let variance = carried.max(0.0) + place.errors[number] + film + changed.powi(2);
            (value, variance)
        })
        .collect()
}

fn shape(
    model: &ExitModel<'_>,
    (best, weights): (&Told, &[f64]),
    values: &[Band],
    print: &Leaving,
) -> Inferred {
    let (fit, place) = (model.fit, &model.places[best.place]);
    let first = best.mean.len() - print.parts;
    let margins: Vec<Estimate> = fit
        .limits
        .iter()
        .zip(&values[1..])
        .map(|(limit, value)| Estimate {
            limit: limit.name,
            margin: CelsiusDifference(value.best),
            doubt: CelsiusDifference(value.best - value.low),
        })
        .collect();
    // The history of the place, shifted so that each margin is what was inferred.
    let dose = |limit: &Limit| {
        let number = fit.limits.iter().position(|other| other.name == limit.name);
        let (there, value) = number.map_or((0.0, Band::default()), |number| {
            (place.quantities[number + 1], values[number + 1])
        });
        let at = |margin: f64| limit.dose(&place.history, limit.sense() * (margin - there));
        let (least, most) = (at(value.low), at(value.high));
        Band {
            low: least.min(most),
            best: at(value.best),
            high: least.max(most),
        }
    };
    let harms = fit.limits.iter().filter_map(|limit| match limit.name {
        super::super::LimitName::Harm(harm) => Some(HarmDose {
            harm,
            dose: dose(limit),
        }),
        _ => None,
    });
    let film = &place.history.print.film_bottom;
    let points: Vec<(Seconds, Celsius)> = film.points(2).collect();
    let rise = |pair: &[(Seconds, Celsius)]| {
        (pair[1].1.0 - pair[0].1.0) / (pair[1].0.0 - pair[0].0.0).max(1e-6)
    };
    let there = place.quantities[0];
    let alone = match best.cause {
        ExitCause::Zone(zone) => best.mean[first + FIRST_ZONE + zone],
        _ => 0.0,
    };
    Inferred {
        peak: Celsius(values[0].best),
        doubt: CelsiusDifference(0.5 * (values[0].high - values[0].low)),
        time_above: Band {
            low: fit.seconds_above_shifted(film, values[0].low - there),
            best: fit.seconds_above_shifted(film, values[0].best - there),
            high: fit.seconds_above_shifted(film, values[0].high - there),
        },
        max_rise: points.windows(2).map(rise).fold(0.0, f64::max),
        cure: dose(&fit.cure),
        harms: harms.collect(),
        margins,
        cause: best.cause,
        likely: 1.0 / weights.iter().sum::<f64>(),
        hotter: CelsiusDifference(best.mean[first + HOTTER] + alone),
        mass: best.mean[first + MASS].exp(),
        moisture: best.mean[first + MOISTURE],
        misfit: best.misfit,
    }
}

impl Fit {
    /// Seconds at or above the ink's threshold of a curve shifted by so much.
    fn seconds_above_shifted(&self, curve: &crate::heat::curve::Curve, shift: f64) -> f64 {
        let points: Vec<(Seconds, Celsius)> = curve.points(4).collect();
        let above = points.windows(2).map(|pair| {
            let ((t0, from), (t1, to)) = (pair[0], pair[1]);
            let (from, to) = (from.0 + shift, to.0 + shift);
            crate::law::seconds_at_or_above(self.threshold.0, from, to, t1.0 - t0.0)
        });
        above.fold(0.0, |sum, seconds| sum + seconds)
    }
}
