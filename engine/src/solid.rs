//! Distances, sides and crossings of triangle meshes: what the fit check asks of geometry.
//!
//! A tree of boxes over exact triangle distances, in double precision and without tolerances. The
//! collision library was measured first (50,000 against 1,000,000 triangles: structure 0.71 s,
//! least distance 4.0 s, one tree only descended at a time, iterative triangle distances), hence
//! the own structure; nothing outside this folder knows which one answers.

mod bvh;
mod exact;
mod nearest;
mod overlap;
mod pairs;
mod posed;
mod sets;
mod shells;
mod sign;
mod sweep;
mod triangle;
mod wide;

use std::sync::OnceLock;

use rayon::prelude::*;

use crate::primitive::{Direction, Point3, Vec3};
use bvh::Bvh;
use nearest::{Fans, Open};

pub(crate) use nearest::Hit;
pub(crate) use overlap::Depth;
pub(crate) use pairs::Witness;
pub(crate) use sets::Sets;
pub(crate) use sweep::{Joint, Least, MOST_MOVEMENTS, Movement, Values, pose_at};

/// Triangle mesh or point cloud (a point is a triangle of three equal corners) with its tree.
#[derive(Debug)]
pub(crate) struct Mesh {
    points: Vec<Point3>,
    triangles: Vec<[u32; 3]>,
    bvh: Bvh,
    fans: OnceLock<Fans>,
}

/// A closed solid: one or more shells that may overlap (welded plates), each with its own cavities.
#[derive(Debug)]
pub(crate) struct Solid {
    bodies: Vec<Body>,
}

/// One outer shell with its cavities; `ids` leads back to the triangles of the whole, empty if they
/// are the same.
#[derive(Debug)]
struct Body {
    mesh: Mesh,
    ids: Vec<u32>,
    inverted: bool,
}

/// Why triangles are not the boundary of a solid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct OpenEdges {
    /// Edges without a partner in the other direction.
    pub(crate) count: usize,
    /// Middle of the first of them, mm.
    pub(crate) at: Point3,
}

impl Mesh {
    /// Mesh of triangles that index `points`; the caller has checked the indices.
    pub(crate) fn new(points: Vec<Point3>, triangles: Vec<[u32; 3]>) -> Self {
        let bvh = Bvh::new(&points, &triangles);
        Mesh { points, triangles, bvh, fans: OnceLock::new() }
    }

    /// Mesh of the chosen triangles, numbered in the order of `ids`, and the corners they use.
    pub(crate) fn of_some(points: &[Point3], triangles: &[[u32; 3]], ids: &[u32]) -> Self {
        let mut new_id = vec![u32::MAX; points.len()];
        let mut used = Vec::new();
        let mut corner = |old: u32| {
            let id = &mut new_id[old as usize];
            if *id == u32::MAX {
                *id = used.len() as u32;
                used.push(points[old as usize]);
            }
            *id
        };
        let chosen = ids.iter().map(|&t| triangles[t as usize].map(&mut corner)).collect();
        Mesh::new(used, chosen)
    }

    /// Corner ids of each triangle.
    pub(crate) fn triangles(&self) -> &[[u32; 3]] {
        &self.triangles
    }

    /// Corners of all triangles, mm, some of them often.
    pub(crate) fn used(&self) -> impl Iterator<Item = &Point3> {
        self.triangles.as_flattened().iter().map(|&i| &self.points[i as usize])
    }

    /// Corners of a triangle, mm.
    #[inline]
    pub(crate) fn corners(&self, t: u32) -> [Point3; 3] {
        self.triangles[t as usize].map(|i| self.points[i as usize])
    }

    /// Nearest places of many points, on all threads; the distance is negative behind the surface
    /// where that is certain (not beyond a border). `None` only for an empty mesh.
    pub(crate) fn sides(&self, points: &[Point3]) -> Vec<Option<Hit>> {
        let chunk = |c: &[Point3]| {
            let (mut last, mut open) = (None, Open::with_capacity(64));
            let one = |p: &Point3| {
                let hit = self.nearest_by(p, f64::INFINITY, last, &mut open)?;
                last = Some(hit.triangle);
                let side = if self.is_behind(p, &hit) == Some(true) { -1.0 } else { 1.0 };
                Some(Hit { distance: side * hit.distance, ..hit })
            };
            c.iter().map(one).collect::<Vec<_>>()
        };
        points.par_chunks(CHUNK).flat_map_iter(chunk).collect()
    }

