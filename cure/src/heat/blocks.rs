//! Linear systems whose matrix has 2 × 2 blocks on three diagonals: temperature and water of each
//! node, tied to those of its two neighbours.
//!
//! Solved by block elimination without exchange of rows (the Thomas algorithm). That is safe here: an
//! implicit step makes the diagonal blocks outweigh the others. Rows are reduced as they come, from the
//! top down; then the solution follows from the bottom up.

/// A 2 × 2 block by rows.
pub(crate) type Block = [f64; 4];

/// A row of the system: −A x₋₁ + B x + C x₊₁ = d.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Row<'a> {
    /// A: what ties a node to the one before, the sign left to the equation above.
    pub(crate) below: &'a Block,
    /// B: what ties it to itself.
    pub(crate) diagonal: Block,
    /// C: what ties it to the one after.
    pub(crate) above: &'a Block,
    /// d.
    pub(crate) right: [f64; 2],
}

/// A reduced row: x = d − C x₊₁.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Reduced {
    above: Block,
    right: [f64; 2],
}

impl Row<'_> {
    /// This row, given the reduced one before it (the default before the first).
    #[inline]
    pub(crate) fn reduced(&self, before: &Reduced) -> Reduced {
        let tied = multiply(self.below, &before.above);
        let known = apply(self.below, before.right);
        let [a, b, c, d] = self.diagonal;
        let inverse = invert(&[a + tied[0], b + tied[1], c + tied[2], d + tied[3]]);
        let right = [self.right[0] + known[0], self.right[1] + known[1]];
        Reduced {
            above: multiply(&inverse, self.above),
            right: apply(&inverse, right),
        }
    }
}

impl Reduced {
    /// The node's part of the solution, given that of the one after it (anything after the last).
    #[inline]
    pub(crate) fn solution(&self, after: [f64; 2]) -> [f64; 2] {
        let tied = apply(&self.above, after);
        [self.right[0] - tied[0], self.right[1] - tied[1]]
    }
}

#[inline]
fn multiply(a: &Block, b: &Block) -> Block {
    [
        a[0] * b[0] + a[1] * b[2],
        a[0] * b[1] + a[1] * b[3],
        a[2] * b[0] + a[3] * b[2],
        a[2] * b[1] + a[3] * b[3],
    ]
}

#[inline]
fn apply(a: &Block, x: [f64; 2]) -> [f64; 2] {
    [a[0] * x[0] + a[1] * x[1], a[2] * x[0] + a[3] * x[1]]
}

#[inline]
fn invert(a: &Block) -> Block {
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
            let mut reduced = Vec::new();
            let mut before = Reduced::default();
            let mut dense = DMatrix::zeros(2 * nodes, 2 * nodes);
            let mut right = DVector::zeros(2 * nodes);
            for node in 0..nodes {
                let own = &values[14 * node..14 * (node + 1)];
                let block = |from: usize, dominant: f64| {
                    [own[from] + dominant, own[from + 1], own[from + 2], own[from + 3] + dominant]
                };
                let inner = |is: bool, block: Block| if is { block } else { [0.0; 4] };
                let (below, above) = (
                    inner(node > 0, block(0, 0.0)),
                    inner(node + 1 < nodes, block(8, 0.0)),
                );
                let system = Row {
                    below: &below,
                    diagonal: block(4, 6.0),
                    above: &above,
                    right: [own[12], own[13]],
                };
                before = system.reduced(&before);
                reduced.push(before);
                for row in 0..2 {
                    right[2 * node + row] = system.right[row];
                    for column in 0..2 {
                        let entry = 2 * row + column;
                        dense[(2 * node + row, 2 * node + column)] = system.diagonal[entry];
                        if node > 0 {
                            dense[(2 * node + row, 2 * node - 2 + column)] = -system.below[entry];
                        }
                        if node + 1 < nodes {
                            dense[(2 * node + row, 2 * node + 2 + column)] = system.above[entry];
                        }
                    }
                }
            }
            let reference = dense.lu().solve(&right).expect("diagonally dominant");
            let mut after = [0.0; 2];
            for node in (0..nodes).rev() {
                after = reduced[node].solution(after);
                for row in 0..2 {
                    prop_assert!((after[row] - reference[2 * node + row]).abs() < 1e-12);
                }
            }
        }
    }
}
