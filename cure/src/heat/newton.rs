//! One correction of Newton's method for a stage of an implicit step.
//!
//! A stage asks for the state at which, node by node,
//!
//!   (Y − Y_known) / Δ = F
//!
//! with Y the contents (heat and water), F their rates and Δ the stage's own share of the step. About a
//! state that nearly solves it everything is taken as straight lines; what they lack is the right-hand
//! side, and the changes that make up for it the solution of a block tri-diagonal system.

use super::blocks::{Reduced, Row};
use super::column::{Column, State};
use super::flows::{Crossing, Faces, Flow, Leaving};
use super::moisture::Hold;
use super::surroundings::{Breath, Surroundings};

/// Room to set up and solve a correction, and what it found.
#[derive(Debug, Clone)]
pub(crate) struct Newton {
    holds: Vec<Hold>,
    /// What each node's straight lines lack, and the rows reduced.
    lacking: Vec<[f64; 2]>,
    rows: Vec<Reduced>,
    faces: Faces,
    /// Changes of temperature (K) and water (kg/m²) for each node.
    pub(crate) changes: Vec<[f64; 2]>,
}

impl Newton {
    pub(crate) fn new(nodes: usize) -> Newton {
        Newton {
            holds: vec![Hold::default(); nodes],
            lacking: vec![[0.0; 2]; nodes],
            rows: vec![Reduced::default(); nodes],
            faces: Faces::default(),
            changes: vec![[0.0; 2]; nodes],
        }
    }

    /// Rates of change of each node's contents, and what crosses the faces, at a state with these contents.
    pub(crate) fn rates(
        &mut self,
        column: &Column,
        state: &State,
        around: &Surroundings,
        contents: &[[f64; 2]],
    ) -> (&[[f64; 2]], Crossing) {
        // Where nothing is lacking of the contents, what is lacking are the rates.
        self.find(column, state, around, contents, 1.0);
        let crossing = self.faces.after([0.0; 2], [0.0; 2], [0.0; 2]);
        (&self.lacking, crossing)
    }

    /// Finds the changes that bring a state to where contents have become `known` plus `seconds` times
    /// their rates.
    pub(crate) fn find(
        &mut self,
        column: &Column,
        state: &State,
        around: &Surroundings,
        known: &[[f64; 2]],
        seconds: f64,
    ) {
        self.look(column, state, around);
        self.reduce(column, state, known, 1.0 / seconds);
        let mut after = [0.0; 2];
        for (change, row) in self.changes.iter_mut().zip(&self.rows).rev() {
            after = row.solution(after);
            *change = after;
        }
    }

    /// Sets up the system row by row from the top, reducing each as it comes.
    fn reduce(&mut self, column: &Column, state: &State, known: &[[f64; 2]], per_second: f64) {
        let count = column.nodes.len();
        // Of one length, so that no index needs to be checked again.
        let (celsius, water) = (&state.celsius[..count], &state.water[..count]);
        let (known, holds) = (&known[..count], &self.holds[..count]);
        let (rows, lacking) = (&mut self.rows[..count], &mut self.lacking[..count]);
        let mut from_above = Flow::default();
        let mut before = Reduced::default();
        for (i, node) in column.nodes.iter().enumerate() {
            let flow = match column.links.get(i) {
                Some(link) if i + 1 < count => {
                    link.flow((celsius[i], &holds[i]), (celsius[i + 1], &holds[i + 1]))
                }
                _ => Flow::default(),
            };
            let through = self.faces.through(i, column.lowest_cloth, count - 1);
            let contents =
                node.with_binding(celsius[i], water[i], holds[i].bound, holds[i].binding);
            let (down, gone) = (&from_above.down, &flow.down);
            let (by_upper, by_lower) = (&flow.by_upper, &from_above.by_lower);
            lacking[i] = [
                per_second * (known[i][0] - contents.heat) + down[0] - gone[0] - through.flow[0],
                per_second * (known[i][1] - water[i]) + down[1] - gone[1] - through.flow[1],
            ];
            let row = Row {
                below: &from_above.by_upper,
                diagonal: [
                    by_upper[0] - by_lower[0]
                        + through.by[0]
                        + per_second * contents.by_temperature,
                    by_upper[1] - by_lower[1] + through.by[1] + per_second * contents.by_water,
                    by_upper[2] - by_lower[2] + through.by[2],
                    by_upper[3] - by_lower[3] + through.by[3] + per_second,
                ],
                above: &flow.by_lower,
                right: lacking[i],
            };
            before = row.reduced(&before);
            rows[i] = before;
            from_above = flow;
        }
    }

    /// What crosses the faces once the changes are made.
    ///
    /// Taken along the same straight lines as the changes, so that what crossed is what the nodes were
    /// given.
    pub(crate) fn crossing(&self, column: &Column) -> Crossing {
        let last = self.changes.len() - 1;
        self.faces.after(
            self.changes[0],
            self.changes[column.lowest_cloth],
            self.changes[last],
        )
    }

    /// Looks at all nodes' water and at the faces.
    fn look(&mut self, column: &Column, state: &State, around: &Surroundings) {
        let nodes = column.nodes.iter().zip(&state.celsius).zip(&state.water);
        for (hold, ((node, celsius), water)) in self.holds.iter_mut().zip(nodes) {
            *hold = node.store.hold(*celsius, *water);
        }
        let (lowest, last) = (column.lowest_cloth, column.nodes.len() - 1);
        let leaving = |node: usize, breath: &Breath| {
            if column.nodes[node].matter > 0.0 {
                breath.leaving(&self.holds[node], state.celsius[node])
            } else {
                Leaving::default()
            }
        };
        self.faces = Faces {
            top: around.top.warming(state.celsius[0]),
            bottom: around.bottom.warming(state.celsius[last]),
            top_leaving: leaving(0, &around.top_breath),
            bottom_leaving: leaving(lowest, &around.bottom_breath),
        };
    }
}