    /// First triangle hit by a ray within `reach` (mm) and the distance to it, mm.
    pub(crate) fn ray_cast(
        &self,
        from: &Point3,
        along: &Direction,
        reach: f64,
    ) -> Option<(f64, u32)> {
        let r = from - self.bvh.middle;
        let inverse = along.map(|x| 1.0 / x);
        let mut best = (reach, None);
        let mut stack = if self.bvh.nodes.is_empty() { vec![] } else { vec![0u32] };
        while let Some(i) = stack.pop() {
            let n = &self.bvh.nodes[i as usize];
            if !crosses(n, &r, &inverse, best.0) {
                continue;
            }
            if !n.is_leaf() {
                stack.extend([n.first, n.first + 1]);
                continue;
            }
            for k in n.range() {
                let t = self.bvh.order[k];
                if let Some(d) = ray_triangle(from, along, &self.corners(t))
                    && (d < best.0 || (d == best.0 && best.1.is_some_and(|b| t < b)))
                {
                    best = (d, Some(t));
                }
            }
        }
        best.1.map(|t| (best.0, t))
    }

    #[inline]
    fn corners_in_order(&self, k: usize) -> [Point3; 3] {
        self.bvh.corners[k].map(|i| self.points[i as usize])
    }
}

impl Solid {
    /// Solid of a closed mesh.
    pub(crate) fn new(points: &[Point3], triangles: &[[u32; 3]]) -> Result<Self, OpenEdges> {
        let shells = shells::of(points, triangles)?;
        let body = |(ids, inverted): (Vec<u32>, bool)| {
            let whole = ids.len() == triangles.len();
            let mesh = if whole {
                Mesh::new(points.to_vec(), triangles.to_vec())
            } else {
                Mesh::of_some(points, triangles, &ids)
            };
            Body { mesh, ids: if whole { Vec::new() } else { ids }, inverted }
        };
        Ok(Solid { bodies: shells.into_iter().map(body).collect() })
    }

    /// Whether a point lies inside any shell.
    pub(crate) fn contains(&self, p: &Point3) -> bool {
        self.bodies.iter().any(|b| b.contains(p))
    }

    /// Whether the box round some points is within `reach` (mm) of the box of a shell.
    pub(crate) fn is_near(&self, points: &[Point3], reach: f64) -> bool {
        let Some(first) = points.first() else { return false };
        let (low, high) = points.iter().fold((*first, *first), |(l, h), p| (l.inf(p), h.sup(p)));
        self.bodies.iter().any(|b| {
            let Some(root) = b.mesh.bvh.nodes.first() else { return false };
            let middle = b.mesh.bvh.middle;
            (0..3).all(|k| {
                f64::from(root.low[k]) + middle[k] - reach <= high[k]
                    && low[k] <= f64::from(root.high[k]) + middle[k] + reach
            })
        })
    }

    /// Nearest place of the surface within `reach` (mm), its distance signed: negative inside. Where
    /// shells overlap, the depth is that in the shell that holds the point deepest.
    pub(crate) fn signed(&self, p: &Point3, reach: f64) -> Option<Hit> {
        self.signed_after(p, reach, &mut vec![None; self.bodies.len()])
    }

    /// [`Solid::signed`] of many points, on all threads; `reach` bounds distances outside only.
    pub(crate) fn signed_all(&self, points: &[Point3], reach: f64) -> Vec<Option<Hit>> {
        let chunk = |c: &[Point3]| {
            let mut last = vec![None; self.bodies.len()];
            c.iter().map(|p| self.signed_after(p, reach, &mut last)).collect::<Vec<_>>()
        };
        points.par_chunks(CHUNK).flat_map_iter(chunk).collect()
    }

    /// Distance along a ray to the surface within `reach` (mm).
    pub(crate) fn ray_cast(&self, from: &Point3, along: &Direction, reach: f64) -> Option<f64> {
        let each = self.bodies.iter().filter_map(|b| b.mesh.ray_cast(from, along, reach));
        each.map(|h| h.0).min_by(f64::total_cmp)
    }

    /// Least distance of the surface to a mesh below `reach` (mm); the first place is the solid's.
    pub(crate) fn least_distance(&self, mesh: &Mesh, reach: f64) -> Option<Witness> {
        let mut best: Option<Witness> = None;
        for b in &self.bodies {
            let reach = best.map_or(reach, |w| w.distance);
            if let Some(w) = b.mesh.least_distance(mesh, reach) {
                best = Some(Witness { triangle_a: b.id(w.triangle_a), ..w });
            }
        }
        best
    }

