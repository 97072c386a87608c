//! What flows between cells and through both faces: heat, vapour and liquid water.
//!
//! With T in °C and w in kg/m², for every cell
//!
//!   C dT/dt = Σ heat in − Σ J (h_v − c_w T + q)     and     dw/dt = −Σ J − Σ L,
//!
//! where J is vapour that leaves, h_v its enthalpy, q the heat that held it, and L liquid that leaves.

use super::blocks::Blocks;
use super::column::{Backing, Column, Local, State, vapour_resistance};
use super::oven::{EMISSIVITY, STEFAN_BOLTZMANN, Surroundings, black_body};
use super::water::{GAS_CONSTANT, LIQUID_HEAT, VAPOUR_HEAT, vapour_enthalpy};

/// ρ c Le^(2/3) of warm air over its own temperature dependence is taken from these: 1007 J/(kg K),
/// Lewis number 0.87, both from memory.
const AIR_HEAT: f64 = 1007.0;
const LEWIS: f64 = 0.87;
/// Gas constant of dry air in J/(kg K).
const AIR_GAS_CONSTANT: f64 = 287.05;

/// Steam that is shut in between film and platen escapes sideways through the cloth, as through a
/// centimetre of air, in kg/(m² s Pa). No source.
const PLATEN_LEAK: f64 = 1.4e-8;

/// What happens at a face towards the air.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Face {
    /// Temperature of the surface in °C.
    pub(crate) surface: f64,
    /// Heat that comes in, without what vapour carries, in W/m².
    pub(crate) heat: f64,
    /// Its slope by the temperature of the cell.
    pub(crate) slope: f64,
    /// Vapour that leaves, in kg/(m² s), and its slope by the cell's push ψ.
    pub(crate) vapour: f64,
    pub(crate) vapour_slope: f64,
}

/// Rates of change, and what came in from outside.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rates {
    pub(crate) celsius: Vec<f64>,
    pub(crate) water: Vec<f64>,
    /// Heat that comes in from outside, less the enthalpy of the vapour that leaves, in W/m².
    pub(crate) power: f64,
    /// Water that leaves, in kg/(m² s).
    pub(crate) drying: f64,
    /// The upper face.
    pub(crate) top: Face,
    /// Temperature where the film meets the cloth (the surface where there is no film).
    pub(crate) film_bottom: f64,
    /// How power and drying change with the cells that meet the outside; filled with the derivatives.
    pub(crate) outlets: Vec<Outlet>,
    locals: Vec<Local>,
}

/// Where a cell meets the outside: derivatives by its temperature and water.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Outlet {
    pub(crate) cell: usize,
    pub(crate) power: [f64; 2],
    pub(crate) drying: [f64; 2],
}

/// One face of the column: its air, and how strongly it passes heat and vapour.
struct Outside {
    air: f64,
    convection: f64,
    /// What is radiated to it, as a black body's emission, and the emissivity with which it takes part.
    walls: f64,
    emissivity: f64,
    /// Push of the vapour in the air.
    vapour: f64,
    /// Share of the face that breathes.
    openness: f64,
}

impl Rates {
    /// Computes the rates of a state in its surroundings; `blowing` is the vapour that left the top a
    /// moment ago. Where `blocks` are given, their derivatives are added up in them.
    pub(crate) fn evaluate(
        &mut self,
        column: &Column,
        state: &State,
        around: &Surroundings,
        blowing: f64,
        mut blocks: Option<&mut Blocks>,
    ) {
        let count = column.cells.len();
        self.locals.clear();
        self.locals.extend((0..count).map(|number| {
            column.cells[number].local(
                state.celsius[number],
                state.water[number],
                state.core[number],
            )
        }));
        self.celsius.clear();
        self.celsius.extend(
            column
                .cells
                .iter()
                .map(|cell| cell.absorbed * around.panels),
        );
        self.power = self.celsius.iter().sum();
        self.drying = 0.0;
        self.film_bottom = f64::NAN;
        self.water.clear();
        self.water.resize(count, 0.0);
        if let Some(blocks) = blocks.as_deref_mut() {
            blocks.clear(count);
            self.outlets.clear();
        }
        self.inner_links(column, state, &mut blocks);
        self.top_face(state, around, blowing, &mut blocks);
        self.bottom_face(column, state, around, &mut blocks);
        for (rate, local) in self.celsius.iter_mut().zip(&self.locals) {
            *rate /= local.capacity;
        }
        if let Some(blocks) = blocks {
            for (number, local) in self.locals.iter().enumerate() {
                blocks.divide_heat(number, local.capacity);
            }
        }
    }

