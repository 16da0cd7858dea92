//! Evens out the spacing of a mesh along the surface and gives it its exact normals.

use rayon::prelude::*;

use super::extract::{Mesh, onto_surface};
use crate::primitive::{Point3, Vec3};

/// Computes the exact normal at every corner.
pub(super) fn find_normals(mesh: &mut Mesh, wanted: &[bool]) {
    let normal = |i: usize| if wanted[i] { mesh.normal_at(i) } else { Vec3::zeros() };
    mesh.normals = (0..mesh.points.len()).into_par_iter().map(normal).collect();
}

/// Moves every wanted corner towards the middle of its neighbours, along the surface only; the
/// normals must be known and are kept exact.
///
/// The grid's cells cut slivers off an inclined face; a scanner's mesh has none.
pub(super) fn relax(mesh: &mut Mesh, wanted: &[bool]) {
    let links = Links::new(mesh.points.len(), &mesh.quads);
    for round in 1..=ROUNDS {
        let moved = |i: usize| {
            let p = mesh.points[i];
            if !wanted[i] {
                return p;
            }
            let to = links.middle(i, &mesh.points) - p;
            let normal = &mesh.normals[i];
            let (solid, spacing) = mesh.near(i);
            let along = (to - normal * normal.dot(&to)).cap_magnitude(spacing / 4.0);
            let p = p + along;
            if round < ROUNDS { p - normal * solid.distance(&p) } else { onto_surface(solid, p) }
        };
        mesh.points = (0..mesh.points.len()).into_par_iter().map(moved).collect();
    }
    find_normals(mesh, wanted);
}

/// Neighbours of every corner, one list behind the other.
struct Links {
    start: Vec<u32>,
    to: Vec<u32>,
}

impl Links {
    fn new(corners: usize, quads: &[[u32; 4]]) -> Self {
        // In a closed net every edge runs once each way, so the outgoing edges name each neighbour once.
        let mut start = vec![0u32; corners + 1];
        for &i in quads.iter().flatten() {
            start[i as usize + 1] += 1;
        }
        for i in 0..corners {
            start[i + 1] += start[i];
        }
        let mut next = start.clone();
        let mut to = vec![0u32; quads.len() * 4];
        for q in quads {
            for k in 0..4 {
                let slot = &mut next[q[k] as usize];
                to[*slot as usize] = q[(k + 1) % 4];
                *slot += 1;
            }
        }
        Links { start, to }
    }

    fn middle(&self, i: usize, points: &[Point3]) -> Point3 {
        let around = &self.to[self.start[i] as usize..self.start[i + 1] as usize];
        if around.is_empty() {
            return points[i];
        }
        let sum: Vec3 = around.iter().map(|&j| points[j as usize].coords).sum();
        Point3::from(sum / around.len() as f64)
    }
}

/// Rounds of evening out: after three, edges under a third of the spacing are rare.
const ROUNDS: usize = 3;
