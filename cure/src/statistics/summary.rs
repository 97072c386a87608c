//! How figures lie.

/// A run of figures, summed up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// How many.
    pub count: usize,
    /// The least.
    pub least: f64,
    /// A quarter of them lie below this.
    pub lower_quartile: f64,
    /// Half of them lie below this.
    pub median: f64,
    /// A quarter of them lie above this.
    pub upper_quartile: f64,
    /// The greatest.
    pub greatest: f64,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation, the sum of squares divided by one less than their number; `None` of one alone.
    pub deviation: Option<f64>,
    /// Where the least stands in the run, from 0; the first, where several are as low.
    pub least_at: usize,
    /// Where the greatest stands in the run, from 0; the first, where several are as high.
    pub greatest_at: usize,
}

impl Summary {
    /// Sums up; `None` where there is no figure, or one that is no number.
    pub fn of(figures: &[f64]) -> Option<Summary> {
        if figures.iter().any(|figure| figure.is_nan()) {
            return None;
        }
        let mut sorted = figures.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        let (least, greatest) = (*sorted.first()?, *sorted.last()?);
        let place = |of: f64| figures.iter().position(|figure| *figure == of);
        Some(Summary {
            count: figures.len(),
            least,
            lower_quartile: quantile(&sorted, 0.25)?,
            median: quantile(&sorted, 0.5)?,
            upper_quartile: quantile(&sorted, 0.75)?,
            greatest,
            mean: mean(figures)?,
            deviation: deviation(figures),
            least_at: place(least)?,
            greatest_at: place(greatest)?,
        })
    }
}

/// The mean; `None` of nothing. What rounding lost in the first sum is added by a second one.
pub fn mean(figures: &[f64]) -> Option<f64> {
    let count = figures.len() as f64;
    let first = figures.iter().sum::<f64>() / count;
    let rest: f64 = figures.iter().map(|figure| figure - first).sum();
    (count > 0.0).then(|| first + rest / count)
}

/// The standard deviation with n - 1; `None` of fewer than two.
pub fn deviation(figures: &[f64]) -> Option<f64> {
    let mean = mean(figures)?;
    let squares: f64 = figures.iter().map(|figure| (figure - mean).powi(2)).sum();
    (figures.len() > 1).then(|| (squares / (figures.len() - 1) as f64).sqrt())
}

/// The quantile of a share of sorted figures, by the line between the two that are next to it: the figure of
/// rank (n - 1) p, counted from 0 (definition 7 of Hyndman and Fan, The American Statistician 50 (1996) 361).
pub fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let rank = last as f64 * share.clamp(0.0, 1.0);
    // Never negative, and at most the last place.
    let below = (rank.floor() as usize).min(last);
    let above = (below + 1).min(last);
    let part = rank - below as f64;
    Some(sorted[below] + part * (sorted[above] - sorted[below]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST StRD, univariate summary statistics, data set NumAcc1: 10000001, 10000003, 10000002; certified mean
    /// 10000002 and standard deviation 1.
    #[test]
    fn certified_figures_of_numacc1_are_met() {
        let summary = Summary::of(&[10_000_001.0, 10_000_003.0, 10_000_002.0]).unwrap();
        assert_eq!((summary.mean, summary.deviation), (10_000_002.0, Some(1.0)));
        assert_eq!((summary.least_at, summary.greatest_at), (0, 1));
    }

    /// NIST StRD, NumAcc2: 1.2, then 1.1 and 1.3 five hundred times over; certified mean 1.2, deviation 0.1.
    #[test]
    fn certified_figures_of_numacc2_are_met() {
        let mut figures = vec![1.2];
        for _ in 0..500 {
            figures.extend([1.1, 1.3]);
        }
        let summary = Summary::of(&figures).unwrap();
        assert!((summary.mean - 1.2).abs() < 1e-14);
        assert!((summary.deviation.unwrap() - 0.1).abs() < 1e-14);
    }

    /// The documentation of numpy.percentile: of 10, 7, 4, 3, 2, 1 the median is 3.5.
    #[test]
    fn quantiles_lie_on_the_line_between_neighbours() {
        let sorted = [1.0, 2.0, 3.0, 4.0, 7.0, 10.0];
        assert_eq!(quantile(&sorted, 0.5), Some(3.5));
        assert_eq!(quantile(&sorted, 0.0), Some(1.0));
        assert_eq!(quantile(&sorted, 1.0), Some(10.0));
        assert_eq!(quantile(&[], 0.5), None);
    }

    #[test]
    fn nothing_is_said_of_nothing_and_of_what_is_no_number() {
        assert_eq!(Summary::of(&[]), None);
        assert_eq!(Summary::of(&[1.0, f64::NAN]), None);
        assert_eq!(Summary::of(&[4.0]).unwrap().deviation, None);
    }
}
