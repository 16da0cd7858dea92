//! Where a plane cuts a mesh, as short lines.

use rayon::prelude::*;

use super::camera::{Camera, Cut};
use super::scene::Mesh;
use crate::primitive::Point3;

/// Lines in which a mesh meets the cut, those that fall in the picture; machine coordinates.
pub(in crate::report) fn section(mesh: &Mesh<'_>, cut: &Cut, camera: &Camera) -> Vec<Vec<Point3>> {
    let heights: Vec<f64> = mesh
        .points
        .par_iter()
        .map(|p| cut.normal.dot(&(mesh.machine_from_mesh * p - cut.point)))
        .collect();
    let lines = |chunk: &[[u32; 3]]| -> Vec<Vec<Point3>> {
        chunk.iter().filter_map(|t| line(mesh, &heights, t)).filter(|l| seen(l, camera)).collect()
    };
    let pieces: Vec<_> = mesh.triangles.par_chunks(CHUNK).map(lines).collect();
    pieces.concat()
}

fn line(mesh: &Mesh<'_>, heights: &[f64], t: &[u32; 3]) -> Option<Vec<Point3>> {
    let h = |i: usize| heights.get(t[i] as usize).copied();
    let h = [h(0)?, h(1)?, h(2)?];
    let ends: Vec<Point3> = [(0, 1), (1, 2), (2, 0)]
        .into_iter()
        .filter(|(a, b)| (h[*a] > 0.0) != (h[*b] > 0.0))
        .map(|(a, b)| {
            let (p, q) = (&mesh.points[t[a] as usize], &mesh.points[t[b] as usize]);
            mesh.machine_from_mesh * (p + (q - p) * (h[a] / (h[a] - h[b])))
        })
        .collect();
    (ends.len() == 2).then_some(ends)
}

/// Whether the box round a line meets the picture: both ends of a long one may lie beyond it.
fn seen(line: &[Point3], camera: &Camera) -> bool {
    let ends: Vec<[f64; 3]> = line.iter().map(|p| camera.project(p)).collect();
    [camera.width, camera.height].iter().enumerate().all(|(k, side)| {
        ends.iter().any(|e| e[k] > 0.0) && ends.iter().any(|e| e[k] < *side as f64)
    })
}

/// Triangles cut as one piece of work.
const CHUNK: usize = 1 << 15;
