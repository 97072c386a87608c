//! A probe as the shop file declares it: what its numbers mean, and how far they may be off.
//!
//! A reading becomes °C, an infrared probe's is corrected for the surface's emissivity, and a calibration's
//! points (what was shown, what should have been) correct it by the straight line between two of them and
//! by the nearest beyond them.

use inkdwell_config::quantity::{Celsius, ZERO_CELSIUS_IN_KELVIN};
use inkdwell_config::shop::{Calibration, Probe, ReadingUnit, Sensor};

use super::tolerance::expanded_uncertainty;
use super::{Infrared, Thermocouple, ThermocoupleType, ToleranceClass, Uncertainty};

/// What an infrared probe's surface reflects where nothing is declared, in °C: the room.
pub const USUAL_REFLECTED: Celsius = Celsius(22.0);

/// Turns a probe's numbers into temperatures.
#[derive(Debug, Clone)]
pub struct Meter {
    unit: ReadingUnit,
    thermocouple: Option<Thermocouple>,
    infrared: Option<Infrared>,
    /// Shown and true, rising, in °C.
    correction: Vec<(f64, f64)>,
}

impl Meter {
    /// The meter of a probe.
    pub fn new(probe: &Probe) -> Meter {
        let thermocouple = match (probe.unit, probe.sensor) {
            (ReadingUnit::Millivolts, Some(Sensor::Thermocouple { kind, .. })) => {
                ThermocoupleType::from_letter(kind).map(Thermocouple::new)
            }
            _ => None,
        };
        let mut meter = Meter {
            unit: probe.unit,
            thermocouple,
            infrared: probe.sensor.and_then(infrared),
            correction: Vec::new(),
        };
        if let Some(calibration) = &probe.calibration {
            meter.calibrate(calibration);
        }
        meter
    }

    /// Takes the points of a calibration in place of those before.
    pub fn calibrate(&mut self, calibration: &Calibration) {
        let points = calibration.points.iter();
        self.correction = points.map(|(shown, right)| (shown.0, right.0)).collect();
    }

    /// Whether its numbers mean nothing without a reference junction's temperature.
    pub fn needs_junction(&self) -> bool {
        self.unit == ReadingUnit::Millivolts
    }

    /// The temperature of a reading; `None` where it is none, such as millivolts that no temperature gives
    /// or an infrared signal that reflection alone explains.
    pub fn celsius(&self, reading: f64, junction: Option<Celsius>) -> Option<Celsius> {
        let shown = match self.unit {
            ReadingUnit::Celsius => Celsius(reading),
            ReadingUnit::Fahrenheit => Celsius((reading - 32.0) / 1.8),
            ReadingUnit::Kelvin => Celsius(reading - ZERO_CELSIUS_IN_KELVIN),
            ReadingUnit::Millivolts => {
                let junction = junction.unwrap_or(Celsius(0.0));
                let thermocouple = self.thermocouple.as_ref()?;
                thermocouple.compensated(reading, junction).ok()?
            }
        };
        let surface = match &self.infrared {
            // Where the probe is set to the surface's own emissivity nothing changes, bit for bit.
            Some(infrared) if infrared.set_emissivity != infrared.emissivity => {
                infrared.corrected(shown).ok()?
            }
            _ => shown,
        };
        Some(Celsius(self.corrected(surface.0)))
    }

    fn corrected(&self, shown: f64) -> f64 {
        let points = &self.correction;
        let (Some(first), Some(last)) = (points.first(), points.last()) else {
            return shown;
        };
        if shown <= first.0 {
            return shown + (first.1 - first.0);
        }
        if shown >= last.0 {
            return shown + (last.1 - last.0);
        }
        let after = points.partition_point(|point| point.0 <= shown);
        let (a, b) = (points[after - 1], points[after]);
        let share = (shown - a.0) / (b.0 - a.0);
        shown + (a.1 - a.0) + share * ((b.1 - b.0) - (a.1 - a.0))
    }
}

fn infrared(sensor: Sensor) -> Option<Infrared> {
    let Sensor::Infrared {
        set_emissivity,
        emissivity,
        emissivity_uncertainty,
        reflected,
        band,
    } = sensor
    else {
        return None;
    };
    Some(Infrared {
        set_emissivity,
        emissivity,
        emissivity_uncertainty,
        reflected: reflected.unwrap_or(USUAL_REFLECTED),
        band: (band.0.0, band.1.0),
    })
}

