//! A print cut into nodes through its thickness, and the flows between them.
//!
//! Nodes lie on the surfaces and between them; each stands for the half of the matter on either side,
//! which is second order in space and puts a node exactly where ink meets cloth. For node i, by area:
//!
//!   dH_i/dt = q_{i−1} − q_i + e(T̄_{i−1}) j_{i−1} − e(T̄_i) j_i     (heat, W/m²)
//!   dm_i/dt = j_{i−1} − j_i                                       (water, kg/(m² s))
//!   q_i = K_i (T_i − T_{i+1}),   j_i = G_i (φ_i − φ_{i+1})
//!   H_i = (C_i + c_w m_i) T_i − s_i Q(m_i/s_i)
//!
//! with C the heat capacity of the dry matter (J/(m² K)), c_w that of liquid water, s the dry matter
//! that holds the water (kg/m²), Q its heat of binding, φ the push of the water (see `moisture`), K
//! and G the conductances for heat and vapour, and e(T) = 2501 kJ/kg + 1.86 kJ/(kg K) T the enthalpy
//! of vapour, taken at the mean of the two nodes. Temperatures are in °C.
//!
//! At the two faces heat comes as a − b T + r − ε T_K⁴ (convection from any number of airs and
//! radiation from any number of surfaces add up to these four numbers), and vapour leaves as
//! g (φ − W) into air of humidity ratio W, taking its enthalpy along.

use super::moisture::Store;
use super::properties::WATER_SPECIFIC_HEAT;

/// The matter that one node stands for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Node {
    /// C: heat capacity of the dry matter in J/(m² K).
    pub(crate) capacity: f64,
    /// s: dry matter that holds water, in kg/m².
    pub(crate) matter: f64,
    /// How it holds it.
    pub(crate) store: Store,
}

impl Node {
    /// Matter that holds no water.
    pub(crate) const fn dry(capacity: f64) -> Node {
        Node {
            capacity,
            matter: 0.0,
            store: Store::Dry,
        }
    }
}

/// What ties a node to the next one down.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Link {
    /// K in W/(m² K).
    pub(crate) heat: f64,
    /// G in kg/(m² s) for each unit of φ.
    pub(crate) vapour: f64,
}

/// Nodes from top to bottom.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Column {
    pub(crate) nodes: Vec<Node>,
    /// One fewer than nodes.
    pub(crate) links: Vec<Link>,
    /// The lowest node from which vapour can leave downwards.
    pub(crate) lowest_cloth: usize,
    /// Where ink meets cloth (0 where there is no ink).
    pub(crate) interface: usize,
}

/// Temperatures (°C) and water (kg/m²) of all nodes.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct State {
    pub(crate) celsius: Vec<f64>,
    pub(crate) water: Vec<f64>,
}

/// What a node holds, and how that changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Contents {
    /// H in J/m².
    pub(crate) heat: f64,
    /// ∂H/∂T in J/(m² K).
    pub(crate) by_temperature: f64,
    /// ∂H/∂m in J/kg.
    pub(crate) by_water: f64,
}

impl Node {
    /// What the node holds at a temperature (°C) with so much water (kg/m²).
    #[inline]
    pub(crate) fn contents(&self, celsius: f64, water: f64) -> Contents {
        let (bound, binding) = self.store.binding(water);
        self.with_binding(celsius, water, bound, binding)
    }

    /// The same where the water's heat of binding (J/m²) and its slope by water (J/kg) are known.
    #[inline]
    pub(crate) fn with_binding(
        &self,
        celsius: f64,
        water: f64,
        bound: f64,
        binding: f64,
    ) -> Contents {
        let capacity = self.capacity + WATER_SPECIFIC_HEAT * water;
        Contents {
            heat: capacity * celsius - bound,
            by_temperature: capacity,
            by_water: WATER_SPECIFIC_HEAT * celsius - binding,
        }
    }
}

impl Contents {
    /// How fast the temperature changes, in K/s, where heat and water change at these rates.
    #[inline]
    pub(crate) fn slope(&self, [heat, water]: [f64; 2]) -> f64 {
        (heat - self.by_water * water) / self.by_temperature
    }
}

impl Column {
    /// Heat (J/m²) and water (kg/m²) that the column holds.
    pub(crate) fn held(&self, state: &State) -> [f64; 2] {
        let nodes = self.nodes.iter().zip(&state.celsius).zip(&state.water);
        nodes.fold([0.0; 2], |[heat, held], ((node, celsius), water)| {
            [heat + node.contents(*celsius, *water).heat, held + water]
        })
    }
}
