//! What the model cannot know: the difference between a real print and the best that a one-dimensional
//! model can do, as a random function with a memory.
//!
//! A model that is two degrees too hot near the end of the heat is so for seconds, and at similar speeds
//! too. Let δ(v, ξ) be that difference at speed v and place ξ along the heat (0 at its begin, 1 at its
//! end), on the film or on unprinted cloth. It is taken as a Gaussian process (Kennedy and O'Hagan 2001,
//! J. R. Statist. Soc. B 63) of mean zero and covariance
//!
//!   cov = a a′ ρ · exp(−(ξ − ξ′)²/(2 ℓ²)) · exp(−(ln v − ln v′)²/(2 λ²)),
//!
//! ρ = 1 on the same channel. A share ω of it is each print's own; only the rest, 1 − ω, has it in common with
//! other prints. Readings then are T_model(z) + δ + noise. With R the covariance of δ + noise at all bins and
//! R = L Lᵀ, least squares uses L⁻¹ (T_model − T_read), and a prediction becomes
//!
//!   T* = T_model* + k*ᵀ R⁻¹ (T_read − T_model),
//!   var = a*² − k*ᵀ R⁻¹ k* + cᵀ C c,   c = ∂T_model*/∂z − Jᵀ R⁻¹ k*,
//!
//! with k* the covariance of δ there with δ at the bins, J = ∂T_model/∂z and C the covariance of z: where
//! rides were made, the measurement speaks; far from them, the model with its doubt.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// a on the film and on unprinted cloth, in °C.
const AMPLITUDE: [f64; 2] = [1.3, 3.0];
/// ω.
const OWN: f64 = 0.1;
/// By how much more where ink dries: one store of water stands for its whole thickness.
const DRYING: f64 = 1.4;
/// By how much more at the begin of the heat.
const EARLY: f64 = 1.5;
/// ρ between the two.
const BETWEEN_CHANNELS: f64 = 0.7;
/// ℓ, in lengths of the heat.
const ALONG: f64 = 0.15;
/// λ, in ln of speed: a quarter faster, and what the model does wrong is hardly the same.
const ACROSS_SPEEDS: f64 = 0.25;

/// Where δ is asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Place {
    /// ln of the belt's speed (or of one over the stay).
    pub(crate) haste: f64,
    /// ξ.
    pub(crate) along: f64,
    pub(crate) on_cloth: bool,
    /// Whether the print's ink holds water.
    pub(crate) dries: bool,
}

impl Place {
    /// a: largest on the steep way up, least where the heat ends.
    fn amplitude(&self) -> f64 {
        let early = (1.0 - self.along).clamp(0.0, 1.0);
        let usual = AMPLITUDE[usize::from(self.on_cloth)] * (1.0 + EARLY * early * early);
        if self.dries && !self.on_cloth {
            DRYING * usual
        } else {
            usual
        }
    }

    /// The same place at a speed that is slower by so much (ln).
    pub(crate) fn slower(self, by: f64) -> Place {
        Place {
            haste: self.haste - by,
            ..self
        }
    }

    /// The covariance of δ at two places of different prints.
    pub(crate) fn covariance(&self, other: &Place) -> f64 {
        (1.0 - OWN) * self.likeness(other)
    }

    /// What is added to it where both are places of one print.
    pub(crate) fn own(&self, other: &Place) -> f64 {
        OWN * self.likeness(other)
    }

    fn likeness(&self, other: &Place) -> f64 {
        let along = (self.along - other.along) / ALONG;
        let across = (self.haste - other.haste) / ACROSS_SPEEDS;
        let same = if self.on_cloth == other.on_cloth {
            1.0
        } else {
            BETWEEN_CHANNELS
        };
        same * self.amplitude()
            * other.amplitude()
            * (-0.5 * (along * along + across * across)).exp()
    }
}

/// The places of all bins, with R factored.
#[derive(Debug, Clone)]
pub(crate) struct Discrepancy {
    places: Vec<Place>,
    /// L.
    lower: DMatrix<f64>,
}

impl Discrepancy {
    /// The places of each ride's bins; `noise` holds the standard deviation of each bin beside δ, above zero. `None`
    /// where the numbers leave no covariance to factor.
    pub(crate) fn new(rides: &[Vec<Place>], noise: &[f64]) -> Option<Discrepancy> {
        let places = rides.concat();
        let n = places.len();
        let mut covariance = DMatrix::from_fn(n, n, |i, j| places[i].covariance(&places[j]));
        let mut first = 0;
        for ride in rides {
            for (i, place) in ride.iter().enumerate() {
                for (j, other) in ride.iter().enumerate() {
                    covariance[(first + i, first + j)] += place.own(other);
                }
            }
            first += ride.len();
        }
        for (i, noise) in noise.iter().enumerate() {
            covariance[(i, i)] += noise * noise;
        }
        let lower = Cholesky::<f64, Dyn>::new(covariance)?.unpack();
        Some(Discrepancy { places, lower })
    }

    /// L⁻¹ of a vector over all bins.
    pub(crate) fn whiten(&self, values: &mut DVector<f64>) {
        self.lower.solve_lower_triangular_unchecked_mut(values);
    }

    /// L⁻¹ of many.
    pub(crate) fn whiten_all(&self, values: &mut DMatrix<f64>) {
        self.lower.solve_lower_triangular_unchecked_mut(values);
    }

    /// R⁻¹ of what L⁻¹ was applied to.
    pub(crate) fn explain(&self, whitened: &DVector<f64>) -> DVector<f64> {
        let mut explained = whitened.clone();
        self.lower.tr_solve_lower_triangular_mut(&mut explained);
        explained
    }

    /// k*ᵀ times a vector over all bins.
    pub(crate) fn carried_to(&self, place: &Place, explained: &DVector<f64>) -> f64 {
        let pairs = self.places.iter().zip(explained.iter());
        pairs
            .map(|(bin, value)| place.covariance(bin) * value)
            .sum()
    }

    /// L⁻¹ k*: how the readings bear on δ at a place.
    pub(crate) fn weights(&self, place: &Place) -> DVector<f64> {
        let covariances = self.places.iter().map(|bin| place.covariance(bin));
        let mut weights = DVector::from_iterator(self.places.len(), covariances);
        self.whiten(&mut weights);
        weights
    }
}
