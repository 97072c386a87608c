//! How well a process keeps within its limits.
//!
//! With the mean x̄ and the deviation s of n figures and limits LSL and USL (NIST/SEMATECH e-Handbook, 6.1.6):
//!
//! ```text
//! Cp = (USL - LSL) / 6s,   Cpk = min( (USL - x̄) / 3s, (x̄ - LSL) / 3s )
//! Cpk ± z √( 1/9n + Cpk² / 2(n - 1) )        its confidence interval, n of 30 or more
//! Cp √( χ²(α/2, n-1) / (n-1) ) to Cp √( χ²(1-α/2, n-1) / (n-1) )
//! ```
//!
//! The figure means nothing where the process is not stable, and misleads where its figures are not normal: then
//! it is refused, and the refusal says why.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

use super::individuals::{IndividualsChart, NoChart};
use super::normality::{CRITICAL, anderson_darling};
use super::rules::{Found, Rule, look};
use super::summary::{deviation, mean};

/// Fewer figures than this allow no capability: the formula of its interval asks for them, and the interval of
/// fewer would be wider than what it is to tell.
pub const FEWEST: usize = 30;
/// The confidence of the intervals.
pub const CONFIDENCE: f64 = 0.95;

/// Limits, of which one may be missing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// No figure should lie below.
    pub lower: Option<f64>,
    /// No figure should lie above.
    pub upper: Option<f64>,
}

/// A figure with its confidence interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The low end of the interval.
    pub low: f64,
    /// The estimate.
    pub best: f64,
    /// The high end.
    pub high: f64,
}

/// What a process is capable of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capability {
    /// How many figures it rests on.
    pub count: usize,
    /// Cp; `None` where one limit is missing.
    pub cp: Option<Estimate>,
    /// Cpk, of the nearer limit.
    pub cpk: Estimate,
}

/// Why no capability is given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refused {
    /// Too few.
    #[error("it wants {FEWEST} prints or more, and there are {count}")]
    TooFew {
        /// How many there are.
        count: usize,
    },
    /// A figure is no number.
    #[error("a print has no such figure (number {place} of these)")]
    NoNumber {
        /// Where it stands, from 1.
        place: usize,
    },
    /// All figures are alike.
    #[error("all prints have the same figure, so that there is nothing to measure them by")]
    AllAlike,
    /// There is no limit.
    #[error("there is no limit to hold it against")]
    NoLimit,
    /// The process is not stable.
    #[error("the process is not stable ({})", broken(.0))]
    NotStable(Found),
    /// The figures are not normal.
    #[error(
        "the figures do not follow the normal law that capability rests on (Anderson-Darling {statistic:.2}, \
         and {CRITICAL} is the most at 5 %)"
    )]
    NotNormal {
        /// A*².
        statistic: f64,
    },
}

fn broken(found: &Found) -> String {
    let told = found.broken.iter().map(|rule| {
        let count = found.count(*rule);
        let times = match count {
            1 => "once".to_owned(),
            count => format!("{count} times"),
        };
        match rule {
            Rule::BeyondLimit => format!("a print beyond the control limits {times}"),
            Rule::OneSide => format!("seven or more in a row on one side of the mean {times}"),
            Rule::Trend => format!("seven or more in a row climbing or falling {times}"),
        }
    });
    told.collect::<Vec<_>>().join(", ")
}

impl Capability {
    /// The capability of figures in the order of time, if its conditions hold.
    ///
    /// # Errors
    /// When they do not, with which.
    pub fn of(figures: &[f64], limits: Limits) -> Result<Capability, Refused> {
        let count = figures.len();
        if limits.lower.is_none() && limits.upper.is_none() {
            return Err(Refused::NoLimit);
        }
        if count < FEWEST {
            return Err(Refused::TooFew { count });
        }
        let chart = IndividualsChart::of(figures).map_err(|error| match error {
            NoChart::TooFew { count } => Refused::TooFew { count },
            NoChart::NoNumber { place } => Refused::NoNumber { place },
        })?;
        let (Some(mean), Some(spread)) = (mean(figures), deviation(figures)) else {
            return Err(Refused::TooFew { count });
        };
        if spread <= 0.0 {
            return Err(Refused::AllAlike);
        }
        let found = look(figures, &chart);
        if !found.is_stable() {
            return Err(Refused::NotStable(found));
        }
        let statistic = anderson_darling(figures).ok_or(Refused::AllAlike)?;
        if statistic > CRITICAL {
            return Err(Refused::NotNormal { statistic });
        }
        Capability::from_moments(count, mean, spread, limits).ok_or(Refused::NoLimit)
    }

