//! What lies on the belt: a film of ink on one or two layers of cloth, or the same cloth unprinted.

use inkdwell_config::fabric::Fabric;
use inkdwell_config::ink::Ink;
use inkdwell_config::quantity::{Celsius, KilogramsPerSquareMetre, Metres, Share};

use super::HeatTransfer;
use super::column::{Column, Link, Node, State};
use super::moisture::Holder;
use super::oven::Backing;
use super::properties::{
    CLOTH_CONDUCTIVITY, CLOTH_DENSITY, CLOTH_VAPOUR_SHARE, COTTON_SPECIFIC_HEAT, InkMaterial,
    air_conductivity, air_density, ink_material, vapour_diffusivity,
};

/// Thickness of the wet film where neither ink nor mesh tells. Common practice, no source.
pub const USUAL_FILM: Metres = Metres(80e-6);

/// Water below which an ink begins to hold it back, for each kilogram of what is no water. From memory:
/// acrylic dispersions with their thickener lose the last tenth slowly.
pub const USUAL_BOUND_WATER: Share = Share(0.1);

/// Vapour that a film of usual thickness lets through, in kg/(m² s) for each unit of humidity ratio.
/// No source: a few times what the air above it takes away, so that drying is hindered only at its end.
const FILM_VAPOUR: f64 = 0.1;

/// The temperature at which vapour's way through cloth is reckoned: most of it leaves near here.
const DRYING: Celsius = Celsius(70.0);

/// How a print is cut through its thickness.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Grid {
    /// Intervals in the film of ink.
    pub film: usize,
    /// Intervals in each layer of cloth.
    pub cloth: usize,
}

impl Grid {
    /// Fine enough that a finer one moves no temperature by more than a few tenths of a degree.
    pub const USUAL: Grid = Grid { film: 2, cloth: 2 };
}

/// A film of ink as printed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Film {
    /// Its thickness when wet.
    pub thickness: Metres,
    /// What it is made of.
    pub material: InkMaterial,
    /// Water as a share of the wet ink's mass.
    pub water: Share,
    /// Water at which the ink begins to hold it back, for each kilogram of what is no water.
    pub bound: Share,
}

/// The cloth of a garment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cloth {
    /// Mass of one layer in room air, its regain included.
    pub mass: KilogramsPerSquareMetre,
    /// Regain at 65 % relative humidity: how the fibre holds water.
    pub regain: Share,
    /// Water that it really holds at the start, for each kilogram of dry fibre.
    pub moisture: Share,
    /// Layers that lie on each other.
    pub layers: u8,
    /// Conductance of the air between two layers.
    pub gap: HeatTransfer,
}

/// One print, or the same cloth unprinted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Print {
    /// The ink; `None` beside the print.
    pub film: Option<Film>,
    /// The cloth under it.
    pub cloth: Cloth,
}

impl Print {
    /// A print of an ink on a fabric, as both declare themselves.
    pub fn new(ink: &Ink, fabric: &Fabric) -> Print {
        let material = ink_material(ink.family);
        let water = ink.water.unwrap_or(Share(material.water));
        Print {
            film: Some(Film {
                thickness: ink.film.unwrap_or(USUAL_FILM),
                material: InkMaterial {
                    // Without its water, a film of any ink is a closed one.
                    seals: water.0 <= 0.0,
                    ..material
                },
                water,
                bound: USUAL_BOUND_WATER,
            }),
            cloth: Cloth {
                mass: fabric.mass,
                regain: fabric.regain,
                moisture: fabric.regain,
                layers: fabric.layers.max(1),
                // Two layers lie a third of a millimetre apart. From memory, no source.
                gap: HeatTransfer(100.0),
            },
        }
    }

    /// Whether its ink holds water.
    pub(crate) fn dries(&self) -> bool {
        self.film.is_some_and(|film| film.water.0 > 0.0)
    }

    /// The same cloth, unprinted.
    pub fn bare(&self) -> Print {
        Print {
            film: None,
            cloth: self.cloth,
        }
    }

