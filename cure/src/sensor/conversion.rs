//! From a thermocouple's millivolts to the temperature of its measuring junction.
//!
//! With its junctions at t and tⱼ a thermocouple gives V = E(t) − E(tⱼ), so that
//!
//!   t = E⁻¹(V + E(tⱼ))
//!
//! with t, tⱼ in °C, V in mV and E the reference function of its type (law of intermediate temperatures).
//! The inverse is solved on E itself and not on an approximation of it: between the nodes of a table,
//! evenly spaced in voltage, a cubic in V through both nodes with their slopes dt/dE starts Newton's
//! method tₙ₊₁ = tₙ − (E(tₙ) − V)/E'(tₙ) so close that one step is the rule at a dryer's temperatures.
//! Where the function is nearly flat, close to its cold end, a bisection stands in for every step that
//! would leave the bracket. The result is within 10⁻⁶ °C of the reference function.

use inkdwell_config::quantity::Celsius;

use super::thermocouple::{ThermocoupleError, ThermocoupleType};

/// Stretches of the table: as many as keep Newton's method to one step, and it in the nearest cache.
const STRETCHES: u32 = 512;
/// A step below this, in °C, ends Newton's method: what is left after it is of the order of its square.
const LAST_STEP: f64 = 1e-4;
/// Enough for bisection alone to go from a whole range to 10⁻¹⁰ °C.
const MOST_STEPS: usize = 64;

/// A thermocouple with the table that its inverse starts from.
#[derive(Debug, Clone)]
pub struct Thermocouple {
    kind: ThermocoupleType,
    /// The voltage at the cool end of the inverse range, in mV.
    lowest: f64,
    /// The voltage at its hot end, in mV.
    highest: f64,
    /// Stretches of the table in a millivolt.
    stretches_per_millivolt: f64,
    /// The ends of the stretches, from the coolest to the hottest.
    nodes: Vec<Node>,
}

/// An end of a stretch of the table.
#[derive(Debug, Clone, Copy)]
struct Node {
    /// Its temperature in °C.
    celsius: f64,
    /// dt/dE there times a stretch's voltage, in °C.
    rise: f64,
}

impl Thermocouple {
    /// A thermocouple of a type.
    pub fn new(kind: ThermocoupleType) -> Thermocouple {
        let (from, to) = kind.inverse_range();
        let (lowest, _) = kind.value_and_slope(from.0);
        let (highest, _) = kind.value_and_slope(to.0);
        let stretch = (highest - lowest) / f64::from(STRETCHES);
        let mut cool = from.0;
        let nodes = (0..=STRETCHES)
            .map(|number| {
                let celsius = match number {
                    0 => from.0,
                    STRETCHES => to.0,
                    _ => solve(
                        kind,
                        lowest + f64::from(number) * stretch,
                        (cool, to.0),
                        cool,
                    ),
                };
                cool = celsius;
                let rise = stretch / kind.value_and_slope(celsius).1;
                Node { celsius, rise }
            })
            .collect();
        Thermocouple {
            kind,
            lowest,
            highest,
            stretches_per_millivolt: 1.0 / stretch,
            nodes,
        }
    }

    /// Its type.
    pub fn kind(&self) -> ThermocoupleType {
        self.kind
    }

    /// The temperature of the measuring junction from the voltage in mV against a junction at 0 °C.
    ///
    /// # Errors
    /// When no temperature of [`ThermocoupleType::inverse_range`] gives this voltage, or it is no
    /// number.
    pub fn temperature(&self, millivolts: f64) -> Result<Celsius, ThermocoupleError> {
        let out = ThermocoupleError::VoltageOutOfRange {
            kind: self.kind,
            millivolts,
        };
        if !(self.lowest..=self.highest).contains(&millivolts) {
            return Err(out);
        }
        let along = (millivolts - self.lowest) * self.stretches_per_millivolt;
        let number = (along as usize).min(STRETCHES as usize - 1);
        let Some([cool, hot]) = self.nodes.get(number..number + 2) else {
            return Err(out);
        };
        let start = between(cool, hot, along - number as f64);
        let bracket = (cool.celsius, hot.celsius);
        Ok(Celsius(solve(self.kind, millivolts, bracket, start)))
    }

