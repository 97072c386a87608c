//! A print, or the unprinted cloth beside it, cut into cells through its thickness.

use super::garment::{TrueFilm, TrueGarment};
use super::water::{Fibre, Sloped, ink_pressure};

/// Cells through the film.
const FILM_CELLS: usize = 8;
/// Cells through a layer of cloth, as shares of its thickness: finer where it meets air and film.
const CLOTH_CELLS: [f64; 7] = [0.06, 0.11, 0.17, 0.22, 0.2, 0.15, 0.09];
/// Half of the fibre's mass is skin, which shares the vapour of the air around it at once.
const SKIN_SHARE: f64 = 0.5;
/// How open a film that lets vapour through is to it, over free air.
const FILM_OPENNESS: f64 = 0.03;

/// What a cell is made of.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Matter {
    /// Ink.
    Film(TrueFilm),
    /// Cloth.
    Cloth {
        fibre: Fibre,
        /// In metres.
        thickness: f64,
        /// In W/(m K).
        conductivity: f64,
        openness: f64,
        core_delay: f64,
    },
    /// The belt's mesh.
    Belt,
}

/// One cell.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cell {
    pub(crate) matter: Matter,
    /// What is no water, in kg/m².
    pub(crate) dry: f64,
    /// Its specific heat in J/(kg K).
    pub(crate) specific_heat: f64,
    /// Share of the panels' heat that it takes.
    pub(crate) absorbed: f64,
    /// Air between it and the next cell, in metres.
    pub(crate) gap: f64,
}

/// What lies under the cloth.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Backing {
    /// The belt, which is the column's last cell.
    Belt { contact: f64, openness: f64 },
    /// A platen that stays as warm as it is.
    Platen { contact: f64, celsius: f64 },
}

/// Temperatures and waters of all cells.
#[derive(Debug, Clone)]
pub(crate) struct State {
    /// In °C.
    pub(crate) celsius: Vec<f64>,
    /// Water that moves: all of a film's, the fibre's skin in cloth. In kg/m².
    pub(crate) water: Vec<f64>,
    /// Water in the fibre's core, in kg/m².
    pub(crate) core: Vec<f64>,
}

/// The cells and their backing.
#[derive(Debug, Clone)]
pub(crate) struct Column {
    pub(crate) cells: Vec<Cell>,
    pub(crate) backing: Backing,
    /// How many cells are film.
    pub(crate) film: usize,
}

/// What a cell does at its present temperature and water.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Local {
    /// Heat capacity in J/(m² K).
    pub(crate) capacity: f64,
    /// Resistance of half the cell to heat, in m² K/W.
    pub(crate) half: f64,
    /// Resistance of half the cell to vapour, in m² s Pa/kg; infinite where none passes.
    pub(crate) vapour_half: f64,
    /// Push of its vapour, ψ, by temperature and by water (kg/m²).
    pub(crate) push: Sloped,
    /// Heat that holds its water beyond evaporation, in J/kg.
    pub(crate) binding: f64,
    /// Kilograms of water for each of solids.
    pub(crate) u: f64,
    /// Diffusivity of liquid water times concentration of solids over thickness, in kg/(m² s).
    pub(crate) liquid: f64,
}

impl Column {
    /// A garment on a belt or platen: with its print, or the cloth beside it.
    pub(crate) fn new(
        garment: &TrueGarment,
        printed: bool,
        backing: Backing,
        belt: Option<f64>,
    ) -> Column {
        let mut cells = Vec::new();
        let mut left = 1.0;
        if printed {
            push_film(&mut cells, &garment.film, &mut left);
        }
        let film = cells.len();
        push_cloth(&mut cells, garment, printed, &mut left);
        if let Some(capacity) = belt {
            cells.push(Cell {
                matter: Matter::Belt,
                dry: capacity,
                specific_heat: 1.0,
                absorbed: 0.0,
                gap: 0.0,
            });
        }
        Column {
            cells,
            backing,
            film,
        }
    }

