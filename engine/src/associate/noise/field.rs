//! How the noise hangs together: suppositions of a smooth field over independent noise, each weighed
//! by how well it explains the cells' residuals.
//!
//! Restricted likelihood (Patterson, Thompson 1971, Recovery of inter-block information when block
//! sizes are unequal): only combinations of residuals that the shape's freedoms and patterns leave
//! alone count, so that what the fit absorbed is not mistaken for quiet. The scale is integrated out,
//! and the suppositions are averaged instead of the best being believed (Hoeting et al. 1999, Bayesian
//! model averaging). Correlations are mixtures of Gaussians of the distance, which all isotropic
//! correlations valid in any dimension are (Schoenberg 1938, Metric spaces and completely monotone functions).

use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

use super::cells::Cells;
use super::model::{length, ratios};

/// A field of variance 1 as the cells see it.
#[derive(Debug, Clone)]
pub(crate) struct Correlation {
    /// Its length is [`length`] of this.
    pub(crate) step: i32,
    /// Whether it has detail down to an eighth of the length.
    pub(crate) rough: bool,
    /// Covariance of the cells' mean residuals, times the root of their numbers of points.
    pub(crate) matrix: DMatrix<f64>,
    /// Share of its variance that is seen within cells.
    pub(crate) apart: f64,
    /// Variance of what varies within cells, summed over points with weights whose squares add up to 1.
    pub(crate) fine: f64,
}

/// What is said of a field with one ratio.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Judged {
    /// Logarithm of the likelihood.
    pub(crate) log: f64,
    /// Variance of the independent part, scaled².
    pub(crate) variance: f64,
    /// Degrees of freedom that show the field's variance.
    pub(crate) freedoms: f64,
}

/// Combinations of the cells' residuals that the fit left alone.
pub(crate) struct Contrasts<'a> {
    cells: &'a Cells,
    qr: nalgebra::QR<f64, nalgebra::Dyn, nalgebra::Dyn>,
    rank: usize,
    residual: DVector<f64>,
}

impl<'a> Contrasts<'a> {
    /// Contrasts free of the columns; `None` where too little is left.
    pub(crate) fn new(cells: &'a Cells, columns: &DMatrix<f64>) -> Option<Self> {
        let basis = orthonormal(&weighted(cells, columns));
        let (rank, rows) = (basis.ncols(), cells.sum.len());
        if rank == 0 || rows < rank + LEAST {
            return None;
        }
        let qr = basis.qr();
        let mut residual =
            weighted(cells, &DMatrix::from_columns(std::slice::from_ref(&cells.sum)));
        qr.q_tr_mul(&mut residual);
        Some(Contrasts { cells, qr, rank, residual: residual.column(0).into_owned() })
    }

    /// Degrees of freedom of the contrasts.
    pub(crate) fn freedoms(&self) -> f64 {
        (self.residual.len() - self.rank) as f64
    }

    /// Share of a field in the cells' means that the fit leaves.
    pub(crate) fn left(&self, field: &Correlation) -> f64 {
        let basis = self.qr.q();
        let fitted = basis.dot(&(&field.matrix * &basis));
        1.0 - fitted / field.matrix.trace().max(f64::MIN_POSITIVE)
    }

    /// Logarithm of the likelihood of independent noise alone.
    pub(crate) fn white(&self) -> f64 {
        self.judged(self.residual.rows_range(self.rank..).norm_squared(), 0.0, 1.0).0
    }

    /// What the contrasts say of a field, for each of the ratios.
    pub(crate) fn judge(&self, field: &Correlation) -> Vec<Judged> {
        let mut turned = field.matrix.clone();
        self.qr.q_tr_mul(&mut turned);
        turned.transpose_mut();
        self.qr.q_tr_mul(&mut turned);
        let n = self.residual.len();
        let free = turned.view_range(self.rank..n, self.rank..n).into_owned();
        let y = self.residual.rows_range(self.rank..n).into_owned();
        // Detail tells the variance of slower waves only if they are just as supposed: no more is
        // known of it than the independent patches show (Satterthwaite 1946, An approximate
        // distribution of estimates of variance components).
        let patches = free.trace().powi(2) / free.norm_squared().max(f64::MIN_POSITIVE);
        let (diagonal, off, y) = tridiagonal(free, y);
        let forms: Vec<(f64, f64)> =
            ratios().map(|ratio| quadratic(&diagonal, &off, &y, ratio)).collect();
        let judged = |(k, ratio): (usize, f64)| {
            let (log, variance) = self.judged(forms[k].0, forms[k].1, 1.0 + ratio * field.apart);
            Judged { log, variance, freedoms: informed(&forms, k).min(patches).max(FEWEST) }
        };
        ratios().enumerate().map(judged).collect()
    }

