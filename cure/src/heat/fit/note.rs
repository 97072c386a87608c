//! What a fit has to say beside its numbers.
//!
//! A ride may not be what the fit was told. So the fit is made again for each thing that may have befallen it, in
//! a few sizes. What lowers the sum of squares (of misfits and of what is known before) most is the likeliest
//! cause; a ride that fits badly whatever befell it is named without a cause. A step of Gauss and Newton from
//! the fit as it stands, which costs a hundredth of a fit, tells first which of them may lower it at all.

use levenberg_marquardt::LeastSquaresProblem;
use nalgebra::{Cholesky, DMatrix, Dyn};

use inkdwell_config::quantity::{CelsiusDifference, Share};

use super::problem::{Befallen, Problem};
use super::{Explained, cost, minimise, rms};

/// Why a ride may not be what the model thinks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// It hung at its drying plateau for longer than the garment's water explains.
    WetGarment,
    /// It cooled off before the heat ended.
    LiftedOut,
    /// It took longer or shorter than the belt speed says.
    BeltChanged,
}

/// Something worth knowing about a fit.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// The model explains a ride badly, or explains it far better if something befell it.
    Unexplained {
        /// Number of the ride in the call, from 0.
        ride: usize,
        /// Root mean square of the misfit.
        rms: CelsiusDifference,
        /// What may have happened, the likeliest first.
        causes: Vec<Cause>,
    },
    /// The rides have nearly the same speed: they tell little of others.
    OneSpeed,
}

/// Misfits up to this (in °C) are usual.
const USUAL_MISFIT: f64 = 7.0;
/// Speeds closer than this (as a share) count as one.
const SAME_SPEED: f64 = 0.05;
/// Sums of squares that fall by less than this tell nothing: the model's own error looks a little like many
/// things.
const USUAL_GAIN: f64 = 12.0;
/// A ride with a misfit (in °C) beyond this is looked at whatever a first step promises: from a fit that is far off,
/// straight lines tell nothing.
const GOOD_MISFIT: f64 = 7.0;
/// A first step that would raise the sum of squares by more than this leads nowhere: a straight line may be
/// wrong by so much.
const HOPELESS: f64 = -15.0;
/// Relative tolerance of a fit that only has to show whether a cause explains much.
const GLANCE: f64 = 5e-2;
/// A cause is named beside the likeliest if its gain is at least such a share.
const NEARLY_AS_LIKELY: f64 = 0.8;

pub(super) fn of(problem: &Problem, rides: &[Explained]) -> Vec<Note> {
    let mut notes = unexplained(problem, rides);
    let hastes = rides.iter().map(|ride| ride.trip.haste());
    let (least, most) = hastes.fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(least, most), haste| (least.min(haste), most.max(haste)),
    );
    if most - least < SAME_SPEED {
        notes.push(Note::OneSpeed);
    }
    notes
}

/// What may have befallen a ride.
fn suspects() -> Vec<(Cause, Befallen)> {
    let wet = [0.1, 0.25].map(|by| (Cause::WetGarment, Befallen::Wetter(Share(by))));
    let belt =
        [-0.25, -0.12, 0.12, 0.25].map(|by| (Cause::BeltChanged, Befallen::Hastier(Share(by))));
    let out = [0.25, 0.4, 0.55, 0.7, 0.85].map(|at| (Cause::LiftedOut, Befallen::Out(Share(at))));
    wet.into_iter().chain(belt).chain(out).collect()
}

/// Names rides one after the other, the oddest first: one odd ride makes the others look odd as well, until
/// what befell it is taken into account.
fn unexplained(problem: &Problem, rides: &[Explained]) -> Vec<Note> {
    let mut problem = problem.clone();
    let mut notes = Vec::new();
    let mut left: Vec<usize> = (0..rides.len()).collect();
    while let Some(hope) = Hope::of(&problem) {
        let explained = left.iter().filter_map(|ride| Better::of(&hope, *ride));
        let Some(best) = explained.max_by(|a, b| a.gain.total_cmp(&b.gain)) else {
            break;
        };
        left.retain(|ride| *ride != best.ride);
        notes.push((best.ride, best.causes));
        problem = best.problem;
    }
    let badly = left
        .into_iter()
        .filter(|ride| rms(&problem, *ride) > USUAL_MISFIT);
    notes.extend(badly.map(|ride| (ride, Vec::new())));
    notes.sort_by_key(|(ride, _)| *ride);
    let named = notes.into_iter().map(|(ride, causes)| Note::Unexplained {
        ride,
        rms: rides[ride].rms,
        causes,
    });
    named.collect()
}

/// A ride that is explained better if something befell it.
struct Better {
    ride: usize,
    gain: f64,
    /// The likeliest first.
    causes: Vec<Cause>,
    /// The problem where the likeliest befell it.
    problem: Problem,
}

/// What a step of Gauss and Newton from a solved problem promises.
struct Hope<'a> {
    problem: &'a Problem,
    as_told: f64,
    slopes: DMatrix<f64>,
    information: Cholesky<f64, Dyn>,
}

impl<'a> Hope<'a> {
    fn of(problem: &'a Problem) -> Option<Hope<'a>> {
        let slopes = problem.whitened_slopes()?;
        Some(Hope {
            problem,
            as_told: cost(problem),
            information: problem.information(&slopes).cholesky()?,
            slopes,
        })
    }

    /// By how much the sum of squares would fall where something befell a ride, if all went on in straight lines:
    /// with r the residuals and J their slopes, |r|² − (Jᵀr)ᵀ (JᵀJ)⁻¹ (Jᵀr) is left of it.
    fn gain(&self, suspecting: &mut Problem) -> Option<f64> {
        let z = suspecting.z.clone();
        suspecting.set_params(&z);
        let residuals = suspecting.residuals()?;
        let steepest = suspecting.steepest(&self.slopes)?;
        let saved = steepest.dot(&self.information.solve(&steepest));
        Some(self.as_told - (residuals.norm_squared() - saved))
    }
}

impl Better {
    /// `None` where nothing explains it much better.
    fn of(hope: &Hope<'_>, ride: usize) -> Option<Better> {
        let is_good = rms(hope.problem, ride) <= GOOD_MISFIT;
        let mut tried: Vec<(f64, Cause, Problem)> = suspects()
            .into_iter()
            .filter_map(|(cause, befallen)| {
                let mut suspecting = hope.problem.suspecting(ride, befallen);
                if is_good && hope.gain(&mut suspecting)? < HOPELESS {
                    return None;
                }
                let mut start = suspecting.z.clone();
                if !is_good && suspecting.passages.len() == 1 {
                    // No other ride holds what it misled: begin anew.
                    start.fill(0.0);
                }
                let solved = minimise(suspecting, start, GLANCE);
                Some((hope.as_told - cost(&solved), cause, solved))
            })
            .collect();
        tried.sort_by(|a, b| b.0.total_cmp(&a.0));
        let gain = tried.first()?.0;
        if gain < USUAL_GAIN {
            return None;
        }
        let mut causes = Vec::new();
        for (other, cause, _) in &tried {
            if *other >= USUAL_GAIN.max(NEARLY_AS_LIKELY * gain) && !causes.contains(cause) {
                causes.push(*cause);
            }
        }
        let (_, _, problem) = tried.swap_remove(0);
        Some(Better {
            ride,
            gain,
            causes,
            problem,
        })
    }
}
