//! Least squares by Householder QR of tall, narrow systems, block by block: each block is stacked under
//! the triangle of those before it (Demmel, Grigori, Hoemmen, Langou 2012, Communication-optimal
//! parallel and sequential QR and LU factorizations; Golub, Van Loan 2013, Matrix Computations, 5.2).

use nalgebra::DMatrix;

/// Rows under construction, stored by column; the first `N` rows hold the triangle so far.
pub(crate) struct Block<const N: usize> {
    /// Columns of the matrix.
    pub(crate) column: [[f64; ROWS]; N],
    /// Right-hand side.
    pub(crate) rhs: [f64; ROWS],
}

/// Triangle, rotated right-hand side and sum of squares of a whole system of `N` unknowns.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Factor<const N: usize> {
    /// Upper triangle by column: `r[j][i]` is row i of column j.
    pub(crate) r: [[f64; N]; N],
    /// First `N` components of the rotated right-hand side.
    pub(crate) z: [f64; N],
    /// Objective: the sum of squares, or of the loss.
    pub(crate) cost: f64,
}

impl<const N: usize> Block<N> {
    pub(crate) fn new() -> Self {
        const { assert!(N <= HEAD) };
        Block { column: [[0.0; ROWS]; N], rhs: [0.0; ROWS] }
    }

    /// Brings the first `rows` rows to triangular form.
    #[inline(always)]
    pub(crate) fn reduce(&mut self, rows: usize) {
        for k in 0..N {
            let (left, right) = self.column.split_at_mut(k + 1);
            let pivot = &mut left[k][k..rows];
            let norm = dot(pivot, pivot).sqrt();
            if norm == 0.0 {
                continue;
            }
            let alpha = if pivot[0] > 0.0 { -norm } else { norm };
            let lead = pivot[0] - alpha;
            pivot[0] = lead;
            let beta = -1.0 / (alpha * lead);
            for other in right.iter_mut() {
                reflect(pivot, beta, &mut other[k..rows]);
            }
            reflect(pivot, beta, &mut self.rhs[k..rows]);
            pivot[0] = alpha;
            let end = N.min(rows);
            left[k][k + 1..end].fill(0.0);
        }
    }

    /// The triangle and right-hand side, with the objective kept beside them.
    pub(crate) fn factor(&self, cost: f64) -> Factor<N> {
        let r = std::array::from_fn(|j| {
            std::array::from_fn(|i| if i <= j { self.column[j][i] } else { 0.0 })
        });
        Factor { r, z: std::array::from_fn(|i| self.rhs[i]), cost }
    }

    fn stack(&mut self, factor: &Factor<N>, at: usize) {
        for j in 0..N {
            self.column[j][at..at + N].copy_from_slice(&factor.r[j]);
        }
        self.rhs[at..at + N].copy_from_slice(&factor.z);
    }
}

impl<const N: usize> Factor<N> {
    /// One factor of all parts, taken in order.
    pub(crate) fn merge(parts: &[Factor<N>]) -> Self {
        if let [only] = parts {
            return *only;
        }
        let mut block = Block::new();
        let mut cost = 0.0;
        for group in parts.chunks(BATCH / N) {
            for (i, part) in group.iter().enumerate() {
                block.stack(part, N + i * N);
                cost += part.cost;
            }
            block.reduce(N + group.len() * N);
        }
        block.factor(cost)
    }

    /// Step that lowers the sum of squares: Gauss-Newton for `damping` 0, else Levenberg-Marquardt
    /// with the damping relative to each column's length. `None` where the system is singular.
    pub(crate) fn step(&self, damping: f64) -> Option<[f64; N]> {
        if damping == 0.0 {
            return self.solve();
        }
        let mut block = Block::new();
        block.stack(self, 0);
        let longest = (0..N).map(|j| self.length(j)).fold(0.0, f64::max);
        for j in 0..N {
            for i in 0..N {
                block.column[j][N + i] = 0.0;
            }
            // A column of zeros still needs some damping, or the step stays undefined.
            block.column[j][N + j] = damping * self.length(j).max(longest * 1e-8);
            block.rhs[N + j] = 0.0;
        }
        block.reduce(2 * N);
        block.factor(self.cost).solve()
    }

    /// The same system in the coordinates of an orthonormal basis (by column), all but the first
    /// `free` of which stay zero.
    pub(crate) fn restricted(&self, basis: &[[f64; N]; N], free: usize) -> Self {
        let mut block = Block::new();
        block.rhs[..N].copy_from_slice(&self.z);
        for (j, unit) in basis.iter().enumerate() {
            if j >= free {
                block.column[j][N + j] = 1.0;
                continue;
            }
            for (column, share) in self.r.iter().zip(unit) {
                block.column[j].iter_mut().zip(column).for_each(|(x, r)| *x += r * share);
            }
        }
        block.reduce(2 * N);
        block.factor(self.cost)
    }

