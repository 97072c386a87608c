//! Control charts: sequence rules, the exponentially weighted moving average, and where a trend leads.
//!
//! After the NIST/SEMATECH e-Handbook: individuals and moving ranges (6.3.2.2), the Western Electric rules
//! (6.3.2), EWMA (6.3.2.4). A *side* is always the upper one: values are turned so that up is toward the limit.

/// A moving range of two normal values is this many standard deviations on average (d2 of two, the same
/// handbook, 6.3.2.2).
const D2_OF_TWO: f64 = 1.128;

/// Mean and standard deviation of individual values, the latter from their mean moving range.
///
/// Nothing for fewer than two.
pub(crate) fn individuals(values: &[f64]) -> Option<(f64, f64)> {
    if values.len() < 2 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let ranges = values.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    let range = ranges.sum::<f64>() / (values.len() - 1) as f64;
    Some((mean, range / D2_OF_TWO))
}

/// Whether the last of these standardised values signals: above 3; two of three above 2; four of five above 1;
/// eight in a row above 0; six in a row each above the one before.
pub(crate) fn signals(z: &[f64]) -> bool {
    let last = |count: usize| z.len().checked_sub(count).map(|from| &z[from..]);
    let above = |values: &[f64], limit: f64| values.iter().filter(|z| **z > limit).count();
    let rule = |of: usize, least: usize, limit: f64| {
        last(of).is_some_and(|values| values[of - 1] > limit && above(values, limit) >= least)
    };
    let rises = last(6).is_some_and(|values| values.windows(2).all(|pair| pair[1] > pair[0]));
    rule(1, 1, 3.0) || rule(3, 2, 2.0) || rule(5, 4, 1.0) || rule(8, 8, 0.0) || rises
}

/// The exponentially weighted moving average of values from a start on.
pub(crate) fn ewma(start: f64, weight: f64, values: &[f64]) -> f64 {
    values
        .iter()
        .fold(start, |average, value| average + weight * (value - average))
}

/// How far an EWMA may be from its centre, in the long run: `width` of its own standard deviations, for values
/// of standard deviation 1.
pub(crate) fn ewma_limit(weight: f64, width: f64) -> f64 {
    width * (weight / (2.0 - weight)).sqrt()
}

/// A straight line through values: its value at the last of them, its slope from one to the next, how many
/// of its standard errors that slope is above nought, and the sum of the squares that it leaves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Trend {
    pub(crate) now: f64,
    pub(crate) slope: f64,
    pub(crate) errors: f64,
    rest: f64,
}

/// The line of least squares; nothing for fewer than four values.
pub(crate) fn trend(values: &[f64]) -> Option<Trend> {
    let count = values.len();
    if count < 4 {
        return None;
    }
    let n = count as f64;
    let middle = (n - 1.0) / 2.0;
    let mean = values.iter().sum::<f64>() / n;
    let offsets = || {
        values
            .iter()
            .zip(0_u32..)
            .map(|(y, x)| (f64::from(x) - middle, y - mean))
    };
    let sxx: f64 = offsets().map(|(x, _)| x * x).sum();
    let slope = offsets().map(|(x, y)| x * y).sum::<f64>() / sxx;
    let rest: f64 = offsets().map(|(x, y)| (y - slope * x).powi(2)).sum();
    let error = (rest / (n - 2.0) / sxx).sqrt();
    Some(Trend {
        now: mean + slope * middle,
        slope,
        errors: slope / error.max(1e-12),
        rest,
    })
}

/// Level at first and a straight line from some place on tells values better than a line alone where its F, of one
/// degree of freedom more, is above this: the 95 % point is between 4.5 and 5.3 for 8 to 16 values (F tables).
const BENDS: f64 = 5.0;

