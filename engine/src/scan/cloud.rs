//! Neighbours, normals and border of bare points, from the nearest points of each.
//!
//! Normals: principal component of least variance, oriented by a minimum spanning tree (Hoppe, DeRose,
//! Duchamp, McDonald, Stuetzle 1992, Surface reconstruction from unorganized points). What is guaranteed:
//! within one connected piece, signs follow the tree; the sign of a piece is such that the normal at its
//! point farthest from its centre points outward. A piece that is open or thin may face either way.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use nalgebra::{Matrix3, SymmetricEigen};
use rayon::prelude::*;

use super::graph::Graph;
use super::index::PointIndex;
use crate::primitive::{Point3, Vec3};

/// What follows from the positions alone.
pub(super) struct Cloud {
    pub(super) neighbours: Graph,
    pub(super) border: Vec<bool>,
    /// Unit normals without orientation; zero where undefined.
    flat_normals: Vec<Vec3>,
}

impl Cloud {
    pub(super) fn new(points: &[Point3], index: &PointIndex) -> Self {
        let (neighbours, learnt) = Graph::build(points.len(), |id, ids| {
            let p = &points[id as usize];
            let mut near: Vec<u32> =
                index.k_nearest(p, AROUND + 1).into_iter().map(|(other, _)| other).collect();
            near.retain(|other| *other != id);
            let patch: Vec<Point3> = std::iter::once(*p)
                .chain(near.iter().take(FOR_NORMAL).map(|&i| points[i as usize]))
                .collect();
            let normal = least_axis(&patch);
            let border = has_gap(p, near.iter().map(|&i| &points[i as usize]), &normal);
            near.truncate(NEIGHBOURS);
            near.sort_unstable();
            ids.append(&mut near);
            (normal, border)
        });
        let (flat_normals, border) = learnt.into_iter().unzip();
        Cloud { neighbours, border, flat_normals }
    }

    /// Unit normals, oriented as the module says.
    pub(super) fn oriented_normals(&self, points: &[Point3]) -> Vec<Vec3> {
        let graph = self.neighbours.symmetric();
        let mut normals = self.flat_normals.clone();
        let mut reached = vec![false; points.len()];
        for seed in 0..points.len() as u32 {
            if !reached[seed as usize] {
                let piece = orient_piece(seed, &graph, &mut normals, &mut reached);
                face_outward(&piece, points, &mut normals);
            }
        }
        normals
    }
}

/// Spreads the sign of one point over its piece along the edges of least bend (Prim's algorithm).
fn orient_piece(seed: u32, graph: &Graph, normals: &mut [Vec3], reached: &mut [bool]) -> Vec<u32> {
    let mut piece = Vec::new();
    // Bends are not negative, so their bits order as they do; the ids make the order total.
    let mut edges = BinaryHeap::from([Reverse((0u64, seed, seed))]);
    while let Some(Reverse((_, to, from))) = edges.pop() {
        if std::mem::replace(&mut reached[to as usize], true) {
            continue;
        }
        if normals[to as usize].dot(&normals[from as usize]) < 0.0 {
            normals[to as usize].neg_mut();
        }
        piece.push(to);
        for &next in graph.of(to).iter().filter(|n| !reached[**n as usize]) {
            let bend = 1.0 - normals[to as usize].dot(&normals[next as usize]).abs().min(1.0);
            edges.push(Reverse((bend.to_bits(), next, to)));
        }
    }
    piece
}

fn face_outward(piece: &[u32], points: &[Point3], normals: &mut [Vec3]) {
    let sum: Vec3 = piece.iter().map(|&i| points[i as usize].coords).sum();
    let centre = sum / piece.len() as f64;
    let out = |i: u32| points[i as usize].coords - centre;
    let farthest =
        piece.iter().max_by(|a, b| out(**a).norm_squared().total_cmp(&out(**b).norm_squared()));
    if farthest.is_some_and(|&i| normals[i as usize].dot(&out(i)) < 0.0) {
        piece.iter().for_each(|&i| normals[i as usize].neg_mut());
    }
}

/// Direction of least variance, unit; zero for points on a line or in one place.
pub(super) fn least_axis(patch: &[Point3]) -> Vec3 {
    let sum: Vec3 = patch.iter().map(|p| p.coords).sum();
    let mean = sum / patch.len() as f64;
    let spread: Matrix3<f64> =
        patch.iter().map(|p| (p.coords - mean) * (p.coords - mean).transpose()).sum();
    if !(spread.trace() > 0.0 && spread.trace().is_finite()) {
        return Vec3::zeros();
    }
    let eigen = SymmetricEigen::new(spread / spread.trace());
    let mut order = [0, 1, 2];
    order.sort_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]));
    if eigen.eigenvalues[order[1]] < LINE {
        return Vec3::zeros();
    }
    eigen.eigenvectors.column(order[0]).into_owned()
}

/// Whether the neighbours, seen along the normal, leave a gap of more than 120 degrees.
fn has_gap<'a>(p: &Point3, near: impl Iterator<Item = &'a Point3>, normal: &Vec3) -> bool {
    let Some(normal) = crate::primitive::unit(*normal) else { return true };
    let x = crate::primitive::any_perpendicular(&normal);
    let y = normal.cross(&x);
    let mut angles: Vec<f64> = near
        .map(|q| q - p)
        .filter(|d| d.norm_squared() > 0.0)
        .map(|d| d.dot(&y).atan2(d.dot(&x)))
        .collect();
    angles.sort_by(f64::total_cmp);
    let Some((first, last)) = angles.first().zip(angles.last()) else { return true };
    let across = first + std::f64::consts::TAU - last;
    across > GAP || angles.windows(2).any(|pair| pair[1] - pair[0] > GAP)
}

/// Median distance over the nearest [`SPACING_OVER`] points of each sampled point, mm. A triangulation has
/// about six edges a point; the seventh nearest makes up for its longer ones, so that the value agrees
/// with a mesh of the same points.
pub(super) fn spacing(points: &[Point3], index: &PointIndex, sample: &[u32]) -> f64 {
    let near: Vec<Vec<f64>> = sample
        .par_iter()
        .map(|&id| {
            let found = index.k_nearest(&points[id as usize], SPACING_OVER + 1);
            found.into_iter().filter(|f| f.0 != id).take(SPACING_OVER).map(|f| f.1).collect()
        })
        .collect();
    super::noise::median(near.into_iter().flatten().filter(|d| *d > 0.0).collect()).unwrap_or(0.0)
}

const NEIGHBOURS: usize = 12;
const FOR_NORMAL: usize = 16;
/// Enough that random sampling leaves an inner point with a gap in 0.2 % of cases only.
const AROUND: usize = 24;
const SPACING_OVER: usize = 7;
const GAP: f64 = std::f64::consts::TAU / 3.0;
/// Part of the variance across a line that is rounding.
const LINE: f64 = 1e-12;
