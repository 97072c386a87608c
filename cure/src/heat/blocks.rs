//! Linear systems whose matrix has 2 × 2 blocks on three diagonals: temperature and water of each
//! node, tied to those of its two neighbours.
//!
//! Solved by block elimination without exchange of rows (the Thomas algorithm). That is safe here: an
//! implicit step makes the diagonal blocks outweigh the others.

/// A 2 × 2 block by rows.
pub(crate) type Block = [f64; 4];

/// A block tri-diagonal system, and the room to solve it in.
#[derive(Debug, Clone, Default)]
pub(crate) struct Blocks {
    /// What ties each node to the one before.
    pub(crate) below: Vec<Block>,
    /// What ties it to itself.
    pub(crate) diagonal: Vec<Block>,
    /// What ties it to the one after.
    pub(crate) above: Vec<Block>,
    /// The right-hand side on entry to `solve`, the solution after.
    pub(crate) right: Vec<[f64; 2]>,
}

impl Blocks {
    pub(crate) fn new(nodes: usize) -> Blocks {
        Blocks {
            below: vec![[0.0; 4]; nodes],
            diagonal: vec![[0.0; 4]; nodes],
            above: vec![[0.0; 4]; nodes],
            right: vec![[0.0; 2]; nodes],
        }
    }

    /// Solves the system; `right` becomes the solution, the diagonals are used up.
    pub(crate) fn solve(&mut self) {
        let nodes = self.right.len();
        for node in 0..nodes {
            if node > 0 {
                let below = self.below[node];
                let (coupling, known) = (self.above[node - 1], self.right[node - 1]);
                subtract(&mut self.diagonal[node], multiply(below, coupling));
                let carried = apply(below, known);
                self.right[node][0] -= carried[0];
                self.right[node][1] -= carried[1];
            }
            let inverse = invert(self.diagonal[node]);
            self.above[node] = multiply(inverse, self.above[node]);
            self.right[node] = apply(inverse, self.right[node]);
        }
        for node in (0..nodes.saturating_sub(1)).rev() {
            let carried = apply(self.above[node], self.right[node + 1]);
            self.right[node][0] -= carried[0];
            self.right[node][1] -= carried[1];
        }
    }
}

#[inline]
fn multiply(a: Block, b: Block) -> Block {
    [
        a[0] * b[0] + a[1] * b[2],
        a[0] * b[1] + a[1] * b[3],
        a[2] * b[0] + a[3] * b[2],
        a[2] * b[1] + a[3] * b[3],
    ]
}

#[inline]
fn apply(a: Block, x: [f64; 2]) -> [f64; 2] {
    [a[0] * x[0] + a[1] * x[1], a[2] * x[0] + a[3] * x[1]]
}

#[inline]
fn subtract(a: &mut Block, b: Block) {
    a.iter_mut().zip(b).for_each(|(a, b)| *a -= b);
}

#[inline]
fn invert(a: Block) -> Block {
    let scale = 1.0 / (a[0] * a[3] - a[1] * a[2]);
    [scale * a[3], -scale * a[1], -scale * a[2], scale * a[0]]
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};
    use proptest::prelude::*;

    proptest! {
        /// Against the LU decomposition of a general-purpose library.
        #[test]
        fn solves_what_a_dense_solver_solves(
            values in proptest::collection::vec(-1.0..1.0f64, 7 * 14),
            nodes in 1usize..7,
        ) {
            let mut system = Blocks::new(nodes);
            let mut dense = DMatrix::zeros(2 * nodes, 2 * nodes);
            let mut right = DVector::zeros(2 * nodes);
            for node in 0..nodes {
                let own = &values[14 * node..14 * (node + 1)];
                let block = |from: usize, dominant: f64| {
                    [own[from] + dominant, own[from + 1], own[from + 2], own[from + 3] + dominant]
                };
                system.below[node] = block(0, 0.0);
                system.diagonal[node] = block(4, 6.0);
                system.above[node] = block(8, 0.0);
                system.right[node] = [own[12], own[13]];
                for row in 0..2 {
                    right[2 * node + row] = system.right[node][row];
                    for column in 0..2 {
                        let entry = 2 * row + column;
                        dense[(2 * node + row, 2 * node + column)] = system.diagonal[node][entry];
                        if node > 0 {
                            dense[(2 * node + row, 2 * node - 2 + column)] = system.below[node][entry];
                        }
                        if node + 1 < nodes {
                            dense[(2 * node + row, 2 * node + 2 + column)] = system.above[node][entry];
                        }
                    }
                }
            }
            let reference = dense.lu().solve(&right).expect("diagonally dominant");
            system.solve();
            for node in 0..nodes {
                for row in 0..2 {
                    prop_assert!((system.right[node][row] - reference[2 * node + row]).abs() < 1e-12);
                }
            }
        }
    }
}
