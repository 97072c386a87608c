//! What is to be expected of prints that follow a reference: how many of the good ones will be proved.
//!
//! Garments of one batch differ in mass and water, their films in thickness, and a probe does not repeat itself
//! exactly. So they leave the heat of one and the same chamber some tenths of a degree to some degrees apart; where the
//! ridden print was proved with little to spare, many that are as good as it hang. Prints are imagined that leave so
//! many standard deviations colder or hotter, each is inferred like one that was seen, and what is proved of it is
//! weighed by how often such a print comes:
//!
//!   share = ∫ [min over limits of (margin − doubt)(n) > 0] φ(n) dn.
//!
//! The same is asked of rides that were not made, slower or faster ones, until nine in ten would be proved. Where none
//! would, the one of which most prints would be proved is the best that the belt can do.

use nalgebra::DVector;

use inkdwell_config::quantity::{Celsius, MetresPerSecond, Share};

use super::account::{ExitCause, FILM, MASS, MOISTURE, SPEED};
use super::mixture::normal_share;
use super::place::Setting;
use super::print::{Leaving, Passing, Shown};
use super::{ExitModel, Kind};
use crate::heat::HeatError;
use crate::heat::fit::limit::LimitName;

/// What is to be expected where prints follow a reference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook {
    /// Share of good prints that will be proved at the reference's settings, in a chamber as it was.
    pub proved: Share,
    /// Where that is under nine in ten: the limit that most of the others hang at, …
    pub hangs_at: Option<LimitName>,
    /// … and another belt speed: the one nearest to the reference's at which nine in ten would be proved, or else the
    /// one at which most would be, if those are plainly more than here.
    pub elsewhere: Option<Elsewhere>,
}

/// Another belt speed than the reference's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Elsewhere {
    /// The speed.
    pub belt: MetresPerSecond,
    /// Share of good prints that would be proved there, by a reference that is ridden there.
    pub proved: Share,
}

/// So many prints are wished to be proved.
pub const MOST_PRINTS: Share = Share(0.9);
/// Another speed is worth a ride where it proves so many more prints.
const PLAINLY_MORE: f64 = 0.1;
/// Prints that are imagined, in standard deviations of what the nearest probe shows.
const IMAGINED: [f64; 11] = [
    -2.0, -1.645, -1.282, -0.842, -0.4, 0.0, 0.4, 0.842, 1.282, 1.645, 2.0,
];
/// Other speeds that are looked at where too few are proved: by so much slower, or faster.
const CHANGES: [f64; 10] = [0.03, 0.06, 0.1, 0.14, 0.18, 0.22, 0.26, 0.3, 0.35, 0.4];

/// What is proved of one imagined print.
struct Imagined {
    /// Standard deviations hotter at the nearest probe.
    away: f64,
    /// By limit: its margin with the doubt taken off.
    proved: Vec<f64>,
}

impl Imagined {
    /// The least that is proved of it.
    fn least(&self) -> f64 {
        self.proved.iter().copied().fold(f64::INFINITY, f64::min)
    }
}

