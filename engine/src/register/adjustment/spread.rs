//! Covariance of adjusted scans, from how all residuals really scatter.
//!
//! The sandwich of a single join (see [`super::super::spread`]) over the whole system: slopes are
//! summed over patches of space across all pairs before they are squared, so that the noise of a scan
//! that several pairs share counts as one.

use std::collections::HashMap;

use nalgebra::{DMatrix, DVector, Point3, Rotation3, SMatrix, Vector6};
use rayon::prelude::*;

use super::super::freedom::Freedom;
use super::super::pairing::{Equations, Scaling};
use super::ObservedJoin;
use super::links::Matched;
use super::system::{add, add_right, carried, invert_held, place, weight};
use crate::associate::Covariance;
use crate::primitive::Pose;

/// Where the scans lie, and what holds them beside their surfaces.
pub(super) struct Place<'a> {
    pub(super) scaling: &'a Scaling,
    pub(super) poses: &'a [Pose],
    pub(super) held: usize,
    pub(super) observed: &'a [ObservedJoin],
    /// Standard deviation of what nothing holds, mm.
    pub(super) reach: f64,
}

/// Covariance of each scan against the held one.
pub(super) fn covariances(
    matched: &[Matched<'_>],
    place: &Place<'_>,
    freedom: &Freedom,
) -> Vec<Covariance> {
    let size = 6 * (place.poses.len() - 1);
    let mut bread = DMatrix::zeros(size, size);
    let mut patches = Patches::new(matched, size);
    for m in matched {
        let tie = [m.to, m.from].map(|k| super::system::place(k, place.held));
        let carried = carried(&place.poses[m.to], &m.fitted.scaling, place.scaling);
        let (loss, weight) = (m.fitted.loss, weight(m));
        let bent = Equations::new(&m.fitted.pairs, &m.fitted.scaling, |r| loss.bend(r));
        let block = carried.transpose() * (bent.matrix - bent.noise) * carried * weight;
        add(&mut bread, tie, &block);
        let slope = |p: &_| -> Vector6<f64> {
            let p: &super::super::pairing::Pair = p;
            carried.transpose() * m.fitted.scaling.slope(p) * (loss.weight(p.residual) * weight)
        };
        let slopes: Vec<Vector6<f64>> = m.fitted.pairs.par_iter().map(slope).collect();
        for (p, slope) in m.fitted.pairs.iter().zip(&slopes) {
            let at = place.poses[m.to] * m.places[p.nearest as usize];
            patches.add(&at, tie, slope);
        }
    }
    let mut scatter = patches.scatter(size);
    for o in place.observed {
        let Some(information) = o.information() else { continue };
        let own = Scaling { middle: o.covariance.at, radius: 1.0 };
        let carried = carried(&place.poses[o.to], &own, place.scaling);
        let block = carried.transpose() * information * carried;
        let tie = [o.to, o.from].map(|k| super::system::place(k, place.held));
        add(&mut bread, tie, &block);
        add(&mut scatter, tie, &block);
    }
    let inverse = invert_held(&bread, &freedom.held);
    let free = reaching(&freedom.free) * place.reach;
    let free = &free * free.transpose();
    let all = &inverse * scatter * inverse.transpose() + free;
    (0..place.poses.len()).map(|k| of_scan(k, &all, matched, place)).collect()
}

/// Free motions as long as the farthest of the scans that they move goes one unit.
fn reaching(free: &DMatrix<f64>) -> DMatrix<f64> {
    let mut out = free.clone();
    for mut motion in out.column_iter_mut() {
        let parts = (0..motion.nrows() / 6).map(|k| motion.fixed_rows::<6>(6 * k).norm());
        let most = parts.fold(f64::MIN_POSITIVE, f64::max);
        motion /= most;
    }
    out
}

/// A scan's own part, about the middle of its matched points.
fn of_scan(k: usize, all: &DMatrix<f64>, matched: &[Matched<'_>], with: &Place<'_>) -> Covariance {
    let (mut middle, mut count) = (nalgebra::Vector3::zeros(), 0.0);
    for m in matched.iter().filter(|m| m.to == k || m.from == k) {
        let n = m.fitted.pairs.len() as f64;
        middle += (with.poses[m.to] * m.fitted.scaling.middle).coords * n;
        count += n;
    }
    let middle = if count > 0.0 { Point3::from(middle / count) } else { with.scaling.middle };
    let Some(at) = place(k, with.held) else { return Covariance::zero(middle) };
    let own = all.fixed_view::<6, 6>(at, at).into_owned();
    let mut matrix = SMatrix::<f64, 8, 8>::zeros();
    matrix.fixed_view_mut::<6, 6>(0, 0).copy_from(&with.scaling.unscaled(&own));
    Covariance { at: with.scaling.middle, matrix }.about(middle)
}

/// Cubes of space, askew to everything, whose slopes are summed before they are squared.
struct Patches {
    edge: f64,
    size: usize,
    index: HashMap<[i64; 3], usize>,
    sums: Vec<DVector<f64>>,
}

impl Patches {
    fn new(matched: &[Matched<'_>], size: usize) -> Self {
        let edge = matched.iter().map(|m| m.edge).fold(f64::MIN_POSITIVE, f64::max);
        Patches { edge, size, index: HashMap::new(), sums: Vec::new() }
    }

    fn add(&mut self, at: &Point3<f64>, tie: [Option<usize>; 2], slope: &Vector6<f64>) {
        let p = Rotation3::from_euler_angles(0.6, 0.4, 0.9) * at / self.edge;
        let cell = [p.x, p.y, p.z].map(|c| c.floor() as i64);
        let next = self.sums.len();
        let at = *self.index.entry(cell).or_insert(next);
        if at == next {
            self.sums.push(DVector::zeros(self.size));
        }
        add_right(&mut self.sums[at], tie, slope);
    }

    /// Sum of squares; the poses were fitted to these very sums: of n patches one is used up by each
    /// number of a pose.
    fn scatter(&self, size: usize) -> DMatrix<f64> {
        let mut sum = DMatrix::zeros(size, size);
        for s in &self.sums {
            sum.ger(1.0, s, s, 1.0);
        }
        let n = self.sums.len() as f64;
        let left = n - size as f64;
        sum * if left > 1.0 { n / left } else { n.max(1.0) }
    }
}
