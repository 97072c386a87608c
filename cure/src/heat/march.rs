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
use super::column::{Column, State};
use super::flows::Crossing;
use super::newton::Newton;
use super::surroundings::Surroundings;

/// γ = 2 − √2.
pub(crate) const GAMMA: f64 = 2.0 - std::f64::consts::SQRT_2;
/// d = γ/2.
const OWN: f64 = 0.5 * GAMMA;
/// w = √2/4.
const EARLIER: f64 = 0.25 * std::f64::consts::SQRT_2;
/// After a correction smaller than this (K) no other is made. What is then left is of the order of its
/// square: some ten-thousandths of a kelvin at most where a front of drying passes, and less elsewhere.
const CLOSE_ENOUGH: f64 = 0.05;
/// The same for water, as a share of the matter that holds it.
const CLOSE_ENOUGH_WATER: f64 = 2e-5;
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

/// What a node had at the start of a step, and where that leads.
#[derive(Debug, Clone, Copy, Default)]
struct Start {
    /// Temperature and water.
    at: [f64; 2],
    /// Heat and water held.
    contents: [f64; 2],
    /// Their rates.
    rates: [f64; 2],
    /// Changes of temperature (K/s) and water (kg/(m² s)).
    slope: [f64; 2],
    /// Second derivatives of both, and third: those of the cubic over the step before.
    bend: [f64; 2],
    twist: [f64; 2],
}

impl Start {
    /// How far it would come in so many seconds along the cubic of the step before.
    #[inline]
    fn ahead(&self, seconds: f64) -> [f64; 2] {
        both(|part| onward(seconds, self.slope[part], self.bend[part], self.twist[part]))
    }
}

/// A column on its way through time.
pub(crate) struct March<'a> {
    column: &'a Column,
    pub(crate) state: State,
    pub(crate) totals: Totals,
    starts: Vec<Start>,
    /// What crosses the faces at the present state.
    crossing: Crossing,
    /// What a stage's contents are but for its own rates.
    known: Vec<[f64; 2]>,
    newton: Newton,
}

