//! Time stepping: TR-BDF2.
//!
//! With contents Y (heat and water of each node) and their rates F, a step from t to t + Δ is
//!
//!   Y₁ = Y₀ + dΔ F₀ + dΔ F₁            at t + γΔ,   γ = 2 − √2,   d = γ/2
//!   Y₂ = Y₀ + wΔ F₀ + wΔ F₁ + dΔ F₂     at t + Δ,    w = √2/4
//!
//! (Bank and others 1985; Hosea and Shampine 1996): second order, L-stable, and stiffly accurate, so
//! that any step is stable and a front of drying does not ring. Both stages are solved by Newton's
//! method for the temperatures and water; since the contents themselves are stepped, heat and water
//! are kept to the accuracy of that solution.

use super::HeatError;
use super::column::{Column, Crossing, State, Surroundings, Work};

/// γ = 2 − √2.
pub(crate) const GAMMA: f64 = 2.0 - std::f64::consts::SQRT_2;
/// d = γ/2.
const OWN: f64 = 0.5 * GAMMA;
/// w = √2/4.
const EARLIER: f64 = 0.25 * std::f64::consts::SQRT_2;
/// A correction smaller than this (K) leaves an error of the order of its square, far below any that matters.
const CLOSE_ENOUGH: f64 = 2e-3;
/// The same for water, as a share of the matter that holds it.
const CLOSE_ENOUGH_WATER: f64 = 1e-6;
/// A step that needs more corrections is halved instead,
const MOST_CORRECTIONS: usize = 30;
/// at most so many times over.
const MOST_HALVINGS: u32 = 10;
/// No correction moves a temperature further than this (K) at once.
const LONGEST_CORRECTION: f64 = 15.0;
/// No correction takes more than this share of a node's water at once,
const MOST_DRYING: f64 = 0.7;
/// beyond this much for each kilogram of dry matter.
const SMALL_WATER: f64 = 0.002;

/// What crossed the faces since the start: heat in J/m², water in kg/m².
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Totals {
    pub(crate) heat_top: f64,
    pub(crate) heat_bottom: f64,
    pub(crate) vapour_heat: f64,
    pub(crate) water_top: f64,
    pub(crate) water_bottom: f64,
}

impl Totals {
    fn add(&mut self, seconds: f64, crossing: &Crossing) {
        self.heat_top += seconds * crossing.heat_top;
        self.heat_bottom += seconds * crossing.heat_bottom;
        self.vapour_heat += seconds * crossing.vapour_heat;
        self.water_top += seconds * crossing.water_top;
        self.water_bottom += seconds * crossing.water_bottom;
    }
}

/// A column on its way through time.
pub(crate) struct March<'a> {
    column: &'a Column,
    pub(crate) state: State,
    pub(crate) totals: Totals,
    /// Rates at the present state.
    rates: Vec<[f64; 2]>,
    crossing: Crossing,
    /// Changes of temperature (K/s) and water (kg/(m² s)) now, and how much they changed a second over
    /// the last step: where the next one starts looking.
    slopes: Vec<[f64; 2]>,
    bends: Vec<[f64; 2]>,
    contents: Vec<[f64; 2]>,
    known: Vec<[f64; 2]>,
    earlier: State,
    /// Contents at a stage.
    reached: Vec<[f64; 2]>,
    work: Work,
}