/// The expanded uncertainty (k = 2) that the shop file gives a probe: its own figure, else its sensor's, with
/// the calibration's in quadrature; `None` where nothing is said. That of an infrared probe is reckoned
/// where it matters, at `near`.
pub fn declared_uncertainty(probe: &Probe, near: Celsius) -> Option<Uncertainty> {
    let own = match (probe.uncertainty, probe.sensor) {
        (Some(uncertainty), _) => Uncertainty::constant(uncertainty),
        (None, Some(Sensor::Thermocouple { kind, class })) => {
            let class = match class {
                1 => ToleranceClass::One,
                2 => ToleranceClass::Two,
                _ => ToleranceClass::Three,
            };
            expanded_uncertainty(ThermocoupleType::from_letter(kind)?, class)?
        }
        (None, Some(sensor)) => {
            let infrared = infrared(sensor)?;
            Uncertainty::constant(infrared.uncertainty(near).ok()?)
        }
        (None, None) => return None,
    };
    let calibration = probe.calibration.as_ref();
    let calibration = calibration.and_then(|calibration| calibration.uncertainty);
    Some(calibration.map_or(own, |calibration| own.combined(calibration)))
}

#[cfg(test)]
mod tests {
    use inkdwell_config::shop::Shop;

    use super::*;

    fn probe(keys: &str) -> Probe {
        let text = format!(
            "[[station]]\nid = \"belt-1\"\nkind = \"belt-dryer\"\nbelt = \"2 m/min\"\n\
             heated_length = \"2 m\"\nzones = [ {{ length = \"2 m\", air = \"190 C\" }} ]\n\
             [[probe]]\nid = \"film\"\nstation = \"belt-1\"\nplace = \"ride\"\n{keys}"
        );
        let checked = Shop::parse("x", &text);
        assert_eq!(checked.problems, vec![]);
        checked.value.probes.into_iter().next().unwrap()
    }

    fn reads(keys: &str, reading: f64, junction: Option<f64>) -> f64 {
        let meter = Meter::new(&probe(keys));
        meter.celsius(reading, junction.map(Celsius)).unwrap().0
    }

    /// NIST SP 811, appendix B.8: t/°C = (t/°F − 32)/1.8 and t/°C = T/K − 273.15. NIST Monograph 175, type K:
    /// 6.540 mV at 160 °C and 1.000 mV at 25 °C, both to the table's last digit, 0.0005 mV or 0.012 °C.
    #[test]
    fn each_unit_becomes_celsius() {
        assert_eq!(reads("unit = \"C\"\n", 160.0, None), 160.0);
        assert!((reads("unit = \"F\"\n", 320.0, None) - 160.0).abs() < 1e-9);
        assert!((reads("unit = \"K\"\n", 433.15, None) - 160.0).abs() < 1e-9);
        let millivolts = "unit = \"mV\"\nsensor = { kind = \"thermocouple\", type = \"K\" }\n";
        assert!((reads(millivolts, 6.540, None) - 160.0).abs() < 0.025);
        assert!((reads(millivolts, 5.540, Some(25.0)) - 160.0).abs() < 0.05);
    }

    /// Of points 100 -> 101.2 and 160 -> 161.8 the correction is 1.2 °C up to 100, 1.5 °C half-way between
    /// and 1.8 °C from 160 on.
    #[test]
    fn a_calibration_corrects_between_its_points_and_beyond() {
        let keys = "[probe.calibration]\npoints = [[\"100 C\", \"101.2 C\"], [\"160 C\", \"161.8 C\"]]\n\
                    date = \"2026-02-02\"\nby = \"the shop\"\nuncertainty = \"0.8 C\"\n";
        for (shown, right) in [(20.0, 21.2), (100.0, 101.2), (130.0, 131.5), (200.0, 201.8)] {
            assert!((reads(keys, shown, None) - right).abs() < 1e-9, "{shown}");
        }
    }

    #[test]
    fn what_no_temperature_gives_is_none() {
        let keys = "unit = \"mV\"\nsensor = { kind = \"thermocouple\", type = \"K\" }\n";
        assert_eq!(Meter::new(&probe(keys)).celsius(500.0, None), None);
    }

    /// 0.8 °C of the calibration beside 1.5 °C of the probe: √(0.8² + 1.5²) = 1.7.
    #[test]
    fn a_calibrations_doubt_is_added_in_quadrature() {
        let keys = "uncertainty = \"1.5 C\"\n[probe.calibration]\npoints = [[\"100 C\", \"101.2 C\"]]\n\
                    date = \"2026-02-02\"\nby = \"the shop\"\nuncertainty = \"0.8 C\"\n";
        let doubt = declared_uncertainty(&probe(keys), Celsius(160.0)).unwrap();
        assert!((doubt.at(160.0) - 1.7).abs() < 1e-12);
        assert_eq!(declared_uncertainty(&probe(""), Celsius(160.0)), None);
    }
}
