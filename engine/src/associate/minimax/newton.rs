//! Newton's method on the conditions that decide a minimax shape: the deciding points equally far,
//! their slopes in balance.
//!
//! With as many deciding points as unknowns and one the first set alone fixes the shape; with fewer
//! the curvature of the distances does (Womersley, Fletcher 1986, An algorithm for composite
//! nonsmooth optimization problems).

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

use super::problem::{Candidate, Problem};
use crate::associate::model::Model;
use crate::numeric::exchange::{DIM, Row};

/// Deciding candidates with their multipliers.
#[derive(Debug, Clone, Default)]
pub(crate) struct Active {
    pub(crate) candidates: Vec<Candidate>,
    pub(crate) multipliers: Vec<f64>,
}

/// The conditions linearised at a shape.
pub(crate) struct System {
    /// Unknowns: step, value, multipliers.
    pub(crate) matrix: DMatrix<f64>,
    pub(crate) rows: Vec<Row>,
}

/// One step.
pub(crate) struct Newton {
    pub(crate) step: [f64; DIM],
    pub(crate) multipliers: Vec<f64>,
}

impl Active {
    /// Without candidate `k`.
    pub(crate) fn drop(&mut self, k: usize) {
        self.candidates.remove(k);
        self.multipliers.remove(k);
    }
}

impl System {
    pub(crate) fn new<M: Model<N>, const N: usize>(
        problem: &Problem<'_>,
        shape: &M,
        active: &Active,
    ) -> Self {
        let (m, k) = (problem.unknowns(), active.candidates.len());
        let rows = problem.rows(shape, &active.candidates);
        let curvature = if k > m {
            SMatrix::zeros()
        } else {
            problem.curvature(shape, &active.candidates, &active.multipliers)
        };
        let mut matrix = DMatrix::zeros(m + 1 + k, m + 1 + k);
        matrix.view_mut((0, 0), (m, m)).copy_from(&curvature.view((0, 0), (m, m)));
        for (i, row) in rows.iter().enumerate() {
            for j in 0..m {
                matrix[(j, m + 1 + i)] = row.g[j];
                matrix[(m + 1 + i, j)] = row.g[j];
            }
            matrix[(m, m + 1 + i)] = 1.0;
            matrix[(m + 1 + i, m)] = -1.0;
        }
        System { matrix, rows }
    }

    pub(crate) fn unknowns(&self) -> usize {
        self.matrix.nrows() - 1 - self.rows.len()
    }

    pub(crate) fn newton(self) -> Option<Newton> {
        let m = self.unknowns();
        let mut rhs = DVector::zeros(self.matrix.nrows());
        rhs[m] = 1.0;
        for (i, row) in self.rows.iter().enumerate() {
            rhs[m + 1 + i] = -row.f;
        }
        let solution = self.matrix.lu().solve(&rhs)?;
        if solution.iter().any(|x| !x.is_finite()) {
            return None;
        }
        let mut step = [0.0; DIM];
        step[..m].copy_from_slice(&solution.as_slice()[..m]);
        Some(Newton { step, multipliers: solution.as_slice()[m + 1..].to_vec() })
    }
}

/// A Newton step with multipliers that are not negative; candidates that pull the wrong way are dropped.
pub(crate) fn newton<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    shape: &M,
    active: &mut Active,
) -> Option<Newton> {
    while active.candidates.len() > 1 {
        let found = System::new(problem, shape, active).newton()?;
        let lowest = (0..found.multipliers.len())
            .min_by(|&a, &b| found.multipliers[a].total_cmp(&found.multipliers[b]))?;
        if found.multipliers[lowest] >= -NEGATIVE {
            active.multipliers.clone_from(&found.multipliers);
            return Some(found);
        }
        active.drop(lowest);
    }
    None
}

/// Repeats Newton steps until they stop shrinking.
pub(crate) fn polish<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    shape: M,
    active: &mut Active,
) -> M {
    let (mut at, mut last) = (shape, f64::INFINITY);
    for _ in 0..POLISH {
        let mut trial = active.clone();
        let Some(found) = newton(problem, &at, &mut trial) else { break };
        let size = SVector::from(found.step).norm();
        if size >= 0.5 * last {
            break;
        }
        let next = problem.moved(&at, &found.step);
        if !next.plausible() {
            break;
        }
        (at, last, *active) = (next, size, trial);
        if size == 0.0 {
            break;
        }
    }
    at
}

/// A step in which the value falls although all slopes are in balance: along the lowest curvature
/// of what the active candidates leave free.
pub(crate) fn downhill<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    shape: &M,
    active: &Active,
) -> Option<[f64; DIM]> {
    let (m, k) = (problem.unknowns(), active.candidates.len());
    if k > m {
        return None;
    }
    let rows = problem.rows(shape, &active.candidates);
    let slopes = DMatrix::from_fn(k, m, |i, j| rows[i].g[j]);
    let normal = (slopes.transpose() * &slopes).symmetric_eigen();
    let largest = normal.eigenvalues.max();
    let open: Vec<usize> = (0..m).filter(|&j| normal.eigenvalues[j] <= OPEN * largest).collect();
    if open.is_empty() {
        return None;
    }
    let basis = DMatrix::from_fn(m, open.len(), |i, j| normal.eigenvectors[(i, open[j])]);
    let curvature = problem.curvature(shape, &active.candidates, &active.multipliers);
    let curvature = DMatrix::from_fn(m, m, |i, j| curvature[(i, j)]);
    let reduced = (basis.transpose() * curvature * &basis).symmetric_eigen();
    let lowest = reduced.eigenvalues.imin();
    if reduced.eigenvalues[lowest] >= -FLAT {
        return None;
    }
    let direction = basis * reduced.eigenvectors.column(lowest);
    let mut step = [0.0; DIM];
    step[..m].copy_from_slice(direction.as_slice());
    Some(step)
}

/// Multiplier below zero that is rounding.
const NEGATIVE: f64 = 1e-12;
/// Most steps of a polish; they square the error.
const POLISH: usize = 12;
/// Squared slope, as a part of the steepest, that leaves a direction free.
const OPEN: f64 = 1e-12;
/// Curvature that is rounding of the differences.
const FLAT: f64 = 1e-6;
