//! How far figures climb or fall over a run.
//!
//! The slope is the median of the slopes between pairs (Theil 1950; Sen, JASA 63 (1968) 1379), so that single odd
//! prints do not bend it, and the climb counts as one where Kendall's test calls it no chance:
//!
//! ```text
//! S = Σ sign(xⱼ - xᵢ) over i < j,   z = (|S| - 1) / √( n(n-1)(2n+5)/18 )
//! ```

use statrs::distribution::{ContinuousCDF, Normal};

use super::median::median;

/// More figures than this are thinned evenly before every pair is looked at.
const MOST: usize = 400;

/// A climb, or a fall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// By how much a figure rises for one of the place it stands at: per print, or per second.
    pub slope: f64,
    /// From the first place to the last, by that slope.
    pub over_all: f64,
    /// How probable so much of it would be by chance (two-sided).
    pub by_chance: f64,
}

/// The trend of figures at rising places; `None` of fewer than eight, for which the test's normal law is too coarse.
pub fn of(places: &[f64], figures: &[f64]) -> Option<Trend> {
    let count = places.len().min(figures.len());
    if count < 8 {
        return None;
    }
    let step = count.div_ceil(MOST);
    let kept: Vec<(f64, f64)> = (0..count)
        .step_by(step)
        .map(|i| (places[i], figures[i]))
        .collect();
    let (mut slopes, mut sum) = (Vec::new(), 0_i64);
    for (j, later) in kept.iter().enumerate() {
        for earlier in &kept[..j] {
            let (apart, rise) = (later.0 - earlier.0, later.1 - earlier.1);
            sum += i64::from(rise > 0.0) - i64::from(rise < 0.0);
            if apart > 0.0 {
                slopes.push(rise / apart);
            }
        }
    }
    let slope = median(&mut slopes)?;
    let n = kept.len() as f64;
    let spread = (n * (n - 1.0) * (2.0 * n + 5.0) / 18.0).sqrt();
    let z = (sum.abs() as f64 - 1.0).max(0.0) / spread;
    Some(Trend {
        slope,
        over_all: slope * (places[count - 1] - places[0]),
        by_chance: 2.0 * Normal::standard().sf(z),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_its_own_trend_and_one_odd_print_does_not_bend_it() {
        let places: Vec<f64> = (0..30).map(f64::from).collect();
        let mut figures: Vec<f64> = places.iter().map(|place| 160.0 - 0.2 * place).collect();
        let plain = of(&places, &figures).unwrap();
        assert!((plain.slope + 0.2).abs() < 1e-12 && (plain.over_all + 5.8).abs() < 1e-10);
        assert!(plain.by_chance < 1e-6);
        figures[12] = 20.0;
        assert!((of(&places, &figures).unwrap().slope + 0.2).abs() < 0.01);
    }

    /// Expected from scipy.stats: kendalltau's S and theilslopes of these figures; the normal approximation with the
    /// correction for continuity by hand. tests/reference/statistics.py prints them.
    #[test]
    fn an_independent_library_agrees() {
        let figures = [3.1, 2.9, 3.6, 3.3, 4.1, 3.8, 4.4, 4.0, 4.9, 4.5];
        let places: Vec<f64> = (0..10).map(f64::from).collect();
        let trend = of(&places, &figures).unwrap();
        assert!((trend.slope - THEIL).abs() < 1e-12, "{trend:?}");
        assert!((trend.by_chance - KENDALL).abs() < 1e-12, "{trend:?}");
    }

    const THEIL: f64 = 0.2;
    const KENDALL: f64 = 0.004_207_551_285_491_748;

    #[test]
    fn few_figures_have_no_trend() {
        assert_eq!(of(&[0.0; 7], &[0.0; 7]), None);
    }
}