    /// The print cut into nodes on its belt or platen, and its state at the start.
    pub(crate) fn cut(&self, grid: Grid, backing: &Backing, start: Celsius) -> (Column, State) {
        let mut cut = Cut {
            column: Column {
                nodes: vec![EMPTY],
                links: Vec::new(),
                lowest_cloth: 0,
                interface: 0,
            },
            water: vec![0.0],
        };
        if let Some(film) = &self.film {
            // Ink that holds water is mixed by it: one store at the surface, one interval.
            let intervals = if film.water.0 > 0.0 { 1 } else { grid.film };
            cut.film(film, intervals.max(1));
        }
        cut.column.interface = cut.column.nodes.len() - 1;
        for layer in 0..self.cloth.layers {
            cut.cloth(&self.cloth, grid.cloth.max(1), layer > 0);
        }
        cut.column.lowest_cloth = cut.column.nodes.len() - 1;
        let mut celsius = vec![start.0; cut.column.nodes.len()];
        if let Backing::Belt(belt) = backing {
            cut.add(
                Link {
                    heat: belt.contact.0,
                    vapour: 0.0,
                },
                Node::dry(belt.capacity),
            );
            celsius.push(belt.start.0);
        }
        let state = State {
            celsius,
            water: cut.water,
        };
        (cut.column, state)
    }
}

/// A node that stands for nothing yet.
const EMPTY: Node = Node::dry(0.0);

/// A column as it is put together from the top.
struct Cut {
    column: Column,
    water: Vec<f64>,
}

impl Cut {
    fn add(&mut self, link: Link, node: Node) {
        self.column.links.push(link);
        self.column.nodes.push(node);
        self.water.push(0.0);
    }

    /// Adds capacity to the last node.
    fn last(&mut self) -> &mut Node {
        let last = self.column.nodes.len() - 1;
        &mut self.column.nodes[last]
    }

    fn film(&mut self, film: &Film, intervals: usize) {
        let wet = film.thickness.0 * film.material.density;
        let (water, solids) = (wet * film.water.0, wet * (1.0 - film.water.0));
        let share = 1.0 / intervals as f64;
        let half = 0.5 * share * solids * film.material.specific_heat;
        let link = Link {
            heat: film.material.conductivity / (share * film.thickness.0),
            vapour: if film.material.seals || water <= 0.0 {
                0.0
            } else {
                FILM_VAPOUR * USUAL_FILM.0 / (share * film.thickness.0)
            },
        };
        for interval in 0..intervals {
            self.last().capacity += half;
            if interval == 0 && water > 0.0 {
                let node = self.last();
                node.matter = solids;
                node.store = Holder::Ink { bound: film.bound }.held_by(solids);
                if let Some(held) = self.water.last_mut() {
                    *held = water;
                }
            }
            self.add(link, EMPTY);
            self.last().capacity += half;
        }
    }

    fn cloth(&mut self, cloth: &Cloth, intervals: usize, apart: bool) {
        let dry = cloth.mass.0 / (1.0 + cloth.regain.0);
        let thickness = cloth.mass.0 / CLOTH_DENSITY;
        let vapour = air_density(DRYING) * vapour_diffusivity(DRYING);
        if apart {
            let width = air_conductivity(DRYING) / cloth.gap.0;
            let link = Link {
                heat: cloth.gap.0,
                vapour: vapour / width,
            };
            self.add(link, EMPTY);
        }
        let step = thickness / intervals as f64;
        let half = 0.5 * dry / intervals as f64;
        let fibre = Holder::Fibre {
            regain: Share(cloth.regain.0.max(LEAST_REGAIN)),
        };
        for interval in 0..=intervals {
            let matter = if interval == 0 || interval == intervals {
                half
            } else {
                2.0 * half
            };
            let node = self.last();
            node.capacity += matter * COTTON_SPECIFIC_HEAT;
            node.matter = matter;
            node.store = fibre.held_by(matter);
            if let Some(held) = self.water.last_mut() {
                *held = matter * cloth.moisture.0;
            }
            if interval < intervals {
                let link = Link {
                    heat: CLOTH_CONDUCTIVITY / step,
                    vapour: vapour * CLOTH_VAPOUR_SHARE / step,
                };
                self.add(link, EMPTY);
            }
        }
    }
}

/// Fibres that take no water at all still hold a trace; the isotherm needs a scale.
const LEAST_REGAIN: f64 = 1e-3;
