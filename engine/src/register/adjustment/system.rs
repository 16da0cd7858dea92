//! The normal equations of all pairs in the motions of all scans but the held one.

use nalgebra::{DMatrix, DVector, Matrix6, Vector6};

use super::super::freedom::Freedom;
use super::super::pairing::{Equations, Scaling};
use super::ObservedJoin;
use super::links::Matched;
use crate::primitive::Pose;

/// Sums over all pairs, each in units of its own scatter.
pub(super) struct System {
    /// Normal matrix, squared motions in squared standard deviations of one point.
    matrix: DMatrix<f64>,
    /// The part of it that the noise of the normals alone gives.
    noise: DMatrix<f64>,
    /// Normal matrix of the losses' own minimum, without the noise.
    newton: DMatrix<f64>,
    right: DVector<f64>,
}

/// When an iteration ends.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ending {
    /// Step in standard deviations of a pose.
    deviations: f64,
    /// Step in spacings.
    spacings: f64,
}

impl Ending {
    /// Coarse levels only start the next one.
    pub(super) const COARSE: Self = Ending { deviations: 0.3, spacings: 1e-2 };
    pub(super) const FINE: Self = Ending { deviations: 0.1, spacings: 1e-4 };

    pub(super) fn reached(self, deviations: f64, spacings: f64) -> bool {
        deviations < self.deviations || spacings < self.spacings
    }
}

