//! Time-temperature laws made ready for integration, and their exact integrals along a line.
//!
//! A law turns a temperature into a *rate*: the share of the need that one second there delivers.
//!
//! - `hold`: rate(T) = 1 / `for` where T ≥ `at`, else 0.
//! - `equivalents`: rate(T) = 1 / t(T), and between two points (T₁, t₁) and (T₂, t₂)
//!
//!   ln t(T) = ln t₁ + B (1/T − 1/T₁),  B = ln(t₁/t₂) / (1/T₁ − 1/T₂),  T in kelvin,
//!
//!   which is the Arrhenius form of the equivalent age in ASTM C1074 with B = Eₐ/R. Below the
//!   coolest point the rate is 0; above the hottest a cure law keeps the last rate and a harm law
//!   goes on along its last stretch.
//!
//! The dose of a trace is ∫ rate(T(t)) dt (the additivity rule). Along a straight line T(t) that is
//! Δt times the mean of the rate over the temperatures passed, so that everything here is an
//! integral over T. On one Arrhenius stretch the integrand is smooth, and the corrected trapezium
//! (Euler–Maclaurin, two corrections) over steps h has a relative error of about (λh)⁶/30240 with
//! λ = B/T²; steps are kept at λh ≤ 0.25, which leaves 1e-8.

use inkdwell_config::law::Law;
use inkdwell_config::quantity::{Celsius, Seconds, ZERO_CELSIUS_IN_KELVIN};
use serde::{Deserialize, Serialize};

/// Whether a law counts towards cure or towards harm: they differ above the hottest point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counts {
    /// No extra credit above the hottest point.
    Cure,
    /// No discount above the hottest point.
    Harm,
}

/// A law ready for integration.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub enum Rate {
    /// Counts seconds at or above a temperature.
    Hold(HoldRate),
    /// Counts Arrhenius equivalents.
    Equivalents(EquivalentsRate),
}

/// `hold`, ready for integration.
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub struct HoldRate {
    /// In °C.
    at: f64,
    /// Dose a second at or above `at`.
    per_second: f64,
}

/// `equivalents`, ready for integration.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct EquivalentsRate {
    /// In rising order of temperature, from minus to plus infinity.
    pieces: Vec<Piece>,
    /// The coolest point in °C: below it nothing counts.
    coolest: f64,
}

/// A range of temperatures in which rate = scale · exp(a − b/T).
#[derive(Debug, Clone, Copy, Serialize, Deserialize)]
pub(crate) struct Piece {
    /// Its cool end in °C.
    pub(crate) from: f64,
    /// Its hot end in °C.
    pub(crate) to: f64,
    /// 1, or 0 where nothing counts.
    pub(crate) scale: f64,
    /// The constant a.
    pub(crate) a: f64,
    /// The activation temperature in kelvin; 0 where the rate is constant.
    pub(crate) b: f64,
}

/// The rate and what the corrected trapezium needs besides, at one temperature.
#[derive(Debug, Clone, Copy)]
struct Point {
    /// The rate.
    rate: f64,
    /// Its first derivative by temperature.
    first: f64,
    /// Its third derivative by temperature.
    third: f64,
    /// λ = b/T², the relative slope.
    slope: f64,
}

/// The largest λh of one step of the corrected trapezium.
const LARGEST_STEP: f64 = 0.25;

/// How many e-foldings of the rate below the hot end of a stretch are worth integrating.
const FAR: f64 = 40.0;

/// Keeps a rate finite however far a harm law is carried beyond its points.
pub(crate) const LARGEST_EXPONENT: f64 = 600.0;

impl Rate {
    /// Makes a law ready.
    pub fn new(law: &Law, counts: Counts) -> Rate {
        match law {
            Law::Hold { at, duration } => Rate::Hold(HoldRate {
                at: at.0,
                per_second: 1.0 / duration.0,
            }),
            Law::Equivalents { points } => Rate::Equivalents(EquivalentsRate::new(points, counts)),
        }
    }

    /// The coolest temperature that counts.
    pub fn coolest(&self) -> Celsius {
        match self {
            Rate::Hold(hold) => Celsius(hold.at),
            Rate::Equivalents(law) => Celsius(law.coolest),
        }
    }

    /// The dose that one second at a constant temperature delivers.
    pub fn at(&self, temperature: Celsius) -> f64 {
        match self {
            Rate::Hold(hold) if temperature.0 >= hold.at => hold.per_second,
            Rate::Hold(_) => 0.0,
            Rate::Equivalents(law) => law.piece(temperature.0).point(temperature.0).rate,
        }
    }

    /// How long a constant temperature has to last for a dose of 1; `None` where it never does.
    pub fn time_needed(&self, temperature: Celsius) -> Option<Seconds> {
        let rate = self.at(temperature);
        (rate > 0.0).then(|| Seconds(1.0 / rate))
    }

    /// The dose of a straight line from one temperature to another that lasts `seconds`.
    pub fn along(&self, from: Celsius, to: Celsius, seconds: Seconds) -> f64 {
        match self {
            Rate::Hold(hold) => {
                hold.per_second * seconds_at_or_above(hold.at, from.0, to.0, seconds.0)
            }
            Rate::Equivalents(law) => seconds.0 * law.mean_rate(from.0, to.0),
        }
    }
}