    /// The capability of a stable, normal process of which mean and deviation are known from so many figures;
    /// `None` where there is no limit, fewer than two figures, or no spread.
    pub fn from_moments(
        count: usize,
        mean: f64,
        spread: f64,
        limits: Limits,
    ) -> Option<Capability> {
        if count < 2 || spread.is_nan() || spread <= 0.0 {
            return None;
        }
        let below = limits.lower.map(|lower| (mean - lower) / (3.0 * spread));
        let above = limits.upper.map(|upper| (upper - mean) / (3.0 * spread));
        let best = match (below, above) {
            (Some(below), Some(above)) => below.min(above),
            (one, other) => one.or(other)?,
        };
        let (n, free) = (count as f64, count as f64 - 1.0);
        let alpha = 1.0 - CONFIDENCE;
        let z = Normal::standard().inverse_cdf(1.0 - alpha / 2.0);
        let reach = z * (1.0 / (9.0 * n) + best * best / (2.0 * free)).sqrt();
        let cp = match (limits.lower, limits.upper) {
            (Some(lower), Some(upper)) => {
                let best = (upper - lower) / (6.0 * spread);
                let law = ChiSquared::new(free).ok()?;
                let end = |share: f64| best * (law.inverse_cdf(share) / free).sqrt();
                Some(Estimate {
                    low: end(alpha / 2.0),
                    best,
                    high: end(1.0 - alpha / 2.0),
                })
            }
            _ => None,
        };
        Some(Capability {
            count,
            cp,
            cpk: Estimate {
                low: best - reach,
                best,
                high: best + reach,
            },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOTH: Limits = Limits {
        lower: Some(8.0),
        upper: Some(20.0),
    };

    /// NIST/SEMATECH e-Handbook, 6.1.6: limits 8 and 20, mean 16, deviation 2: Cp 1.0, Cpk 0.6667.
    #[test]
    fn the_handbooks_example_is_met() {
        let capability = Capability::from_moments(50, 16.0, 2.0, BOTH).unwrap();
        assert!((capability.cp.unwrap().best - 1.0).abs() < 1e-12);
        assert!((capability.cpk.best - 0.6667).abs() < 5e-5);
    }

    /// Quantiles from printed tables: z(0.975) = 1.9600; χ²(0.025, 49) = 31.555 and χ²(0.975, 49) = 70.222
    /// (e-Handbook, 1.3.6.7.1 and 1.3.6.7.4).
    #[test]
    fn intervals_follow_from_tabulated_quantiles() {
        let capability = Capability::from_moments(50, 16.0, 2.0, BOTH).unwrap();
        let reach = 1.96 * (1.0 / 450.0 + (4.0 / 9.0) / 98.0_f64).sqrt();
        let cpk = capability.cpk;
        assert!((cpk.low - (2.0 / 3.0 - reach)).abs() < 1e-5);
        assert!((cpk.high - (2.0 / 3.0 + reach)).abs() < 1e-5);
        let cp = capability.cp.unwrap();
        assert!((cp.low - (31.555_f64 / 49.0).sqrt()).abs() < 1e-5);
        assert!((cp.high - (70.222_f64 / 49.0).sqrt()).abs() < 1e-5);
    }

    /// Quantiles of the normal law in a shuffled order: normal by construction, without a pattern.
    fn steady() -> Vec<f64> {
        let law = Normal::standard();
        (0..60)
            .map(|place| {
                let share = (f64::from(place * 37 % 60) + 0.5) / 60.0;
                law.inverse_cdf(share)
            })
            .collect()
    }

    #[test]
    fn a_steady_normal_process_has_a_capability() {
        let limits = Limits {
            lower: Some(-4.0),
            upper: None,
        };
        let capability = Capability::of(&steady(), limits).unwrap();
        assert!(capability.cp.is_none());
        assert!(
            (capability.cpk.best - 4.0 / 3.0).abs() < 0.05,
            "{capability:?}"
        );
    }

    #[test]
    fn where_a_condition_fails_the_refusal_says_which() {
        let lower = Limits {
            lower: Some(-4.0),
            upper: None,
        };
        let none = Limits {
            lower: None,
            upper: None,
        };
        let steady = steady();
        let told =
            |figures: &[f64], limits| Capability::of(figures, limits).unwrap_err().to_string();
        assert!(told(&steady, none).contains("no limit"));
        assert!(told(&steady[..29], lower).contains("30 prints or more, and there are 29"));
        assert!(told(&[2.0; 40], lower).contains("same figure"));
        let drifting: Vec<f64> = (0..60).map(|place| f64::from(place) * 0.3).collect();
        assert!(told(&drifting, lower).contains("climbing or falling once"));
        // Two heaps: steady from print to print, but nothing like normal.
        let heaps: Vec<f64> = (0..60)
            .map(|place| f64::from(place % 2) + f64::from(place * 7 % 11) * 0.001)
            .collect();
        assert!(told(&heaps, lower).contains("normal law"));
    }
}
