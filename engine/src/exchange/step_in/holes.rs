//! Round holes: inward cylinder faces of one axis and radius that touch and together go all round.

use std::collections::HashMap;

use super::mesh::SolidMesh;
use super::topology::Brep;
use crate::exchange::part::{FaceSurface, PartHole};
use crate::primitive::{Cylinder, Point3, Primitive, any_perpendicular};

/// Holes of one solid in its own coordinates, in the order of their first faces.
pub(super) fn find(brep: &Brep, faces: &[FaceSurface], mesh: &SolidMesh) -> Vec<PartHole> {
    let bores: Vec<Option<&Cylinder>> = faces.iter().map(bore).collect();
    let mut group: Vec<usize> = (0..faces.len()).collect();
    let mut first_on_edge = HashMap::new();
    for (index, face) in brep.faces.iter().enumerate() {
        let Some(cylinder) = bores[index] else { continue };
        for u in face.loops.iter().flatten() {
            let other = *first_on_edge.entry(u.edge).or_insert(index);
            if bores[other].is_some_and(|o| same(o, cylinder)) {
                let (a, b) = (top(&group, other), top(&group, index));
                group[a.max(b)] = a.min(b);
            }
        }
    }
    let mut corners: HashMap<usize, Vec<[Point3; 3]>> = HashMap::new();
    for (triangle, face) in mesh.triangles.iter().zip(&mesh.face_of_triangle) {
        if bores[*face as usize].is_some() {
            let places = triangle.map(|p| mesh.points[p as usize]);
            corners.entry(top(&group, *face as usize)).or_default().push(places);
        }
    }
    (0..faces.len()).filter_map(|first| hole(bores[first]?, corners.get(&first)?)).collect()
}

pub(in crate::exchange) fn bore(face: &FaceSurface) -> Option<&Cylinder> {
    match &face.shape {
        Some(Primitive::Cylinder(cylinder)) if face.reversed => Some(cylinder),
        _ => None,
    }
}

/// One axis and radius as far as a CAD file's digits go.
pub(in crate::exchange) fn same(a: &Cylinder, b: &Cylinder) -> bool {
    (a.radius - b.radius).abs() <= SAME_LENGTH
        && a.axis.cross(&b.axis).norm() <= SAME_ANGLE
        && a.axis_line().distance(&b.point) <= SAME_LENGTH
}

pub(in crate::exchange) fn top(group: &[usize], mut index: usize) -> usize {
    while group[index] != index {
        index = group[index];
    }
    index
}

/// The hole, if the triangles leave no gap in the turn.
pub(in crate::exchange) fn hole(
    cylinder: &Cylinder,
    triangles: &[[Point3; 3]],
) -> Option<PartHole> {
    let x = any_perpendicular(&cylinder.axis).into_inner();
    let y = cylinder.axis.cross(&x);
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut spans = Vec::with_capacity(triangles.len());
    for corners in triangles {
        let angle = |p: &Point3| {
            let arm = p - cylinder.point;
            arm.dot(&y).atan2(arm.dot(&x))
        };
        let start = angle(&corners[0]);
        let (mut from, mut to) = (0.0_f64, 0.0_f64);
        for p in corners {
            let along = cylinder.axis.dot(&(p - cylinder.point));
            (low, high) = (low.min(along), high.max(along));
            let turned = (angle(p) - start) / std::f64::consts::TAU;
            let turned = turned - turned.round();
            (from, to) = (from.min(turned), to.max(turned));
        }
        let start = (start / std::f64::consts::TAU + from).rem_euclid(1.0);
        spans.push((start, start + to - from));
    }
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Walked from the first span's start; spans that run over the full turn cover the beginning.
    let over = spans.iter().map(|s| s.1 - 1.0).fold(0.0, f64::max);
    let mut reached = over.max(TOUCHING);
    for (from, to) in spans {
        if from > reached + TOUCHING {
            return None;
        }
        reached = reached.max(to);
    }
    (reached >= 1.0 - TOUCHING).then(|| PartHole {
        point: cylinder.point + cylinder.axis.into_inner() * (0.5 * (low + high)),
        axis: cylinder.axis,
        radius: cylinder.radius,
        depth: high - low,
    })
}

const SAME_LENGTH: f64 = 1e-6;
const SAME_ANGLE: f64 = 1e-7;
/// In turns: neighbouring triangles share their corners, so only rounding is between them.
const TOUCHING: f64 = 1e-6;
