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

/// Whether a law counts towards cure or towards harm: they differ above the hottest point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counts {
    /// No extra credit above the hottest point.
    Cure,
    /// No discount above the hottest point.
    Harm,
}

/// A law ready for integration.
#[derive(Debug, Clone)]
pub enum Rate {
    /// Counts seconds at or above a temperature.
    Hold(HoldRate),
    /// Counts Arrhenius equivalents.
    Equivalents(EquivalentsRate),
}

/// `hold`, ready for integration.
#[derive(Debug, Clone, Copy)]
pub struct HoldRate {
    /// In °C.
    at: f64,
    /// Dose a second at or above `at`.
    per_second: f64,
}

/// `equivalents`, ready for integration.
#[derive(Debug, Clone)]
pub struct EquivalentsRate {
    /// In rising order of temperature; one fewer than the law's points.
    stretches: Vec<Stretch>,
    /// The coolest point in °C: below it nothing counts.
    coolest: f64,
    /// The hottest point in °C.
    hottest: f64,
    /// The rate above the hottest point, where it is kept.
    kept: Option<f64>,
}

/// One Arrhenius stretch: rate = exp(a − B/T).
#[derive(Debug, Clone, Copy)]
struct Stretch {
    /// Its upper end in °C.
    to: f64,
    /// The constant a.
    a: f64,
    /// The activation temperature B in kelvin.
    b: f64,
}

/// The rate and what the corrected trapezium needs besides, at one temperature.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Point {
    /// The rate.
    rate: f64,
    /// Its first derivative by temperature.
    first: f64,
    /// Its third derivative by temperature.
    third: f64,
    /// λ = B/T², the relative slope.
    slope: f64,
    /// Which stretch it lies on; [`Point::COLD`] below the coolest, [`Point::KEPT`] above the hottest.
    stretch: usize,
}

impl Point {
    const COLD: usize = usize::MAX;
    const KEPT: usize = usize::MAX - 1;
}

/// The largest λh of one step of the corrected trapezium.
const LARGEST_STEP: f64 = 0.25;

/// How many e-foldings of the rate below the hot end of a stretch are worth integrating.
const FAR: f64 = 40.0;