    /// All cells at the garment's own temperature and moisture; a belt at its own.
    pub(crate) fn start(&self, garment: &TrueGarment, belt: f64) -> State {
        let count = self.cells.len();
        let mut state = State {
            celsius: vec![garment.start.0; count],
            water: vec![0.0; count],
            core: vec![0.0; count],
        };
        for (number, cell) in self.cells.iter().enumerate() {
            match cell.matter {
                Matter::Film(film) => {
                    state.water[number] = cell.dry * film.water.0 / (1.0 - film.water.0);
                }
                Matter::Cloth { .. } => {
                    let water = cell.dry * garment.cloth.moisture.0;
                    state.water[number] = SKIN_SHARE * water;
                    state.core[number] = (1.0 - SKIN_SHARE) * water;
                }
                Matter::Belt => state.celsius[number] = belt,
            }
        }
        state
    }

    /// Heat and water that all cells hold, in J/m² over dry matter and liquid water at 0 °C, and kg/m².
    pub(crate) fn holds(&self, state: &State) -> [f64; 2] {
        let mut held = [0.0, 0.0];
        for (number, cell) in self.cells.iter().enumerate() {
            let celsius = state.celsius[number];
            let (water, core) = (state.water[number], state.core[number]);
            held[0] += cell.capacity(water + core) * celsius;
            held[1] += water + core;
            match cell.matter {
                Matter::Film(film) => held[0] += cell.dry * film.fusing_heat * fused(celsius).0,
                Matter::Cloth { fibre, .. } => {
                    let (skin, inside) = halves(cell.dry);
                    held[0] -=
                        skin * fibre.wetting(water / skin) + inside * fibre.wetting(core / inside);
                }
                Matter::Belt => {}
            }
        }
        held
    }
}

impl Cell {
    /// Heat capacity with so much water, in J/(m² K), without what fusing takes up.
    pub(crate) fn capacity(&self, water: f64) -> f64 {
        self.dry * self.specific_heat + water * super::water::LIQUID_HEAT
    }

    /// What the cell does at a temperature (°C) with so much moving and core water (kg/m²).
    pub(crate) fn local(&self, celsius: f64, water: f64, core: f64) -> Local {
        let capacity = self.capacity(water + core);
        match self.matter {
            Matter::Film(film) => self.local_film(&film, celsius, water, capacity),
            Matter::Cloth {
                fibre,
                thickness,
                conductivity,
                openness,
                ..
            } => {
                let (skin, _) = halves(self.dry);
                let u = water / skin;
                Local {
                    capacity,
                    half: 0.5 * thickness / conductivity,
                    vapour_half: 0.5 * vapour_resistance(thickness, celsius) / openness,
                    push: pushed(fibre.pressure(celsius, u), skin),
                    binding: fibre.binding(u),
                    u,
                    liquid: 0.0,
                }
            }
            Matter::Belt => Local {
                capacity,
                vapour_half: f64::INFINITY,
                ..Local::default()
            },
        }
    }

    fn local_film(&self, film: &TrueFilm, celsius: f64, water: f64, capacity: f64) -> Local {
        let solids = self.dry / film.solids_density;
        let liquid = water.max(0.0) / 1000.0;
        let thickness = solids + liquid;
        // Water conducts 0.6 W/(m K) (handbooks); the mixture by shares of volume.
        let conductivity = (solids * film.conductivity + liquid * 0.6) / thickness;
        let local = Local {
            capacity: capacity + self.dry * film.fusing_heat * fused(celsius).1,
            half: 0.5 * thickness / conductivity,
            vapour_half: f64::INFINITY,
            ..Local::default()
        };
        if film.seals() {
            return local;
        }
        let u = water / self.dry;
        let warmth = 2500.0 * (1.0 / 333.15 - 1.0 / (celsius + 273.15));
        let wetness = 0.15 + 0.85 * u.max(0.0) / (u.max(0.0) + film.bound.0);
        Local {
            vapour_half: 0.5 * vapour_resistance(thickness, celsius) / FILM_OPENNESS,
            push: pushed(ink_pressure(celsius, u, film.bound.0), self.dry),
            u,
            liquid: film.diffusivity * warmth.exp() * wetness * self.dry / (thickness * thickness),
            ..local
        }
    }
}

