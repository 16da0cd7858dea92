//! The part as made: its model's mesh, cut fine, each piece of surface moved to where the scan saw it.
//!
//! A piece (triangle of the cut mesh) is off by the median of the scan points over it and its neighbours in the
//! same smooth face. A corner moves to where the pieces round it have moved, each along its own normal (least
//! squares, the smallest motion where they leave one free), so that flats stay flat, edges stay sharp and bores
//! change their width. What was not scanned stays as designed, and its share is told.

use std::collections::{BTreeMap, VecDeque};

use nalgebra::{Matrix3, SymmetricEigen};
use rayon::prelude::*;

use super::super::local::median;
use crate::exchange::Part;
use crate::primitive::{Point3, Vec3};
use crate::solid::{Mesh, Sets};

/// The part as made.
pub(super) struct Body {
    pub(super) points: Vec<Point3>,
    pub(super) triangles: Vec<[u32; 3]>,
    /// Share of the surface that was seen.
    pub(super) seen: f64,
    /// The model's surface in pieces, each with how far it is off.
    pub(super) map: DeviationMap,
}

/// Surface of a model in pieces, each with how far the made part is off there.
#[derive(Debug, Clone, Default)]
pub struct DeviationMap {
    /// Corners, mm, as designed.
    pub points: Vec<Point3>,
    /// Pieces of the surface, counter-clockwise seen from outside.
    pub triangles: Vec<[u32; 3]>,
    /// How far each is off, mm: positive where there is too much, negative where material is missing; NaN where
    /// nothing was seen.
    pub deviation: Vec<f64>,
}

/// `scan`: points on the model; `size`: longest edge of the pieces, mm; `reach`: largest deviation that still is
/// one of this surface, mm.
pub(super) fn as_made(part: &Part, scan: &[Point3], size: f64, reach: f64) -> Body {
    let (points, triangles) = cut(&part.points, &part.triangles, size);
    let normals: Vec<Vec3> = triangles.iter().map(|t| normal(&points, t)).collect();
    let next = neighbours(&triangles);
    let mesh = Mesh::new(points.clone(), triangles.clone());
    let over = |p: &Point3| {
        let hit = mesh.nearest(p, reach, None)?;
        let n = normals[hit.triangle as usize].try_normalize(0.0)?;
        // A point off an edge says nothing of either side.
        let off = (p - hit.point).dot(&n);
        (off.abs() >= 0.7 * hit.distance).then_some((hit.triangle, off))
    };
    let hits: Vec<Option<(u32, f64)>> = scan.par_iter().with_min_len(1024).map(over).collect();
    let mut own: Vec<Vec<f64>> = vec![Vec::new(); triangles.len()];
    hits.into_iter().flatten().for_each(|(t, off)| own[t as usize].push(off));
    let middles: Vec<Point3> = triangles
        .iter()
        .map(|t| {
            nalgebra::center(
                &points[t[0] as usize],
                &nalgebra::center(&points[t[1] as usize], &points[t[2] as usize]),
            )
        })
        .collect();
    let piece = |t: usize| gathered(t, &own, &normals, &next, &middles, 3.0 * size);
    let offsets: Vec<Option<f64>> = (0..triangles.len()).into_par_iter().map(piece).collect();
    let area = |t: usize| 0.5 * normals[t].norm();
    let all: f64 = (0..triangles.len()).map(area).sum();
    let seen: f64 = (0..triangles.len()).filter(|&t| offsets[t].is_some()).map(area).sum();
    let mut corners: Vec<(Matrix3<f64>, Vec3)> =
        vec![(Matrix3::zeros(), Vec3::zeros()); points.len()];
    for (t, triangle) in triangles.iter().enumerate() {
        let (Some(offset), Some(n)) = (offsets[t], normals[t].try_normalize(0.0)) else { continue };
        for &i in triangle {
            let (matrix, right) = &mut corners[i as usize];
            *matrix += n * n.transpose() * area(t);
            *right += n * (area(t) * offset);
        }
    }
    let moved = points.iter().zip(&corners).map(|(p, (m, r))| p + motion(m, r)).collect();
    let deviation = offsets.iter().map(|o| o.unwrap_or(f64::NAN)).collect();
    let map = DeviationMap { points, triangles: triangles.clone(), deviation };
    Body { points: moved, triangles, seen: seen / all, map }
}

