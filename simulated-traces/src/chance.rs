//! Chance with a seed: the same seed gives the same numbers, on any machine.
//!
//! ChaCha with eight rounds is fixed by its specification. Every purpose draws from a stream of its
//! own, so that one draw more for a sensor does not change the garments.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// A source of chance for one purpose.
#[derive(Debug, Clone)]
pub struct Chance(ChaCha8Rng);

impl Chance {
    /// The chances of a purpose under a seed.
    pub fn new(seed: u64, purpose: &str) -> Chance {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(stream(purpose));
        Chance(generator)
    }

    /// Any number from `from` up to `to`, all alike.
    pub fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.0.random::<f64>()
    }

    /// Normal (Gaussian) with a mean and standard deviation, cut at three deviations by drawing again.
    pub fn about(&mut self, mean: f64, deviation: f64) -> f64 {
        loop {
            let drawn: f64 = StandardNormal.sample(&mut self.0);
            if drawn.abs() <= 3.0 {
                return mean + deviation * drawn;
            }
        }
    }

    /// Normal without a cut, for noise.
    pub fn noise(&mut self, deviation: f64) -> f64 {
        let drawn: f64 = StandardNormal.sample(&mut self.0);
        deviation * drawn
    }

    /// A factor whose logarithm is normal: `spread` is about its relative deviation.
    pub fn factor(&mut self, spread: f64) -> f64 {
        self.about(0.0, spread).exp()
    }

    /// Whether something of this probability happens.
    pub fn happens(&mut self, probability: f64) -> bool {
        self.0.random::<f64>() < probability
    }

    /// One of several, all alike.
    pub fn pick<'a, T>(&mut self, among: &'a [T]) -> &'a T {
        let number = (self.0.random::<f64>() * among.len() as f64) as usize;
        &among[number.min(among.len() - 1)]
    }

    /// A seed for something that has chances of its own.
    pub fn seed(&mut self) -> u64 {
        self.0.random()
    }
}

/// A stream number for a purpose: FNV-1a over its letters (Fowler, Noll and Vo).
fn stream(purpose: &str) -> u64 {
    purpose
        .bytes()
        .fold(0xcbf2_9ce4_8422_2325, |hash: u64, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_purpose_has_its_own_repeatable_chances() {
        let draw = |purpose| {
            let mut chance = Chance::new(7, purpose);
            [chance.seed(), chance.seed(), chance.seed()]
        };
        assert_eq!(draw("garments"), draw("garments"));
        assert_ne!(draw("garments"), draw("sensors"));
    }

    #[test]
    fn what_is_normal_has_its_mean_and_deviation() {
        let mut chance = Chance::new(1, "test");
        let count = 20_000;
        let drawn: Vec<f64> = (0..count).map(|_| chance.noise(2.0)).collect();
        let mean = drawn.iter().sum::<f64>() / f64::from(count);
        let square = drawn.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / f64::from(count - 1);
        // Five standard errors of the mean (2/√n) and of the deviation (2/√(2n)).
        assert!(mean.abs() < 5.0 * 2.0 / f64::from(count).sqrt(), "{mean}");
        let error = (square.sqrt() - 2.0).abs();
        assert!(
            error < 5.0 * 2.0 / (2.0 * f64::from(count)).sqrt(),
            "{error}"
        );
    }
}
