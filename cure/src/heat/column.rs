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

use inkdwell_config::quantity::ZERO_CELSIUS_IN_KELVIN;

use super::blocks::Blocks;
use super::moisture::{Hold, Store};
use super::properties::{LATENT_HEAT_AT_ZERO, VAPOUR_SPECIFIC_HEAT, WATER_SPECIFIC_HEAT};

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

/// Enthalpy of vapour at a temperature in °C, in J/kg.
#[inline]
fn vapour_enthalpy(celsius: f64) -> f64 {
    LATENT_HEAT_AT_ZERO + VAPOUR_SPECIFIC_HEAT * celsius
}

impl Node {
    /// H.
    #[inline]
    fn enthalpy(&self, celsius: f64, water: f64) -> f64 {
        (self.capacity + WATER_SPECIFIC_HEAT * water) * celsius - self.store.bound(water)
    }

    /// How fast the temperature changes, in K/s, where heat and water change at these rates.
    pub(crate) fn slope(&self, celsius: f64, water: f64, rates: [f64; 2]) -> f64 {
        let by_water = WATER_SPECIFIC_HEAT * celsius - self.store.binding(water);
        (rates[0] - by_water * rates[1]) / (self.capacity + WATER_SPECIFIC_HEAT * water)
    }
}

impl Column {
    /// The heat and water that each node holds (H, m).
    pub(crate) fn contents(&self, state: &State, contents: &mut [[f64; 2]]) {
        for (i, (node, content)) in self.nodes.iter().zip(contents).enumerate() {
            let water = state.water[i];
            *content = [node.enthalpy(state.celsius[i], water), water];
        }
    }

    /// The rates of change of each node's contents.
    pub(crate) fn rates(&self, state: &State, around: &Surroundings, rates: &mut [[f64; 2]]) {
        let mut holds = vec![Hold::default(); self.nodes.len()];
        let mut ledger = Ledger {
            rates,
            jacobian: None,
        };
        self.flows(state, around, &mut holds, &mut ledger);
    }

    /// What crosses the faces at one moment.
    pub(crate) fn crossing(&self, state: &State, around: &Surroundings) -> Crossing {
        let leaving = |i: usize, breath: &Breath| {
            let (celsius, water) = (state.celsius[i], state.water[i]);
            let node = &self.nodes[i];
            if node.matter == 0.0 {
                return (0.0, 0.0);
            }
            let out = breath.g * node.store.hold(celsius, water).push - breath.gw;
            (out, out * vapour_enthalpy(celsius))
        };
        let (water_top, heat_with_top) = leaving(0, &around.top_breath);
        let (water_bottom, heat_with_bottom) = leaving(self.lowest_cloth, &around.bottom_breath);
        let last = self.nodes.len() - 1;
        Crossing {
            heat_top: around.top.heat(state.celsius[0]).0,
            heat_bottom: around.bottom.heat(state.celsius[last]).0,
            vapour_heat: heat_with_top + heat_with_bottom,
            water_top,
            water_bottom,
        }
    }

    /// Sets up one step of Newton's method for contents − step · rates = known: the blocks hold the
    /// Jacobian and, on the right, what is missing.
    pub(crate) fn linearise(
        &self,
        state: &State,
        around: &Surroundings,
        (known, step): (&[[f64; 2]], f64),
        work: &mut Work,
    ) {
        let Work {
            rates,
            holds,
            blocks,
        } = work;
        blocks.diagonal.fill([0.0; 4]);
        let mut ledger = Ledger {
            rates,
            jacobian: Some((blocks, step)),
        };
        self.flows(state, around, holds, &mut ledger);
        for (i, node) in self.nodes.iter().enumerate() {
            let (celsius, water) = (state.celsius[i], state.water[i]);
            let capacity = node.capacity + WATER_SPECIFIC_HEAT * water;
            blocks.diagonal[i][0] += capacity;
            blocks.diagonal[i][1] += WATER_SPECIFIC_HEAT * celsius - holds[i].binding;
            blocks.diagonal[i][3] += 1.0;
            blocks.right[i] = [
                known[i][0] + step * rates[i][0] - (capacity * celsius - holds[i].bound),
                known[i][1] + step * rates[i][1] - water,
            ];
        }
    }

