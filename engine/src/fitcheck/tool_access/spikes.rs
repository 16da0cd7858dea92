//! Points of the scans that stand off the surface round them: they do not bar a tool.
//!
//! As for the clearance: what the neighbours say without the point is the surface, where they say one (see `local`).
//! At edges and on coarse meshes they do not, and there every point counts as it is.

use rayon::prelude::*;

use crate::fitcheck::clearance::{band, patch_of};
use crate::fitcheck::local::Patch;
use crate::fitcheck::view::View;
use crate::primitive::{Point3, Vec3};

/// By scan, which of its points are spikes, of those near one of some places.
pub(super) fn find(view: &View<'_>, near: &[Point3]) -> Vec<Vec<bool>> {
    let of = |s: usize| {
        let patch = patch_of(view, s, None);
        let asked = |p: &Point3| near.iter().any(|at| (p - at).norm() <= FARTHEST);
        let spike = |i: u32| asked(&patch.points[i as usize]) && is_spike(&patch, i);
        (0..patch.points.len() as u32).into_par_iter().with_min_len(1024).map(spike).collect()
    };
    (0..view.scans.len()).map(of).collect()
}

fn is_spike(patch: &Patch<'_>, i: u32) -> bool {
    let (own, ring) = (patch.points[i as usize], patch.scan.neighbours(i));
    let least = band(patch);
    let sum: Vec3 = ring.iter().map(|&n| patch.points[n as usize] - own).sum();
    // Most points lie among their neighbours: those are not looked at closely.
    if ring.is_empty() || sum.norm() / ring.len() as f64 <= least {
        return false;
    }
    patch.local(i).is_some_and(|h| {
        [h.first, h.second]
            .iter()
            .all(|l| (own - l.foot(&own)).norm() > least.max(SURE * l.deviation))
    })
}

/// Distance from a bolt within which spikes are looked for, mm.
const FARTHEST: f64 = 250.0;
/// Deviations of the surface itself that a spike stands off it at least.
const SURE: f64 = 6.0;
