//! Which readings are drawn: a spike of the sensor is no temperature of the print.
//!
//! The engine sorts samples for itself and hands on what it finds, not the samples; so that a figure
//! shows what was judged, the same rule is applied here in its simplest form: a reading is left out
//! while it lies further from the last one drawn than any print can have gone since.

/// What a probe is believed to be able to show, in °C.
const BELIEVED: std::ops::RangeInclusive<f64> = -40.0..=600.0;
/// A step up to this is never a spike, in °C.
const FREE: f64 = 10.0;
/// The fastest change that is believed, in °C a second.
const FASTEST: f64 = 150.0;

/// Where the trace stands, so that the next reading can be believed or not.
#[derive(Debug, Clone, Copy, Default)]
pub(super) enum Believed {
    /// Nothing has been seen.
    #[default]
    Nothing,
    /// One reading that nothing confirms yet.
    One((f64, f64)),
    /// The last reading that was drawn.
    Last((f64, f64)),
}

impl Believed {
    /// Takes the next reading, and gives those that can now be drawn, in order.
    pub(super) fn take(&mut self, time: f64, celsius: f64) -> impl Iterator<Item = (f64, f64)> {
        let here = (time, celsius);
        let none = [None, None];
        let drawn = if !BELIEVED.contains(&celsius) {
            none
        } else {
            match *self {
                Believed::Nothing => {
                    *self = Believed::One(here);
                    none
                }
                Believed::One(first) if is_spike(first, here) => {
                    // Of two that disagree at the start, the later is followed; if it was the wrong
                    // one, a few seconds are lost.
                    *self = Believed::One(here);
                    none
                }
                Believed::One(first) => {
                    *self = Believed::Last(here);
                    [Some(first), Some(here)]
                }
                Believed::Last(last) if is_spike(last, here) => none,
                Believed::Last(_) => {
                    *self = Believed::Last(here);
                    [Some(here), None]
                }
            }
        };
        drawn.into_iter().flatten()
    }
}

fn is_spike(last: (f64, f64), here: (f64, f64)) -> bool {
    let change = (here.1 - last.1).abs();
    change > FREE && change > FASTEST * (here.0 - last.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(readings: &[(f64, f64)]) -> Vec<f64> {
        let mut believed = Believed::default();
        let drawn = readings
            .iter()
            .flat_map(|(time, celsius)| believed.take(*time, *celsius).collect::<Vec<_>>());
        drawn.map(|(_, celsius)| celsius).collect()
    }

    #[test]
    fn spikes_and_what_is_no_temperature_are_left_out() {
        let readings = [
            (0.0, 590.0),
            (0.1, 25.0),
            (0.2, 26.0),
            (0.3, f64::NAN),
            (0.4, 590.0),
            (0.5, 28.0),
            (0.6, 700.0),
            (0.7, 29.0),
        ];
        assert_eq!(drawn(&readings), [25.0, 26.0, 28.0, 29.0]);
    }

    #[test]
    fn a_real_step_is_drawn_once_it_has_lasted() {
        let readings: Vec<(f64, f64)> = (0..30)
            .map(|number| {
                let celsius = if number < 10 { 25.0 } else { 200.0 };
                (0.1 * f64::from(number), celsius)
            })
            .collect();
        // 175 °C at 150 °C/s takes 1.17 s.
        assert_eq!(drawn(&readings).last(), Some(&200.0));
        assert_eq!(drawn(&readings).len(), 10 + 9);
    }
}