    /// Enters the flows of one moment.
    #[inline]
    fn flows(&self, state: &State, around: &Surroundings, holds: &mut [Hold], ledger: &mut Ledger) {
        ledger.rates.fill([0.0; 2]);
        for (i, (node, hold)) in self.nodes.iter().zip(holds.iter_mut()).enumerate() {
            *hold = node.store.hold(state.celsius[i], state.water[i]);
        }
        let (heat, slope) = around.top.heat(state.celsius[0]);
        ledger.receive(0, heat, slope);
        if self.nodes[0].matter > 0.0 {
            ledger.breathe(0, &around.top_breath, &holds[0], state.celsius[0]);
        }
        let lowest = self.lowest_cloth;
        if self.nodes[lowest].matter > 0.0 {
            let breath = &around.bottom_breath;
            ledger.breathe(lowest, breath, &holds[lowest], state.celsius[lowest]);
        }
        for (i, link) in self.links.iter().enumerate() {
            let celsius = (state.celsius[i], state.celsius[i + 1]);
            ledger.pass_down(i, link, celsius, (&holds[i], &holds[i + 1]));
        }
        let last = self.nodes.len() - 1;
        let (heat, slope) = around.bottom.heat(state.celsius[last]);
        ledger.receive(last, heat, slope);
    }
}

/// Room to set up and solve a step of Newton's method.
#[derive(Debug, Clone)]
pub(crate) struct Work {
    rates: Vec<[f64; 2]>,
    holds: Vec<Hold>,
    pub(crate) blocks: Blocks,
}

impl Work {
    pub(crate) fn new(nodes: usize) -> Work {
        Work {
            rates: vec![[0.0; 2]; nodes],
            holds: vec![Hold::default(); nodes],
            blocks: Blocks::new(nodes),
        }
    }
}

/// Where flows are entered: the rates of change and, for Newton's method, −step times their
/// derivatives.
struct Ledger<'a> {
    rates: &'a mut [[f64; 2]],
    jacobian: Option<(&'a mut Blocks, f64)>,
}

impl Ledger<'_> {
    /// Heat that a node receives through its face.
    #[inline]
    fn receive(&mut self, node: usize, heat: f64, slope: f64) {
        self.rates[node][0] += heat;
        if let Some((blocks, step)) = &mut self.jacobian {
            blocks.diagonal[node][0] -= *step * slope;
        }
    }

    /// Vapour that leaves a node into the air.
    #[inline]
    fn breathe(&mut self, node: usize, breath: &Breath, hold: &Hold, celsius: f64) {
        let water = breath.g * hold.push - breath.gw;
        let enthalpy = vapour_enthalpy(celsius);
        self.rates[node][0] -= water * enthalpy;
        self.rates[node][1] -= water;
        if let Some((blocks, step)) = &mut self.jacobian {
            let (by_temperature, by_water) = (
                *step * breath.g * hold.by_temperature,
                *step * breath.g * hold.by_water,
            );
            let diagonal = &mut blocks.diagonal[node];
            diagonal[0] += by_temperature * enthalpy + *step * water * VAPOUR_SPECIFIC_HEAT;
            diagonal[1] += by_water * enthalpy;
            diagonal[2] += by_temperature;
            diagonal[3] += by_water;
        }
    }

    /// Heat and vapour that go from node i to node i + 1.
    #[inline]
    fn pass_down(&mut self, i: usize, link: &Link, celsius: (f64, f64), hold: (&Hold, &Hold)) {
        let vapour = link.vapour * (hold.0.push - hold.1.push);
        let enthalpy = vapour_enthalpy(0.5 * (celsius.0 + celsius.1));
        let heat = link.heat * (celsius.0 - celsius.1) + vapour * enthalpy;
        self.rates[i][0] -= heat;
        self.rates[i][1] -= vapour;
        self.rates[i + 1][0] += heat;
        self.rates[i + 1][1] += vapour;
        if let Some((blocks, step)) = &mut self.jacobian {
            let carried = *step * 0.5 * VAPOUR_SPECIFIC_HEAT * vapour;
            let derivative = |hold: &Hold, sign: f64| {
                let by_temperature = *step * sign * link.vapour * hold.by_temperature;
                let by_water = *step * sign * link.vapour * hold.by_water;
                [
                    *step * sign * link.heat + by_temperature * enthalpy + carried,
                    by_water * enthalpy,
                    by_temperature,
                    by_water,
                ]
            };
            let (by_upper, by_lower) = (derivative(hold.0, 1.0), derivative(hold.1, -1.0));
            for entry in 0..4 {
                blocks.diagonal[i][entry] += by_upper[entry];
                blocks.diagonal[i + 1][entry] -= by_lower[entry];
            }
            blocks.above[i] = by_lower;
            blocks.below[i + 1] = by_upper.map(|value| -value);
        }
    }
}
