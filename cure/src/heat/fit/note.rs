//! What a fit has to say beside its numbers.

use inkdwell_config::quantity::CelsiusDifference;

use super::Explained;
use super::problem::Problem;

/// Why a ride may not be what the model thinks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// It hung at its drying plateau for longer or shorter than the garment's water explains.
    WetGarment,
    /// It cooled off before the heat ended.
    LiftedOut,
    /// It took longer or shorter than the belt speed says.
    BeltChanged,
}

/// Something worth knowing about a fit.
#[derive(Debug, Clone, PartialEq)]
pub enum Note {
    /// The model explains a ride badly: its misfit is far over what is usual.
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

pub(super) fn of(problem: &Problem, rides: &[Explained]) -> Vec<Note> {
    let mut notes: Vec<Note> = rides
        .iter()
        .enumerate()
        .filter(|(_, ride)| ride.rms.0 > USUAL_MISFIT)
        .map(|(number, ride)| Note::Unexplained {
            ride: number,
            rms: ride.rms,
            causes: causes(problem, number),
        })
        .collect();
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

/// Where along its way a ride parts from the model tells what happened to it.
fn causes(problem: &Problem, ride: usize) -> Vec<Cause> {
    let stay = problem.stay(ride);
    let misfits = problem.misfits(ride).unwrap_or_default();
    let mean = |from: f64, to: f64| {
        let part: Vec<f64> = misfits
            .iter()
            .filter(|misfit| misfit.on_film)
            .filter(|misfit| (from * stay..to * stay).contains(&misfit.time))
            .map(|misfit| misfit.celsius)
            .collect();
        part.iter().sum::<f64>() / (part.len() as f64).max(1.0)
    };
    let (early, late, after) = (mean(0.1, 0.6), mean(0.8, 1.0), mean(1.02, 1.3));
    let mut causes = vec![
        (early.abs(), Cause::WetGarment),
        // The model stays hot where the probe is cold already.
        (late.max(0.0), Cause::LiftedOut),
        (after.abs(), Cause::BeltChanged),
    ];
    causes.sort_by(|a, b| b.0.total_cmp(&a.0));
    causes
        .into_iter()
        .filter(|(size, _)| *size > 0.5 * USUAL_MISFIT)
        .map(|(_, cause)| cause)
        .collect()
}