    /// Logarithm of the likelihood, and the variance, from the contrasts' quadratic form and log
    /// determinant and from the scatter within cells, whose variance is `inside` times the noise's.
    fn judged(&self, q: f64, log: f64, inside: f64) -> (f64, f64) {
        // Within a cell a field shows little more than its slope: points are not all new there.
        let (own, within) = (self.freedoms(), self.cells.within_freedoms);
        let counted = within.min(SLOPES * self.cells.sum.len() as f64);
        let square = self.cells.within / inside;
        let total = q + square * counted / within.max(1.0);
        let log = log + counted * inside.ln() + (own + counted) * total.max(f64::MIN_POSITIVE).ln();
        (-0.5 * log, (q + square) / (own + within))
    }
}

impl Correlation {
    /// Smooth and rough fields of each step of the grid of lengths; `scale` is mm in a scaled unit.
    pub(crate) fn all(cells: &Cells, steps: &[i32], scale: f64) -> Vec<Correlation> {
        let mut needed: Vec<i32> =
            steps.iter().flat_map(|s| ROUGH.map(|(down, _)| s - down)).collect();
        needed.sort_unstable();
        needed.dedup();
        let gaussians: Vec<Correlation> = needed
            .par_iter()
            .map(|&step| Self::gaussian(cells, step, length(step) / scale))
            .collect();
        let of = |step| &gaussians[needed.partition_point(|n| *n < step)];
        let smooth = steps.iter().map(|&step| of(step).clone());
        // Rough fields are too broad to tell neighbouring steps apart.
        let rough = steps.iter().filter(|step| **step % 2 == 0).map(|&step| {
            let mut sum = Correlation {
                step,
                rough: true,
                matrix: of(step).matrix.clone() * 0.0,
                apart: 0.0,
                fine: 0.0,
            };
            for (down, weight) in ROUGH {
                sum.matrix += &of(step - down).matrix * weight;
                sum.apart += of(step - down).apart * weight;
                sum.fine += of(step - down).fine * weight;
            }
            sum
        });
        smooth.chain(rough).collect()
    }

    /// The Gaussian of the distance, averaged over where the points of two cells lie.
    fn gaussian(c: &Cells, step: i32, length: f64) -> Self {
        let (square, count) = (length * length, c.count.len());
        let share = |spread: f64| {
            let share = square / (square + spread);
            if c.dimensions == 2 { share } else { share.sqrt() }
        };
        // One spread for all cells keeps the matrix a covariance.
        let points: f64 = c.count.iter().sum();
        let mean: f64 = c.spread.iter().zip(&c.count).map(|(s, n)| s * n).sum::<f64>() / points;
        let mut block = DMatrix::zeros(count, count);
        for i in 0..count {
            for j in 0..=i {
                let spread = 2.0 * mean;
                let distance = (c.at[i] - c.at[j]).norm_squared();
                let mut value = share(spread) * (-0.5 * distance / (square + spread)).exp();
                if i == j {
                    value += (1.0 - value) / c.count[i];
                }
                value *= (c.count[i] * c.count[j]).sqrt();
                (block[(i, j)], block[(j, i)]) = (value, value);
            }
        }
        let matrix = DMatrix::from_fn(c.sum.len(), c.sum.len(), |i, j| {
            // The two residuals of a curve's point are taken as independent.
            if i / count == j / count { block[(i % count, j % count)] } else { 0.0 }
        });
        let (mut apart, mut fine, mut weight) = (0.0, 0.0, 0.0);
        for (i, count) in c.count.iter().enumerate() {
            let within = (count - 1.0) * (1.0 - share(2.0 * mean));
            apart += within;
            fine += within * block[(i, i)];
            weight += count - 1.0;
        }
        let weight = weight.max(1.0);
        Correlation { step, rough: false, matrix, apart: apart / weight, fine: fine / weight }
    }
}