    /// Pairs of touching triangles, the solid's first, ascending.
    pub(crate) fn touching_pairs(&self, mesh: &Mesh) -> Vec<(u32, u32)> {
        let mut all = Vec::new();
        for b in &self.bodies {
            all.extend(b.mesh.touching_pairs(mesh).iter().map(|&(i, j)| (b.id(i), j)));
        }
        all.sort_unstable();
        all
    }

    fn signed_after(&self, p: &Point3, reach: f64, last: &mut [Option<Last>]) -> Option<Hit> {
        let signed = self.bodies.iter().zip(last).filter_map(|(b, l)| b.signed(p, reach, l));
        signed.min_by(|a, b| a.distance.total_cmp(&b.distance))
    }
}

/// What is known of the point asked before: its position, distance, side and nearest triangle.
#[derive(Debug, Clone, Copy)]
struct Last {
    at: Point3,
    distance: f64,
    inside: bool,
    triangle: u32,
}

impl Body {
    fn contains(&self, p: &Point3) -> bool {
        let w = sign::winding(&self.mesh, p);
        if self.inverted { w < 0 } else { w > 0 }
    }

    fn id(&self, t: u32) -> u32 {
        if self.ids.is_empty() { t } else { self.ids[t as usize] }
    }

    fn signed(&self, p: &Point3, reach: f64, last: &mut Option<Last>) -> Option<Hit> {
        if !self.near(p, reach) {
            return None;
        }
        let found = self.mesh.nearest(p, reach, last.map(|l| l.triangle));
        // No surface lies within the last distance of the last point: the side cannot have changed.
        let inside = match last {
            Some(l) if (p - l.at).norm() < l.distance => l.inside,
            _ => self.contains(p),
        };
        let hit = match found {
            None if inside => self.mesh.nearest(p, f64::INFINITY, None),
            found => found,
        };
        let triangle = hit.map(|h| h.triangle).or(last.map(|l| l.triangle)).unwrap_or(0);
        let distance = hit.map_or(reach, |h| h.distance);
        *last = Some(Last { at: *p, distance, inside, triangle });
        let side = if inside { -1.0 } else { 1.0 };
        hit.map(|h| Hit { distance: side * h.distance, triangle: self.id(h.triangle), ..h })
    }

    /// Whether a point is within `reach` of the box of the body.
    fn near(&self, p: &Point3, reach: f64) -> bool {
        let Some(root) = self.mesh.bvh.nodes.first() else { return false };
        root.squared_distance(&(p - self.mesh.bvh.middle)) <= reach * reach
    }
}

/// Distance of a point from a triangle, mm.
pub(crate) fn triangle_distance(p: &Point3, t: &[Point3; 3]) -> f64 {
    (triangle::nearest_on_triangle(p, t).0 - p).norm()
}

fn crosses(n: &bvh::Node, from: &Vec3, inverse: &Vec3, reach: f64) -> bool {
    let (mut enter, mut leave) = (0.0f64, reach);
    for k in 0..3 {
        let a = (f64::from(n.low[k]) - from[k]) * inverse[k];
        let b = (f64::from(n.high[k]) - from[k]) * inverse[k];
        // A ray in the plane of a side gives NaN, which min and max pass over: no limit from it.
        enter = enter.max(a.min(b));
        leave = leave.min(a.max(b));
    }
    enter <= leave
}

/// T. Möller, B. Trumbore 1997, Fast, minimum storage ray-triangle intersection.
fn ray_triangle(from: &Point3, along: &Direction, t: &[Point3; 3]) -> Option<f64> {
    let (u, v) = (t[1] - t[0], t[2] - t[0]);
    let h = along.cross(&v);
    let det = u.dot(&h);
    let s = from - t[0];
    let q = s.cross(&u);
    let (a, b, d) = (s.dot(&h) / det, along.dot(&q) / det, v.dot(&q) / det);
    (a >= 0.0 && b >= 0.0 && a + b <= 1.0 && d >= 0.0).then_some(d)
}

/// Points handled by one thread in one go.
const CHUNK: usize = 1024;

#[cfg(test)]
mod posed_tests;
#[cfg(test)]
mod tests;
