//! A computed temperature over time: cubic between its knots, since the model knows its slopes.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};

/// A temperature over time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Curve {
    times: Vec<f64>,
    celsius: Vec<f64>,
    /// In K/s.
    slopes: Vec<f64>,
}

/// A knot of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Knot {
    time: f64,
    celsius: f64,
    slope: f64,
}

impl Curve {
    pub(crate) fn with_capacity(knots: usize) -> Curve {
        Curve {
            times: Vec::with_capacity(knots),
            celsius: Vec::with_capacity(knots),
            slopes: Vec::with_capacity(knots),
        }
    }

    pub(crate) fn push(&mut self, time: f64, celsius: f64, slope: f64) {
        self.times.push(time);
        self.celsius.push(celsius);
        self.slopes.push(slope);
    }

    fn knot(&self, number: usize) -> Knot {
        Knot {
            time: self.times[number],
            celsius: self.celsius[number],
            slope: self.slopes[number],
        }
    }

    /// Times of the knots.
    pub fn times(&self) -> impl Iterator<Item = Seconds> {
        self.times.iter().map(|time| Seconds(*time))
    }

    /// Temperatures at the knots, in °C.
    pub(crate) fn knots(&self) -> impl Iterator<Item = f64> {
        self.celsius.iter().copied()
    }

    /// The temperature at a time: before the first knot the first's, after the last the last's.
    pub fn at(&self, time: Seconds) -> Celsius {
        let after = self.times.partition_point(|knot| *knot <= time.0);
        if after == 0 {
            return Celsius(self.celsius.first().copied().unwrap_or(f64::NAN));
        }
        if after == self.times.len() {
            return Celsius(self.celsius[after - 1]);
        }
        Celsius(between(&self.knot(after - 1), &self.knot(after), time.0))
    }

    /// Values at rising times, appended to `values`.
    pub(crate) fn sample(&self, times: impl Iterator<Item = f64>, values: &mut Vec<f64>) {
        let mut after = 0;
        for time in times {
            while after < self.times.len() && self.times[after] <= time {
                after += 1;
            }
            values.push(if after == 0 {
                self.celsius.first().copied().unwrap_or(f64::NAN)
            } else if after == self.times.len() {
                self.celsius[after - 1]
            } else {
                between(&self.knot(after - 1), &self.knot(after), time)
            });
        }
    }

    /// The highest temperature between the knots.
    pub fn peak(&self) -> Celsius {
        let mut peak = f64::NEG_INFINITY;
        for number in 0..self.times.len() {
            peak = peak.max(self.celsius[number]);
            // A summit between two knots shows in their slopes.
            if number > 0 && self.slopes[number - 1] > 0.0 && self.slopes[number] < 0.0 {
                peak = peak.max(summit(&self.knot(number - 1), &self.knot(number)));
            }
        }
        Celsius(peak)
    }

    /// The time of the hottest knot.
    pub fn hottest_time(&self) -> Seconds {
        let hottest = (0..self.times.len())
            .reduce(|best, knot| {
                if self.celsius[knot] > self.celsius[best] {
                    knot
                } else {
                    best
                }
            })
            .map_or(f64::NAN, |knot| self.times[knot]);
        Seconds(hottest)
    }

    /// The same curve with something added at each knot, smoothly in between.
    pub(crate) fn corrected(&self, by: &[CelsiusDifference]) -> Curve {
        let mut curve = self.clone();
        let last = by.len().saturating_sub(1);
        for (knot, add) in by.iter().enumerate() {
            let (before, after) = (knot.saturating_sub(1), (knot + 1).min(last));
            let span = self.times[after] - self.times[before];
            curve.celsius[knot] += add.0;
            if span > 0.0 {
                curve.slopes[knot] += (by[after].0 - by[before].0) / span;
            }
        }
        curve
    }

    /// Points close enough together that straight lines between them are the curve: `parts` to a step.
    pub fn points(&self, parts: usize) -> impl Iterator<Item = (Seconds, Celsius)> {
        let parts = parts.max(1);
        let last = self.times.len().saturating_sub(1);
        let inner = (0..last).flat_map(move |number| {
            let (from, to) = (self.knot(number), self.knot(number + 1));
            (0..parts).map(move |part| {
                let share = part as f64 / parts as f64;
                let time = from.time + share * (to.time - from.time);
                (Seconds(time), Celsius(between(&from, &to, time)))
            })
        });
        let end = self.times.last().map(|time| Seconds(*time));
        let end = end.zip(self.celsius.last().map(|celsius| Celsius(*celsius)));
        inner.chain(end)
    }