impl<'a> March<'a> {
    pub(crate) fn new(column: &'a Column, state: State, around: &Surroundings) -> March<'a> {
        let nodes = column.nodes.len();
        let mut newton = Newton::new(nodes);
        let mut starts = vec![Start::default(); nodes];
        let mut known = vec![[0.0; 2]; nodes];
        for (i, (start, known)) in starts.iter_mut().zip(&mut known).enumerate() {
            start.at = [state.celsius[i], state.water[i]];
            let contents = column.nodes[i].contents(start.at[0], start.at[1]);
            start.contents = [contents.heat, start.at[1]];
            *known = start.contents;
        }
        let (rates, crossing) = newton.rates(column, &state, around, &known);
        for (start, rates) in starts.iter_mut().zip(rates) {
            start.rates = *rates;
        }
        March {
            column,
            starts,
            state,
            totals: Totals::default(),
            crossing,
            known,
            newton,
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

    /// One step, whole; on failure all but the state is as it was.
    fn try_step(
        &mut self,
        seconds: f64,
        at_gamma: &Surroundings,
        at_end: &Surroundings,
    ) -> Result<(), HeatError> {
        let (own, earlier) = (OWN * seconds, EARLIER * seconds);
        self.begin(seconds);
        self.settle(at_gamma, own)?;
        let middle = self.newton.crossing(self.column);
        self.middle(seconds);
        self.settle(at_end, own)?;
        self.arrive(seconds);
        self.totals.add(earlier, &self.crossing);
        self.totals.add(earlier, &middle);
        self.crossing = self.newton.crossing(self.column);
        self.totals.add(own, &self.crossing);
        Ok(())
    }

    /// Sets up the first stage: what is known of it, and a state to start looking from.
    fn begin(&mut self, seconds: f64) {
        let own = OWN * seconds;
        for (i, (start, known)) in self.starts.iter().zip(&mut self.known).enumerate() {
            *known = both(|part| start.contents[part] + own * start.rates[part]);
            let change = held_back(
                start.ahead(GAMMA * seconds),
                start.at[1],
                self.column.nodes[i].matter,
            );
            self.state.celsius[i] = start.at[0] + change[0];
            self.state.water[i] = start.at[1] + change[1];
        }
    }

    /// Sets up the last stage from the first one, whose rates follow from its own equation.
    fn middle(&mut self, seconds: f64) {
        let earlier = EARLIER * seconds;
        let (ahead, left) = (GAMMA * seconds, seconds - GAMMA * seconds);
        let (per_own, per_ahead) = (1.0 / (OWN * seconds), 1.0 / ahead);
        for (i, node) in self.column.nodes.iter().enumerate() {
            let (start, known) = (&self.starts[i], &mut self.known[i]);
            let at = [self.state.celsius[i], self.state.water[i]];
            let contents = node.contents(at[0], at[1]);
            let rates = [
                per_own * (contents.heat - known[0]),
                per_own * (at[1] - known[1]),
            ];
            *known =
                both(|part| start.contents[part] + earlier * (start.rates[part] + rates[part]));
            // On along the cubic through the start and the middle with their slopes.
            let slope = [contents.slope(rates), rates[1]];
            let change = both(|part| {
                let before = (start.at[part], start.slope[part]);
                let (bend, twist) = cubic(per_ahead, before, (at[part], slope[part]));
                onward(left, slope[part], bend, twist)
            });
            let change = held_back(change, at[1], node.matter);
            self.state.celsius[i] += change[0];
            self.state.water[i] += change[1];
        }
    }

    /// Contents, rates and slopes at the end of a step; rates follow from its own equation.
    fn arrive(&mut self, seconds: f64) {
        let (per_own, per_second) = (1.0 / (OWN * seconds), 1.0 / seconds);
        for (i, node) in self.column.nodes.iter().enumerate() {
            let (start, known) = (&mut self.starts[i], &self.known[i]);
            let at = [self.state.celsius[i], self.state.water[i]];
            let contents = node.contents(at[0], at[1]);
            let rates = [
                per_own * (contents.heat - known[0]),
                per_own * (at[1] - known[1]),
            ];
            let slope = [contents.slope(rates), rates[1]];
            for part in 0..2 {
                let before = (start.at[part], start.slope[part]);
                (start.bend[part], start.twist[part]) =
                    cubic(per_second, before, (at[part], slope[part]));
            }
            start.at = at;
            start.contents = [contents.heat, at[1]];
            start.rates = rates;
            start.slope = slope;
        }
    }

    /// Solves contents − own · rates = known for the state, from the state as it stands.
    fn settle(&mut self, around: &Surroundings, own: f64) -> Result<(), HeatError> {
        for _ in 0..MOST_CORRECTIONS {
            self.newton
                .find(self.column, &self.state, around, &self.known, own);
            if self.correct() {
                return Ok(());
            }
        }
        Err(HeatError::Unsettled)
    }

    /// Applies the correction that was found; whether it was so small that no other is needed.
    ///
    /// Far from the solution a correction is held back node by node: temperatures to a few kelvin, water
    /// so that it neither turns negative at once nor multiplies.
    fn correct(&mut self) -> bool {
        let mut settled = true;
        for (i, part) in self.newton.changes.iter().enumerate() {
            let matter = self.column.nodes[i].matter;
            settled &= part[0].abs() < CLOSE_ENOUGH && part[1].abs() <= CLOSE_ENOUGH_WATER * matter;
            let change = held_back(*part, self.state.water[i], matter);
            self.state.celsius[i] += change[0];
            self.state.water[i] += change[1];
        }
        settled
    }

    /// How fast a node's temperature changes now, in K/s.
    pub(crate) fn slope(&self, node: usize) -> f64 {
        self.starts[node].slope[0]
    }
}

/// A change of temperature and water, no longer than is safe for a node with so much water and matter.
#[inline]
fn held_back([celsius, water]: [f64; 2], held: f64, matter: f64) -> [f64; 2] {
    let most = MOST_DRYING * held.max(0.0) + SMALL_WATER * matter;
    [
        celsius.clamp(-LONGEST_CORRECTION, LONGEST_CORRECTION),
        water.max(-most).min(4.0 * most),
    ]
}

/// The same for temperature and water (or heat and water).
#[inline]
fn both(value: impl Fn(usize) -> f64) -> [f64; 2] {
    [value(0), value(1)]
}

/// How far along a cubic so many seconds lead, by its derivatives where it stands.
#[inline]
fn onward(seconds: f64, slope: f64, bend: f64, twist: f64) -> f64 {
    seconds * (slope + 0.5 * seconds * (bend + seconds / 3.0 * twist))
}

/// Second and third derivative, at its end, of the cubic with these values and slopes at both ends, given
/// one over the seconds that it lasts.
#[inline]
fn cubic(per_second: f64, start: (f64, f64), end: (f64, f64)) -> (f64, f64) {
    let mean = (end.0 - start.0) * per_second;
    (
        per_second * (4.0 * end.1 + 2.0 * start.1 - 6.0 * mean),
        per_second * per_second * 6.0 * (end.1 + start.1 - 2.0 * mean),
    )
}
