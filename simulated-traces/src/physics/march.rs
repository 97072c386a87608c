//! Stepping a column through time.
//!
//! The second-order Rosenbrock method of Verwer, Spee, Blom and Hundsdorfer (1999), with
//! γ = 1 − 1/√2, which keeps its order whatever is left out of the matrix J:
//!
//!   (I − γτJ) k₁ = F(t, y),  (I − γτJ) k₂ = F(t + τ, y + τk₁) − 2k₁,  y′ = y + τ(3k₁ + k₂)/2.
//!
//! The first-order result y + τk₁ beside it tells the error, from which the next step follows.

use super::blocks::Blocks;
use super::column::{Backing, Column, Matter, State, halves};
use super::flows::Rates;
use super::oven::Surroundings;

/// What one step may be wrong by in temperature (°C) and in a cell's water (kg/m²): of the first-order
/// result, which is far worse than the one that counts.
const CELSIUS_ERROR: f64 = 0.2;
const WATER_ERROR: f64 = 5e-5;
const GAMMA: f64 = 1.0 - std::f64::consts::FRAC_1_SQRT_2;
/// Steps in seconds: never longer (the history is read as straight lines), never shorter.
const LONGEST: f64 = 0.4;
const SHORTEST: f64 = 1e-4;
/// How much a fibre's core speeds up when it is warmed: activation temperature in kelvin. From memory:
/// 30 kJ/mol for water in cellulose.
const CORE_ACTIVATION: f64 = 3600.0;

/// What came in and went out so far.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Books {
    /// Heat that came in less the enthalpy of the vapour that left, in J/m².
    pub(crate) heat: f64,
    /// Water that left, in kg/m².
    pub(crate) water: f64,
}

/// A column on its way.
#[derive(Debug, Clone)]
pub(crate) struct March {
    pub(crate) column: Column,
    pub(crate) state: State,
    /// The rates at the present state.
    pub(crate) rates: Rates,
    pub(crate) books: Books,
    first: Rates,
    second: Rates,
    /// The derivatives at the present state, and the factors of a step's equations.
    blocks: Blocks,
    factors: Blocks,
    trial: State,
    step: f64,
    time: f64,
}

impl March {
    /// A column at its start, at time 0.
    pub(crate) fn new(column: Column, state: State, around: &Surroundings) -> March {
        let mut march = March {
            column,
            trial: state.clone(),
            state,
            rates: Rates::default(),
            first: Rates::default(),
            second: Rates::default(),
            blocks: Blocks::default(),
            factors: Blocks::default(),
            books: Books::default(),
            step: 0.01,
            time: 0.0,
        };
        march.look(around);
        march
    }

    /// Seconds since the start.
    pub(crate) fn time(&self) -> f64 {
        self.time
    }

    /// Takes one step of its own length, at most up to `end`.
    pub(crate) fn advance(&mut self, end: f64, around: impl Fn(f64) -> Surroundings) {
        loop {
            let left = end - self.time;
            let step = self.step.min(left);
            let (error, gain) = self.attempt(step, &around);
            // A first-order error goes with the square of the step.
            let factor = (0.9 / error.max(1e-4).sqrt()).clamp(0.3, 2.0);
            if error <= 1.0 || step <= SHORTEST {
                self.accept(step, gain, &around);
                if step >= self.step {
                    self.step = (step * factor).clamp(SHORTEST, LONGEST);
                }
                return;
            }
            self.step = (step * factor).max(SHORTEST);
        }
    }

