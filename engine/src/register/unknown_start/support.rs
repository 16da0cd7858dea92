//! What two surfaces say to a pose, and settling a pose on them.

use std::collections::BTreeMap;

use nalgebra::{Matrix6, Translation3, UnitQuaternion, Vector6};

use super::super::rigid::centroid;
use super::thinned::Thinned;
use crate::primitive::{Pose, Vec3};

/// What the surfaces say to a pose.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Support {
    /// Cells of this scan that lie on the other surface.
    pub matched: usize,
    /// Cells over the inside of the other surface that do not.
    pub against: usize,
    /// Natural logarithm of how much likelier this is of the true pose than of a chance one, counted in patches a
    /// few cells wide.
    pub evidence: f64,
}

impl Support {
    /// Share of the overlap that lies off the other surface, 0 to 1.
    #[must_use]
    pub fn share_against(&self) -> f64 {
        self.against as f64 / (self.matched + self.against).max(1) as f64
    }
}

/// How far off the other surface cells lie that are on it, as a robust deviation, mm.
pub(super) fn scatter(to: &Thinned, from: &Thinned, pose: &Pose) -> f64 {
    let mut off: Vec<f64> = (0..from.points.len())
        .filter_map(|i| Some(Foot::new(to, from, pose, i, WIDEST * to.edge)?.off))
        .filter(|off| *off < WIDEST * to.edge)
        .collect();
    let middle = off.len() / 2;
    if off.is_empty() {
        return f64::INFINITY;
    }
    1.4826 * *off.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// A cell of `from` over the other surface.
struct Foot {
    /// Distance from the other's plane there, mm.
    off: f64,
    /// Cosine between the normals.
    cosine: f64,
    /// Whether the surface goes on all round, in both.
    inside: bool,
}

impl Foot {
    /// `None` where the other scan has nothing beside the cell; where it is farther off than `off`, maybe too.
    fn new(to: &Thinned, from: &Thinned, pose: &Pose, i: usize, off: f64) -> Option<Self> {
        let (p, n) = (pose * from.points[i], pose * from.normals[i]);
        let (j, distance) = to.index.nearest_within(&p, 1.01 * off.hypot(BESIDE * to.edge))?;
        let (q, m) = (to.points[j as usize], to.normals[j as usize]);
        let off = (p - q).dot(&m).abs();
        let aside = (distance * distance - off * off).max(0.0).sqrt();
        let inside = !to.border[j as usize] && !from.border[i];
        (aside <= BESIDE * to.edge).then(|| Foot { off, cosine: n.dot(&m), inside })
    }
}

/// Support of a pose; cells lie on the other surface within `gate`, mm.
pub(super) fn support(to: &Thinned, from: &Thinned, pose: &Pose, gate: f64) -> Support {
    let edge = to.edge;
    let mut patches: BTreeMap<[i64; 3], [f64; 2]> = BTreeMap::new();
    let mut all = Support::default();
    for (i, place) in from.points.iter().enumerate() {
        let Some(foot) = Foot::new(to, from, pose, i, gate.max(OVER * edge)) else { continue };
        let on = foot.off < gate && foot.cosine > LIKE;
        // Beyond a border the other scan is silent; a face seen from behind is another one.
        let told = foot.inside && foot.off < OVER * edge && foot.cosine > 0.0;
        if !(on || told) {
            continue;
        }
        let patch = place.coords.map(|x| (x / (PATCH * edge)).floor() as i64);
        patches.entry(patch.into()).or_default()[usize::from(!on)] += 1.0;
        if on { all.matched += 1 } else { all.against += 1 }
    }
    for [on, off] in patches.into_values() {
        let (count, share) = (on + off, on / (on + off));
        let each = share * (RIGHT_ON / CHANCE_ON).ln()
            + (1.0 - share) * ((1.0 - RIGHT_ON) / (1.0 - CHANCE_ON)).ln();
        all.evidence += (count / FULL_PATCH).min(1.0) * each;
    }
    all
}

/// Brings a pose nearer by steps from points to planes with a gate that closes from `first` to `last`, in
/// edges of a cell.
pub(super) fn settle(to: &Thinned, from: &Thinned, start: &Pose, [first, last]: [f64; 2]) -> Pose {
    let mut pose = *start;
    let centre = pose * centroid(&from.points);
    let mut gate = first * to.edge;
    for _ in 0..STEPS {
        let (mut matrix, mut right) = (Matrix6::<f64>::zeros(), Vector6::<f64>::zeros());
        for (place, normal) in from.points.iter().zip(&from.normals) {
            let (p, n) = (pose * place, pose * normal);
            let Some((j, _)) = to.index.nearest_within(&p, 2.0 * gate) else { continue };
            let m = to.normals[j as usize];
            if to.border[j as usize] || n.dot(&m) < LIKE {
                continue;
            }
            let off = (p - to.points[j as usize]).dot(&m);
            let weight = (1.0 - (off / gate).powi(2)).max(0.0).powi(2);
            let turn = (p - centre).cross(&m);
            let gradient = Vector6::new(m.x, m.y, m.z, turn.x, turn.y, turn.z);
            matrix += weight * gradient * gradient.transpose();
            right += weight * off * gradient;
        }
        let eigen = matrix.symmetric_eigen();
        let floor = FREE * eigen.eigenvalues.max();
        let held = (0..6).filter(|&k| eigen.eigenvalues[k] > floor);
        let step = held.fold(Vector6::zeros(), |step, k| {
            let v = eigen.eigenvectors.column(k);
            step - v * (v.dot(&right) / eigen.eigenvalues[k])
        });
        let turn = UnitQuaternion::from_scaled_axis(Vec3::new(step[3], step[4], step[5]));
        let shift = Vec3::new(step[0], step[1], step[2]);
        let motion = Translation3::from(centre.coords + shift - turn * centre.coords);
        pose = Pose::from_parts(motion, turn) * pose;
        gate = (CLOSING * gate).max(last * to.edge);
    }
    pose
}

/// A cell has a partner if its foot is no further from the nearest one's middle, in edges.
const BESIDE: f64 = 1.2;
/// It lies on the other surface if it is no further off it, in edges: where nothing closer is known.
pub(super) const WIDEST: f64 = 0.6;
/// The closest that is asked for, in edges, and in deviations of what lies on it.
pub(super) const CLOSEST: f64 = 0.1;
pub(super) const DEVIATIONS: f64 = 6.0;
/// Cosine between normals of one surface.
const LIKE: f64 = 0.75;
/// Further off than this it may be another surface that was not seen, in edges.
const OVER: f64 = 8.0;
/// Edge of patches that count as one observation, in edges of a cell, and cells that fill one.
const PATCH: f64 = 5.0;
const FULL_PATCH: f64 = 4.0;
/// How often a cell in the overlap lies on the other surface at the true pose, and at a chance one.
const RIGHT_ON: f64 = 0.95;
const CHANCE_ON: f64 = 0.3;
/// Steps of settling, and how fast the gate closes.
const STEPS: usize = 12;
const CLOSING: f64 = 0.7;
/// Eigenvalues below this share of the largest hold nothing.
const FREE: f64 = 1e-4;