    /// What a probe shows that follows with a lag: dy/dt = (x − y)/τ, from rest.
    ///
    /// Solved exactly for the straight lines between knots.
    pub fn lagging(&self, lag: Seconds) -> Curve {
        let mut shown = Curve::with_capacity(self.times.len());
        let lag = lag.0.max(1e-6);
        let mut y = self.celsius.first().copied().unwrap_or(f64::NAN);
        for number in 0..self.times.len() {
            if number > 0 {
                let (from, to) = (self.knot(number - 1), self.knot(number));
                y = follow(&from, &to, y, lag);
            }
            shown.push(self.times[number], y, (self.celsius[number] - y) / lag);
        }
        shown
    }

    /// The same curve, warmer throughout.
    pub fn shifted(&self, by: CelsiusDifference) -> Curve {
        Curve {
            times: self.times.clone(),
            celsius: self.celsius.iter().map(|celsius| celsius + by.0).collect(),
            slopes: self.slopes.clone(),
        }
    }
}

/// The cubic through two knots with their slopes (Hermite).
#[inline]
fn between(from: &Knot, to: &Knot, time: f64) -> f64 {
    let width = to.time - from.time;
    let share = (time - from.time) / width;
    let rest = 1.0 - share;
    let line = from.celsius + share * (to.celsius - from.celsius);
    let mean = (to.celsius - from.celsius) / width;
    line + share * rest * width * (rest * (from.slope - mean) - share * (to.slope - mean))
}

/// The highest value of the cubic between two knots that rise and fall.
fn summit(from: &Knot, to: &Knot) -> f64 {
    let (mut early, mut late) = (from.time, to.time);
    for _ in 0..40 {
        let third = (late - early) / 3.0;
        if between(from, to, early + third) < between(from, to, late - third) {
            early += third;
        } else {
            late -= third;
        }
    }
    between(from, to, 0.5 * (early + late))
}

/// The lagging value at the later knot, by quadrature of the cubic against the exponential: Simpson's
/// rule in parts short against the lag, each part exact for a straight line.
fn follow(from: &Knot, to: &Knot, mut y: f64, lag: f64) -> f64 {
    const PARTS: usize = 2;
    let step = (to.time - from.time) / PARTS as f64;
    let decay = (-step / lag).exp();
    let mut x = from.celsius;
    for part in 1..=PARTS {
        let next = between(from, to, from.time + part as f64 * step);
        // A line x + s t is followed by y(t) = x + s t − τ s + (y₀ − x + τ s) exp(−t/τ).
        let behind = lag * (next - x) / step;
        y = next - behind + (y - x + behind) * decay;
        x = next;
    }
    y
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cubic() -> Curve {
        // T = 20 + 3 t − 0.02 t³ with its own slopes: a cubic must come back exactly.
        let mut curve = Curve::default();
        for time in [0.0, 1.5, 4.0, 9.0, 12.0] {
            let t: f64 = time;
            curve.push(t, 20.0 + 3.0 * t - 0.02 * t.powi(3), 3.0 - 0.06 * t * t);
        }
        curve
    }

    #[test]
    fn a_cubic_comes_back_exactly() {
        for tenth in 0..=120 {
            let t = f64::from(tenth) / 10.0;
            let exact = 20.0 + 3.0 * t - 0.02 * t.powi(3);
            assert!((cubic().at(Seconds(t)).0 - exact).abs() < 1e-12);
        }
        // dT/dt = 0 at t = √50, where T = 20 + 2 √50.
        assert!((cubic().peak().0 - (20.0 + 2.0 * 50f64.sqrt())).abs() < 1e-9);
    }

    #[test]
    fn a_lagging_probe_trails_a_ramp_by_its_lag() {
        // Any control text: a first-order lag follows a ramp of s K/s late by τ, τ s K below it, once
        // exp(−t/τ) is gone; and a step reaches 1 − 1/e after τ.
        let mut ramp = Curve::default();
        for second in 0..=60 {
            ramp.push(f64::from(second), 20.0 + 2.0 * f64::from(second), 2.0);
        }
        let shown = ramp.lagging(Seconds(3.0));
        assert!((shown.at(Seconds(60.0)).0 - (140.0 - 6.0)).abs() < 1e-6);
        let mut step = Curve::default();
        step.push(0.0, 20.0, 0.0);
        step.push(1e-9, 120.0, 0.0);
        step.push(2.5, 120.0, 0.0);
        let reached = step.lagging(Seconds(2.5)).at(Seconds(2.5)).0;
        assert!(
            (reached - (120.0 - 100.0 / std::f64::consts::E)).abs() < 1e-6,
            "{reached}"
        );
    }
}
