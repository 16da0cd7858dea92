//! Sums over all points, from sums over cells.
//!
//! A mean over a cell smooths the derivatives and the field alike, so their product misses twice what
//! goes up and down within cells: the deviation of a radius from a short arc came out a tenth too small,
//! that of a cone's a seventh. How much of each combination of the columns the means hold is known, so
//! the loss is made good: a wave of which they hold the share e of the squares loses that share of
//! the field too, if the field is as smooth; what is finer than cells loses nothing.

use nalgebra::{DMatrix, DVector};

use super::field::Correlation;

/// Independent combinations of some columns.
pub(super) struct Combinations {
    /// By cell and combination; over all points the squares add up to 1.
    rows: DMatrix<f64>,
    /// Share of the squares that the cells' means hold.
    held: DVector<f64>,
    /// From the combinations to the columns.
    back: DMatrix<f64>,
}

impl Combinations {
    /// From the cells' sums of the columns, over the root of their number of points, and the products of
    /// the columns over all points.
    pub(super) fn new(rows: &DMatrix<f64>, total: &DMatrix<f64>) -> Self {
        let count = rows.ncols();
        // Columns are of different units.
        let unit = total.diagonal().map(|t| if t > 0.0 { t.sqrt() } else { 1.0 });
        let even = DMatrix::from_fn(count, count, |i, j| total[(i, j)] / (unit[i] * unit[j]));
        let whole = even.symmetric_eigen();
        let root = whole.eigenvalues.map(|value| value.max(0.0).sqrt());
        let out = DMatrix::from_fn(count, count, |i, j| {
            let told_apart = root[j] > TOLD_APART;
            if told_apart { whole.eigenvectors[(i, j)] / (unit[i] * root[j]) } else { 0.0 }
        });
        let white = rows * out;
        let own = white.tr_mul(&white).symmetric_eigen();
        let back =
            DMatrix::from_fn(count, count, |i, j| unit[i] * whole.eigenvectors[(i, j)] * root[j]);
        Combinations {
            rows: white * &own.eigenvectors,
            held: own.eigenvalues.map(|value| value.clamp(0.0, 1.0)),
            back: back * own.eigenvectors,
        }
    }

    /// Covariance of the columns' sums over all points that fields with their variances make.
    pub(super) fn under(&self, fields: &[(Correlation, f64)]) -> DMatrix<f64> {
        let count = self.held.len();
        let mut sum = DMatrix::zeros(count, count);
        for (field, variance) in fields {
            let smooth = (1.0 - field.apart).max(0.0).sqrt();
            let gain = self.held.map(|e| e.max(LEAST).powf(-smooth));
            let mut own = self.rows.tr_mul(&(&field.matrix * &self.rows));
            own.component_mul_assign(&(&gain * gain.transpose()));
            for (i, held) in self.held.iter().enumerate() {
                own[(i, i)] += (1.0 - held) * field.fine * field.apart;
            }
            sum += own * *variance;
        }
        &self.back * sum * self.back.transpose()
    }
}

/// Root of the share of a combination of columns that the others leave, below which it is rounding.
const TOLD_APART: f64 = 1e-6;
/// Share held by the means below which the loss says little.
const LEAST: f64 = 0.1;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::associate::noise::cells::Cells;
    use crate::associate::noise::field::weighted;
    use crate::primitive::Point3;
    use nalgebra::DVector;

    /// Points of a square lattice, 1 mm apart, in square cells.
    fn lattice(side: usize, cell: usize) -> (Vec<Point3>, Vec<usize>, Cells) {
        let across = side / cell;
        let at = |i: usize| (i % side, i / side);
        let points: Vec<Point3> =
            (0..side * side).map(|i| Point3::new(at(i).0 as f64, at(i).1 as f64, 0.0)).collect();
        let of = |i: usize| at(i).1 / cell * across + at(i).0 / cell;
        let number: Vec<usize> = (0..side * side).map(of).collect();
        let count = (cell * cell) as f64;
        let middle = |c: usize| {
            let along = |k: usize| (k * cell) as f64 + 0.5 * (cell - 1) as f64;
            Point3::new(along(c % across), along(c / across), 0.0)
        };
        let rows = across * across;
        let cells = Cells {
            at: (0..rows).map(middle).collect(),
            // Variance of `cell` equal steps.
            spread: vec![(count - 1.0) / 12.0; rows],
            count: vec![count; rows],
            dimensions: 2,
            sum: DVector::zeros(rows),
            derivatives: DMatrix::zeros(rows, 0),
            crossed: DMatrix::zeros(0, 0),
            patterns: DMatrix::zeros(0, 0),
            projected: DVector::zeros(0),
            pull: DVector::zeros(0),
            within: 0.0,
            within_freedoms: points.len() as f64 - rows as f64,
            pitch: cell as f64,
            reach: side as f64,
            share: 1.0,
        };
        (points, number, cells)
    }

    /// Covariances of sums over all points, against the sum over all pairs of points: a wave four cells
    /// long and a constant, under fields from a quarter of a cell to a whole one.
    #[test]
    fn sums_are_those_over_all_pairs_of_points() {
        let (points, number, cells) = lattice(40, 8);
        let column = |k: usize, p: &Point3| {
            if k == 0 { 1.0 } else { 3.0 * (std::f64::consts::TAU * p.x / 32.0).sin() }
        };
        let mut sums = DMatrix::zeros(cells.at.len(), 2);
        let mut total = DMatrix::zeros(2, 2);
        for (p, cell) in points.iter().zip(&number) {
            let row = [column(0, p), column(1, p)];
            for a in 0..2 {
                sums[(*cell, a)] += row[a];
                for b in 0..2 {
                    total[(a, b)] += row[a] * row[b];
                }
            }
        }
        let rows = weighted(&cells, &sums);
        for step in [4, 8, 12] {
            let field = Correlation::all(&cells, &[step], 1.0).swap_remove(0);
            let square = (0.5 * f64::from(step)).exp2();
            let mut pairs = DMatrix::<f64>::zeros(2, 2);
            for p in &points {
                for q in &points {
                    let alike = (-0.5 * (p - q).norm_squared() / square).exp();
                    for a in 0..2 {
                        for b in 0..2 {
                            pairs[(a, b)] += column(a, p) * column(b, q) * alike;
                        }
                    }
                }
            }
            let plain = rows.tr_mul(&(&field.matrix * &rows));
            let found = Combinations::new(&rows, &total).under(&[(field, 1.0)]);
            for a in 0..2 {
                let ratio = (found[(a, a)] / pairs[(a, a)]).sqrt();
                assert!((ratio - 1.0).abs() < 0.06, "step {step}, column {a}: {ratio}");
            }
            // What the cells' means alone say of the wave.
            let ratio = (plain[(1, 1)] / pairs[(1, 1)]).sqrt();
            assert!(ratio < 0.93, "step {step}: {ratio}");
        }
    }
}
