//! What limits a print's heat, each as a margin in degrees.
//!
//! A dose says little where it is 0 or 50. The *margin* says more: by how many degrees could the whole
//! history be cooler (for what is needed) or hotter (for what does harm) before the limit is met. With D
//! the dose of the history shifted by δ,
//!
//!   D(δ*) = 1,   margin = −δ* for cure,   margin = +δ* for a harm,
//!
//! so that a positive margin is a good one. It changes smoothly with speed and with everything else that
//! matters, also where the dose itself is none.

use std::cell::OnceCell;

use inkdwell_config::fabric::Harm;
use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};

use crate::heat::curve::Curve;
use crate::heat::history::History;
use crate::law::Rate;
use crate::plan::{PrintLaws, strikes_bare_cloth};

/// The name of a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LimitName {
    /// The ink needs more.
    Cure,
    /// The ink is not gelled yet.
    Gel,
    /// The ink is past gelling: the next colour would not bond.
    OverGel,
    /// The fabric can take no more.
    Harm(Harm),
}

/// What a print has to reach before it goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Aim {
    /// Its ink's cure, judged at the film's bottom (under a lamp, as the last heat, at its surface).
    Cure,
    /// The window for flashing between colours, judged at the surface.
    Gel,
}

/// Where a limit is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    FilmTop,
    FilmBottom,
    Cloth,
}

#[derive(Debug, Clone)]
enum Rule {
    /// A dose of 1 under a law.
    Dose(Rate),
    /// A peak.
    Peak(Celsius),
}

/// One limit.
#[derive(Debug, Clone)]
pub(crate) struct Limit {
    pub(crate) name: LimitName,
    place: Place,
    rule: Rule,
}

/// Shifts that are looked for, in °C: beyond them a limit is out of reach.
const SHIFTS: (f64, f64) = (-200.0, 250.0);

impl Limit {
    /// All limits of an ink on a fabric for an aim, the ink's first.
    pub(crate) fn of(laws: &PrintLaws, aim: Aim, under_lamp: bool) -> Vec<Limit> {
        let mut limits = Vec::new();
        match (aim, laws.gel) {
            (Aim::Gel, Some(gel)) => {
                for (name, at) in [(LimitName::Gel, gel.from), (LimitName::OverGel, gel.to)] {
                    limits.push(Limit {
                        name,
                        place: Place::FilmTop,
                        rule: Rule::Peak(at),
                    });
                }
            }
            _ => limits.push(Limit::cure(laws, under_lamp)),
        }
        limits.extend(laws.harms.iter().map(|(harm, rate)| Limit {
            name: LimitName::Harm(*harm),
            place: if strikes_bare_cloth(*harm) {
                Place::Cloth
            } else {
                Place::FilmBottom
            },
            rule: Rule::Dose(rate.clone()),
        }));
        limits
    }

    /// The ink's own.
    pub(crate) fn cure(laws: &PrintLaws, under_lamp: bool) -> Limit {
        Limit {
            name: LimitName::Cure,
            place: if under_lamp {
                Place::FilmTop
            } else {
                Place::FilmBottom
            },
            rule: Rule::Dose(laws.cure.clone()),
        }
    }

    /// Whether the print needs it (1) or must not reach it (−1).
    pub(crate) fn sense(&self) -> f64 {
        match self.name {
            LimitName::Cure | LimitName::Gel => 1.0,
            LimitName::OverGel | LimitName::Harm(_) => -1.0,
        }
    }

    fn curve<'a>(&self, history: &'a History) -> &'a Curve {
        match (self.place, &history.cloth) {
            (Place::FilmTop, _) => &history.print.film_top,
            (Place::Cloth, Some(cloth)) => &cloth.hottest,
            _ => &history.print.film_bottom,
        }
    }

    /// When along the way the margin is decided (the middle of what makes up the dose), and whether on
    /// unprinted cloth.
    pub(crate) fn decided(&self, history: &History) -> (Seconds, bool) {
        let curve = self.curve(history);
        let on_cloth = self.place == Place::Cloth;
        let Rule::Dose(rate) = &self.rule else {
            return (curve.hottest_time(), on_cloth);
        };
        let shift = -self.sense() * self.margin(history).0;
        let points: Vec<(Seconds, Celsius)> = curve.points(2).collect();
        let (mut dose, mut moment) = (0.0, 0.0);
        for pair in points.windows(2) {
            let ((t0, from), (t1, to)) = (pair[0], pair[1]);
            let span = Seconds(t1.0 - t0.0);
            let part = rate.along(Celsius(from.0 + shift), Celsius(to.0 + shift), span);
            dose += part;
            moment += part * 0.5 * (t0.0 + t1.0);
        }
        if dose > 0.0 {
            (Seconds(moment / dose), on_cloth)
        } else {
            (curve.hottest_time(), on_cloth)
        }
    }

    /// The dose of a history shifted by so many degrees; for a peak, 1 where it is reached.
    pub(crate) fn dose(&self, history: &History, shift: f64) -> f64 {
        match &self.rule {
            Rule::Dose(rate) => Points::of(self.curve(history), rate, shift).dose(rate, shift),
            Rule::Peak(at) => f64::from(self.curve(history).peak().0 + shift >= at.0),
        }
    }

    /// The margin of a history.
    pub(crate) fn margin(&self, history: &History) -> CelsiusDifference {
        self.margin_near(history, None)
    }

    /// The margin of a history, looked for near that of a similar one.
    pub(crate) fn margin_near(
        &self,
        history: &History,
        near: Option<CelsiusDifference>,
    ) -> CelsiusDifference {
        let curve = self.curve(history);
        let shift = match &self.rule {
            Rule::Peak(at) => at.0 - curve.peak().0,
            Rule::Dose(rate) => shift_to_one(curve, rate, near.map(|near| -self.sense() * near.0)),
        };
        CelsiusDifference(-self.sense() * shift)
    }
}