impl<'a> March<'a> {
    pub(crate) fn new(column: &'a Column, state: State, around: &Surroundings) -> March<'a> {
        let nodes = column.nodes.len();
        let mut rates = vec![[0.0; 2]; nodes];
        column.rates(&state, around, &mut rates);
        let crossing = column.crossing(&state, around);
        March {
            column,
            earlier: state.clone(),
            state,
            totals: Totals::default(),
            rates,
            crossing,
            slopes: vec![[0.0; 2]; nodes],
            bends: vec![[0.0; 2]; nodes],
            contents: vec![[0.0; 2]; nodes],
            known: vec![[0.0; 2]; nodes],
            reached: vec![[0.0; 2]; nodes],
            work: Work::new(nodes),
        }
    }

    /// Steps over `seconds`, given what surrounds the column at the start, at the γ share and at the end.
    ///
    /// # Errors
    /// Where Newton's method does not settle, not even in steps a thousand times shorter.
    pub(crate) fn step(
        &mut self,
        seconds: f64,
        around: &[Surroundings; 3],
    ) -> Result<(), HeatError> {
        self.step_or_halve(seconds, around, MOST_HALVINGS)
    }

    fn step_or_halve(
        &mut self,
        seconds: f64,
        around: &[Surroundings; 3],
        halvings: u32,
    ) -> Result<(), HeatError> {
        if self.try_step(seconds, &around[1], &around[2]).is_ok() {
            return Ok(());
        }
        if halvings == 0 {
            return Err(HeatError::Unsettled);
        }
        self.state.clone_from(&self.earlier);
        let at = |share: f64| {
            if share <= GAMMA {
                around[0].towards(&around[1], share / GAMMA)
            } else {
                around[1].towards(&around[2], (share - GAMMA) / (1.0 - GAMMA))
            }
        };
        let half = 0.5 * seconds;
        let early = [around[0], at(0.5 * GAMMA), at(0.5)];
        self.step_or_halve(half, &early, halvings - 1)?;
        let late = [early[2], at(0.5 + 0.5 * GAMMA), around[2]];
        self.step_or_halve(half, &late, halvings - 1)
    }

    /// One step, whole; on failure the state at its start is in `earlier`, all else as it was.
    fn try_step(
        &mut self,
        seconds: f64,
        at_gamma: &Surroundings,
        at_end: &Surroundings,
    ) -> Result<(), HeatError> {
        let own = OWN * seconds;
        self.earlier.clone_from(&self.state);
        self.column.contents(&self.state, &mut self.contents);
        let ahead = GAMMA * seconds;
        for (i, known) in self.known.iter_mut().enumerate() {
            let bend = 0.5 * ahead * ahead;
            self.state.celsius[i] += ahead * self.slopes[i][0] + bend * self.bends[i][0];
            self.state.water[i] += ahead * self.slopes[i][1] + bend * self.bends[i][1];
            for (part, value) in known.iter_mut().enumerate() {
                *value = self.contents[i][part] + own * self.rates[i][part];
            }
        }
        self.settle(at_gamma, own)?;
        let crossing_middle = self.middle_stage(at_gamma, seconds);
        // On along the parabola that leaves the start with its slope and meets the middle.
        let onward = |start: f64, middle: f64, slope: f64| {
            start + seconds * slope + (middle - start - ahead * slope) / (GAMMA * GAMMA)
        };
        for (i, slope) in self.slopes.iter().enumerate() {
            let (celsius, water) = (&mut self.state.celsius[i], &mut self.state.water[i]);
            *celsius = onward(self.earlier.celsius[i], *celsius, slope[0]);
            *water = onward(self.earlier.water[i], *water, slope[1]);
        }
        self.settle(at_end, own)?;
        self.arrive(seconds);
        let earlier = EARLIER * seconds;
        self.totals.add(earlier, &self.crossing);
        self.totals.add(earlier, &crossing_middle);
        self.crossing = self.column.crossing(&self.state, at_end);
        self.totals.add(own, &self.crossing);
        Ok(())
    }

    /// Rates and slopes at the end of a step, which follow from its own equation.
    fn arrive(&mut self, seconds: f64) {
        let own = OWN * seconds;
        self.column.contents(&self.state, &mut self.contents);
        for (i, rate) in self.rates.iter_mut().enumerate() {
            for (part, value) in rate.iter_mut().enumerate() {
                *value = (self.contents[i][part] - self.known[i][part]) / own;
            }
            let (celsius, water) = (self.state.celsius[i], self.state.water[i]);
            let slope = [self.column.nodes[i].slope(celsius, water, *rate), rate[1]];
            for (part, value) in slope.into_iter().enumerate() {
                self.bends[i][part] = (value - self.slopes[i][part]) / seconds;
            }
            self.slopes[i] = slope;
        }
    }

    /// Rates at the middle stage, which follow from its own equation; sets up the known part of the
    /// last stage.
    fn middle_stage(&mut self, around: &Surroundings, seconds: f64) -> Crossing {
        let (own, earlier) = (OWN * seconds, EARLIER * seconds);
        self.column.contents(&self.state, &mut self.reached);
        for (i, known) in self.known.iter_mut().enumerate() {
            for (part, value) in known.iter_mut().enumerate() {
                let rate = (self.reached[i][part] - *value) / own;
                *value = self.contents[i][part] + earlier * (self.rates[i][part] + rate);
            }
        }
        self.column.crossing(&self.state, around)
    }

    /// Solves contents − own · rates = known for the state, from the state as it stands.
    fn settle(&mut self, around: &Surroundings, own: f64) -> Result<(), HeatError> {
        for _ in 0..MOST_CORRECTIONS {
            self.column
                .linearise(&self.state, around, (&self.known, own), &mut self.work);
            self.work.blocks.solve();
            if self.correct() {
                return Ok(());
            }
        }
        Err(HeatError::Unsettled)
    }

    /// Applies the correction that the blocks hold; whether it was so small that no other is needed.
    ///
    /// Far from the solution a correction is held back node by node: temperatures to a few kelvin, water
    /// so that it neither turns negative at once nor multiplies.
    fn correct(&mut self) -> bool {
        let mut settled = true;
        for (i, part) in self.work.blocks.right.iter().enumerate() {
            let matter = self.column.nodes[i].matter;
            settled &= part[0].abs() < CLOSE_ENOUGH && part[1].abs() <= CLOSE_ENOUGH_WATER * matter;
            let water = self.state.water[i];
            let most = MOST_DRYING * water.max(0.0) + SMALL_WATER * matter;
            self.state.celsius[i] += part[0].clamp(-LONGEST_CORRECTION, LONGEST_CORRECTION);
            self.state.water[i] += part[1].max(-most).min(4.0 * most);
        }
        settled
    }

    /// How fast a node's temperature changes now, in K/s.
    pub(crate) fn slope(&self, node: usize) -> f64 {
        self.slopes[node][0]
    }
}
