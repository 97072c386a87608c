//! What in a chart is no chance.
//!
//! Three patterns are looked for, those that ISO 7870-2 asks to look for first (its lengths of seven are from
//! memory): a point beyond a limit, a run of seven on one side of the centre, and seven that each lie above,
//! or each below, the one before.
//!
//! Each of them happens by chance too, the more often the longer the chart: in ten thousand prints of a
//! perfectly steady process 27 points lie beyond the limits. So a process counts as stable where no pattern
//! shows itself more often than chance explains. With λ the number that chance alone would give,
//!
//! ```text
//! beyond a limit:   λ = 0.0027 n                                   (the normal law's tails beyond 3 σ)
//! on one side:      λ = (n - 7) / 2⁷ + 1 / 2⁶                       (runs of a fair coin, counted once each)
//! climbing, falling: λ = 2 (1/7! + (n - 7) (1/7! - 1/8!))           (runs in a random order)
//! ```
//!
//! once is a sign where λ < 1, and else as many as Poisson's law gives in fewer than one of twenty charts.

use statrs::distribution::{DiscreteCDF, Poisson};

use super::individuals::IndividualsChart;

/// So long a run on one side of the centre, or a climb or fall of so many points, is a pattern.
pub const LONG: usize = 7;
/// The share of a normal process that lies beyond three standard deviations.
const BEYOND: f64 = 0.0027;
/// A chart with more patterns than this share of charts of a steady process would have is not stable.
const COMMON: f64 = 0.95;

/// A pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// A point beyond a limit.
    BeyondLimit,
    /// A run on one side of the centre.
    OneSide,
    /// Points that climb or fall, each against the one before.
    Trend,
}

impl Rule {
    /// All of them.
    pub const ALL: [Rule; 3] = [Rule::BeyondLimit, Rule::OneSide, Rule::Trend];

    /// A word for it.
    pub fn name(self) -> &'static str {
        match self {
            Rule::BeyondLimit => "beyond-limit",
            Rule::OneSide => "one-side",
            Rule::Trend => "trend",
        }
    }

    /// How many of its patterns chance alone gives in a chart of so many points.
    pub fn by_chance(self, points: usize) -> f64 {
        let n = points as f64;
        match self {
            Rule::BeyondLimit => BEYOND * n,
            _ if points < LONG => 0.0,
            Rule::OneSide => (n - LONG as f64) / 2f64.powi(7) + 1.0 / 2f64.powi(6),
            Rule::Trend => {
                let (seven, eight) = (1.0 / 5040.0, 1.0 / 40320.0);
                2.0 * (seven + (n - LONG as f64) * (seven - eight))
            }
        }
    }

    /// The most of its patterns that a steady process may show in a chart of so many points.
    pub fn at_most(self, points: usize) -> u64 {
        let by_chance = self.by_chance(points);
        if by_chance < 1.0 {
            return 0;
        }
        Poisson::new(by_chance).map_or(0, |law| law.inverse_cdf(COMMON))
    }
}

/// A pattern that was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Violation {
    /// Which.
    pub rule: Rule,
    /// Its first point, from 0.
    pub first: usize,
    /// Its last point.
    pub last: usize,
}

/// What a chart shows.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Found {
    /// The patterns, by their first point.
    pub violations: Vec<Violation>,
    /// The rules that are broken more often than by chance; the process is stable if there is none.
    pub broken: Vec<Rule>,
}

impl Found {
    /// Whether the process is as steady as chance lets it be.
    pub fn is_stable(&self) -> bool {
        self.broken.is_empty()
    }

    /// How often a pattern was found.
    pub fn count(&self, rule: Rule) -> u64 {
        let own = self.violations.iter().filter(|found| found.rule == rule);
        own.count() as u64
    }
}

/// Looks for all patterns in the figures of a chart.
pub fn look(figures: &[f64], chart: &IndividualsChart) -> Found {
    let mut violations = Vec::new();
    for (place, figure) in figures.iter().enumerate() {
        if *figure < chart.lower || *figure > chart.upper {
            violations.push(Violation {
                rule: Rule::BeyondLimit,
                first: place,
                last: place,
            });
        }
    }
    let side = |place: usize| sign(figures[place] - chart.centre);
    runs(figures.len(), Rule::OneSide, 1, side, &mut violations);
    // A climb over seven points has six steps.
    let step = |place: usize| sign(figures[place + 1] - figures[place]);
    let steps = figures.len().saturating_sub(1);
    runs(steps, Rule::Trend, 2, step, &mut violations);
    violations.sort_by_key(|found| (found.first, found.rule));
    let mut found = Found {
        violations,
        broken: Vec::new(),
    };
    let broken = |rule: &Rule| found.count(*rule) > rule.at_most(figures.len());
    found.broken = Rule::ALL.into_iter().filter(broken).collect();
    found
}