/// Most doses reach 1 within so many °C of where they begin: of a curve that is shifted no further, only moments that
/// are as close to its peak count.
const USUAL_REACH: f64 = 120.0;

/// A curve in straight lines, only where a law may count.
struct Points(Vec<(f64, f64)>);

impl Points {
    fn of(curve: &Curve, rate: &Rate, most_shift: f64) -> Points {
        let least = rate.coolest().0 - most_shift;
        let all: Vec<(f64, f64)> = curve.points(2).map(|(time, t)| (time.0, t.0)).collect();
        let counts = |point: &(f64, f64)| point.1 >= least;
        let from = all.iter().position(counts).unwrap_or(all.len());
        let to = all.iter().rposition(counts).map_or(0, |last| last + 2);
        Points(all[from.saturating_sub(1).min(to)..to.min(all.len())].to_vec())
    }

    fn dose(&self, rate: &Rate, shift: f64) -> f64 {
        self.0
            .windows(2)
            .map(|pair| {
                let ((t0, from), (t1, to)) = (pair[0], pair[1]);
                rate.along(Celsius(from + shift), Celsius(to + shift), Seconds(t1 - t0))
            })
            .fold(0.0, |sum, dose| sum + dose)
    }
}

/// The δ* of D(δ*) = 1, between bounds beyond which it does not matter; `near` is where to look first.
fn shift_to_one(curve: &Curve, rate: &Rate, near: Option<f64>) -> f64 {
    // A dose begins where the peak reaches the law's coolest point.
    let begin = (rate.coolest().0 - curve.peak().0).clamp(SHIFTS.0, SHIFTS.1);
    let usual = begin + USUAL_REACH;
    let hot = Points::of(curve, rate, usual.min(SHIFTS.1));
    let all = OnceCell::new();
    let lacking = |shift: f64| {
        let points = match shift <= usual {
            true => &hot,
            false => all.get_or_init(|| Points::of(curve, rate, SHIFTS.1)),
        };
        points.dose(rate, shift).max(LEAST_DOSE).ln()
    };
    let mut low = (begin, LEAST_DOSE.ln());
    let (first, width) = near.map_or((begin + 10.0, 20.0), |near| (near.max(begin) + 1.0, 2.0));
    let mut high = (first, lacking(first));
    let mut step = width;
    while high.1 < 0.0 {
        if high.0 >= SHIFTS.1 {
            return SHIFTS.1;
        }
        low = high;
        high.0 = (high.0 + step).min(SHIFTS.1);
        high.1 = lacking(high.0);
        step *= 2.0;
    }
    if let Some(near) = near
        && low.0 < near - 1.0
    {
        let below = (near - 1.0, lacking(near - 1.0));
        if below.1 < 0.0 {
            low = below;
        }
    }
    bracketed(low, high, lacking)
}

/// A dose too small to matter.
const LEAST_DOSE: f64 = 1e-9;

/// The zero of a rising function between two points of it, by false position that halves where one end
/// stays (the Illinois rule).
fn bracketed(mut low: (f64, f64), mut high: (f64, f64), f: impl Fn(f64) -> f64) -> f64 {
    let mut stayed = 0;
    for _ in 0..60 {
        if high.0 - low.0 < 1e-4 {
            break;
        }
        // Far below, ln D is no straight line.
        let share = if low.1 < -5.0 {
            0.5
        } else {
            (low.1 / (low.1 - high.1)).clamp(0.01, 0.99)
        };
        let middle = low.0 + share * (high.0 - low.0);
        let value = f(middle);
        if value.abs() < 1e-5 {
            return middle;
        }
        if value < 0.0 {
            low = (middle, value);
            high.1 *= if stayed == 1 { 0.5 } else { 1.0 };
            stayed = 1;
        } else {
            high = (middle, value);
            low.1 *= if stayed == -1 { 0.5 } else { 1.0 };
            stayed = -1;
        }
    }
    0.5 * (low.0 + high.0)
}

#[cfg(test)]
mod tests {
    use inkdwell_config::law::Law;

    use super::*;
    use crate::law::Counts;

    /// 100 s at 150 °C behind a flash of 5 s at 400 °C; the law counts 60 s at 120 °C. By hand: 30 °C cooler it
    /// is still enough, a little more and only the flash counts.
    #[test]
    fn a_long_mild_heat_behind_a_hot_flash_counts() {
        let mut curve = Curve::with_capacity(6);
        for (time, celsius) in [
            (0.0, 20.0),
            (5.0, 400.0),
            (10.0, 400.0),
            (20.0, 150.0),
            (120.0, 150.0),
            (140.0, 20.0),
        ] {
            curve.push(time, celsius, 0.0);
        }
        let law = Law::Hold {
            at: Celsius(120.0),
            duration: Seconds(60.0),
        };
        let shift = shift_to_one(&curve, &Rate::new(&law, Counts::Cure), None);
        assert!((shift + 30.0).abs() < 1.0, "{shift}");
        let near = shift_to_one(&curve, &Rate::new(&law, Counts::Cure), Some(-25.0));
        assert!((near - shift).abs() < 0.01, "{near}");
    }
}
