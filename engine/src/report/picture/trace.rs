//! Lines that show a bounded piece of a shape: outline, circles, generators, axis.

use std::f64::consts::{FRAC_PI_2, TAU};

use crate::primitive::{
    Bounded, Direction, Extent, Point3, Primitive, Vec3, any_perpendicular, point_of_patch,
};

/// Lines along the edges of a piece, mm; none for an unbounded shape without an extent.
pub(in crate::report) fn lines(piece: &Bounded) -> Vec<Vec<Point3>> {
    match (&piece.shape, &piece.extent) {
        (Primitive::Composite(c), _) => c
            .pieces
            .iter()
            .filter(|b| !matches!(b.shape, Primitive::Composite(_)))
            .flat_map(lines)
            .collect(),
        (_, Extent::Outline(loops)) => loops.iter().map(|l| closed(l)).collect(),
        (Primitive::Line(l), Extent::Segment(a, b)) => {
            vec![[a, b].map(|t| l.point + l.direction.into_inner() * *t).to_vec()]
        }
        (Primitive::Circle(c), Extent::Arc { zero, from, to }) => {
            vec![arc(&c.centre, &c.normal, zero, c.radius, (*from, *to))]
        }
        (Primitive::Circle(c), Extent::Whole) => vec![ring(&c.centre, &c.normal, c.radius)],
        (Primitive::Sphere(s), Extent::Whole) if s.radius > 0.0 => {
            [Vec3::x(), Vec3::y(), Vec3::z()]
                .map(|n| ring(&s.centre, &Direction::new_unchecked(n), s.radius))
                .to_vec()
        }
        (Primitive::Sphere(s), Extent::Whole) => vec![vec![s.centre]],
        (Primitive::Torus(t), Extent::Whole) => {
            let axis = t.axis.into_inner() * t.minor_radius;
            vec![
                ring(&t.centre, &t.axis, t.major_radius + t.minor_radius),
                ring(&t.centre, &t.axis, t.major_radius - t.minor_radius),
                ring(&(t.centre + axis), &t.axis, t.major_radius),
                ring(&(t.centre - axis), &t.axis, t.major_radius),
            ]
        }
        (shape, Extent::Patch { zero, pole, u, v }) => patch(shape, zero, pole, *u, *v),
        _ => Vec::new(),
    }
}

/// Axis of a cylinder or cone piece, a little longer than the piece; empty for others.
pub(in crate::report) fn axis_lines(piece: &Bounded) -> Vec<Vec<Point3>> {
    let Extent::Patch { v, .. } = &piece.extent else { return Vec::new() };
    let axis = match &piece.shape {
        Primitive::Cylinder(c) => c.axis_line(),
        Primitive::Cone(c) => c.axis_line(),
        _ => return Vec::new(),
    };
    let more = 0.2 * (v.1 - v.0).abs();
    vec![[v.0 - more, v.1 + more].map(|t| axis.point + axis.direction.into_inner() * t).to_vec()]
}

/// A point of the pieces to hang a name on: middle of a hole's rim, of an outline, of a wall.
pub(in crate::report) fn anchor(pieces: &[Bounded]) -> Option<Point3> {
    let rim = pieces.iter().find_map(|b| match &b.shape {
        Primitive::Circle(c) => Some(c.centre),
        _ => None,
    });
    let middle = || {
        let drawn = lines(pieces.first()?);
        let all: Vec<Point3> =
            drawn.first().into_iter().chain(drawn.last()).flatten().copied().collect();
        let sum: Vec3 = all.iter().map(|p| p.coords).sum();
        (!all.is_empty()).then(|| Point3::from(sum / all.len() as f64))
    };
    rim.or_else(middle).or_else(|| pieces.first().map(|b| b.shape.point()))
}

/// A full circle.
pub(in crate::report) fn ring(centre: &Point3, normal: &Direction, radius: f64) -> Vec<Point3> {
    arc(centre, normal, &any_perpendicular(normal), radius, (0.0, TAU))
}

/// The four borders of a patch, and for a full turn two generators instead of its seam.
fn patch(
    shape: &Primitive,
    zero: &Direction,
    pole: &Direction,
    u: (f64, f64),
    v: (f64, f64),
) -> Vec<Vec<Point3>> {
    let Some(at) = point_of_patch(shape, zero, pole) else { return Vec::new() };
    let walk = |from: (f64, f64), to: (f64, f64)| -> Vec<Point3> {
        let mix = |i: usize| i as f64 / ARC_PIECES as f64;
        (0..=ARC_PIECES)
            .map(mix)
            .map(|t| at(from.0 + (to.0 - from.0) * t, from.1 + (to.1 - from.1) * t))
            .collect()
    };
    let mut lines = vec![walk((u.0, v.0), (u.1, v.0)), walk((u.0, v.1), (u.1, v.1))];
    let full = u.1 - u.0 > TAU - 1e-6;
    let generators: Vec<f64> = if full {
        (0..4).map(|i| u.0 + f64::from(i) * FRAC_PI_2).collect()
    } else {
        vec![u.0, u.1]
    };
    lines.extend(generators.into_iter().map(|g| walk((g, v.0), (g, v.1))));
    lines
}

fn closed(points: &[Point3]) -> Vec<Point3> {
    points.iter().chain(points.first()).copied().collect()
}

fn arc(
    centre: &Point3,
    normal: &Direction,
    zero: &Direction,
    radius: f64,
    (from, to): (f64, f64),
) -> Vec<Point3> {
    let y = normal.cross(zero);
    (0..=ARC_PIECES)
        .map(|i| from + (to - from) * i as f64 / ARC_PIECES as f64)
        .map(|a| centre + (zero.into_inner() * a.cos() + y * a.sin()) * radius)
        .collect()
}

/// Straight pieces of an arc: a full circle of 100 pixels radius stays within 0.12 pixels.
const ARC_PIECES: usize = 64;
