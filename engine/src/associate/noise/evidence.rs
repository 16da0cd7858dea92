//! Is it that shape at all? A test of the residuals against the patterns of its neighbours.
//!
//! Wald test (Wald 1943, Tests of statistical hypotheses concerning several parameters): the
//! amplitudes of a neighbour's patterns, fitted on top of the shape, against their covariance under
//! the noise found, by Fisher's F distribution.

use nalgebra::{DMatrix, DVector};

use super::cells::Cells;
use super::patterns::{self, Alternative};
use crate::numeric::distribution::f_upper_tail;
use crate::primitive::Kind;

/// How a shape stands against a neighbouring one.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// The other shape: `cone` for a cylinder, `ellipse` for a circle.
    pub against: &'static str,
    /// Largest deviation of the points towards the other shape, mm.
    pub amplitude: f64,
    /// Expanded uncertainty of the amplitude (k = 2), mm.
    pub uncertainty: f64,
    /// Probability of at least this much by chance if the asked shape is true.
    pub probability: f64,
}

/// Tests all neighbours that the data can tell apart. `left` are the products of the patterns less what
/// the freedoms explain, `inside` the deviation of a residual. `noise` is asked, for the least probability
/// under independent noise, for the variance of the independent part, the covariance of the cleaned
/// patterns' sums under the smooth part, and the degrees of freedom.
pub(crate) fn against(
    kind: Kind,
    cells: &Cells,
    left: &DMatrix<f64>,
    inside: f64,
    scale: f64,
    noise: impl FnOnce(f64) -> (f64, DMatrix<f64>, f64),
) -> Vec<Evidence> {
    let found: Vec<Found> = patterns::alternatives(kind)
        .iter()
        .filter_map(|other| Found::new(other, cells, left))
        .collect();
    let many = cells.within_freedoms + cells.sum.len() as f64;
    let least =
        found.iter().map(|f| f.test(&(&f.own * inside.powi(2)), many).1).fold(1.0, f64::min);
    let (independent, carried, freedoms) = noise(least);
    let judged = |f: &Found| {
        let (from, to) = f.columns;
        let sums = &f.own * independent + carried.view_range(from..to, from..to);
        let (deviation, probability) = f.test(&sums, freedoms);
        Evidence {
            against: f.name,
            amplitude: f.amplitudes.norm() * scale,
            uncertainty: 2.0 * deviation * scale,
            probability,
        }
    };
    found.iter().map(judged).collect()
}

/// A neighbour's patterns fitted on top of the shape.
struct Found {
    name: &'static str,
    columns: (usize, usize),
    /// Products of the cleaned patterns.
    own: DMatrix<f64>,
    inverse: DMatrix<f64>,
    amplitudes: DVector<f64>,
}

impl Found {
    fn new(other: &Alternative, cells: &Cells, left: &DMatrix<f64>) -> Option<Self> {
        let (from, to) = other.columns;
        let whole = cells.patterns.view_range(from..to, from..to);
        let own = left.view_range(from..to, from..to).into_owned();
        if (0..to - from).any(|a| own[(a, a)] <= TOLD_APART * whole[(a, a)]) {
            return None;
        }
        let cholesky = own.clone().cholesky()?;
        let projected: DVector<f64> = cells.projected.rows_range(from..to).into_owned();
        let (amplitudes, inverse) = (cholesky.solve(&projected), cholesky.inverse());
        Some(Found { name: other.name, columns: other.columns, own, inverse, amplitudes })
    }

    /// Largest deviation of the amplitudes and probability of them by chance, from the covariance of
    /// the patterns' sums.
    fn test(&self, sums: &DMatrix<f64>, freedoms: f64) -> (f64, f64) {
        let spread = &self.inverse * sums * &self.inverse;
        let largest = spread.symmetric_eigenvalues().max().max(0.0).sqrt();
        let q = self.amplitudes.len() as f64;
        // A spread that is no covariance any more tells nothing.
        let probability = spread.cholesky().map_or(1.0, |c| {
            f_upper_tail(self.amplitudes.dot(&c.solve(&self.amplitudes)) / q, q, freedoms)
        });
        (largest, probability)
    }
}

/// Share of a pattern that the shape's own freedoms must leave for it to be tested.
const TOLD_APART: f64 = 1e-6;