/// Where values are now and how fast they rise, the rise perhaps having begun among them: a line of least squares
/// that is level up to some place, at least four values before the last, or one without such a place where that
/// tells them as well. A rise that is laid through what was before it would be told too slow.
pub(crate) fn rise(values: &[f64]) -> Option<(f64, f64)> {
    let line = trend(values)?;
    let count = values.len();
    let bent = (1..count.saturating_sub(4)).filter_map(|place| {
        let along = |x: usize| x.saturating_sub(place) as f64;
        let n = count as f64;
        let middle = (0..count).map(along).sum::<f64>() / n;
        let mean = values.iter().sum::<f64>() / n;
        let sxx: f64 = (0..count).map(|x| (along(x) - middle).powi(2)).sum();
        let products = values.iter().enumerate();
        let sxy: f64 = products
            .map(|(x, y)| (along(x) - middle) * (y - mean))
            .sum();
        let slope = sxy / sxx;
        let rest = scatter(values) - slope * sxy;
        let now = mean + slope * (along(count - 1) - middle);
        (sxx > 0.0).then_some((rest, now, slope))
    });
    let best = bent.min_by(|one, other| f64::total_cmp(&one.0, &other.0));
    let (now, slope) = match best {
        Some((rest, now, slope)) if line.rest - rest > BENDS * rest / (count as f64 - 3.0) => {
            (now, slope)
        }
        _ => (line.now, line.slope),
    };
    Some((now, slope))
}

/// What comes after a step climbs still where its slope is so many standard errors above nought.
const CLIMBS: f64 = 2.0;

/// Whether two levels, one up to some place and one from there on, tell values better than a straight line (least
/// squares, at least two values on each side), and the later one goes nowhere: something was set, and nothing
/// drifts. While the later level is too short to say, it is one.
pub(crate) fn is_step(values: &[f64]) -> bool {
    let Some(line) = trend(values) else {
        return false;
    };
    let places = 2..values.len() - 1;
    let best = places
        .map(|place| {
            let (before, after) = values.split_at(place);
            (scatter(before) + scatter(after), after)
        })
        .min_by(|one, other| f64::total_cmp(&one.0, &other.0));
    best.is_some_and(|(rest, after)| {
        rest < line.rest && trend(after).is_none_or(|after| after.errors < CLIMBS)
    })
}

