//! What surrounds a column at one moment: heat and vapour at its two faces.

use inkdwell_config::quantity::ZERO_CELSIUS_IN_KELVIN;

/// Heat that a face receives: a − b T + r − ε T_K⁴ in W/m².
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Face {
    pub(crate) a: f64,
    pub(crate) b: f64,
    pub(crate) r: f64,
    pub(crate) emission: f64,
}

/// Vapour that leaves a face: g φ − gw in kg/(m² s), gw being g times the humidity ratio of the air.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Breath {
    pub(crate) g: f64,
    pub(crate) gw: f64,
}

/// All that surrounds a column at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Surroundings {
    pub(crate) top: Face,
    pub(crate) bottom: Face,
    pub(crate) top_breath: Breath,
    pub(crate) bottom_breath: Breath,
}

impl Face {
    /// Heat received at a temperature in °C, and its derivative.
    #[inline]
    pub(crate) fn heat(&self, celsius: f64) -> (f64, f64) {
        let kelvin = celsius + ZERO_CELSIUS_IN_KELVIN;
        let cube = self.emission * kelvin * kelvin * kelvin;
        (
            self.a - self.b * celsius + self.r - cube * kelvin,
            -self.b - 4.0 * cube,
        )
    }
}

impl Surroundings {
    /// A share of the way to others, in a straight line.
    pub(crate) fn towards(&self, other: &Surroundings, share: f64) -> Surroundings {
        let mix = |from: f64, to: f64| from + share * (to - from);
        let face = |from: &Face, to: &Face| Face {
            a: mix(from.a, to.a),
            b: mix(from.b, to.b),
            r: mix(from.r, to.r),
            emission: mix(from.emission, to.emission),
        };
        let breath = |from: &Breath, to: &Breath| Breath {
            g: mix(from.g, to.g),
            gw: mix(from.gw, to.gw),
        };
        Surroundings {
            top: face(&self.top, &other.top),
            bottom: face(&self.bottom, &other.bottom),
            top_breath: breath(&self.top_breath, &other.top_breath),
            bottom_breath: breath(&self.bottom_breath, &other.bottom_breath),
        }
    }
}
