//! What a trace tells of one heating under a lamp: from how warm it began, and for how long the lamp stayed.
//!
//! The surface rises from its trough as soon as the lamp is over it and falls as soon as the lamp is gone, so that the
//! stay is the time from the beginning of the rise to the hottest sample.

use inkdwell_config::quantity::{Celsius, CelsiusDifference, Seconds};

use crate::heat::fit::{Ride, Trip};

/// The rise begins where it has come this far, as a share of all of it,
const BEGUN: f64 = 0.05;
/// and at least by so many °C: probes are noisy.
const NOISE: f64 = 2.0;
/// A stay from the trace needs so many samples to be one.
const FEWEST: f64 = 5.0;

/// A heating as its samples tell it.
#[derive(Debug, Clone, PartialEq)]
pub struct Heating {
    /// The surface in the trough before.
    pub trough: Celsius,
    /// The hottest that it showed.
    pub peak: Celsius,
    /// How long the lamp stayed.
    pub stay: Seconds,
    /// Whether it is sampled too coarsely to tell the stay: there are fewer than five samples in it.
    pub is_coarse: bool,
    /// Its samples.
    film: Vec<(Seconds, Celsius)>,
}

impl Heating {
    /// From good samples of the surface, in order of time: those from `start` to `end`, the troughs before and after
    /// it. `None` where there are none.
    pub fn seen(samples: &[(f64, f64)], start: Seconds, end: Seconds) -> Option<Heating> {
        let own = samples
            .iter()
            .filter(|own| (start.0..=end.0).contains(&own.0));
        let own: Vec<(f64, f64)> = own.copied().collect();
        let (first, last) = (own.first()?, own.last()?);
        let hottest = own.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
        let (trough, peak) = (first.1, hottest.1);
        let stay = hottest.0 - rise(&own, trough + (BEGUN * (peak - trough)).max(NOISE));
        let interval = (last.0 - first.0) / (own.len().max(2) - 1) as f64;
        Some(Heating {
            trough: Celsius(trough),
            peak: Celsius(peak),
            stay: Seconds(stay),
            is_coarse: stay < FEWEST * interval,
            film: own
                .iter()
                .map(|own| (Seconds(own.0), Celsius(own.1)))
                .collect(),
        })
    }

    /// The heating as a fit takes it. A print waits on its platen before the lamp comes, so that what it starts from is
    /// the trough. `uncertainty` is the probe's at the peak (k = 2).
    pub fn ride(&self, uncertainty: CelsiusDifference) -> Ride {
        Ride {
            trip: Trip::Lamp(self.stay),
            film: self.film.clone(),
            cloth: Vec::new(),
            room: Some(self.trough),
            uncertainty,
        }
    }
}

/// When a temperature is reached first, on the line between samples.
fn rise(samples: &[(f64, f64)], begun: f64) -> f64 {
    let reached = samples.iter().position(|own| own.1 >= begun);
    match reached {
        None => samples.first().map_or(0.0, |own| own.0),
        Some(0) => samples[0].0,
        Some(place) => {
            let ((before, cooler), (time, celsius)) = (samples[place - 1], samples[place]);
            before + (begun - cooler) / (celsius - cooler) * (time - before)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A trace of straight lines, so that its stay follows by hand: at 30 °C until 4 s, then up by 10 °C/s for 8 s to
    /// 110 °C, then down. 5 % of the rise of 80 °C are 4 °C, reached 0.4 s after it began; 8 s − 0.4 s = 7.6 s.
    fn trace(step: f64) -> Vec<(f64, f64)> {
        let at =
            |t: f64| (30.0 + 10.0 * (t - 4.0).clamp(0.0, 8.0)) - 6.0 * (t - 12.0).clamp(0.0, 13.0);
        let count = (24.0 / step) as u32;
        (0..=count)
            .map(|n| f64::from(n) * step)
            .map(|t| (t, at(t)))
            .collect()
    }

    #[test]
    fn a_stay_is_the_time_of_the_rise() {
        let heating = Heating::seen(&trace(0.1), Seconds(0.0), Seconds(24.0)).unwrap();
        assert_eq!((heating.trough.0, heating.peak.0), (30.0, 110.0));
        assert!((heating.stay.0 - 7.6).abs() < 1e-9, "{:?}", heating.stay);
        assert!(!heating.is_coarse);
        let ride = heating.ride(CelsiusDifference(1.0));
        assert_eq!(ride.trip, Trip::Lamp(heating.stay));
        assert_eq!((ride.room, ride.film.len()), (Some(Celsius(30.0)), 241));
    }

    #[test]
    fn what_is_sampled_too_coarsely_says_so_and_of_nothing_there_is_nothing() {
        let heating = Heating::seen(&trace(2.0), Seconds(0.0), Seconds(24.0)).unwrap();
        assert!(heating.is_coarse, "{heating:?}");
        assert_eq!(Heating::seen(&[], Seconds(0.0), Seconds(24.0)), None);
        assert_eq!(
            Heating::seen(&trace(1.0), Seconds(30.0), Seconds(40.0)),
            None
        );
    }
}
