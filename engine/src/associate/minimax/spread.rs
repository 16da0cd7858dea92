//! Covariance of a minimax shape: the noise of its deciding points carried through the conditions
//! that fix it, to first order (JCGM 100, GUM).
//!
//! It says how the shape moves if just these points are measured again with the noise that the
//! least-squares shape of the same points shows. It does not say that other points would then decide,
//! nor that the extremes of more points lie farther out: a minimum zone widens, an inscribed
//! shape shrinks and a circumscribed one grows with the number of points.

use nalgebra::{DVector, SMatrix, SVector};

use super::newton::{Active, System};
use super::problem::{Candidate, Problem};
use crate::associate::model::{Frame, Model};
use crate::numeric::exchange::DIM;
use crate::primitive::{Kind, Vec3};

/// Covariance of a step in the layout of [`crate::associate::Covariance`], about the shape's own
/// point, in its own frame turned to outer axes, scaled units; `None` where the deciding points alone
/// do not fix the shape.
///
/// `size` is the derivative of the size by the value where the size follows from it.
pub(crate) fn covariance<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    shape: &M,
    active: &Active,
    size: Option<f64>,
    noise: f64,
) -> Option<SMatrix<f64, 8, 8>> {
    let m = problem.unknowns();
    let matrix = System::new(problem, shape, active).matrix;
    let singular = matrix.singular_values();
    if singular.min() <= RANK * singular.max() || singular.iter().any(|s| s.is_nan()) {
        return None;
    }
    let lu = matrix.lu();
    let carry = carry(problem, &shape.frame(), size);
    let mut total = SMatrix::<f64, 8, 8>::zeros();
    for (i, multiplier) in active.multipliers.iter().enumerate() {
        for axis in [Vec3::x(), Vec3::y(), Vec3::z()] {
            let (f, g) = change(problem, shape, &active.candidates[i], axis);
            let mut rhs = DVector::zeros(m + 1 + active.multipliers.len());
            for j in 0..m {
                rhs[j] = -multiplier * g[j];
            }
            rhs[m + 1 + i] = -f;
            let moved = lu.solve(&rhs)?;
            let mut all = SVector::<f64, { DIM + 1 }>::zeros();
            all.rows_mut(0, m).copy_from_slice(&moved.as_slice()[..m]);
            all[DIM] = moved[m];
            let effect = carry * all * noise;
            total += effect * effect.transpose();
        }
    }
    total.iter().all(|x| x.is_finite()).then_some(total)
}

/// Derivative of a candidate's value and slopes when its point moves.
fn change<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    shape: &M,
    candidate: &Candidate,
    axis: Vec3,
) -> (f64, [f64; DIM]) {
    let (frame, constants) = (shape.frame(), shape.constants());
    let at = |h: f64| {
        let moved = Candidate { point: candidate.point + axis * h, ..*candidate };
        problem.row::<M, N>(&frame, &constants, &moved)
    };
    let (after, before) = (at(DIFFERENCE), at(-DIFFERENCE));
    let slope = |a: f64, b: f64| (a - b) / (2.0 * DIFFERENCE);
    (slope(after.f, before.f), std::array::from_fn(|j| slope(after.g[j], before.g[j])))
}

/// Takes scaled unknowns and value to the eight components.
fn carry(problem: &Problem<'_>, frame: &Frame, size: Option<f64>) -> SMatrix<f64, 8, { DIM + 1 }> {
    let mut layout = SMatrix::<f64, 8, DIM>::zeros();
    for (j, &index) in problem.free.iter().enumerate() {
        match index {
            0..=2 => layout.fixed_view_mut::<3, 1>(0, j).copy_from(&frame.axes.column(index)),
            3..=5 => layout.fixed_view_mut::<3, 1>(3, j).copy_from(&frame.axes.column(index - 3)),
            6.. => layout[(index, j)] = 1.0,
        }
    }
    let mut carry = SMatrix::<f64, 8, { DIM + 1 }>::zeros();
    carry.fixed_view_mut::<8, DIM>(0, 0).copy_from(&(layout * problem.scaling));
    carry[(6, DIM)] = size.unwrap_or(0.0);
    carry
}

/// Diagonal that takes scaled lengths to mm; a half-angle changes its sign with the axis.
pub(crate) fn units(kind: Kind, scale: f64, flipped: bool) -> SMatrix<f64, 8, 8> {
    let mut d = SVector::<f64, 8>::from_element(scale);
    d.rows_mut(3, 3).fill(1.0);
    if kind == Kind::Cone {
        d[7] = if flipped { -1.0 } else { 1.0 };
    }
    SMatrix::from_diagonal(&d)
}

/// Smallest singular value, as a part of the largest, of conditions that fix a shape.
const RANK: f64 = 1e-10;
/// Step of the central difference, scaled units.
const DIFFERENCE: f64 = 1e-6;