/// -1, 0 or 1.
fn sign(number: f64) -> i8 {
    i8::from(number > 0.0) - i8::from(number < 0.0)
}

/// Finds the runs of one sign that span [`LONG`] points; an item of `signs` concerns `span` points.
fn runs(
    items: usize,
    rule: Rule,
    span: usize,
    sign: impl Fn(usize) -> i8,
    violations: &mut Vec<Violation>,
) {
    let mut first = 0;
    for place in 1..=items {
        if place < items && sign(place) == sign(first) {
            continue;
        }
        let points = place - first + span - 1;
        if sign(first) != 0 && points >= LONG {
            violations.push(Violation {
                rule,
                first,
                last: first + points - 1,
            });
        }
        first = place;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart(centre: f64, sigma: f64) -> IndividualsChart {
        IndividualsChart {
            count: 0,
            centre,
            mean_moving_range: sigma * 1.128,
            sigma,
            lower: centre - 3.0 * sigma,
            upper: centre + 3.0 * sigma,
            range_upper: 0.0,
        }
    }

    fn found(figures: &[f64]) -> Vec<(Rule, usize, usize)> {
        let found = look(figures, &chart(0.0, 1.0));
        let violations = found.violations.iter();
        violations.map(|v| (v.rule, v.first, v.last)).collect()
    }

    #[test]
    fn each_pattern_is_found_where_it_is_and_no_shorter_one() {
        assert_eq!(found(&[0.5, -0.5, 3.1, -0.5]), [(Rule::BeyondLimit, 2, 2)]);
        assert_eq!(found(&[0.5, -0.5, 3.0, -3.0]), []);
        let side = [-0.5, 0.3, 0.2, 0.4, 0.1, 0.5, 0.2, 0.3, -0.1];
        assert_eq!(found(&side), [(Rule::OneSide, 1, 7)]);
        assert_eq!(found(&side[..7]), []);
        let climb = [0.3, -0.9, -0.6, -0.3, -0.1, 0.2, 0.5, 0.8, 0.1];
        assert_eq!(found(&climb), [(Rule::Trend, 1, 7)]);
        assert_eq!(found(&climb[..7]), []);
        let fall: Vec<f64> = climb.iter().map(|figure| -figure).collect();
        assert_eq!(found(&fall), [(Rule::Trend, 1, 7)]);
        // What lies on the centre is on no side.
        assert_eq!(found(&[0.0; 20]), []);
    }

    /// The chance of each pattern, counted in a long row of numbers from a generator that is not ours: what
    /// chance gives has to be what the formula at the top of this file says.
    #[test]
    fn chance_gives_as_many_patterns_as_the_formulae_say() {
        use proptest::test_runner::{RngAlgorithm, TestRng};
        let mut random = TestRng::from_seed(RngAlgorithm::ChaCha, &[7; 32]);
        let mut uniform = || (rand_word(&mut random) as f64 + 0.5) / 2f64.powi(32);
        // Box and Muller 1958.
        let mut normal = || {
            let (radius, angle) = (uniform(), uniform());
            (-2.0 * radius.ln()).sqrt() * (2.0 * std::f64::consts::PI * angle).cos()
        };
        let figures: Vec<f64> = (0..400_000).map(|_| normal()).collect();
        let found = look(&figures, &chart(0.0, 1.0));
        for rule in Rule::ALL {
            let (counted, expected) = (found.count(rule) as f64, rule.by_chance(figures.len()));
            // Four standard deviations of Poisson's law.
            let bound = 4.0 * expected.sqrt();
            assert!(
                (counted - expected).abs() < bound,
                "{rule:?} {counted} {expected}"
            );
        }
    }

    fn rand_word(random: &mut proptest::test_runner::TestRng) -> u32 {
        use proptest::prelude::Rng;
        random.next_u32()
    }

    /// Poisson's law, tables: with a mean of 10, P(X <= 15) = 0.9513 and P(X <= 14) = 0.9165.
    #[test]
    fn a_long_chart_may_have_what_chance_explains() {
        assert_eq!(Rule::BeyondLimit.at_most(100), 0);
        // 0.0027 n = 10
        assert_eq!(Rule::BeyondLimit.at_most(3704), 15);
        let mut figures: Vec<f64> = (0..40).map(|place| f64::from(place % 2) - 0.5).collect();
        assert!(look(&figures, &chart(0.0, 1.0)).is_stable());
        figures[20] = 3.5;
        let found = look(&figures, &chart(0.0, 1.0));
        assert_eq!(found.broken, [Rule::BeyondLimit]);
        assert!(!found.is_stable());
    }
}