/// The sum of squares about the mean.
fn scatter(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values.iter().map(|value| (value - mean).powi(2)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten flow rates of the NIST/SEMATECH e-Handbook, 6.3.2.2: mean 50.81, mean moving range 1.8778, limits
    /// 45.8159 and 55.8041 (mean and three standard deviations).
    #[test]
    fn individuals_are_as_the_handbook_has_them() {
        let rates = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
        let (mean, sigma) = individuals(&rates).unwrap();
        assert!((mean - 50.81).abs() < 1e-9);
        // The handbook rounds the mean range first.
        assert!((mean - 3.0 * sigma - 45.8159).abs() < 5e-4, "{sigma}");
        assert!((mean + 3.0 * sigma - 55.8041).abs() < 5e-4, "{sigma}");
    }

    /// The example of 6.3.2.4: start 50, weight 0.3, s 2.0539, limits 52.5884 and 47.4115, the averages of
    /// twenty values.
    #[test]
    fn averages_are_as_the_handbook_has_them() {
        let values = [
            52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3,
            47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
        ];
        let averages = [
            50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36,
            49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
        ];
        for (count, expected) in (1..).zip(averages) {
            let average = ewma(50.0, 0.3, &values[..count]);
            assert!((average - expected).abs() < 0.0051, "{count}: {average}");
        }
        let limit = 50.0 + 2.0539 * ewma_limit(0.3, 3.0);
        assert!((limit - 52.5884).abs() < 5e-4, "{limit}");
    }

    /// The Western Electric rules as 6.3.2 lists them, one after the other, and none where it just fails.
    #[test]
    fn each_rule_signals_and_nothing_less_does() {
        let signalling: [&[f64]; 5] = [
            &[3.1],
            &[2.1, 0.0, 2.2],
            &[1.1, 1.2, -0.5, 1.3, 1.1],
            &[0.5, 0.1, 0.6, 0.2, 0.7, 0.3, 0.6, 0.4],
            &[-0.9, -0.6, -0.3, 0.0, 0.3, 0.6],
        ];
        for z in signalling {
            assert!(signals(z), "{z:?}");
        }
        let silent: [&[f64]; 6] = [
            &[],
            &[2.9],
            &[-3.5],
            &[2.1, 0.0, 1.9],
            &[0.5, 0.1, 0.6, -0.2, 0.7, 0.3, 0.6, 0.4],
            &[-0.9, -0.6, -0.3, 0.0, -0.1, 0.6],
        ];
        for z in silent {
            assert!(!signals(z), "{z:?}");
        }
    }

    /// The straight line 1, 3, 5, 7 (closed form), and the first of the Anscombe sets (F. J. Anscombe, 1973,
    /// "Graphs in Statistical Analysis"): slope 0.5001, standard error 0.1179, so 4.24 of them.
    #[test]
    fn a_trend_is_the_line_of_least_squares() {
        let line = trend(&[1.0, 3.0, 5.0, 7.0]).unwrap();
        assert!((line.slope - 2.0).abs() < 1e-12 && (line.now - 7.0).abs() < 1e-12);
        // By x from 4 to 14.
        let y = [
            4.26, 5.68, 7.24, 4.82, 6.95, 8.81, 8.04, 8.33, 10.84, 7.58, 9.96,
        ];
        let line = trend(&y).unwrap();
        assert!((line.slope - 0.5001).abs() < 5e-5, "{line:?}");
        assert!((line.errors - 4.24).abs() < 5e-3, "{line:?}");
        assert_eq!(trend(&[1.0, 2.0, 3.0]), None);
    }

    /// Values that are level and then rise by 0.5 each: the line after the bend, whatever was before; and the straight
    /// line 1, 3, 5, 7, 9 (closed forms).
    #[test]
    fn a_rise_is_told_from_where_it_begins() {
        let bent: Vec<f64> = (0..14)
            .map(|n| 0.5 * (f64::from(n) - 6.0).max(0.0) + 0.02 * (f64::from(n) * 2.4).sin())
            .collect();
        let (now, slope) = rise(&bent).unwrap();
        assert!(
            (slope - 0.5).abs() < 0.02 && (now - 3.5).abs() < 0.05,
            "{now} {slope}"
        );
        assert!(
            trend(&bent).unwrap().slope < 0.35,
            "a line through all of it is too slow"
        );
        assert_eq!(rise(&[1.0, 3.0, 5.0, 7.0, 9.0]), Some((9.0, 2.0)));
        assert_eq!(rise(&[1.0, 2.0]), None);
    }

    /// By closed form: of 16 values on two levels a step apart in the middle, a line leaves a quarter of their
    /// squares, the levels nothing; of values on a line the levels leave a quarter or more, and the line nothing. A
    /// rise that has begun within them climbs after any place.
    #[test]
    fn a_step_is_told_from_a_rise() {
        let unrest = |n: u32| 0.1 * (f64::from(n) * 2.4).sin();
        let of = |value: &dyn Fn(u32) -> f64| -> Vec<f64> {
            (0..16).map(|n| value(n) + unrest(n)).collect()
        };
        assert!(is_step(&of(&|n| if n < 8 { 0.0 } else { 1.0 })));
        assert!(is_step(&of(&|n| if n < 13 { 0.0 } else { 1.0 })));
        assert!(!is_step(&of(&|n| 0.2 * f64::from(n))));
        assert!(!is_step(&of(&|n| 0.2 * (f64::from(n) - 8.0).max(0.0))));
        assert!(!is_step(&[1.0, 2.0, 3.0]));
    }
}