/// Median of what was seen over a piece and its neighbours in the same smooth face, nearest first until enough.
fn gathered(
    start: usize,
    own: &[Vec<f64>],
    normals: &[Vec3],
    next: &[[u32; 3]],
    middles: &[Point3],
    radius: f64,
) -> Option<f64> {
    let mut all = Vec::new();
    let (mut queue, mut visited) = (VecDeque::from([start]), vec![start]);
    while let Some(t) = queue.pop_front() {
        all.extend_from_slice(&own[t]);
        if all.len() >= ENOUGH {
            return Some(median(all));
        }
        for &n in next[t].iter().filter(|n| **n != u32::MAX) {
            let n = n as usize;
            let smooth = normals[n].dot(&normals[start])
                > SMOOTH * normals[n].norm() * normals[start].norm();
            if smooth && !visited.contains(&n) && (middles[n] - middles[start]).norm() <= radius {
                visited.push(n);
                queue.push_back(n);
            }
        }
    }
    (all.len() >= FEWEST).then(|| median(all))
}

/// Smallest motion that moves the planes round a corner as they were seen.
fn motion(matrix: &Matrix3<f64>, right: &Vec3) -> Vec3 {
    let eigen = SymmetricEigen::new(*matrix);
    let largest = eigen.eigenvalues.max();
    let mut out = Vec3::zeros();
    for k in 0..3 {
        // Normals of one curved face differ a little: that is no edge.
        if eigen.eigenvalues[k] > EDGE * largest {
            let axis = eigen.eigenvectors.column(k);
            out += axis * (axis.dot(right) / eigen.eigenvalues[k]);
        }
    }
    out
}

fn normal(points: &[Point3], t: &[u32; 3]) -> Vec3 {
    let [a, b, c] = t.map(|i| points[i as usize]);
    (b - a).cross(&(c - a))
}

/// Triangle across each edge (from corner k to k + 1).
fn neighbours(triangles: &[[u32; 3]]) -> Vec<[u32; 3]> {
    let mut edges: BTreeMap<(u32, u32), (u32, usize)> = BTreeMap::new();
    let mut next = vec![[u32::MAX; 3]; triangles.len()];
    for (t, triangle) in (0u32..).zip(triangles) {
        for k in 0..3 {
            let (a, b) = (triangle[k], triangle[(k + 1) % 3]);
            if let Some((other, at)) = edges.remove(&(b, a)) {
                next[t as usize][k] = other;
                next[other as usize][at] = t;
            } else {
                edges.insert((a, b), (t, k));
            }
        }
    }
    next
}

/// Mesh with every edge over `size` cut in half, again and again, to at most [`MOST`] triangles; closed stays closed.
fn cut(points: &[Point3], triangles: &[[u32; 3]], size: f64) -> (Vec<Point3>, Vec<[u32; 3]>) {
    // Corners that are one place are one corner.
    let mut place: BTreeMap<[u64; 3], u32> = BTreeMap::new();
    let mut sets = Sets::new(points.len());
    for (i, p) in (0u32..).zip(points) {
        let key = [p.x, p.y, p.z].map(|x| (x + 0.0).to_bits());
        let first = *place.entry(key).or_insert(i);
        sets.join(first, i);
    }
    let (mut points, mut triangles) =
        (points.to_vec(), triangles.iter().map(|t| t.map(|i| sets.root(i))).collect::<Vec<_>>());
    loop {
        let mut halves: BTreeMap<(u32, u32), u32> = BTreeMap::new();
        for t in &triangles {
            for k in 0..3 {
                let (a, b) = (t[k].min(t[(k + 1) % 3]), t[k].max(t[(k + 1) % 3]));
                if (points[a as usize] - points[b as usize]).norm() > size {
                    halves.entry((a, b)).or_insert_with(|| {
                        points.push(nalgebra::center(&points[a as usize], &points[b as usize]));
                        points.len() as u32 - 1
                    });
                }
            }
        }
        if halves.is_empty() || triangles.len() + 2 * halves.len() > MOST {
            return (points, triangles);
        }
        triangles = triangles.iter().flat_map(|t| split(t, &halves)).collect();
    }
}