    /// Tries a step; the result is in `trial`. Gives its error over what is allowed, and what the books
    /// gain, which follow the same method.
    fn attempt(&mut self, step: f64, around: &impl Fn(f64) -> Surroundings) -> (f64, Books) {
        let blowing = self.rates.top.vapour;
        self.factors.clone_from(&self.blocks);
        self.factors.factor(GAMMA * step);
        let first = &mut self.first;
        first.celsius.clone_from(&self.rates.celsius);
        first.water.clone_from(&self.rates.water);
        self.factors.solve(&mut first.celsius, &mut first.water);
        for number in 0..first.celsius.len() {
            self.trial.celsius[number] = self.state.celsius[number] + step * first.celsius[number];
            self.trial.water[number] = self.state.water[number] + step * first.water[number];
        }
        self.trial.core.clone_from(&self.state.core);
        let then = around(self.time + step);
        let second = &mut self.second;
        second.evaluate(&self.column, &self.trial, &then, blowing, None);
        for number in 0..first.celsius.len() {
            second.celsius[number] -= 2.0 * first.celsius[number];
            second.water[number] -= 2.0 * first.water[number];
        }
        self.factors.solve(&mut second.celsius, &mut second.water);
        let mut error: f64 = 0.0;
        for number in 0..first.celsius.len() {
            let celsius = 0.5 * step * (first.celsius[number] + second.celsius[number]);
            let water = 0.5 * step * (first.water[number] + second.water[number]);
            self.trial.celsius[number] += celsius;
            self.trial.water[number] += water;
            let here = celsius.abs() / CELSIUS_ERROR + water.abs() / WATER_ERROR;
            error = if here.is_finite() {
                error.max(here)
            } else {
                f64::MAX
            };
        }
        let gain = self.gain(step);
        (error, gain)
    }

    /// What the books gain over a step whose stages are `first` and `second`.
    fn gain(&self, step: f64) -> Books {
        let mut heat = [self.rates.power, self.second.power];
        let mut water = [self.rates.drying, self.second.drying];
        for outlet in &self.rates.outlets {
            for (stage, rates) in [&self.first, &self.second].into_iter().enumerate() {
                let (celsius, wet) = (rates.celsius[outlet.cell], rates.water[outlet.cell]);
                let moved = GAMMA * step;
                heat[stage] += moved * (outlet.power[0] * celsius + outlet.power[1] * wet);
                water[stage] += moved * (outlet.drying[0] * celsius + outlet.drying[1] * wet);
            }
        }
        let sum = |stages: [f64; 2]| step * (1.5 * stages[0] + 0.5 * (stages[1] - 2.0 * stages[0]));
        Books {
            heat: sum(heat),
            water: sum(water),
        }
    }

    fn accept(&mut self, step: f64, gain: Books, around: &impl Fn(f64) -> Surroundings) {
        std::mem::swap(&mut self.state, &mut self.trial);
        self.core_gives(step);
        self.time += step;
        self.books.heat += gain.heat;
        self.books.water += gain.water;
        self.look(&around(self.time));
    }

    /// The rates and their derivatives where it stands.
    fn look(&mut self, around: &Surroundings) {
        let blowing = self.rates.top.vapour;
        let blocks = Some(&mut self.blocks);
        self.rates
            .evaluate(&self.column, &self.state, around, blowing, blocks);
    }

    /// Water passes between the fibre's core and its skin, which is slow against everything else: both
    /// come together exponentially over a step.
    fn core_gives(&mut self, step: f64) {
        for (number, cell) in self.column.cells.iter().enumerate() {
            let Matter::Cloth {
                fibre, core_delay, ..
            } = cell.matter
            else {
                continue;
            };
            let celsius = self.state.celsius[number];
            let (skin, inside) = halves(cell.dry);
            let (water, core) = (self.state.water[number], self.state.core[number]);
            let faster = (CORE_ACTIVATION * (1.0 / 333.15 - 1.0 / (celsius + 273.15))).exp();
            let share = -(-step * faster / core_delay).exp_m1();
            // Halves are equal, so that both meet in the middle.
            let moved = 0.5 * share * (core - water);
            let bound = |water: f64, core: f64| {
                skin * fibre.wetting(water / skin) + inside * fibre.wetting(core / inside)
            };
            let freed = bound(water + moved, core - moved) - bound(water, core);
            self.state.water[number] = water + moved;
            self.state.core[number] = core - moved;
            self.state.celsius[number] += freed / cell.capacity(water + core);
        }
    }

    /// How many cells are film and cloth.
    fn garment_cells(&self) -> usize {
        match self.column.backing {
            Backing::Belt { .. } => self.state.celsius.len() - 1,
            Backing::Platen { .. } => self.state.celsius.len(),
        }
    }

    /// The temperature of the lowest cell of cloth.
    pub(crate) fn lowest_cloth(&self) -> f64 {
        self.state.celsius[self.garment_cells() - 1]
    }

    /// The hottest of a column's cells and its surface.
    pub(crate) fn hottest(&self) -> f64 {
        let inside = self.state.celsius[..self.garment_cells()].iter().copied();
        inside.fold(self.rates.top.surface, f64::max)
    }
}
