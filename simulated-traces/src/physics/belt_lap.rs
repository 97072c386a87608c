//! The belt comes round still warm: its temperature along the dryer when it carries nothing.

use super::oven::{EMISSIVITY, STEFAN_BOLTZMANN, TrueOven, black_body};
use super::passage::{BeltSpeed, ZoneShifts};

/// The unloaded belt's temperature by position, once its laps repeat.
#[derive(Debug, Clone, PartialEq)]
pub struct BeltLap {
    /// Metres from where the heated length begins, and °C.
    points: Vec<(f64, f64)>,
}

/// Prints cover about half of the belt, and what they cover warms less from above.
const UNCOVERED: f64 = 0.5;
/// Metres of open belt before the heated length, and after it.
const BEFORE: f64 = 0.6;
const AFTER: f64 = 1.6;

impl BeltLap {
    /// The belt of an oven at a speed (m/s) that it has kept for long.
    pub fn steady(oven: &TrueOven, speed: f64) -> BeltLap {
        let length = oven.heated_length();
        let pieces = 160;
        let piece = (length + BEFORE + AFTER) / f64::from(pieces);
        let return_time = (length + BEFORE + AFTER) / speed.max(1e-4);
        let kept = (-return_time / oven.belt.return_cooling).exp();
        let mut start = oven.room.0;
        let mut points = Vec::new();
        for _ in 0..12 {
            points.clear();
            let mut celsius = start;
            points.push((-BEFORE, celsius));
            for number in 0..pieces {
                let middle = -BEFORE + (f64::from(number) + 0.5) * piece;
                celsius = warmed(oven, middle, celsius, piece / speed.max(1e-4));
                points.push((-BEFORE + f64::from(number + 1) * piece, celsius));
            }
            let back = oven.room.0 + kept * (celsius - oven.room.0);
            if (back - start).abs() < 0.01 {
                break;
            }
            start = back;
        }
        BeltLap { points }
    }

    /// The belt's temperature at a position.
    pub fn at(&self, position: f64) -> f64 {
        let after = self.points.partition_point(|point| point.0 <= position);
        match (
            after.checked_sub(1).map(|before| self.points[before]),
            self.points.get(after),
        ) {
            (Some((x0, a)), Some(&(x1, b))) => a + (position - x0) / (x1 - x0) * (b - a),
            (Some((_, last)), None) => last,
            (None, first) => first.map_or(f64::NAN, |first| first.1),
        }
    }
}

/// The belt after `seconds` about one place: it nears what it would become there exponentially.
fn warmed(oven: &TrueOven, position: f64, celsius: f64, seconds: f64) -> f64 {
    let around = oven.around(position, &[]);
    let kelvin = celsius + 273.15;
    let radiation = 4.0 * EMISSIVITY * STEFAN_BOLTZMANN * kelvin.powi(3);
    let own = black_body(celsius);
    let above = around.convection * (around.air - celsius)
        + EMISSIVITY * (around.walls + around.panels - own);
    let below = around.below_convection * (around.below_air - celsius)
        + EMISSIVITY * (around.below_walls - own);
    let heat = UNCOVERED * above + below;
    let strength =
        UNCOVERED * (around.convection + radiation) + around.below_convection + radiation;
    celsius + heat / strength * -(-seconds * strength / oven.belt.capacity).exp_m1()
}

/// Passages share a belt lap as long as belt and zones are steady; where they are not, the lap of the
/// speed at which the print is laid stands in.
pub(crate) fn lap_for(
    oven: &TrueOven,
    belt: &BeltSpeed,
    shifts: &ZoneShifts,
    when: f64,
) -> BeltLap {
    let speed = belt.at(when);
    if shifts.are_still() {
        return BeltLap::steady(oven, speed);
    }
    let mut shifted = oven.clone();
    for (zone, shift) in shifted.zones.iter_mut().zip(shifts.at(when)) {
        zone.air.0 += shift.air;
        if let Some(panel) = &mut zone.panel {
            panel.temperature.0 += shift.panel;
        }
    }
    BeltLap::steady(&shifted, speed)
}