/// A triangle with those of its edges cut that have a middle.
fn split(t: &[u32; 3], halves: &BTreeMap<(u32, u32), u32>) -> Vec<[u32; 3]> {
    let middle = |k: usize| {
        let (a, b) = (t[k], t[(k + 1) % 3]);
        halves.get(&(a.min(b), a.max(b))).copied()
    };
    let cuts = [middle(0), middle(1), middle(2)];
    match cuts.iter().flatten().count() {
        0 => vec![*t],
        3 => {
            let [x, y, z] = cuts.map(|c| c.unwrap_or_default());
            vec![[t[0], x, z], [x, t[1], y], [z, y, t[2]], [x, y, z]]
        }
        count => {
            // Turned so that the first edge is cut and the last is not.
            let k = (0..3).find(|&k| cuts[k].is_some() && cuts[(k + 2) % 3].is_none()).unwrap_or(0);
            let [a, b, c] = [t[k], t[(k + 1) % 3], t[(k + 2) % 3]];
            let x = cuts[k].unwrap_or_default();
            match cuts[(k + 1) % 3].filter(|_| count == 2) {
                None => vec![[a, x, c], [x, b, c]],
                Some(y) => vec![[a, x, c], [x, y, c], [x, b, y]],
            }
        }
    }
}

/// Points whose median speaks for a piece, and the fewest where there are no more.
const ENOUGH: usize = 12;
const FEWEST: usize = 3;
/// Cosine of the bend (20 degrees) up to which neighbours are of one face.
const SMOOTH: f64 = 0.94;
/// Eigenvalue, as a share of the largest, from which the planes round a corner differ in direction.
const EDGE: f64 = 0.05;
/// Most triangles of the cut mesh.
const MOST: usize = 400_000;

#[cfg(test)]
mod tests {
    use super::*;

    fn cube() -> (Vec<Point3>, Vec<[u32; 3]>) {
        let pick = |i: usize, k: usize| if i >> k & 1 == 1 { 10.0 } else { 0.0 };
        let points = (0..8).map(|i| Point3::new(pick(i, 0), pick(i, 1), pick(i, 2))).collect();
        let quads =
            [[0, 4, 6, 2], [1, 3, 7, 5], [0, 1, 5, 4], [2, 6, 7, 3], [0, 2, 3, 1], [4, 5, 7, 6]];
        let halves = |q: &[u32; 4]| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]];
        (points, quads.iter().flat_map(halves).collect())
    }

    fn volume(points: &[Point3], triangles: &[[u32; 3]]) -> f64 {
        let six = |t: &[u32; 3]| {
            let [a, b, c] = t.map(|i| points[i as usize].coords);
            a.dot(&b.cross(&c))
        };
        triangles.iter().map(six).sum::<f64>() / 6.0
    }

    #[test]
    fn a_cut_cube_is_the_same_cube_with_short_edges() {
        let (points, triangles) = cube();
        let (points, triangles) = cut(&points, &triangles, 3.0);
        assert!((volume(&points, &triangles) - 1000.0).abs() < 1e-9);
        assert!(neighbours(&triangles).iter().flatten().all(|n| *n != u32::MAX), "closed");
        for t in &triangles {
            for k in 0..3 {
                let edge = points[t[k] as usize] - points[t[(k + 1) % 3] as usize];
                assert!(edge.norm() <= 3.0);
            }
        }
    }

    /// A cube made 0.2 larger on one side and 0.1 smaller on the opposite one, scanned without noise.
    #[test]
    fn faces_move_to_where_they_were_seen_and_edges_stay_sharp() {
        let (points, triangles) = cube();
        let part = Part::from_mesh(points, triangles, "cube", "arrays").expect("a mesh");
        let mut scan = Vec::new();
        for i in 0..40 {
            for j in 0..40 {
                let (u, v) = (0.125 + 0.25 * f64::from(i), 0.125 + 0.25 * f64::from(j));
                scan.push(Point3::new(10.2, u, v));
                scan.push(Point3::new(0.1, u, v));
                scan.extend([
                    Point3::new(u, 0.0, v),
                    Point3::new(u, 10.0, v),
                    Point3::new(u, v, 0.0),
                ]);
            }
        }
        let body = as_made(&part, &scan, 2.0, 1.0);
        // The top was not scanned: it stays.
        assert!((body.seen - 5.0 / 6.0).abs() < 1e-9, "{}", body.seen);
        assert!((volume(&body.points, &body.triangles) - 10.1 * 100.0).abs() < 1e-6);
        let (low, high) = body
            .points
            .iter()
            .fold((body.points[0], body.points[0]), |(l, h), p| (l.inf(p), h.sup(p)));
        assert!((low - Point3::new(0.1, 0.0, 0.0)).norm() < 1e-9, "{low}");
        assert!((high - Point3::new(10.2, 10.0, 10.0)).norm() < 1e-9, "{high}");
    }
}