/// Skin and core of so much fibre.
pub(crate) fn halves(dry: f64) -> (f64, f64) {
    (SKIN_SHARE * dry, (1.0 - SKIN_SHARE) * dry)
}

/// How much of a film has gelled and fused at a temperature, and its slope: the heat of it is taken up
/// around 115 °C.
fn fused(celsius: f64) -> (f64, f64) {
    let scale = 20.0;
    let tanh = ((celsius - 115.0) / scale).tanh();
    (0.5 * (1.0 + tanh), 0.5 * (1.0 - tanh * tanh) / scale)
}

/// Resistance of still air to vapour in m² s Pa/kg: R T s/D with D = 2.26e-5 (T/273.15)^1.81 m²/s (from
/// memory; reviews give 2.12e-5 to 2.26e-5 at 0 °C).
pub(crate) fn vapour_resistance(thickness: f64, celsius: f64) -> f64 {
    let kelvin = celsius + 273.15;
    let diffusivity = 2.26e-5 * (kelvin / 273.15).powf(1.81);
    super::water::GAS_CONSTANT * kelvin * thickness / diffusivity
}

/// The push of a vapour pressure, its slope by u turned into one by kilograms of water.
fn pushed(pressure: Sloped, dry: f64) -> Sloped {
    let (value, slope) = super::water::push(pressure.value);
    Sloped {
        value,
        by_celsius: slope * pressure.by_celsius,
        by_water: slope * pressure.by_water / dry,
    }
}

/// The share of what enters at a depth that a slice takes, for the panels' heat (Beer and Lambert).
fn taken(left: &mut f64, thickness: f64, depth: f64) -> f64 {
    let share = *left * -(-thickness / depth).exp_m1();
    *left -= share;
    share
}

fn push_film(cells: &mut Vec<Cell>, film: &TrueFilm, left: &mut f64) {
    let water = film.water.0;
    let density = 1.0 / ((1.0 - water) / film.solids_density + water / 1000.0);
    let slice = film.thickness.0 / FILM_CELLS as f64;
    for _ in 0..FILM_CELLS {
        cells.push(Cell {
            matter: Matter::Film(*film),
            dry: slice * density * (1.0 - water),
            specific_heat: film.specific_heat,
            absorbed: film.absorptivity.0 * taken(left, slice, film.depth.0),
            gap: 0.0,
        });
    }
}

fn push_cloth(cells: &mut Vec<Cell>, garment: &TrueGarment, printed: bool, left: &mut f64) {
    let cloth = &garment.cloth;
    let absorptivity = if printed {
        garment.film.absorptivity.0
    } else {
        cloth.absorptivity.0
    };
    let layers = cloth.layers.max(1);
    for layer in 0..layers {
        for (number, share) in CLOTH_CELLS.iter().enumerate() {
            let thickness = share * cloth.thickness();
            let last = number + 1 == CLOTH_CELLS.len();
            let lowest = last && layer + 1 == layers;
            let heat = if lowest {
                std::mem::take(left)
            } else {
                taken(left, thickness, cloth.depth.0)
            };
            cells.push(Cell {
                matter: Matter::Cloth {
                    fibre: Fibre::of_regain(cloth.regain.0),
                    thickness,
                    conductivity: cloth.conductivity,
                    openness: cloth.openness.0,
                    core_delay: cloth.core_delay,
                },
                dry: share * cloth.dry_mass(),
                specific_heat: cloth.specific_heat,
                absorbed: absorptivity * heat,
                gap: if last && !lowest { cloth.gap.0 } else { 0.0 },
            });
        }
    }
}