    /// Inverse of the triangle by column, `None` where singular.
    pub(crate) fn inverse(&self) -> Option<[[f64; N]; N]> {
        let mut inverse = [[0.0; N]; N];
        for (j, out) in inverse.iter_mut().enumerate() {
            let mut unit = [0.0; N];
            unit[j] = 1.0;
            *out = self.back_substitute(&unit)?;
        }
        Some(inverse)
    }

    /// Condition number with columns brought to equal length, and the unit combination of the
    /// (original) unknowns the data say least about.
    pub(crate) fn condition(&self) -> (f64, [f64; N]) {
        let lengths: [f64; N] = std::array::from_fn(|j| self.length(j).max(f64::MIN_POSITIVE));
        let scaled = DMatrix::from_fn(N, N, |i, j| self.r[j][i] / lengths[j]);
        let svd = scaled.svd(false, true);
        let (low, high) = (svd.singular_values.min(), svd.singular_values.max());
        let weak = svd.singular_values.imin();
        let direction = svd.v_t.map_or([0.0; N], |v| std::array::from_fn(|j| v[(weak, j)]));
        (if low > 0.0 { high / low } else { f64::INFINITY }, direction)
    }

    fn solve(&self) -> Option<[f64; N]> {
        self.back_substitute(&self.z.map(|z| -z))
    }

    fn back_substitute(&self, rhs: &[f64; N]) -> Option<[f64; N]> {
        let mut x = *rhs;
        for k in (0..N).rev() {
            x[k] /= self.r[k][k];
            if !x[k].is_finite() {
                return None;
            }
            for i in 0..k {
                x[i] -= self.r[k][i] * x[k];
            }
        }
        Some(x)
    }

    fn length(&self, j: usize) -> f64 {
        dot(&self.r[j], &self.r[j]).sqrt()
    }
}

/// Applies the reflection I - beta v vᵀ.
#[inline(always)]
fn reflect(v: &[f64], beta: f64, x: &mut [f64]) {
    let s = beta * dot(v, x);
    for (x, v) in x.iter_mut().zip(v) {
        *x -= s * v;
    }
}

/// Scalar product in eight fixed lanes: the order of the sum does not depend on the machine.
#[inline(always)]
fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut lane = [0.0; 8];
    let (a8, b8) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f64 = a8.remainder().iter().zip(b8.remainder()).map(|(x, y)| x * y).sum();
    for (x, y) in a8.zip(b8) {
        for i in 0..8 {
            lane[i] += x[i] * y[i];
        }
    }
    ((lane[0] + lane[4]) + (lane[1] + lane[5])) + ((lane[2] + lane[6]) + (lane[3] + lane[7])) + rest
}

/// Rows that are filled between two reductions.
pub(crate) const BATCH: usize = 256;
/// Rows kept for the triangle: the most unknowns a system can have.
const HEAD: usize = 8;
const ROWS: usize = HEAD + BATCH;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::random::Random;

    /// Against the singular value decomposition of the whole matrix (nalgebra).
    #[test]
    fn many_blocks_solve_like_one_dense_system() {
        let mut random = Random::new(1);
        let mut number = || random.bits() as f64 / u64::MAX as f64 - 0.5;
        let (rows, mut parts) = (700, Vec::new());
        let mut dense = DMatrix::zeros(rows, 4);
        let mut rhs = DMatrix::zeros(rows, 1);
        for start in (0..rows).step_by(100) {
            let mut block = Block::<4>::new();
            for i in 0..100 {
                for j in 0..4 {
                    let value = number();
                    dense[(start + i, j)] = value;
                    block.column[j][4 + i] = value;
                }
                rhs[start + i] = number();
                block.rhs[4 + i] = rhs[start + i];
            }
            block.reduce(104);
            parts.push(block.factor(0.0));
        }
        let step = Factor::merge(&parts).step(0.0).expect("full rank");
        let reference = dense.svd(true, true).solve(&-rhs, 0.0).expect("svd");
        for j in 0..4 {
            assert!((step[j] - reference[j]).abs() < 1e-14);
        }
    }

    #[test]
    fn a_missing_column_has_no_plain_step_but_a_damped_one() {
        let mut block = Block::<2>::new();
        for i in 0..5 {
            block.column[0][2 + i] = 1.0;
            block.rhs[2 + i] = 3.0;
        }
        block.reduce(7);
        let factor = block.factor(0.0);
        assert!(factor.step(0.0).is_none());
        let damped = factor.step(1e-6).expect("damped");
        assert!((damped[0] + 3.0).abs() < 1e-9 && damped[1] == 0.0);
        assert!(factor.condition().0.is_infinite());
    }
}