/// Degrees of freedom that show a field's variance: the trace of the square of A (I + A)⁻¹, A being the
/// ratio times the field's covariance, from how the logarithm of the determinant of I + A grows.
fn informed(forms: &[(f64, f64)], k: usize) -> f64 {
    let k = k.clamp(1, forms.len() - 2);
    let [before, here, after] = [k - 1, k, k + 1].map(|i| forms[i].1);
    let step = std::f64::consts::LN_2;
    0.5 * (after - before) / step - (after - 2.0 * here + before) / (step * step)
}

/// Rows over the root of their cell's number of points: independent noise of variance 1 becomes just that.
pub(crate) fn weighted(cells: &Cells, rows: &DMatrix<f64>) -> DMatrix<f64> {
    let mut out = rows.clone();
    for (r, mut row) in out.row_iter_mut().enumerate() {
        row /= cells.count[r % cells.count.len()].sqrt();
    }
    out
}

/// Orthonormal columns with the same span; those that others explain are dropped.
fn orthonormal(columns: &DMatrix<f64>) -> DMatrix<f64> {
    let mut kept: Vec<DVector<f64>> = Vec::new();
    for column in columns.column_iter() {
        let whole = column.norm();
        let mut rest: DVector<f64> = column.into_owned();
        for _ in 0..2 {
            for k in &kept {
                let along = k.dot(&rest);
                rest.axpy(-along, k, 1.0);
            }
        }
        let left = rest.norm();
        if left > EXPLAINED * whole {
            kept.push(rest / left);
        }
    }
    if kept.is_empty() { DMatrix::zeros(columns.nrows(), 0) } else { DMatrix::from_columns(&kept) }
}

/// Householder reduction of a symmetric matrix to three diagonals, with the same turn of a vector
/// (Golub, Van Loan 2013, Matrix Computations, 8.3.1).
fn tridiagonal(mut a: DMatrix<f64>, mut y: DVector<f64>) -> (Vec<f64>, Vec<f64>, DVector<f64>) {
    let n = a.nrows();
    let mut off = vec![0.0; n.saturating_sub(1)];
    for (k, off) in off.iter_mut().enumerate().take(n.saturating_sub(2)) {
        let mut v = a.view_range(k + 1..n, k).into_owned();
        let norm = v.norm();
        if norm == 0.0 {
            continue;
        }
        let alpha = if v[0] > 0.0 { -norm } else { norm };
        v[0] -= alpha;
        let beta = 2.0 / v.norm_squared();
        *off = alpha;
        let mut rest = a.view_range_mut(k + 1..n, k + 1..n);
        let mut p = &rest * &v;
        p *= beta;
        p.axpy(-0.5 * beta * p.dot(&v), &v, 1.0);
        rest.ger(-1.0, &v, &p, 1.0);
        rest.ger(-1.0, &p, &v, 1.0);
        let mut tail = y.rows_range_mut(k + 1..n);
        let along = beta * v.dot(&tail);
        tail.axpy(-along, &v, 1.0);
    }
    if n > 1 {
        off[n - 2] = a[(n - 1, n - 2)];
    }
    (a.diagonal().iter().copied().collect(), off, y)
}

/// Quadratic form of y in the inverse of I + ratio · T, and the logarithm of its determinant.
fn quadratic(diagonal: &[f64], off: &[f64], y: &DVector<f64>, ratio: f64) -> (f64, f64) {
    let (mut q, mut log) = (0.0, 0.0);
    let (mut last, mut before) = (1.0, 0.0);
    for i in 0..diagonal.len() {
        let link = if i > 0 { ratio * off[i - 1] } else { 0.0 };
        // No pivot is below the least eigenvalue, which is 1 but for rounding.
        let pivot = (1.0 + ratio * diagonal[i] - link * link / last).max(1.0);
        let z = y[i] - link / last * before;
        q += z * z / pivot;
        log += pivot.ln();
        (last, before) = (pivot, z);
    }
    (q, log)
}

/// Share of a column that may be left for it to count as explained by others.
const EXPLAINED: f64 = 1e-7;
/// Fewest degrees of freedom that are believed to show a field: with fewer the others outweigh it.
const FEWEST: f64 = 3.0;
/// Degrees of freedom that a cell's inside is counted for.
const SLOPES: f64 = 3.0;
/// Fewest contrasts.
const LEAST: usize = 4;
/// A rough field: steps of the grid of lengths down from its own, with weights.
const ROUGH: [(i32, f64); 4] = [(0, 0.4), (4, 0.3), (8, 0.2), (12, 0.1)];
