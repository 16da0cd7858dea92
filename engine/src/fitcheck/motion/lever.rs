//! What the uncertainty of the axes moves at the far end: JCGM 100 (GUM), linear propagation.
//!
//! An axis displaced by a small motion ξ displaces a point y that it takes to z by ξ(z) less what
//! becomes of ξ(y); later movements carry that along.

use std::collections::BTreeMap;

use nalgebra::SVector;

use super::super::view::View;
use super::{Guide, Motion};
use crate::primitive::{Direction, Point3};
use crate::solid::{Movement, Values, pose_at};

/// A point that a motion has carried.
pub(super) struct Carried<'a> {
    pub(super) movements: &'a [Movement],
    pub(super) values: &'a Values,
    /// Where it was at rest.
    pub(super) seen: &'a Point3,
}

impl Carried<'_> {
    /// Standard deviation along a direction from the axes of features, mm. Movements that share a
    /// feature share its error.
    pub(super) fn deviation(&self, view: &View<'_>, motion: &Motion, along: &Direction) -> f64 {
        let mut gradients: BTreeMap<usize, SVector<f64, 8>> = BTreeMap::new();
        for (k, asked) in motion.moves.iter().enumerate() {
            let Guide::Feature(f) = *asked.guide() else { continue };
            let at = view.scene.features[f].feature.covariance.at;
            *gradients.entry(f).or_insert_with(SVector::zeros) += self.gradient(k, &at, along);
        }
        let variance = |(f, g): (usize, SVector<f64, 8>)| {
            view.scene.features[f].feature.covariance.variance(&g)
        };
        gradients.into_iter().map(variance).sum::<f64>().sqrt()
    }

    /// How the distance along a direction changes with a small motion, about `at`, of one axis.
    fn gradient(&self, k: usize, at: &Point3, along: &Direction) -> SVector<f64, 8> {
        let part = |range: std::ops::Range<usize>| {
            let mut values = [0.0; super::NAMES.len()];
            values[..range.len()].copy_from_slice(&self.values[range.clone()]);
            pose_at(&self.movements[range], &values)
        };
        let (before, this, after) = (part(0..k), part(k..k + 1), part(k + 1..self.movements.len()));
        let y = before * self.seen;
        let z = this * y;
        let there = after.rotation.inverse() * along.into_inner();
        let here = this.rotation.inverse() * there;
        let mut g = SVector::<f64, 8>::zeros();
        g.fixed_rows_mut::<3>(0).copy_from(&(there - here));
        g.fixed_rows_mut::<3>(3).copy_from(&((z - at).cross(&there) - (y - at).cross(&here)));
        g
    }
}
