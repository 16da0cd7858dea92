//! Triangles that a scanner's program drew over a gap: from an edge to what lies far behind it, or over a hole.
//!
//! Such a triangle is long against the scan's resolution and stands steep on the surface that its corners lie in
//! (judged by their other triangles). It is invented surface and decides nothing. Long triangles that lie in the
//! surface of their corners (a thinned mesh of flat faces) are not meant.

use std::collections::BTreeMap;

use crate::primitive::{Point3, Vec3};

/// Whether each triangle bridges a gap; empty if none does.
pub(in crate::fitcheck) fn find(
    points: &[Point3],
    triangles: &[[u32; 3]],
    resolution: f64,
) -> Vec<bool> {
    let long = |t: &[u32; 3]| {
        let [a, b, c] = t.map(|i| points[i as usize]);
        [a - b, b - c, c - a].iter().any(|e| e.norm() > LONG * resolution)
    };
    let candidates: Vec<usize> =
        triangles.iter().enumerate().filter(|(_, t)| long(t)).map(|(k, _)| k).collect();
    // Where most triangles are long, length says nothing.
    if candidates.is_empty() || candidates.len() * 4 > triangles.len() {
        return Vec::new();
    }
    let corners = candidates.iter().flat_map(|&k| triangles[k]);
    let mut normals: BTreeMap<u32, Vec3> = corners.map(|i| (i, Vec3::zeros())).collect();
    let mut of_short = |t: &[u32; 3]| {
        let [a, b, c] = t.map(|i| points[i as usize]);
        let normal = (b - a).cross(&(c - a));
        for i in t {
            if let Some(sum) = normals.get_mut(i) {
                *sum += normal;
            }
        }
    };
    let mut next = candidates.iter().peekable();
    for (k, t) in triangles.iter().enumerate() {
        if next.peek() == Some(&&k) {
            next.next();
        } else {
            of_short(t);
        }
    }
    let steep = |t: &[u32; 3]| {
        let [a, b, c] = t.map(|i| points[i as usize]);
        let normal = (b - a).cross(&(c - a));
        let across = |i: &&u32| {
            let around = normals.get(i).copied().unwrap_or_default();
            let size = normal.norm() * around.norm();
            size > 0.0 && normal.dot(&around) < STEEP * size
        };
        t.iter().filter(across).count() >= 2
    };
    let mut bridges = vec![false; triangles.len()];
    candidates.iter().filter(|&&k| steep(&triangles[k])).for_each(|&k| bridges[k] = true);
    if bridges.contains(&true) { bridges } else { Vec::new() }
}

/// A triangle with a side of this many spacings is long.
const LONG: f64 = 12.0;
/// Cosine of 60 degrees: steeper than a scanner sees a surface well (60 to 70 degrees by common experience).
const STEEP: f64 = 0.5;