    fn inner_links(&mut self, column: &Column, state: &State, blocks: &mut Option<&mut Blocks>) {
        for upper in 0..column.cells.len() - 1 {
            let (above, below) = (self.locals[upper], self.locals[upper + 1]);
            let warm = 0.5 * (state.celsius[upper] + state.celsius[upper + 1]);
            let mut resistance = above.half + below.half;
            let mut vapour = above.vapour_half + below.vapour_half;
            let gap = column.cells[upper].gap;
            if gap > 0.0 {
                resistance += 1.0 / gap_conductance(gap, warm);
                vapour += vapour_resistance(gap, warm);
            }
            if upper + 2 == column.cells.len()
                && let Backing::Belt { contact, .. } = column.backing
            {
                resistance += 1.0 / contact;
            }
            let link = Link {
                upper,
                heat: 1.0 / resistance,
                vapour: if vapour.is_finite() {
                    1.0 / vapour
                } else {
                    0.0
                },
                liquid: liquid_conductance(&above, &below),
                solids: [column.cells[upper].dry, column.cells[upper + 1].dry],
                warm,
            };
            self.pass(&link, state, blocks);
            if upper + 1 == column.film {
                let share = above.half / resistance;
                self.film_bottom = state.celsius[upper]
                    + share * (state.celsius[upper + 1] - state.celsius[upper]);
            }
        }
    }

    /// Lets heat, vapour and liquid pass from one cell to the next.
    fn pass(&mut self, link: &Link, state: &State, blocks: &mut Option<&mut Blocks>) {
        let (i, j) = (link.upper, link.upper + 1);
        let (above, below) = (self.locals[i], self.locals[j]);
        let heat = link.heat * (state.celsius[i] - state.celsius[j]);
        let vapour = link.vapour * (above.push.value - below.push.value);
        let liquid = link.liquid * (above.u - below.u);
        let carried = vapour_enthalpy(link.warm);
        let lost = carried - LIQUID_HEAT * state.celsius[i] + above.binding;
        let gained = carried - LIQUID_HEAT * state.celsius[j] + below.binding;
        let stirred = LIQUID_HEAT * (state.celsius[i] - state.celsius[j]);
        self.celsius[i] -= heat + vapour * lost;
        self.celsius[j] += heat + vapour * gained;
        // Liquid arrives as warm as it left.
        if liquid > 0.0 {
            self.celsius[j] += liquid * stirred;
        } else {
            self.celsius[i] += liquid * stirred;
        }
        self.water[i] -= vapour + liquid;
        self.water[j] += vapour + liquid;
        if let Some(blocks) = blocks {
            let by_own = [
                link.vapour * above.push.by_celsius,
                link.vapour * above.push.by_water + link.liquid / link.solids[0],
            ];
            let by_other = [
                -link.vapour * below.push.by_celsius,
                -link.vapour * below.push.by_water - link.liquid / link.solids[1],
            ];
            let vapour_only = |by: [f64; 2], from_liquid: f64| [by[0], by[1] - from_liquid];
            let own_vapour = vapour_only(by_own, link.liquid / link.solids[0]);
            let other_vapour = vapour_only(by_other, -link.liquid / link.solids[1]);
            blocks.add_link(
                i,
                link.heat,
                [own_vapour, other_vapour],
                [lost, gained],
                [by_own, by_other],
            );
        }
    }

    fn top_face(
        &mut self,
        state: &State,
        around: &Surroundings,
        blowing: f64,
        blocks: &mut Option<&mut Blocks>,
    ) {
        let outside = Outside {
            air: around.air,
            convection: blown(around.convection, blowing),
            walls: around.walls,
            emissivity: EMISSIVITY,
            vapour: around.vapour,
            openness: 1.0,
        };
        let face = outside.face(state.celsius[0], &self.locals[0]);
        self.top = face;
        if self.film_bottom.is_nan() {
            self.film_bottom = face.surface;
        }
        self.take_in(0, &face, state, around.air, blocks);
    }

    fn bottom_face(
        &mut self,
        column: &Column,
        state: &State,
        around: &Surroundings,
        blocks: &mut Option<&mut Blocks>,
    ) {
        let last = column.cells.len() - 1;
        match column.backing {
            Backing::Platen { contact, celsius } => {
                let conductance = 1.0 / (self.locals[last].half + 1.0 / contact);
                let face = Face {
                    heat: conductance * (celsius - state.celsius[last]),
                    slope: -conductance,
                    vapour: PLATEN_LEAK * (self.locals[last].push.value - around.vapour),
                    vapour_slope: PLATEN_LEAK,
                    ..Face::default()
                };
                self.take_in(last, &face, state, celsius, blocks);
            }
            Backing::Belt { openness, .. } => {
                let mut outside = Outside {
                    air: around.below_air,
                    convection: around.below_convection * (1.0 - openness),
                    walls: around.below_walls,
                    emissivity: EMISSIVITY * (1.0 - openness),
                    vapour: around.vapour,
                    openness: 0.0,
                };
                let belt = outside.face(state.celsius[last], &self.locals[last]);
                self.take_in(last, &belt, state, around.below_air, blocks);
                // Through the mesh the cloth meets air and walls itself.
                outside.convection = around.below_convection * openness;
                outside.emissivity = EMISSIVITY * openness;
                outside.openness = openness;
                let cloth = outside.face(state.celsius[last - 1], &self.locals[last - 1]);
                self.take_in(last - 1, &cloth, state, around.below_air, blocks);
            }
        }
    }

