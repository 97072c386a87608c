//! Accounts of what may be different about a print, each with how likely it is beforehand.

use nalgebra::{DMatrix, DVector};

use super::super::Fit;
use super::print::Leaving;

/// Where the parts of u stand, counted from the end of z: all sources hotter (°C),
pub(super) const HOTTER: usize = 0;
/// ln of the garment's mass over the batch's,
pub(super) const MASS: usize = 1;
/// its water more than the batch's (kilograms for each of dry fibre),
pub(super) const MOISTURE: usize = 2;
/// ln of its film's thickness,
pub(super) const FILM: usize = 3;
/// ln of the belt's speed over what is taken for it,
pub(super) const SPEED: usize = 4;
/// and each zone hotter by itself (°C), where there are several.
pub(super) const FIRST_ZONE: usize = 5;

/// Gauss–Newton steps at most.
pub(super) const MOST_STEPS: usize = 8;

/// How far a chamber that is as it was changes: its sources together and each zone by itself (one standard
/// deviation, in °C). No source: controllers hold a chamber to a few degrees.
const STEADY: [f64; 2] = [3.0, 1.5];
/// How far one does that has changed: a heater sagged, a door stood open, another setting. No source.
const CHANGED: [f64; 2] = [15.0, 4.0];
/// How far one zone does that has sagged by itself: what is usual of it, and how far that scatters. No source.
/// Some zones leave the exit as it was while the film lacks what they did not give: such a sag is thought of
/// as it usually is, not as one that happens to be small.
const SAGGED: (f64, f64) = (-15.0, 8.0);
/// Of all prints so many leave a chamber that has changed, and so many one of which one zone sags. No source.
const OFTEN_CHANGED: f64 = 0.1;
const OFTEN_ONE_ZONE: f64 = 0.3;
/// Scatter of the film's thickness in a batch. No source: printers hold it to some per cent.
pub(super) const FILM_SCATTER: f64 = 0.04;
/// Of all prints so many are taken to be wet. No source; more than are, so that a print is not called cured where
/// most wet ones would have left as it did.
const OFTEN_WET: f64 = 0.1;
/// Of all prints so many are of other cloth. No source.
const OFTEN_OTHER: f64 = 0.02;
/// The same of other cloth where a single probe saw nothing but the print and so cannot tell: the batch's own
/// garment is presumed then, and a remark says so.
const UNTOLD: f64 = 0.005;
/// Water of a wet garment, beside the batch's. No source. What a print shows and what its film went through bend
/// much with water, so that garments that are a little, plainly and very wet are accounts of their own, each of
/// which scatters so far about its middle (one standard deviation).
const WET: [f64; 4] = [0.1, 0.2, 0.3, 0.4];
const WET_SCATTER: f64 = 0.05;
/// ln of how much other cloth differs in mass: from a good half of the batch's to twice as heavy. In steps as with water,
/// since what a print shows hardly changes with a little mass and much with more.
const OTHER_MASS: [f64; 5] = [-0.5, -0.25, 0.25, 0.45, 0.65];
const OTHER_SCATTER: f64 = 0.12;

/// What explains that a print left as it did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExitCause {
    /// A garment of the batch, in a chamber as it was.
    AsRidden,
    /// The chamber as a whole is hotter or cooler than it was.
    Chamber,
    /// One zone has sagged, by its number from 0.
    Zone(usize),
    /// The garment is wet.
    Wet,
    /// The garment is of other cloth, heavier or lighter.
    OtherCloth,
}

/// One account.
pub(super) struct Account {
    pub(super) cause: ExitCause,
    /// z (as differences from the fit's) and u beforehand.
    pub(super) usual: DVector<f64>,
    pub(super) covariance: DMatrix<f64>,
    /// ln of how likely it is beforehand.
    pub(super) likelihood: f64,
}

impl Account {
    /// All accounts of a print of which so many things were seen.
    pub(super) fn all(fit: &Fit, print: &Leaving, seen: usize) -> Vec<Account> {
        let batch = |cause, chamber| Account::of_batch(fit, print, cause, chamber);
        let mut all = vec![batch(ExitCause::AsRidden, STEADY)];
        let mut changed = batch(ExitCause::Chamber, CHANGED);
        changed.likelihood = OFTEN_CHANGED.ln();
        all.push(changed);
        let zones = print.parts - FIRST_ZONE;
        for zone in 0..zones {
            let mut one = batch(ExitCause::Zone(zone), STEADY);
            let place = one.place(fit, FIRST_ZONE + zone);
            one.usual[place] = SAGGED.0;
            one.covariance[(place, place)] = SAGGED.1 * SAGGED.1;
            one.likelihood = (OFTEN_ONE_ZONE / zones as f64).ln();
            all.push(one);
        }
        // One temperature cannot tell mass from heat: other cloth then is only thought of, not found.
        let rare = if seen > 1 { OFTEN_OTHER } else { UNTOLD };
        let mut in_steps = |cause, part: usize, steps: &[f64], scatter: f64, often: f64| {
            for usual in steps {
                let mut own = batch(cause, STEADY);
                let place = own.place(fit, part);
                own.usual[place] = *usual;
                own.covariance[(place, place)] = scatter * scatter;
                own.likelihood = (often / steps.len() as f64).ln();
                all.push(own);
            }
        };
        in_steps(ExitCause::Wet, MOISTURE, &WET, WET_SCATTER, OFTEN_WET);
        in_steps(
            ExitCause::OtherCloth,
            MASS,
            &OTHER_MASS,
            OTHER_SCATTER,
            rare,
        );
        all
    }

    /// A garment of the batch, in a chamber that changes so far.
    fn of_batch(
        fit: &Fit,
        print: &Leaving,
        cause: ExitCause,
        [chamber, zone_alone]: [f64; 2],
    ) -> Account {
        let fitted = fit.problem.z.len();
        let count = fitted + print.parts;
        let mut covariance = DMatrix::zeros(count, count);
        covariance
            .view_mut((0, 0), (fitted, fitted))
            .copy_from(&fit.spread);
        let options = &fit.options;
        let mut set = |part: usize, deviation: f64| {
            covariance[(fitted + part, fitted + part)] = deviation * deviation;
        };
        set(HOTTER, chamber);
        set(MASS, 0.5 * options.mass_scatter.0);
        set(MOISTURE, 0.5 * options.regain_scatter.0);
        set(FILM, FILM_SCATTER);
        set(SPEED, 0.5 * print.belt_uncertainty.0);
        for zone in 0..print.parts - FIRST_ZONE {
            set(FIRST_ZONE + zone, zone_alone);
        }
        Account {
            cause,
            usual: DVector::zeros(count),
            covariance,
            likelihood: 0.0,
        }
    }

    fn place(&self, fit: &Fit, part: usize) -> usize {
        fit.problem.z.len() + part
    }
}
