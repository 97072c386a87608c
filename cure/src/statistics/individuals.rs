//! The chart of individuals and moving ranges.
//!
//! With moving ranges MRᵢ = |xᵢ - xᵢ₋₁| and their mean, the process varies by σ = mean MR / d₂ from one print to
//! the next, and its limits are mean ± 3 σ (NIST/SEMATECH e-Handbook, 6.3.2.2). For ranges of two figures
//! ISO 7870-2 tabulates d₂ = 1.128 and D₄ = 3.267.

use super::summary::mean;

/// d₂ of two figures, as ISO 7870-2 and the e-Handbook tabulate it.
pub const D2: f64 = 1.128;
/// D₄ of two figures.
pub const D4: f64 = 3.267;

/// A chart's centre and limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IndividualsChart {
    /// How many figures it was made from.
    pub count: usize,
    /// The centre line: the figures' mean.
    pub centre: f64,
    /// The mean of the moving ranges.
    pub mean_moving_range: f64,
    /// By how much neighbours vary: one standard deviation.
    pub sigma: f64,
    /// The lower limit, three of them below the centre.
    pub lower: f64,
    /// The upper limit.
    pub upper: f64,
    /// The upper limit of the moving ranges; the lower one is zero.
    pub range_upper: f64,
}

/// Why there is no chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoChart {
    /// Too few figures.
    #[error("a chart wants {} prints or more, and there are {count}", FEWEST)]
    TooFew {
        /// How many there are.
        count: usize,
    },
    /// One of them is no number.
    #[error("print {place} of these has no figure")]
    NoNumber {
        /// Where it stands, from 1.
        place: usize,
    },
}

/// Fewer figures than this make no limits worth drawing: their own doubt is larger than what they would show.
/// The e-Handbook's example has ten. Common practice, no source.
pub const FEWEST: usize = 10;

impl IndividualsChart {
    /// The chart of figures in the order of time.
    ///
    /// # Errors
    /// When there are fewer than [`FEWEST`], or one is no number.
    pub fn of(figures: &[f64]) -> Result<IndividualsChart, NoChart> {
        let count = figures.len();
        if let Some(place) = figures.iter().position(|figure| !figure.is_finite()) {
            let place = place + 1;
            return Err(NoChart::NoNumber { place });
        }
        let ranges: Vec<f64> = figures
            .windows(2)
            .map(|pair| (pair[1] - pair[0]).abs())
            .collect();
        let (Some(centre), Some(mean_moving_range), true) =
            (mean(figures), mean(&ranges), count >= FEWEST)
        else {
            return Err(NoChart::TooFew { count });
        };
        let sigma = mean_moving_range / D2;
        Ok(IndividualsChart {
            count,
            centre,
            mean_moving_range,
            sigma,
            lower: centre - 3.0 * sigma,
            upper: centre + 3.0 * sigma,
            range_upper: D4 * mean_moving_range,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST/SEMATECH e-Handbook, 6.3.2.2: ten flow rates, and the chart's figures to the digits printed there.
    #[test]
    fn the_handbooks_flow_rates_have_the_handbooks_limits() {
        let rates = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
        let chart = IndividualsChart::of(&rates).unwrap();
        let near =
            |ours: f64, printed: f64| assert!((ours - printed).abs() < 5e-5, "{ours} {printed}");
        near(chart.centre, 50.81);
        near(chart.mean_moving_range, 1.8778);
        near(chart.lower, 45.8159);
        near(chart.upper, 55.8041);
    }

    /// ISO 7870-2 tabulates E₂ = 2.660 and D₄ = 3.267 for ranges of two; d₂ is 2/√π (Harter 1960).
    #[test]
    fn factors_are_those_of_the_standard() {
        assert!((3.0 / D2 - 2.660).abs() < 5e-4);
        assert!((2.0 / std::f64::consts::PI.sqrt() - D2).abs() < 5e-4);
        // D₄ = 1 + 3 d₃ / d₂, and for two figures d₃ = √(2 - 4/π).
        let d3 = (2.0 - 4.0 / std::f64::consts::PI).sqrt();
        let d2 = 2.0 / std::f64::consts::PI.sqrt();
        assert!((1.0 + 3.0 * d3 / d2 - D4).abs() < 5e-4);
    }

    #[test]
    fn too_few_figures_and_what_is_no_number_are_refused() {
        let nine = [1.0; 9];
        let refused = NoChart::TooFew { count: 9 };
        assert_eq!(IndividualsChart::of(&nine), Err(refused));
        let mut ten = [1.0; 10];
        ten[3] = f64::NAN;
        assert_eq!(
            IndividualsChart::of(&ten),
            Err(NoChart::NoNumber { place: 4 })
        );
    }
}
