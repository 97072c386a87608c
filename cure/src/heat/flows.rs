//! What flows between the nodes of a column and through its faces, and how that changes with their
//! temperatures and water. The equations stand in `column`.

use super::blocks::Block;
use super::column::Link;
use super::moisture::Hold;
use super::properties::{LATENT_HEAT_AT_ZERO, VAPOUR_SPECIFIC_HEAT};
use super::surroundings::{Breath, Face};

/// Heat and vapour that a link passes down.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Flow {
    /// In W/m² and kg/(m² s).
    pub(crate) down: [f64; 2],
    /// Derivatives by temperature and water of the node above.
    pub(crate) by_upper: Block,
    /// The same of the node below.
    pub(crate) by_lower: Block,
}

impl Link {
    /// What passes between two nodes, each with its temperature in °C.
    #[inline]
    pub(crate) fn flow(&self, upper: (f64, &Hold), lower: (f64, &Hold)) -> Flow {
        let vapour = self.vapour * (upper.1.push - lower.1.push);
        let enthalpy = vapour_enthalpy(0.5 * (upper.0 + lower.0));
        let carried = 0.5 * VAPOUR_SPECIFIC_HEAT * vapour;
        let derivative = |hold: &Hold, heat: f64, conductance: f64| {
            let by_temperature = conductance * hold.by_temperature;
            let by_water = conductance * hold.by_water;
            [
                heat + by_temperature * enthalpy + carried,
                by_water * enthalpy,
                by_temperature,
                by_water,
            ]
        };
        Flow {
            down: [self.heat * (upper.0 - lower.0) + vapour * enthalpy, vapour],
            by_upper: derivative(upper.1, self.heat, self.vapour),
            by_lower: derivative(lower.1, -self.heat, -self.vapour),
        }
    }
}

/// Heat that comes through a face, without vapour's, as a straight line about a temperature.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Warming {
    /// In W/m².
    pub(crate) heat: f64,
    /// By temperature, in W/(m² K).
    pub(crate) slope: f64,
}

impl Face {
    /// Heat received about a temperature in °C.
    #[inline]
    pub(crate) fn warming(&self, celsius: f64) -> Warming {
        let (heat, slope) = self.heat(celsius);
        Warming { heat, slope }
    }
}

impl Warming {
    /// The heat after a change of temperature.
    #[inline]
    pub(crate) fn after(&self, change: f64) -> f64 {
        self.heat + self.slope * change
    }
}

/// Vapour that leaves through a face, as a straight line about a temperature and a water.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Leaving {
    /// Heat and water, in W/m² and kg/(m² s).
    pub(crate) flow: [f64; 2],
    /// Derivatives by temperature and water.
    pub(crate) by: Block,
}

impl Breath {
    /// What leaves a node at a temperature in °C.
    #[inline]
    pub(crate) fn leaving(&self, hold: &Hold, celsius: f64) -> Leaving {
        let vapour = self.g * hold.push - self.gw;
        let enthalpy = vapour_enthalpy(celsius);
        let by_temperature = self.g * hold.by_temperature;
        let by_water = self.g * hold.by_water;
        Leaving {
            flow: [vapour * enthalpy, vapour],
            by: [
                by_temperature * enthalpy + vapour * VAPOUR_SPECIFIC_HEAT,
                by_water * enthalpy,
                by_temperature,
                by_water,
            ],
        }
    }
}

impl Leaving {
    #[inline]
    fn add(&mut self, other: &Leaving) {
        self.flow[0] += other.flow[0];
        self.flow[1] += other.flow[1];
        for (sum, entry) in self.by.iter_mut().zip(&other.by) {
            *sum += entry;
        }
    }

    /// Heat that comes in leaves with the opposite sign.
    #[inline]
    fn receive(&mut self, warming: &Warming) {
        self.flow[0] -= warming.heat;
        self.by[0] -= warming.slope;
    }

    /// Heat and water after a change of temperature and water.
    #[inline]
    pub(crate) fn after(&self, [celsius, water]: [f64; 2]) -> [f64; 2] {
        [
            self.flow[0] + self.by[0] * celsius + self.by[1] * water,
            self.flow[1] + self.by[2] * celsius + self.by[3] * water,
        ]
    }
}

/// Enthalpy of vapour at a temperature in °C, in J/kg.
#[inline]
fn vapour_enthalpy(celsius: f64) -> f64 {
    LATENT_HEAT_AT_ZERO + VAPOUR_SPECIFIC_HEAT * celsius
}

/// What crosses the faces: heat in W/m², water in kg/(m² s).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Crossing {
    /// Heat in through the top, without that of vapour.
    pub(crate) heat_top: f64,
    /// Heat in through the bottom, without that of vapour.
    pub(crate) heat_bottom: f64,
    /// Enthalpy that vapour takes away.
    pub(crate) vapour_heat: f64,
    /// Water out through the top.
    pub(crate) water_top: f64,
    /// Water out below.
    pub(crate) water_bottom: f64,
}

/// All that goes through the two faces, as straight lines about a state.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Faces {
    pub(crate) top: Warming,
    pub(crate) bottom: Warming,
    pub(crate) top_leaving: Leaving,
    pub(crate) bottom_leaving: Leaving,
}

impl Faces {
    /// What leaves a node through the faces on balance, with derivatives.
    #[inline]
    pub(crate) fn through(&self, node: usize, lowest_cloth: usize, last: usize) -> Leaving {
        let mut sum = Leaving::default();
        if node == 0 {
            sum.add(&self.top_leaving);
            sum.receive(&self.top);
        }
        if node == lowest_cloth {
            sum.add(&self.bottom_leaving);
        }
        if node == last {
            sum.receive(&self.bottom);
        }
        sum
    }

    /// What crosses them after changes of the topmost node, of the lowest of cloth, and of the last.
    pub(crate) fn after(&self, top: [f64; 2], lowest_cloth: [f64; 2], last: [f64; 2]) -> Crossing {
        let [heat_with_top, water_top] = self.top_leaving.after(top);
        let [heat_with_bottom, water_bottom] = self.bottom_leaving.after(lowest_cloth);
        Crossing {
            heat_top: self.top.after(top[0]),
            heat_bottom: self.bottom.after(last[0]),
            vapour_heat: heat_with_top + heat_with_bottom,
            water_top,
            water_bottom,
        }
    }
}