impl System {
    pub(super) fn new(
        matched: &[Matched<'_>],
        observed: &[ObservedJoin],
        poses: &[Pose],
        scaling: &Scaling,
        held: usize,
    ) -> Self {
        let size = 6 * (poses.len() - 1);
        let mut system = System {
            matrix: DMatrix::zeros(size, size),
            noise: DMatrix::zeros(size, size),
            newton: DMatrix::zeros(size, size),
            right: DVector::zeros(size),
        };
        for m in matched {
            let (pairs, loss) = (&m.fitted.pairs, m.fitted.loss);
            let sums = Equations::new(pairs, &m.fitted.scaling, |r| loss.weight(r));
            let weight = weight(m);
            let carried = carried(&poses[m.to], &m.fitted.scaling, scaling);
            let turned = |matrix: Matrix6<f64>| carried.transpose() * matrix * carried * weight;
            let tie = [place(m.to, held), place(m.from, held)];
            let (matrix, noise) = (turned(sums.matrix), turned(sums.noise));
            add(&mut system.matrix, tie, &matrix);
            add(&mut system.noise, tie, &noise);
            add(&mut system.newton, tie, &((matrix - noise) / m.fitted.stretch()));
            add_right(&mut system.right, tie, &(carried.transpose() * sums.right * weight));
        }
        for o in observed {
            let Some(information) = o.information() else { continue };
            let own = Scaling { middle: o.covariance.at, radius: 1.0 };
            let carried = carried(&poses[o.to], &own, scaling);
            let (shift, turn) = o.off(&poses[o.to], &poses[o.from]);
            let off = Vector6::new(shift.x, shift.y, shift.z, turn.x, turn.y, turn.z);
            let tie = [place(o.to, held), place(o.from, held)];
            let matrix = carried.transpose() * information * carried;
            add(&mut system.matrix, tie, &matrix);
            add(&mut system.newton, tie, &matrix);
            add_right(&mut system.right, tie, &(carried.transpose() * information * off));
        }
        system
    }

    pub(super) fn size(&self) -> usize {
        self.right.len()
    }

    pub(super) fn freedom(&self) -> Freedom {
        Freedom::of(&self.matrix, &self.noise)
    }

    /// The step far from the answer, none along motions that the equations do not know.
    pub(super) fn coarse_step(&self) -> DVector<f64> {
        let eigen = self.matrix.clone().symmetric_eigen();
        let floor = ROUNDING * eigen.eigenvalues.max();
        let known: Vec<usize> =
            (0..self.size()).filter(|&k| eigen.eigenvalues[k] > floor).collect();
        -(invert_held(&self.matrix, &eigen.eigenvectors.select_columns(&known)) * &self.right)
    }

    /// The step near the answer: none along motions that only noise of the normals would hold.
    pub(super) fn fine_step(&self) -> DVector<f64> {
        -(invert_held(&self.newton, &self.freedom().held) * &self.right)
    }

    /// Length of a step in standard deviations, mean of the scans.
    pub(super) fn length(&self, step: &DVector<f64>) -> f64 {
        let square = step.dot(&(&self.matrix * step)).max(0.0);
        (square / (self.size() as f64 / 6.0)).sqrt()
    }
}

/// First row of a scan's motion; the held one has none.
pub(super) fn place(scan: usize, held: usize) -> Option<usize> {
    (scan != held).then(|| 6 * (scan - usize::from(scan > held)))
}

/// A motion in common coordinates, scaled, as one of a pair in the coordinates of its `to`.
pub(super) fn carried(common_from_to: &Pose, pair: &Scaling, common: &Scaling) -> Matrix6<f64> {
    let turn = common_from_to.rotation.inverse().to_rotation_matrix().into_inner();
    let lever = (common_from_to * pair.middle - common.middle).cross_matrix();
    let mut out = Matrix6::zeros();
    out.fixed_view_mut::<3, 3>(0, 0).copy_from(&turn);
    out.fixed_view_mut::<3, 3>(0, 3).copy_from(&(-(turn * lever) / common.radius));
    out.fixed_view_mut::<3, 3>(3, 3).copy_from(&(turn * (pair.radius / common.radius)));
    out
}

/// One over the variance of a pair's distances: what its equations are divided by.
pub(super) fn weight(m: &Matched<'_>) -> f64 {
    let loss = m.fitted.loss;
    let sums = m.fitted.pairs.iter().fold((0.0, 0.0), |(w, s), p| {
        let weight = loss.weight(p.residual);
        (w + weight, s + weight * p.residual.powi(2))
    });
    let least = (LEAST_DEVIATION * loss.reach).powi(2);
    1.0 / (sums.1 / f64::max(sums.0, 1.0)).max(least)
}

/// Inverse of a symmetric matrix within the space of the columns of `held`, zero outside it.
pub(super) fn invert_held(matrix: &DMatrix<f64>, held: &DMatrix<f64>) -> DMatrix<f64> {
    let inside = held.transpose() * matrix * held;
    match inside.try_inverse() {
        Some(inverse) => held * inverse * held.transpose(),
        None => DMatrix::zeros(matrix.nrows(), matrix.ncols()),
    }
}

/// Adds what the motion of the second of two scans against the first costs.
pub(super) fn add(sum: &mut DMatrix<f64>, tie: [Option<usize>; 2], block: &Matrix6<f64>) {
    for (r, at) in tie.iter().enumerate() {
        for (c, to) in tie.iter().enumerate() {
            if let (Some(at), Some(to)) = (at, to) {
                let sign = if r == c { 1.0 } else { -1.0 };
                let mut view = sum.fixed_view_mut::<6, 6>(*at, *to);
                view += block * sign;
            }
        }
    }
}

/// Adds a slope in that motion.
pub(super) fn add_right(sum: &mut DVector<f64>, tie: [Option<usize>; 2], slope: &Vector6<f64>) {
    for (at, sign) in tie.into_iter().zip([-1.0, 1.0]) {
        if let Some(at) = at {
            let mut view = sum.fixed_rows_mut::<6>(at);
            view += slope * sign;
        }
    }
}

/// Rounding of the normal matrix relative to its largest eigenvalue.
const ROUNDING: f64 = 1e-12;
/// Least scatter of a pair in reaches of its loss: what has none at all would outweigh all others.
const LEAST_DEVIATION: f64 = 1e-6;