/// Keeps a rate finite however far a harm law is carried beyond its points.
const LARGEST_EXPONENT: f64 = 600.0;

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
            Rate::Equivalents(law) => law.point(temperature.0).rate,
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
            Rate::Equivalents(law) => {
                seconds.0 * law.mean_rate(from.0, &law.point(from.0), to.0, &law.point(to.0))
            }
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
        let stretches: Vec<Stretch> = points
            .windows(2)
            .map(|pair| {
                let ((cool, long), (hot, short)) = (pair[0], pair[1]);
                let b = (long.0 / short.0).ln() / (1.0 / cool.kelvin() - 1.0 / hot.kelvin());
                Stretch {
                    to: hot.0,
                    a: b / cool.kelvin() - long.0.ln(),
                    b,
                }
            })
            .collect();
        let coolest = points.first().map_or(f64::INFINITY, |point| point.0.0);
        let hottest = points.last().map_or(f64::INFINITY, |point| point.0.0);
        let kept = match counts {
            Counts::Cure => points.last().map(|point| 1.0 / point.1.0),
            Counts::Harm => None,
        };
        EquivalentsRate {
            stretches,
            coolest,
            hottest,
            kept,
        }
    }

    /// Below this nothing counts, in °C.
    #[inline]
    pub(crate) fn coolest(&self) -> f64 {
        self.coolest
    }

    /// The rate and its derivatives at a temperature in °C.
    #[inline]
    pub(crate) fn point(&self, celsius: f64) -> Point {
        if celsius < self.coolest {
            return Point {
                stretch: Point::COLD,
                ..Point::default()
            };
        }
        if let Some(kept) = self.kept
            && celsius > self.hottest
        {
            return Point {
                rate: kept,
                stretch: Point::KEPT,
                ..Point::default()
            };
        }
        let mut stretch = 0;
        while stretch + 1 < self.stretches.len() && celsius > self.stretches[stretch].to {
            stretch += 1;
        }
        self.point_on(stretch, celsius)
    }

    /// The same, on a given stretch: at a point shared by two stretches the derivatives differ.
    #[inline]
    fn point_on(&self, stretch: usize, celsius: f64) -> Point {
        let Some(Stretch { a, b, .. }) = self.stretches.get(stretch) else {
            return Point {
                stretch: Point::COLD,
                ..Point::default()
            };
        };
        let inverse = 1.0 / (celsius + ZERO_CELSIUS_IN_KELVIN);
        let rate = (a - b * inverse).min(LARGEST_EXPONENT).exp();
        let slope = b * inverse * inverse;
        // r' = λ r and r''' = (λ³ − 6 λ²/T + 6 λ/T²) r follow from dλ/dT = −2λ/T.
        let third = slope * (slope * (slope - 6.0 * inverse) + 6.0 * inverse * inverse) * rate;
        Point {
            rate,
            first: slope * rate,
            third,
            slope,
            stretch,
        }
    }

    /// The mean of the rate over the straight line between two temperatures in °C.
    #[inline]
    pub(crate) fn mean_rate(&self, from: f64, at_from: &Point, to: f64, at_to: &Point) -> f64 {
        let step = to - from;
        if at_from.stretch == at_to.stretch {
            if at_from.stretch < Point::KEPT {
                let slope = at_from.slope.max(at_to.slope);
                if step.abs() * slope <= LARGEST_STEP {
                    return corrected_trapezium(step, at_from, at_to);
                }
            } else {
                return at_from.rate;
            }
        }
        self.mean_rate_in_pieces(from, to)
    }

    /// The same for lines that cross a point of the law, or that need more than one step.
    #[cold]
    fn mean_rate_in_pieces(&self, from: f64, to: f64) -> f64 {
        if from == to {
            return self.point(from).rate;
        }
        let (low, high) = if from < to { (from, to) } else { (to, from) };
        let last = self.stretches.len().saturating_sub(1);
        let mut integral = 0.0;
        let mut cool_end = self.coolest;
        for (number, stretch) in self.stretches.iter().enumerate() {
            let open_end = number == last && self.kept.is_none();
            let hot_end = if open_end { f64::INFINITY } else { stretch.to };
            let (a, b) = (low.max(cool_end), high.min(hot_end));
            if a < b {
                integral += self.integral_on(number, a, b);
            }
            cool_end = stretch.to;
        }
        if let Some(kept) = self.kept {
            integral += kept * (high - low.max(self.hottest)).max(0.0);
        }
        integral / (high - low)
    }

    /// ∫ rate dT on one stretch, from the cooler to the hotter temperature.
    fn integral_on(&self, stretch: usize, from: f64, to: f64) -> f64 {
        // What lies FAR relative slopes below the hot end adds less than exp(-FAR) of the whole.
        let from = from.max(to - FAR / self.point_on(stretch, to).slope);
        let steepest = self.point_on(stretch, from).slope;
        let steps = ((to - from) * steepest / LARGEST_STEP).ceil().max(1.0);
        let step = (to - from) / steps;
        let mut integral = 0.0;
        let mut at_cool = self.point_on(stretch, from);
        for number in 1..=(steps as u64) {
            let hot = if number as f64 == steps {
                to
            } else {
                from + step * number as f64
            };
            let at_hot = self.point_on(stretch, hot);
            integral += step * corrected_trapezium(step, &at_cool, &at_hot);
            at_cool = at_hot;
        }
        integral
    }
}

/// The mean of a smooth function over a step h from its values and odd derivatives at both ends:
/// (f₀ + f₁)/2 − h (f₁′ − f₀′)/12 + h³ (f₁‴ − f₀‴)/720 (Abramowitz and Stegun 23.1.30).
#[inline]
fn corrected_trapezium(step: f64, from: &Point, to: &Point) -> f64 {
    0.5 * (from.rate + to.rate) - step * (to.first - from.first) / 12.0
        + step * step * step * (to.third - from.third) / 720.0
}
