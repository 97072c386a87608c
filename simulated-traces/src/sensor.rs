//! What a sensor makes of a true temperature: it lags, errs, rounds, drops out, breaks.

use inkdwell_config::quantity::Celsius;
use inkdwell_cure::sensor::tolerance::{ToleranceClass, tolerance};
use inkdwell_cure::sensor::{Infrared, ThermocoupleType};

use crate::chance::Chance;

/// How a sensor errs; [`Flaws::none`] is one that does not.
#[derive(Debug, Clone, PartialEq)]
pub struct Flaws {
    /// Seconds in which it follows 63 % of a step.
    pub lag: f64,
    /// Standard deviation of its noise, in °C.
    pub noise: f64,
    /// What it rounds to, in °C or mV as it is written; 0: nothing.
    pub resolution: f64,
    /// Relative error of its gain, about 0 °C.
    pub gain: f64,
    /// By how much it reads too high, in °C, as a share of its class's tolerance: the limit of the class
    /// is not the same at every temperature.
    pub of_tolerance: f64,
    /// Thermocouple type and class whose tolerance counts.
    pub class: Option<(ThermocoupleType, ToleranceClass)>,
    /// By how much it reads too high besides, in °C.
    pub bias: f64,
    /// The optics, where it looks from afar.
    pub infrared: Option<Infrared>,
    /// Probability that a reading is missing.
    pub drop_out: f64,
    /// Probability that a reading is off by far.
    pub spike: f64,
}

impl Flaws {
    /// A sensor that shows what is true.
    pub fn none() -> Flaws {
        Flaws {
            lag: 0.0,
            noise: 0.0,
            resolution: 0.0,
            gain: 0.0,
            of_tolerance: 0.0,
            class: None,
            bias: 0.0,
            infrared: None,
            drop_out: 0.0,
            spike: 0.0,
        }
    }

    /// A thermocouple of a type and class: thin wire that lags by a quarter of a second, rounds to 0.1 °C,
    /// and errs by anything within its class, all alike (a rectangular distribution).
    pub fn thermocouple(
        kind: ThermocoupleType,
        class: ToleranceClass,
        chance: &mut Chance,
    ) -> Flaws {
        Flaws {
            lag: 0.25,
            noise: 0.12,
            resolution: 0.1,
            of_tolerance: chance.between(-1.0, 1.0),
            class: Some((kind, class)),
            ..Flaws::none()
        }
    }

    /// An infrared probe: quick, rounding to 0.1 °C, with the optics given.
    pub fn infrared(optics: Infrared) -> Flaws {
        Flaws {
            lag: 0.1,
            noise: 0.25,
            resolution: 0.1,
            infrared: Some(optics),
            ..Flaws::none()
        }
    }
}

/// What a sensor says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Said {
    /// A temperature in °C (not yet rounded: that depends on the unit written).
    Celsius(f64),
    /// Nothing.
    Nothing,
    /// That its wire is open.
    Open,
}

/// A sensor at work.
#[derive(Debug, Clone)]
pub struct Sensor {
    flaws: Flaws,
    chance: Chance,
    /// Time, lagged and true temperature of the last look.
    last: Option<(f64, f64, f64)>,
}

impl Sensor {
    /// A sensor with its flaws and chances.
    pub fn new(flaws: Flaws, chance: Chance) -> Sensor {
        Sensor {
            flaws,
            chance,
            last: None,
        }
    }

    /// Its flaws.
    pub fn flaws(&self) -> &Flaws {
        &self.flaws
    }

    /// What it says at a time (s) when the truth is so many °C. Times do not go backwards.
    pub fn look(&mut self, time: f64, celsius: f64) -> Said {
        let followed = self.follow(time, celsius);
        // The same draws whatever happens, so that one flaw more does not change the others.
        let noise = self.chance.noise(1.0);
        let drops = self.chance.happens(self.flaws.drop_out);
        let spikes = self.chance.happens(self.flaws.spike);
        let height = self.chance.between(60.0, 200.0);
        if drops {
            return Said::Nothing;
        }
        let spike = if spikes { height } else { 0.0 };
        Said::Celsius(self.shown(followed) + self.flaws.noise * noise + spike)
    }

    /// What it would show of a steady temperature, without noise.
    pub fn shown(&self, celsius: f64) -> f64 {
        let flaws = &self.flaws;
        let seen = flaws.infrared.map_or(celsius, |optics| {
            optics
                .shown(Celsius(celsius))
                .map_or(celsius, |shown| shown.0)
        });
        let allowed = flaws
            .class
            .and_then(|(kind, class)| tolerance(kind, class, Celsius(celsius)))
            .map_or(0.0, |allowed| allowed.0);
        seen * (1.0 + flaws.gain) + flaws.bias + flaws.of_tolerance * allowed
    }