impl HoldRate {
    /// The temperature that counts, in °C.
    pub(crate) fn at(&self) -> f64 {
        self.at
    }

    /// Dose a second at or above it.
    pub(crate) fn per_second(&self) -> f64 {
        self.per_second
    }
}

/// How much of `seconds` a straight line spends at or above a threshold.
#[inline]
pub(crate) fn seconds_at_or_above(threshold: f64, from: f64, to: f64, seconds: f64) -> f64 {
    match (from >= threshold, to >= threshold) {
        (true, true) => seconds,
        (false, false) => 0.0,
        (true, false) => seconds * (from - threshold) / (from - to),
        (false, true) => seconds * (to - threshold) / (to - from),
    }
}

impl EquivalentsRate {
    fn new(points: &[(Celsius, Seconds)], counts: Counts) -> EquivalentsRate {
        let coolest = points.first().map_or(f64::INFINITY, |point| point.0.0);
        let level = |from: f64, to: f64, scale: f64, a: f64| Piece {
            from,
            to,
            scale,
            a,
            b: 0.0,
        };
        let mut pieces = vec![level(f64::NEG_INFINITY, coolest, 0.0, 0.0)];
        pieces.extend(
            points
                .windows(2)
                .map(|pair| Piece::between(pair[0], pair[1])),
        );
        match (counts, points.last()) {
            (Counts::Cure, Some(&(hottest, time))) => {
                pieces.push(level(hottest.0, f64::INFINITY, 1.0, -time.0.ln()));
            }
            _ => pieces
                .iter_mut()
                .skip(1)
                .next_back()
                .into_iter()
                .for_each(|last| {
                    last.to = f64::INFINITY;
                }),
        }
        EquivalentsRate { pieces, coolest }
    }

    /// The range that a temperature in °C lies in.
    #[inline]
    pub(crate) fn piece(&self, celsius: f64) -> &Piece {
        let mut number = 0;
        while number + 1 < self.pieces.len() && celsius >= self.pieces[number + 1].from {
            number += 1;
        }
        &self.pieces[number]
    }

    /// The mean of the rate over the straight line between two temperatures in °C.
    pub(crate) fn mean_rate(&self, from: f64, to: f64) -> f64 {
        if from == to {
            return self.piece(from).rate(from);
        }
        let (low, high) = if from < to { (from, to) } else { (to, from) };
        let integral: f64 = self
            .pieces
            .iter()
            .map(|piece| (piece, low.max(piece.from), high.min(piece.to)))
            .filter(|(_, from, to)| from < to)
            .map(|(piece, from, to)| piece.integral(from, to))
            .sum();
        integral / (high - low)
    }
}

impl Piece {
    fn between((cool, long): (Celsius, Seconds), (hot, short): (Celsius, Seconds)) -> Piece {
        let b = (long.0 / short.0).ln() / (1.0 / cool.kelvin() - 1.0 / hot.kelvin());
        let a = b / cool.kelvin() - long.0.ln();
        Piece {
            from: cool.0,
            to: hot.0,
            scale: 1.0,
            a,
            b,
        }
    }

    /// The rate at a temperature in °C.
    fn rate(&self, celsius: f64) -> f64 {
        let exponent = self.a - self.b / (celsius + ZERO_CELSIUS_IN_KELVIN);
        self.scale * exponent.min(LARGEST_EXPONENT).exp()
    }

    /// The rate and its derivatives at a temperature in °C.
    fn point(&self, celsius: f64) -> Point {
        let inverse = 1.0 / (celsius + ZERO_CELSIUS_IN_KELVIN);
        let rate = self.rate(celsius);
        let slope = self.b * inverse * inverse;
        // r′ = λ r and r‴ = (λ³ − 6 λ²/T + 6 λ/T²) r follow from dλ/dT = −2λ/T.
        let third = slope * (slope * (slope - 6.0 * inverse) + 6.0 * inverse * inverse) * rate;
        Point {
            rate,
            first: slope * rate,
            third,
            slope,
        }
    }

    /// ∫ rate dT, from the cooler to the hotter temperature.
    fn integral(&self, from: f64, to: f64) -> f64 {
        if self.b == 0.0 {
            return self.rate(to) * (to - from);
        }
        let hot = self.point(to);
        // What lies FAR relative slopes below the hot end adds less than exp(-FAR) of the whole.
        let from = from.max(to - FAR / hot.slope);
        let mut at_cool = self.point(from);
        let steps = ((to - from) * at_cool.slope / LARGEST_STEP).ceil().max(1.0);
        let step = (to - from) / steps;
        let mut integral = 0.0;
        for number in 1..(steps as u64) {
            let at_hot = self.point(from + step * number as f64);
            integral += step * corrected_trapezium(step, &at_cool, &at_hot);
            at_cool = at_hot;
        }
        integral + step * corrected_trapezium(step, &at_cool, &hot)
    }
}

/// The mean of a smooth function over a step h from its values and odd derivatives at both ends:
/// (f₀ + f₁)/2 − h (f₁′ − f₀′)/12 + h³ (f₁‴ − f₀‴)/720 (Abramowitz and Stegun 23.1.30).
fn corrected_trapezium(step: f64, from: &Point, to: &Point) -> f64 {
    0.5 * (from.rate + to.rate) - step * (to.first - from.first) / 12.0
        + step * step * step * (to.third - from.third) / 720.0
}