    /// The temperature of the measuring junction from a voltage in mV and the reference junction's own
    /// temperature.
    ///
    /// # Errors
    /// When either lies outside the reference function, or is no number.
    pub fn compensated(
        &self,
        millivolts: f64,
        junction: Celsius,
    ) -> Result<Celsius, ThermocoupleError> {
        self.temperature(millivolts + self.kind.millivolts(junction)?)
    }
}

/// The cubic through two nodes with their slopes (Hermite), at a share of the way between them.
fn between(cool: &Node, hot: &Node, share: f64) -> f64 {
    let span = hot.celsius - cool.celsius;
    let square = 3.0 * span - 2.0 * cool.rise - hot.rise;
    let cube = cool.rise + hot.rise - 2.0 * span;
    cool.celsius + share * (cool.rise + share * (square + share * cube))
}

/// The temperature in °C between two others at which a type gives a voltage in mV, from a start in or
/// near the bracket.
fn solve(kind: ThermocoupleType, millivolts: f64, bracket: (f64, f64), start: f64) -> f64 {
    let (mut cool, mut hot) = bracket;
    let mut celsius = start.clamp(cool, hot);
    for _ in 0..MOST_STEPS {
        let (value, slope) = kind.value_and_slope(celsius);
        let excess = value - millivolts;
        if excess < 0.0 {
            cool = celsius;
        } else {
            hot = celsius;
        }
        let step = excess / slope;
        let next = celsius - step;
        if step.abs() < LAST_STEP {
            return next.clamp(bracket.0, bracket.1);
        }
        celsius = if next > cool && next < hot {
            next
        } else {
            0.5 * (cool + hot)
        };
    }
    celsius
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::reference_values::{COMPUTED, PRINTED};
    use super::*;

    #[test]
    fn voltages_are_those_of_an_independent_library() {
        for (kind, values) in COMPUTED {
            for &(celsius, millivolts) in values {
                let ours = kind.millivolts(Celsius(celsius)).unwrap();
                assert!(
                    (ours - millivolts).abs() < 1e-9,
                    "{kind:?} {celsius}: {ours}"
                );
            }
        }
    }

    #[test]
    fn temperatures_are_those_of_an_independent_library() {
        for (kind, values) in COMPUTED {
            let thermocouple = Thermocouple::new(kind);
            let (coolest, hottest) = kind.inverse_range();
            for &(celsius, millivolts) in values {
                // The reference values are rounded and may lie just beyond the ends.
                if celsius <= coolest.0 || celsius >= hottest.0 {
                    continue;
                }
                let ours = thermocouple.temperature(millivolts).unwrap().0;
                assert!((ours - celsius).abs() < 1e-4, "{kind:?} {celsius}: {ours}");
            }
        }
    }

    /// What was rounded to the printed microvolt lies within half a microvolt of it.
    #[test]
    fn printed_tables_hold_to_the_ends_of_the_ranges() {
        for (kind, values) in PRINTED {
            let thermocouple = Thermocouple::new(kind);
            for &(celsius, millivolts) in values {
                let ours = kind.millivolts(Celsius(celsius)).unwrap();
                assert!(
                    (ours - millivolts).abs() < 0.000_51,
                    "{kind:?} {celsius}: {ours}"
                );
                if let Ok(cool) = thermocouple.temperature(millivolts - 0.000_51) {
                    assert!(cool.0 <= celsius, "{kind:?} {celsius}: {cool:?}");
                }
                if let Ok(hot) = thermocouple.temperature(millivolts + 0.000_51) {
                    assert!(hot.0 >= celsius, "{kind:?} {celsius}: {hot:?}");
                }
            }
        }
    }

    #[test]
    fn the_ends_of_the_range_belong_to_it_and_nothing_beyond() {
        for kind in ThermocoupleType::ALL {
            let thermocouple = Thermocouple::new(kind);
            let (coolest, hottest) = kind.inverse_range();
            let (lowest, highest) = (
                kind.millivolts(coolest).unwrap(),
                kind.millivolts(hottest).unwrap(),
            );
            assert!((thermocouple.temperature(lowest).unwrap().0 - coolest.0).abs() < 1e-6);
            assert!((thermocouple.temperature(highest).unwrap().0 - hottest.0).abs() < 1e-6);
            for millivolts in [lowest - 1e-6, highest + 1e-6, f64::NAN, f64::NEG_INFINITY] {
                assert!(
                    thermocouple.temperature(millivolts).is_err(),
                    "{kind:?} {millivolts}"
                );
            }
            let (from, to) = kind.range();
            for celsius in [from.0 - 1e-6, to.0 + 1e-6, f64::NAN] {
                assert!(thermocouple.compensated(lowest, Celsius(celsius)).is_err());
            }
        }
    }

    /// NIST Monograph 175: type B gives −0.003 mV (to the microvolt) at its lowest, 21 °C, and 0.000 mV
    /// both at 0 and at 42 °C, so that no temperature is read from voltages like these.
    #[test]
    fn type_b_is_ambiguous_when_cool() {
        let millivolts = |celsius| ThermocoupleType::B.millivolts(Celsius(celsius)).unwrap();
        assert!((millivolts(21.0) + 0.003).abs() < 0.000_51);
        assert!(millivolts(0.0).abs() < 0.000_51 && millivolts(42.0).abs() < 0.000_51);
        let thermocouple = Thermocouple::new(ThermocoupleType::B);
        assert!(thermocouple.temperature(0.0).is_err());
        assert!(thermocouple.temperature(millivolts(21.0)).is_err());
    }

    proptest! {
        #[test]
        fn there_and_back_is_the_same_over_the_whole_range(
            number in 0..ThermocoupleType::ALL.len(),
            share in 0.0..=1.0_f64,
        ) {
            let kind = ThermocoupleType::ALL[number];
            let (from, to) = kind.inverse_range();
            let celsius = (from.0 + share * (to.0 - from.0)).min(to.0);
            let millivolts = kind.millivolts(Celsius(celsius)).unwrap();
            let back = Thermocouple::new(kind).temperature(millivolts).unwrap().0;
            prop_assert!((back - celsius).abs() < 1e-6, "{kind:?} {celsius} {back}");
        }

        #[test]
        fn more_volts_are_more_degrees(
            number in 0..ThermocoupleType::ALL.len(),
            share in 0.0..1.0_f64,
            more in 1e-6..1.0_f64,
        ) {
            let thermocouple = Thermocouple::new(ThermocoupleType::ALL[number]);
            let span = thermocouple.highest - thermocouple.lowest;
            let low = thermocouple.lowest + share * span;
            let high = low + more * (thermocouple.highest - low);
            let (cool, hot) = (
                thermocouple.temperature(low).unwrap(),
                thermocouple.temperature(high.min(thermocouple.highest)).unwrap(),
            );
            prop_assert!(cool.0 < hot.0, "{low} {high} {cool:?} {hot:?}");
        }

        /// The law of intermediate temperatures: what the reference junction takes off is put back.
        #[test]
        fn a_warm_junction_changes_nothing(
            number in 0..ThermocoupleType::ALL.len(),
            celsius in 51.0..400.0,
            junction in 0.0..50.0,
        ) {
            let kind = ThermocoupleType::ALL[number];
            let measured = kind.millivolts(Celsius(celsius)).unwrap()
                - kind.millivolts(Celsius(junction)).unwrap();
            let ours = Thermocouple::new(kind).compensated(measured, Celsius(junction)).unwrap();
            prop_assert!((ours.0 - celsius).abs() < 1e-6, "{kind:?} {celsius} {ours:?}");
        }
    }
}
