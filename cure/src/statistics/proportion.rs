//! Exact binomial bounds on a share (Clopper and Pearson, Biometrika 26 (1934) 404).
//!
//! Of n prints that were seen, k are good. With confidence c at least the share p are good, where p is the quantile
//! 1 - c of the beta law with k and n - k + 1: were the share any lower, so many good ones would be rarer than
//! one time in 1/(1 - c).

use statrs::distribution::{Beta, ContinuousCDF};

/// The least share that `good` of `seen` show at a confidence (0 to 1, such as 0.95), one-sided; `None` where nothing
/// was seen, or more are good than were seen, or the confidence is none.
pub fn at_least(good: u64, seen: u64, confidence: f64) -> Option<f64> {
    if seen == 0 || good > seen || !(0.0..1.0).contains(&confidence) {
        return None;
    }
    if good == 0 {
        return Some(0.0);
    }
    let missed = 1.0 - confidence;
    if good == seen {
        // The beta law has a closed form there, exact to the last digit.
        return Some(missed.powf(1.0 / seen as f64));
    }
    let law = Beta::new(good as f64, (seen - good + 1) as f64).ok()?;
    Some(law.inverse_cdf(missed))
}

/// How many good prints in a row show a share at a confidence, none being bad; `None` where they are no shares.
pub fn needed_without_fault(share: f64, confidence: f64) -> Option<u64> {
    let sensible = share > 0.0 && share < 1.0 && confidence > 0.0 && confidence < 1.0;
    if !sensible {
        return None;
    }
    let needed = ((1.0 - confidence).ln() / share.ln()).ceil();
    // Positive, and finite for shares below 1.
    (needed < 1e15).then_some(needed as u64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published: 59 of 59 good shows at least 95 % good at 95 % confidence (success-run tables, for example
    /// MIL-HDBK-781 and acceptance sampling texts); 22 of 22 shows 87.3 %, 29 of 29 shows 90 %, 299 of 299 99 %.
    #[test]
    fn runs_without_fault_are_those_of_published_tables() {
        let shown = |n| at_least(n, n, 0.95).unwrap();
        assert!(shown(59) >= 0.95 && shown(58) < 0.95);
        assert!(shown(29) >= 0.90 && shown(28) < 0.90);
        assert!(shown(299) >= 0.99 && shown(298) < 0.99);
        for (share, needed) in [(0.95, 59), (0.90, 29), (0.99, 299)] {
            assert_eq!(needed_without_fault(share, 0.95), Some(needed));
        }
    }

    /// Published: the two-sided 95 % interval of Clopper and Pearson for 10 of 100 is 0.0490 to 0.1762 (for example
    /// Newcombe, Statistics in Medicine 17 (1998) 857 and SAS PROC FREQ's documentation): its low end is the
    /// one-sided bound at 97.5 %, its high end one less that of the 90 others.
    #[test]
    fn the_interval_of_ten_in_a_hundred_is_the_published_one() {
        assert!((at_least(10, 100, 0.975).unwrap() - 0.0490).abs() < 5e-5);
        assert!((1.0 - at_least(90, 100, 0.975).unwrap() - 0.1762).abs() < 5e-5);
    }

    /// Where the bound is right, the binomial law gives `good` or more with just the probability 1 - c; the sum is
    /// worked out here term by term.
    #[test]
    fn the_binomial_law_itself_agrees() {
        for (good, seen) in [(3_u64, 4_u64), (17, 20), (40, 50), (1, 30)] {
            let share = at_least(good, seen, 0.95).unwrap();
            let tail: f64 = (good..=seen).map(|k| term(k, seen, share)).sum();
            assert!((tail - 0.05).abs() < 1e-9, "{good} of {seen}: {tail}");
        }
    }

    fn term(k: u64, n: u64, share: f64) -> f64 {
        let choose = (0..k)
            .map(|i| (n - i) as f64 / (i + 1) as f64)
            .product::<f64>();
        choose * share.powi(k as i32) * (1.0 - share).powi((n - k) as i32)
    }

    /// Expected: scipy.stats.beta.ppf, printed by tests/reference/statistics.py.
    #[test]
    fn an_independent_library_agrees() {
        for (good, seen, expected) in [
            (17, 20, 0.656_336_195_685_718_1),
            (40, 50, 0.684_403_938_579_986_2),
            (1, 30, 0.001_708_315_644_465_734_4),
        ] {
            let ours = at_least(good, seen, 0.95).unwrap();
            assert!((ours - expected).abs() < 1e-9, "{good} of {seen}: {ours}");
        }
    }

    #[test]
    fn nothing_seen_shows_nothing() {
        assert_eq!(at_least(0, 0, 0.95), None);
        assert_eq!(at_least(0, 5, 0.95), Some(0.0));
        assert_eq!(at_least(6, 5, 0.95), None);
        assert_eq!(needed_without_fault(1.0, 0.95), None);
    }
}