    /// Lets a face's heat in and its vapour out.
    fn take_in(
        &mut self,
        cell: usize,
        face: &Face,
        state: &State,
        air: f64,
        blocks: &mut Option<&mut Blocks>,
    ) {
        let from = if face.vapour > 0.0 {
            state.celsius[cell]
        } else {
            air
        };
        let carried = vapour_enthalpy(from);
        let lost = carried - LIQUID_HEAT * state.celsius[cell] + self.locals[cell].binding;
        self.celsius[cell] += face.heat - face.vapour * lost;
        self.water[cell] -= face.vapour;
        self.power += face.heat - face.vapour * carried;
        self.drying += face.vapour;
        if let Some(blocks) = blocks {
            let push = self.locals[cell].push;
            let by = [
                face.vapour_slope * push.by_celsius,
                face.vapour_slope * push.by_water,
            ];
            blocks.add_face(cell, face.slope, by, lost);
            self.outlets.push(Outlet {
                cell,
                power: [face.slope - carried * by[0], -carried * by[1]],
                drying: by,
            });
        }
    }
}

/// Between two neighbours.
struct Link {
    upper: usize,
    /// In W/(m² K).
    heat: f64,
    /// In kg/(m² s Pa).
    vapour: f64,
    /// In kg/(m² s) for each unit of u.
    liquid: f64,
    solids: [f64; 2],
    warm: f64,
}

impl Outside {
    /// The face of a cell: heat goes through half the cell to the surface, where air and walls take over.
    fn face(&self, celsius: f64, local: &Local) -> Face {
        let kelvin = celsius + 273.15;
        let radiation = 4.0 * self.emissivity * STEFAN_BOLTZMANN * kelvin * kelvin * kelvin;
        let received = self.convection * (self.air - celsius)
            + self.emissivity * (self.walls - black_body(celsius));
        let strength = self.convection + radiation;
        // One step of Newton for the surface, from the temperature of the cell.
        let through = 1.0 / (1.0 + strength * local.half);
        let heat = received * through;
        let mut face = Face {
            surface: celsius + heat * local.half,
            heat,
            slope: -strength * through,
            ..Face::default()
        };
        if local.vapour_half.is_finite() && self.openness > 0.0 {
            // Heat and vapour cross the same air (Chilton and Colburn).
            let film = 0.5 * (self.air + celsius) + 273.15;
            let density = super::water::ATMOSPHERE / (AIR_GAS_CONSTANT * film);
            let speed = self.convection / (density * AIR_HEAT * LEWIS.powf(2.0 / 3.0));
            let resistance = GAS_CONSTANT * film / speed;
            // A wet film evaporates at its very surface.
            let inner = if local.liquid > 0.0 {
                0.0
            } else {
                local.vapour_half
            };
            face.vapour_slope = 1.0 / (resistance + inner / self.openness);
            face.vapour = face.vapour_slope * (local.push.value - self.vapour);
        }
        face
    }
}

/// Convection that vapour blows against (Ackermann): h Φ/(e^Φ − 1), Φ = J c/h.
fn blown(convection: f64, vapour: f64) -> f64 {
    let phi = vapour * VAPOUR_HEAT / convection;
    if phi.abs() < 1e-6 {
        convection
    } else {
        convection * phi / phi.exp_m1()
    }
}

/// Air between two layers of cloth: conduction (0.024 W/(m K) at 0 °C, from memory) and radiation.
fn gap_conductance(gap: f64, celsius: f64) -> f64 {
    let kelvin = celsius + 273.15;
    let air = 0.0243 * (kelvin / 273.15).powf(0.8);
    air / gap + 4.0 * 0.8 * STEFAN_BOLTZMANN * kelvin.powi(3)
}

/// Liquid passes between cells of film that both hold it.
fn liquid_conductance(above: &Local, below: &Local) -> f64 {
    let sum = above.liquid + below.liquid;
    if sum > 0.0 {
        2.0 * above.liquid * below.liquid / sum
    } else {
        0.0
    }
}
