//! Bounded pieces of a feature as triangles, to be shown beside scan and part.

use std::f64::consts::{PI, TAU};

use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation};

use super::super::step_out::cleaned;
use crate::feature::Feature;
use crate::primitive::{
    Bounded, Extent, Plane, Point3, Primitive, any_perpendicular, frame_from_axis, point_of_patch,
};

/// Corners (mm) and triangles of a feature's faces within a distance `chord` (mm, above 0) of them; both empty
/// for a feature of curves and points alone.
///
/// They are there to be looked at: pieces are side by side, without shared corners, and not finer than
/// 720 chords a turn.
#[must_use]
pub fn surface_of(feature: &Feature, chord: f64) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let (mut points, mut triangles) = (Vec::new(), Vec::new());
    for piece in feature.pieces.iter().flat_map(standard) {
        let first = points.len() as u32;
        let (corners, faces) = match (&piece.shape, &piece.extent) {
            (Primitive::Plane(plane), Extent::Outline(loops)) => flat(plane, loops),
            _ => curved(piece, chord).unwrap_or_default(),
        };
        points.extend(corners);
        triangles.extend(faces.into_iter().map(|t| t.map(|id| id + first)));
    }
    (points, triangles)
}

type Faces = (Vec<Point3>, Vec<[u32; 3]>);

/// The pieces of a composite, else the piece itself.
fn standard(piece: &Bounded) -> Vec<&Bounded> {
    match &piece.shape {
        Primitive::Composite(shape) => shape.pieces.iter().collect(),
        _ => vec![piece],
    }
}

/// A grid over the parameters of a patch.
fn curved(piece: &Bounded, chord: f64) -> Option<Faces> {
    let whole = |axis| Extent::Patch {
        zero: any_perpendicular(axis),
        pole: *axis,
        u: (0.0, TAU),
        v: (-PI, PI),
    };
    let extent = match (&piece.shape, &piece.extent) {
        (Primitive::Sphere(_), Extent::Whole) => {
            let z = nalgebra::Vector3::z_axis();
            let zero = any_perpendicular(&z);
            Extent::Patch { zero, pole: z, u: (0.0, TAU), v: (-PI / 2.0, PI / 2.0) }
        }
        (Primitive::Torus(t), Extent::Whole) => whole(&t.axis),
        (_, extent) => extent.clone(),
    };
    let Extent::Patch { zero, pole, u, v } = &extent else { return None };
    let at = point_of_patch(&piece.shape, zero, pole)?;
    let (around, along) = match &piece.shape {
        Primitive::Cylinder(c) => (c.radius, None),
        Primitive::Cone(c) => (c.radius_at(v.0).abs().max(c.radius_at(v.1).abs()), None),
        Primitive::Sphere(s) => (s.radius, Some(s.radius)),
        Primitive::Torus(t) => (t.major_radius + t.minor_radius, Some(t.minor_radius)),
        _ => return None,
    };
    let columns = pieces(u.1 - u.0, around, chord);
    let rows = along.map_or(1, |radius| pieces(v.1 - v.0, radius, chord));
    let mix = |(from, to): (f64, f64), i: usize, n: usize| from + (to - from) * i as f64 / n as f64;
    let points = (0..=rows)
        .flat_map(|j| (0..=columns).map(move |i| (i, j)))
        .map(|(i, j)| at(mix(*u, i, columns), mix(*v, j, rows)))
        .collect();
    let width = columns as u32 + 1;
    let cell = |i: u32, j: u32| {
        let a = j * width + i;
        [[a, a + 1, a + width + 1], [a, a + width + 1, a + width]]
    };
    let triangles =
        (0..rows as u32).flat_map(|j| (0..columns as u32).flat_map(move |i| cell(i, j))).collect();
    Some((points, triangles))
}

/// Chords of an arc: the sagitta of a chord of half angle a is r (1 - cos a).
fn pieces(angle: f64, radius: f64, chord: f64) -> usize {
    let half = (1.0 - (chord / radius).clamp(0.0, 1.0)).acos().max(TAU / FINEST / 2.0);
    ((angle / (2.0 * half)).ceil()).clamp(1.0, FINEST) as usize
}

/// A face of the plane: constrained Delaunay triangulation of what STEP writes too.
fn flat(plane: &Plane, loops: &[Vec<Point3>]) -> Faces {
    let Ok(outline) = cleaned(plane, loops, PRECISION) else { return Faces::default() };
    let frame = frame_from_axis(&plane.normal);
    let mut mesh = ConstrainedDelaunayTriangulation::<Point2<f64>>::new();
    let (mut points, mut handles) = (Vec::new(), Vec::new());
    for p in outline.loops.iter().flatten() {
        let local = frame.inverse_transform_vector(&(p - plane.point));
        // Cleaned corners are finite and apart from each other.
        let Ok(handle) = mesh.insert(Point2::new(local.x, local.y)) else {
            return Faces::default();
        };
        if handle.index() != points.len() {
            return Faces::default();
        }
        points.push(*p);
        handles.push(handle);
    }
    let mut start = 0;
    let mut flat_loops = Vec::new();
    for ring in &outline.loops {
        let n = ring.len();
        for i in 0..n {
            let (a, b) = (handles[start + i], handles[start + (i + 1) % n]);
            if !mesh.can_add_constraint(a, b) {
                return Faces::default();
            }
            mesh.add_constraint(a, b);
        }
        flat_loops.push((start, n));
        start += n;
    }
    let position = |i: usize| mesh.vertex(handles[i]).position();
    let inside = |x: f64, y: f64| {
        let crossings = flat_loops.iter().flat_map(|(start, n)| {
            (0..*n).map(move |i| (position(start + i), position(start + (i + 1) % n)))
        });
        let crossed = crossings.filter(|(a, b)| {
            (a.y > y) != (b.y > y) && x < a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x)
        });
        crossed.count() % 2 == 1
    };
    let face = |f: spade::handles::FaceHandle<'_, spade::handles::InnerTag, _, _, _, _>| {
        let centre = f.center();
        inside(centre.x, centre.y).then(|| f.vertices().map(|v| v.index() as u32))
    };
    let triangles = mesh.inner_faces().filter_map(face).collect();
    (points, triangles)
}

/// Most chords a turn.
const FINEST: f64 = 720.0;
/// Corners nearer to each other are one, mm, as in STEP.
const PRECISION: f64 = 1e-6;
