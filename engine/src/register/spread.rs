//! Covariance of a join by surface, from how its residuals really scatter.
//!
//! The sandwich of M-estimation with residuals summed over patches before they are squared, so that
//! what neighbours share (a point that several are paired with, a smoothed wave of the scanner)
//! counts once: Huber, "The behavior of maximum likelihood estimates under nonstandard conditions"
//! (1967); Liang and Zeger, "Longitudinal data analysis using generalized linear models" (1986).

use std::collections::HashMap;

use nalgebra::{DMatrix, Matrix6, Rotation3, SMatrix, Vector6};
use rayon::prelude::*;

use super::freedom::Freedom;
use super::pairing::{Biweight, Equations, Pair, Scaling};
use crate::associate::Covariance;
use crate::primitive::Point3;

/// Spread of the pose in scaled coordinates.
pub(super) struct Spread {
    /// Covariance of the held motions; zero in the free ones, mm².
    pub(super) held: Matrix6<f64>,
    /// Number of independent points that would give the same scatter.
    pub(super) effective: f64,
}

impl Spread {
    /// Spread of the pose that the loss makes of the pairs.
    pub(super) fn new(
        pairs: &[Pair],
        scaling: &Scaling,
        loss: Biweight,
        freedom: &Freedom,
        patches: &Patches<'_>,
    ) -> Self {
        // What the noise of the normals adds to the matrix holds nothing: it is taken off again.
        let bent = Equations::new(pairs, scaling, |r| loss.bend(r));
        let bread = invert_held(&(bent.matrix - bent.noise), &freedom.held);
        let scores: Vec<Vector6<f64>> =
            pairs.par_iter().map(|p| scaling.slope(p) * loss.weight(p.residual)).collect();
        let clustered = patches.scatter(pairs, &scores);
        let single = squares(&scores);
        let held = bread * clustered * bread.transpose();
        let naive = (bread * single * bread.transpose()).trace();
        let used = pairs.iter().filter(|p| loss.weight(p.residual) > 0.0).count() as f64;
        let effective = if held.trace() > naive { used * naive / held.trace() } else { used };
        Spread { held, effective }
    }

    /// In the layout of every covariance; free motions get a standard deviation of `reach` mm.
    pub(super) fn covariance(
        &self,
        scaling: &Scaling,
        freedom: &Freedom,
        reach: f64,
    ) -> Covariance {
        let free = &freedom.free * freedom.free.transpose() * reach.powi(2);
        let scaled = self.held + free.fixed_view::<6, 6>(0, 0);
        let mut matrix = SMatrix::<f64, 8, 8>::zeros();
        matrix.fixed_view_mut::<6, 6>(0, 0).copy_from(&scaling.unscaled(&scaled));
        Covariance { at: scaling.middle, matrix }
    }
}

/// Inverse of a symmetric matrix within the space of the columns of `held`, zero outside it.
pub(super) fn invert_held(matrix: &Matrix6<f64>, held: &DMatrix<f64>) -> Matrix6<f64> {
    let inside = held.transpose() * matrix * held;
    let Some(inverse) = inside.try_inverse() else { return Matrix6::zeros() };
    (held * inverse * held.transpose()).fixed_view::<6, 6>(0, 0).into_owned()
}

/// Cubes of space whose residuals are summed before they are squared.
pub(super) struct Patches<'a> {
    /// Points of the other scan, by which pairs are put into cubes, mm.
    pub(super) places: &'a [Point3],
    /// Edge of a cube, mm.
    pub(super) edge: f64,
}

impl Patches<'_> {
    fn scatter(&self, pairs: &[Pair], scores: &[Vector6<f64>]) -> Matrix6<f64> {
        // Cubes askew to everything: a face in line with a machined surface would part its points
        // by their noise.
        let askew = Rotation3::from_euler_angles(0.6, 0.4, 0.9);
        let mut index: HashMap<[i64; 3], usize> = HashMap::new();
        let mut sums: Vec<Vector6<f64>> = Vec::new();
        for (pair, score) in pairs.iter().zip(scores) {
            let p = askew * self.places[pair.nearest as usize] / self.edge;
            let cell = [p.x, p.y, p.z].map(|c| c.floor() as i64);
            let at = *index.entry(cell).or_insert(sums.len());
            if at == sums.len() {
                sums.push(Vector6::zeros());
            }
            sums[at] += score;
        }
        // The pose was fitted to these very sums: of n patches 6 are used up.
        let n = sums.len() as f64;
        let scale = if n > 7.0 { n / (n - 6.0) } else { n.max(1.0) };
        squares(&sums) * scale
    }
}

fn squares(vectors: &[Vector6<f64>]) -> Matrix6<f64> {
    let mut sum = Matrix6::zeros();
    for v in vectors {
        sum.ger(1.0, v, v, 1.0);
    }
    sum
}
