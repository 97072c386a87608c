//! What several accounts say of one figure, each with its normal distribution and its weight:
//!
//!   F(x) = Σ w_i Φ((x − μ_i)/σ_i) / Σ w_i.
//!
//! Its band is from where F is Φ(−2) to where it is Φ(2): for one account that is two standard deviations to
//! either side (k = 2), for several it holds the same share of what may be.

use crate::judged::Band;

/// What one account says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Part {
    pub(super) weight: f64,
    pub(super) mean: f64,
    pub(super) deviation: f64,
}

/// What all say.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mixture(Vec<Part>);

impl Mixture {
    /// Of parts whose weights need not add up to 1.
    pub(super) fn new(parts: Vec<Part>) -> Mixture {
        Mixture(parts)
    }

    /// The share below a value.
    fn share_below(&self, value: f64) -> f64 {
        let all: f64 = self.0.iter().map(|part| part.weight).sum();
        let below = self.0.iter().map(|part| {
            let away = (value - part.mean) / part.deviation.max(LEAST_DEVIATION);
            part.weight * normal_share(away)
        });
        below.sum::<f64>() / all
    }

    /// The value below which a share lies.
    fn quantile(&self, share: f64) -> f64 {
        let ends = self.0.iter().map(|part| {
            let reach = 9.0 * part.deviation.max(LEAST_DEVIATION);
            (part.mean - reach, part.mean + reach)
        });
        let (mut low, mut high) = ends.fold((f64::INFINITY, f64::NEG_INFINITY), |all, own| {
            (all.0.min(own.0), all.1.max(own.1))
        });
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.share_below(middle) < share {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    /// Its middle, with two standard deviations' share of what may be to either side.
    pub(super) fn band(&self) -> Band {
        let beyond = normal_share(-2.0);
        Band {
            low: self.quantile(beyond),
            best: self.quantile(0.5),
            high: self.quantile(1.0 - beyond),
        }
    }
}

/// Nothing is surer than this.
const LEAST_DEVIATION: f64 = 1e-6;

/// Φ: the share of a standard normal distribution below a value.
pub(super) fn normal_share(value: f64) -> f64 {
    0.5 * libm::erfc(-value * std::f64::consts::FRAC_1_SQRT_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_account_spans_two_deviations_and_a_rare_one_adds_little() {
        let usual = Part {
            weight: 3.0,
            mean: 10.0,
            deviation: 1.5,
        };
        let band = Mixture::new(vec![usual]).band();
        assert!((band.low - 7.0).abs() < 1e-6 && (band.high - 13.0).abs() < 1e-6);
        assert!((band.best - 10.0).abs() < 1e-6);
        // Of a standard normal distribution 2.275 % lies below −2 (NIST/SEMATECH e-Handbook, 1.3.6.7.1: 0.97725
        // below 2), so that a far account with that weight alone reaches to the end of what is likely.
        let far = Part {
            weight: 3.0 * 0.022_75 / (1.0 - 0.022_75),
            mean: -100.0,
            deviation: 0.5,
        };
        let both = Mixture::new(vec![usual, far]).band();
        assert!(both.low > -99.0 && both.low < 5.0, "{both:?}");
        assert!((both.high - 13.0).abs() < 0.05);
    }
}