impl ExitModel<'_> {
    /// What is to be expected of prints that follow the reference on a belt whose speed is known so well (k = 2).
    ///
    /// # Errors
    /// Where the model has no answer, or the nearest probe did not see the reference.
    pub fn outlook(&mut self, belt_uncertainty: Share) -> Result<Outlook, HeatError> {
        let imagined = self.follow(belt_uncertainty)?;
        let proved = Share(share_proved(&imagined));
        let mut outlook = Outlook {
            proved,
            hangs_at: None,
            elsewhere: None,
        };
        if proved >= MOST_PRINTS {
            return Ok(outlook);
        }
        outlook.hangs_at = self.hangs_at(&imagined);
        let sense = match outlook.hangs_at {
            Some(LimitName::Harm(_) | LimitName::OverGel) => 1.0,
            _ => -1.0,
        };
        let mut most = proved.0 + PLAINLY_MORE;
        for change in CHANGES {
            let belt = MetresPerSecond(self.speed * (1.0 + sense * change));
            let proved = share_proved(&self.at_speed(belt)?.follow(belt_uncertainty)?);
            if proved >= most.min(MOST_PRINTS.0) {
                most = proved;
                outlook.elsewhere = Some(Elsewhere {
                    belt,
                    proved: Share(proved),
                });
            }
            if proved >= MOST_PRINTS.0 {
                break;
            }
        }
        Ok(outlook)
    }

    /// Prints that follow the reference, colder and hotter ones.
    fn follow(&mut self, belt_uncertainty: Share) -> Result<Vec<Imagined>, HeatError> {
        let passing = Passing::Steady(MetresPerSecond(self.speed));
        let shown = self.reference.clone();
        let usual = self.fit.leaving(passing, belt_uncertainty, shown);
        let steps = self.at_one_deviation(&usual)?;
        let look = |away: f64| {
            let shown = self.imagined(&steps, away);
            let inferred = self.infer(&Leaving {
                shown,
                ..usual.clone()
            })?;
            let margins = inferred.margins.iter();
            let proved = margins.map(|margin| margin.guarded().0).collect();
            Ok(Imagined { away, proved })
        };
        IMAGINED.into_iter().map(look).collect()
    }

    /// How far each sight goes where the nearest print's does by one standard deviation.
    fn at_one_deviation(&mut self, usual: &Leaving) -> Result<Vec<f64>, HeatError> {
        let fitted = self.fit.problem.z.len();
        let zeros = DVector::zeros(fitted + usual.parts);
        let setting = Setting::near(&zeros, ExitCause::AsRidden, usual, self.speed);
        let number = self.place(&setting, usual)?;
        let slopes = &self.places[number].sight_slopes;
        let options = &self.fit.options;
        // A print and the ridden one each scatter about the batch's middle; films and speeds do too.
        let parts = [
            (MASS, options.mass_scatter.0.powi(2) / 2.0),
            (MOISTURE, options.regain_scatter.0.powi(2) / 2.0),
            (FILM, 2.0 * super::account::FILM_SCATTER.powi(2)),
            (SPEED, usual.belt_uncertainty.0.powi(2) / 4.0),
        ];
        let with_nearest = |sight: usize| -> f64 {
            let parts = parts.iter();
            let shared = parts.map(|(part, variance)| {
                slopes[(fitted + part, 0)] * slopes[(fitted + part, sight)] * variance
            });
            shared.sum()
        };
        let then = self.reference.first().copied().flatten();
        let noise = then.ok_or(HeatError::Unsettled)?.noise.powi(2);
        let probe = (0.5 * self.probes[0].uncertainty.0).powi(2);
        let deviation = (with_nearest(0) + probe + 2.0 * noise).sqrt();
        if deviation.is_nan() || deviation <= 0.0 {
            return Err(HeatError::Unsettled);
        }
        let others = (1..slopes.ncols()).map(|sight| with_nearest(sight) / deviation);
        Ok(std::iter::once(deviation).chain(others).collect())
    }

    /// What the probes show of a print that is so many deviations hotter.
    fn imagined(&self, steps: &[f64], away: f64) -> Vec<Option<Shown>> {
        let probes = self.probes.len();
        let of = |(number, then): (usize, &Option<Shown>)| {
            let then = (*then)?;
            let moved = |kind: Kind, celsius: Celsius| {
                let sight = kind as usize * probes + number;
                Celsius(celsius.0 + away * steps[sight])
            };
            Some(Shown {
                print: moved(Kind::Print, then.print),
                margin: then.margin.map(|margin| moved(Kind::Margin, margin)),
                ..then
            })
        };
        self.reference.iter().enumerate().map(of).collect()
    }

    /// The limit that holds up most.
    fn hangs_at(&self, imagined: &[Imagined]) -> Option<LimitName> {
        let limits = self.fit.limits.iter().enumerate();
        let lacking = limits.map(|(number, limit)| {
            let lacks = |print: &&Imagined| print.proved[number] <= 0.0;
            (limit.name, imagined.iter().filter(lacks).count())
        });
        let most = lacking.max_by_key(|(_, count)| *count);
        most.map(|(name, _)| name)
    }
}

/// The share of prints of which every limit is proved, straight between those that were imagined and as at the last
/// beyond them.
fn share_proved(imagined: &[Imagined]) -> f64 {
    let least: Vec<(f64, f64)> = imagined
        .iter()
        .map(|print| (print.away, print.least()))
        .collect();
    let (Some(first), Some(last)) = (least.first(), least.last()) else {
        return 0.0;
    };
    let between = |from: f64, to: f64| normal_share(to) - normal_share(from);
    let mut share = 0.0;
    if first.1 > 0.0 {
        share += normal_share(first.0);
    }
    if last.1 > 0.0 {
        share += 1.0 - normal_share(last.0);
    }
    for pair in least.windows(2) {
        let ((from, low), (to, high)) = (pair[0], pair[1]);
        let turns = from + (to - from) * low / (low - high);
        share += match (low > 0.0, high > 0.0) {
            (true, true) => between(from, to),
            (true, false) => between(from, turns),
            (false, true) => between(turns, to),
            (false, false) => 0.0,
        };
    }
    share
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Shares of the standard normal distribution from NIST/SEMATECH e-Handbook, 1.3.6.7.1: Φ(1) = 0.84134,
    /// Φ(2) = 0.97725.
    #[test]
    fn the_share_is_the_normal_distribution_s_above_where_it_turns() {
        let colder_hangs = |spare: f64| -> f64 {
            let of = |away: f64| Imagined {
                away,
                proved: vec![away + spare, 100.0],
            };
            let imagined: Vec<Imagined> = IMAGINED.into_iter().map(of).collect();
            share_proved(&imagined)
        };
        assert!((colder_hangs(1.0) - 0.841_34).abs() < 1e-4);
        assert!((colder_hangs(2.0) - 0.977_25).abs() < 1e-4);
        assert!((colder_hangs(2.5) - 1.0).abs() < 1e-9);
        assert!(colder_hangs(-2.5) < 1e-9);
    }
}
