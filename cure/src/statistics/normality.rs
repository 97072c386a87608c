//! Whether figures lie as the normal law has it: the test of Anderson and Darling with mean and deviation
//! estimated from the figures themselves (NIST/SEMATECH e-Handbook, 1.3.5.14; critical values of Stephens,
//! JASA 69 (1974) 730).
//!
//! ```text
//! A² = -n - Σ (2i - 1)/n · (ln Φ(zᵢ) + ln(1 - Φ(zₙ₊₁₋ᵢ))),   A*² = A² (1 + 0.75/n + 2.25/n²)
//! ```

use statrs::distribution::{ContinuousCDF, Normal};

use super::summary::{deviation, mean};

/// Above this the figures are not normal, at 5 % significance.
pub const CRITICAL: f64 = 0.752;

/// The statistic A*² of figures; `None` where they are fewer than eight or all alike.
pub fn anderson_darling(figures: &[f64]) -> Option<f64> {
    let n = figures.len();
    let (mean, deviation) = (mean(figures)?, deviation(figures)?);
    if n < 8 || deviation.is_nan() || deviation <= 0.0 {
        return None;
    }
    let mut sorted: Vec<f64> = figures.iter().map(|x| (x - mean) / deviation).collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let law = Normal::standard();
    // Nothing lies so far out that its logarithm is not a number any more.
    let log = |share: f64| share.max(f64::MIN_POSITIVE).ln();
    let sum: f64 = (0..n)
        .map(|i| {
            let (low, high) = (law.cdf(sorted[i]), law.sf(sorted[n - 1 - i]));
            (2 * i + 1) as f64 * (log(low) + log(high))
        })
        .sum();
    let n = n as f64;
    let squared = -n - sum / n;
    Some(squared * (1.0 + 0.75 / n + 2.25 / (n * n)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Expected: scipy.stats.anderson (SciPy 1.17) of these figures, its statistic times the factor for small n:
    /// tests/reference/statistics.py prints it.
    #[test]
    fn the_statistic_is_that_of_an_independent_library() {
        let figures = [
            158.2, 161.4, 160.1, 159.7, 162.3, 160.8, 159.1, 161.9, 160.4, 163.0, 158.8, 160.6,
        ];
        let ours = anderson_darling(&figures).unwrap();
        assert!((ours - SCIPY).abs() < 1e-9, "{ours}");
        assert!(ours < CRITICAL);
        let skewed: Vec<f64> = (0..40).map(|i| f64::from(i).powi(4)).collect();
        assert!(anderson_darling(&skewed).unwrap() > CRITICAL);
        assert_eq!(anderson_darling(&[1.0; 20]), None);
        assert_eq!(anderson_darling(&figures[..7]), None);
    }

    const SCIPY: f64 = 0.117_908_531_635_103_56;
}