    /// First-order lag behind a truth that is linear between looks: with time constant τ and slope s the
    /// lagged value y obeys y(t) = T(t) − sτ + (y₀ − T₀ + sτ) e^(−t/τ).
    fn follow(&mut self, time: f64, celsius: f64) -> f64 {
        let lag = self.flaws.lag;
        let followed = match self.last {
            Some((before, lagged, truth)) if lag > 0.0 && time > before => {
                let step = time - before;
                let behind = (celsius - truth) / step * lag;
                celsius - behind + (lagged - truth + behind) * (-step / lag).exp()
            }
            Some((before, lagged, _)) if lag > 0.0 && time <= before => lagged,
            _ => celsius,
        };
        self.last = Some((time, followed, celsius));
        followed
    }
}

/// Rounds to a resolution; 0 rounds nothing.
pub fn rounded(value: f64, resolution: f64) -> f64 {
    if resolution > 0.0 {
        (value / resolution).round() * resolution
    } else {
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ramp_is_followed_behind_by_slope_times_lag() {
        // First-order system, any control text: after the start has died away a ramp is followed at a
        // distance of slope times time constant.
        let flaws = Flaws {
            lag: 2.0,
            ..Flaws::none()
        };
        let mut sensor = Sensor::new(flaws, Chance::new(1, "lag"));
        let mut said = Said::Nothing;
        for step in 0..=400 {
            let time = 0.1 * f64::from(step);
            said = sensor.look(time, 20.0 + 3.0 * time);
        }
        let Said::Celsius(celsius) = said else {
            panic!("{said:?}");
        };
        assert!(
            (celsius - (20.0 + 3.0 * 40.0 - 6.0)).abs() < 1e-6,
            "{celsius}"
        );
    }

    #[test]
    fn a_step_is_followed_by_63_percent_in_one_lag() {
        let flaws = Flaws {
            lag: 1.5,
            ..Flaws::none()
        };
        let mut sensor = Sensor::new(flaws, Chance::new(1, "lag"));
        sensor.look(0.0, 0.0);
        sensor.look(1e-9, 100.0);
        // 1 − 1/e.
        let said = sensor.look(1.5, 100.0);
        let Said::Celsius(celsius) = said else {
            panic!("{said:?}");
        };
        assert!((celsius - 63.212_055_9).abs() < 1e-4, "{celsius}");
    }

    #[test]
    fn class_2_errors_fill_the_tolerance_evenly() {
        // IEC 60584-1 class 2, type K at 150 °C: ±2.5 °C. A rectangular distribution of half-width a has
        // the standard deviation a/√3 (JCGM 100:2008, 4.3.7).
        let mut chance = Chance::new(3, "class");
        let count = 4000;
        let errors: Vec<f64> = (0..count)
            .map(|_| {
                let flaws =
                    Flaws::thermocouple(ThermocoupleType::K, ToleranceClass::Two, &mut chance);
                Sensor::new(flaws, Chance::new(0, "unused")).shown(150.0) - 150.0
            })
            .collect();
        assert!(errors.iter().all(|error| error.abs() <= 2.5));
        assert!(
            errors.iter().any(|error| *error > 2.4) && errors.iter().any(|error| *error < -2.4)
        );
        let square = errors.iter().map(|error| error * error).sum::<f64>() / f64::from(count);
        let deviation = 2.5 / 3.0_f64.sqrt();
        assert!(
            (square.sqrt() / deviation - 1.0).abs() < 0.05,
            "{}",
            square.sqrt()
        );
    }

    #[test]
    fn noise_and_drop_outs_come_as_often_as_told() {
        let flaws = Flaws {
            noise: 0.5,
            drop_out: 0.1,
            ..Flaws::none()
        };
        let mut sensor = Sensor::new(flaws, Chance::new(5, "noise"));
        let count = 10_000;
        let said: Vec<Said> = (0..count)
            .map(|n| sensor.look(f64::from(n), 100.0))
            .collect();
        let heard: Vec<f64> = said
            .iter()
            .filter_map(|said| match said {
                Said::Celsius(celsius) => Some(celsius - 100.0),
                _ => None,
            })
            .collect();
        // Binomial: 1000 missing with a deviation of 30; five of them.
        assert!((f64::from(count) - heard.len() as f64 - 1000.0).abs() < 150.0);
        let square = heard.iter().map(|error| error * error).sum::<f64>() / heard.len() as f64;
        assert!(
            (square.sqrt() / 0.5 - 1.0).abs() < 0.04,
            "{}",
            square.sqrt()
        );
    }
}
