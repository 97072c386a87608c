//! The dose of an `equivalents` law along a run of close samples.
//!
//! Close samples are by far the most. On one stretch of the law the mean rate between two of them is
//! the trapezium with one end correction, (r₀ + r₁)/2 − h (r₁′ − r₀′)/12, whose relative error
//! (λh)⁴/720 stays below 1e-8 for λh ≤ 0.05. Steeper lines, and those that cross a point of the law,
//! go the long way.
//!
//! A block of samples that stays on one stretch is computed in plain loops over arrays, which the
//! compiler turns into vector instructions. How a run is cut into blocks changes no bit of the sum:
//! each line's mean depends on its own two ends alone, and they are added one after the other.

use inkdwell_config::quantity::ZERO_CELSIUS_IN_KELVIN;

use crate::law::{EquivalentsRate, LARGEST_EXPONENT, Piece};

/// The largest λh that the short way takes.
const SHORT_STEP: f64 = 0.05;
/// How many lines are computed at once.
const LINES: usize = 16;

/// Adds to `sum` the doses of the lines between neighbours of `times` and `celsius`, in order.
pub(crate) fn add_run(law: &EquivalentsRate, sum: &mut f64, times: &[f64], celsius: &[f64]) {
    let last = celsius.len().min(times.len()).saturating_sub(1);
    let mut start = 0;
    while start < last {
        let end = last.min(start + LINES);
        add_block(law, sum, &times[start..=end], &celsius[start..=end]);
        start = end;
    }
}

fn add_block(law: &EquivalentsRate, sum: &mut f64, times: &[f64], celsius: &[f64]) {
    let mut coolest = f64::INFINITY;
    let mut hottest = f64::NEG_INFINITY;
    for &celsius in celsius {
        coolest = if celsius < coolest { celsius } else { coolest };
        hottest = if celsius > hottest { celsius } else { hottest };
    }
    let piece = law.piece(coolest);
    if hottest < piece.to {
        if piece.scale > 0.0 {
            add_on_one_piece(law, piece, sum, times, celsius);
        }
    } else {
        add_one_by_one(law, sum, times, celsius);
    }
}

fn add_on_one_piece(
    law: &EquivalentsRate,
    piece: &Piece,
    sum: &mut f64,
    times: &[f64],
    celsius: &[f64],
) {
    let mut rate = [0.0; LINES + 1];
    let mut first = [0.0; LINES + 1];
    let mut slope = [0.0; LINES + 1];
    let ends = celsius.len().min(LINES + 1);
    for end in 0..ends {
        let point = Point::new(piece, celsius[end]);
        (rate[end], first[end], slope[end]) = (point.rate, point.first, point.slope);
    }
    let point = |end: usize| Point {
        rate: rate[end],
        first: first[end],
        slope: slope[end],
    };
    let mut means = [0.0; LINES];
    let mut short = true;
    for line in 0..ends - 1 {
        let step = celsius[line + 1] - celsius[line];
        short &= is_short(step, &point(line), &point(line + 1));
        means[line] = mean(step, &point(line), &point(line + 1));
    }
    if !short {
        add_one_by_one(law, sum, times, celsius);
        return;
    }
    for line in 0..ends - 1 {
        *sum += (times[line + 1] - times[line]) * means[line];
    }
}

#[cold]
fn add_one_by_one(law: &EquivalentsRate, sum: &mut f64, times: &[f64], celsius: &[f64]) {
    for (times, ends) in times.windows(2).zip(celsius.windows(2)) {
        let (cool, hot) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
        let piece = law.piece(cool);
        let (from, to) = (Point::new(piece, ends[0]), Point::new(piece, ends[1]));
        let step = ends[1] - ends[0];
        let rate = if hot < piece.to && is_short(step, &from, &to) {
            mean(step, &from, &to)
        } else {
            law.mean_rate(ends[0], ends[1])
        };
        *sum += (times[1] - times[0]) * rate;
    }
}

/// The rate, its derivative by temperature, and the relative slope λ = b/T² at one temperature.
#[derive(Debug, Clone, Copy)]
struct Point {
    rate: f64,
    first: f64,
    slope: f64,
}

impl Point {
    #[inline(always)]
    fn new(piece: &Piece, celsius: f64) -> Point {
        let inverse = 1.0 / (celsius + ZERO_CELSIUS_IN_KELVIN);
        let rate = piece.scale * exponential(piece.a - piece.b * inverse);
        let slope = piece.b * inverse * inverse;
        Point {
            rate,
            first: slope * rate,
            slope,
        }
    }
}

#[inline(always)]
fn is_short(step: f64, from: &Point, to: &Point) -> bool {
    (step.abs() * from.slope <= SHORT_STEP) & (step.abs() * to.slope <= SHORT_STEP)
}

#[inline(always)]
fn mean(step: f64, from: &Point, to: &Point) -> f64 {
    0.5 * (from.rate + to.rate) - step * (to.first - from.first) * (1.0 / 12.0)
}

/// eˣ for x from −700 to [`LARGEST_EXPONENT`] (what is larger is cut to it), to 1e-12 relative; a
/// call of the standard library's could not be turned into vector instructions.
///
/// x = k ln 2 + r with |r| ≤ ln 2 / 2; eʳ by its series to r¹⁰, whose rest is below r¹¹/11! = 2e-13;
/// 2ᵏ by its exponent's bits.
#[inline(always)]
fn exponential(x: f64) -> f64 {
    /// Adding it rounds to a whole number, which then stands in the lowest bits.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    /// ln 2 in two parts, the first with enough trailing zeros that k times it is exact.
    const LN2: [f64; 2] = [0.693_145_751_953_125, 1.428_606_820_309_417_2e-6];
    let x = if x < LARGEST_EXPONENT {
        x
    } else {
        LARGEST_EXPONENT
    };
    let shifted = x * std::f64::consts::LOG2_E + ROUND;
    let k = shifted - ROUND;
    let r = (x - k * LN2[0]) - k * LN2[1];
    // Estrin's order: pairs first, so that no long chain of multiplications has to be waited for.
    let r2 = r * r;
    let r4 = r2 * r2;
    let low = (1.0 + r) + (0.5 + r * (1.0 / 6.0)) * r2;
    let middle = (1.0 / 24.0 + r * (1.0 / 120.0)) + (1.0 / 720.0 + r * (1.0 / 5_040.0)) * r2;
    let high = (1.0 / 40_320.0 + r * (1.0 / 362_880.0)) + r2 * (1.0 / 3_628_800.0);
    let series = low + r4 * (middle + r4 * high);
    series * f64::from_bits((shifted.to_bits() << 52).wrapping_add(1.0_f64.to_bits()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_exponential_agrees_with_the_standard_library() {
        let mut x = -699.0;
        while x < LARGEST_EXPONENT {
            assert!(
                (exponential(x) / x.exp() - 1.0).abs() < 1e-12,
                "exp({x}) = {}",
                exponential(x)
            );
            x += 0.037;
        }
        assert_eq!(exponential(1e6), exponential(LARGEST_EXPONENT));
    }
}
