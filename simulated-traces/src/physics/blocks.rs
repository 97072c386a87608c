//! The equations of a step: tridiagonal in blocks of temperature and water.

/// A 2 by 2 matrix, by rows.
type Block = [[f64; 2]; 2];

/// The derivatives of all rates, and later the factors of I − γτJ.
#[derive(Debug, Clone, Default)]
pub(crate) struct Blocks {
    lower: Vec<Block>,
    middle: Vec<Block>,
    upper: Vec<Block>,
}

impl Blocks {
    pub(crate) fn clear(&mut self, count: usize) {
        for blocks in [&mut self.lower, &mut self.middle, &mut self.upper] {
            blocks.clear();
            blocks.resize(count, [[0.0; 2]; 2]);
        }
    }

    /// A link between cell `i` and the next: heat conductance; derivatives of the vapour by temperature
    /// and water of both cells; the heat that vapour takes from the one and brings to the other; and the
    /// derivatives of all water that passes.
    pub(crate) fn add_link(
        &mut self,
        i: usize,
        heat: f64,
        vapour: [[f64; 2]; 2],
        latent: [f64; 2],
        water: [[f64; 2]; 2],
    ) {
        let j = i + 1;
        for k in 0..2 {
            self.middle[i][0][k] -= latent[0] * vapour[0][k];
            self.middle[i][1][k] -= water[0][k];
            self.upper[i][0][k] -= latent[0] * vapour[1][k];
            self.upper[i][1][k] -= water[1][k];
            self.middle[j][0][k] += latent[1] * vapour[1][k];
            self.middle[j][1][k] += water[1][k];
            self.lower[j][0][k] += latent[1] * vapour[0][k];
            self.lower[j][1][k] += water[0][k];
        }
        self.middle[i][0][0] -= heat;
        self.upper[i][0][0] += heat;
        self.middle[j][0][0] -= heat;
        self.lower[j][0][0] += heat;
    }

    /// A face of a cell: slope of its heat, derivatives of its vapour, and the heat that this takes.
    pub(crate) fn add_face(&mut self, cell: usize, slope: f64, vapour: [f64; 2], latent: f64) {
        let middle = &mut self.middle[cell];
        middle[0][0] += slope;
        for k in 0..2 {
            middle[0][k] -= latent * vapour[k];
            middle[1][k] -= vapour[k];
        }
    }

    /// From heat to temperature: the first row of a cell over its heat capacity.
    pub(crate) fn divide_heat(&mut self, cell: usize, capacity: f64) {
        for blocks in [&mut self.lower, &mut self.middle, &mut self.upper] {
            for entry in &mut blocks[cell][0] {
                *entry /= capacity;
            }
        }
    }

    /// Turns the derivatives J into the factors of I − `scale` J: from then on `upper` holds what
    /// elimination leaves of it and `middle` the inverse pivots.
    pub(crate) fn factor(&mut self, scale: f64) {
        for number in 0..self.middle.len() {
            let mut pivot = identity_minus(scale, &self.middle[number]);
            self.lower[number] = scaled(-scale, &self.lower[number]);
            if number > 0 {
                let taken = product(&self.lower[number], &self.upper[number - 1]);
                pivot = difference(&pivot, &taken);
            }
            self.middle[number] = inverse(&pivot);
            let upper = scaled(-scale, &self.upper[number]);
            self.upper[number] = product(&self.middle[number], &upper);
        }
    }

    /// Solves for a right-hand side of temperatures and waters, in place, after [`Blocks::factor`].
    pub(crate) fn solve(&self, celsius: &mut [f64], water: &mut [f64]) {
        let count = self.middle.len();
        for number in 0..count {
            let mut right = [celsius[number], water[number]];
            if number > 0 {
                let taken = applied(
                    &self.lower[number],
                    [celsius[number - 1], water[number - 1]],
                );
                right = [right[0] - taken[0], right[1] - taken[1]];
            }
            let solved = applied(&self.middle[number], right);
            (celsius[number], water[number]) = (solved[0], solved[1]);
        }
        for number in (0..count.saturating_sub(1)).rev() {
            let taken = applied(
                &self.upper[number],
                [celsius[number + 1], water[number + 1]],
            );
            celsius[number] -= taken[0];
            water[number] -= taken[1];
        }
    }
}

fn identity_minus(scale: f64, block: &Block) -> Block {
    let mut result = scaled(-scale, block);
    result[0][0] += 1.0;
    result[1][1] += 1.0;
    result
}

fn scaled(scale: f64, block: &Block) -> Block {
    block.map(|row| row.map(|entry| scale * entry))
}

fn product(a: &Block, b: &Block) -> Block {
    let entry = |row: usize, column: usize| a[row][0] * b[0][column] + a[row][1] * b[1][column];
    [[entry(0, 0), entry(0, 1)], [entry(1, 0), entry(1, 1)]]
}

fn difference(a: &Block, b: &Block) -> Block {
    [
        [a[0][0] - b[0][0], a[0][1] - b[0][1]],
        [a[1][0] - b[1][0], a[1][1] - b[1][1]],
    ]
}

fn applied(block: &Block, vector: [f64; 2]) -> [f64; 2] {
    block.map(|row| row[0] * vector[0] + row[1] * vector[1])
}

fn inverse(block: &Block) -> Block {
    let [[a, b], [c, d]] = *block;
    let one_over = 1.0 / (a * d - b * c);
    [[d * one_over, -b * one_over], [-c * one_over, a * one_over]]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_solution_satisfies_its_equations() {
        let mut blocks = Blocks::default();
        blocks.clear(4);
        for link in 0..3 {
            blocks.add_link(
                link,
                3.0,
                [[0.5, 1.0], [-0.4, -2.0]],
                [2.0, 1.5],
                [[0.5, 1.5], [-0.4, -2.5]],
            );
        }
        blocks.add_face(0, -4.0, [0.3, 0.7], 2.0);
        let derivatives = blocks.clone();
        let (right_c, right_w) = ([1.0, -2.0, 0.5, 3.0], [0.2, 0.4, -1.0, 0.0]);
        let (mut celsius, mut water) = (right_c, right_w);
        blocks.factor(0.3);
        blocks.solve(&mut celsius, &mut water);
        for row in 0..4 {
            let mut left = [celsius[row], water[row]];
            for (block, column) in [
                (&derivatives.lower, row.wrapping_sub(1)),
                (&derivatives.middle, row),
                (&derivatives.upper, row + 1),
            ] {
                if column < 4 {
                    let change = applied(&block[row], [celsius[column], water[column]]);
                    left = [left[0] - 0.3 * change[0], left[1] - 0.3 * change[1]];
                }
            }
            assert!((left[0] - right_c[row]).abs() < 1e-12, "{row}");
            assert!((left[1] - right_w[row]).abs() < 1e-12, "{row}");
        }
    }
}
