//! Features that follow from others by construction: intersection, midplane.

use super::propagate::{Uncertain, shape_covariance};
use super::{Feature, FeatureKind};
use crate::error::{Error, Result};
use crate::primitive::{Bounded, Extent, Line, Plane, Point3, Primitive, Sphere, unit};

/// Line where two planes meet, or point where an axis meets a plane (in either order).
///
/// The line is located at its point nearest the middle between the two planes' points and runs
/// along the cross product of the normals; it is drawn over the larger of the two outlines.
///
/// # Errors
/// [`Error::Construction`] for parallel shapes or kinds that have no such intersection.
pub fn intersection(name: &str, a: &Feature, b: &Feature) -> Result<Feature> {
    let what = || format!("intersection \"{name}\" of \"{}\" and \"{}\"", a.name, b.name);
    let build = |s: &[Primitive]| intersect(&s[0], &s[1]);
    let shape = build(&[a.shape.clone(), b.shape.clone()]).ok_or_else(|| Error::Construction {
        what: what(),
        reason: format!(
            "a {} and a {} lying like this do not meet in a line or point; give two planes that \
             are not parallel, or an axis that is not parallel to a plane",
            a.kind.name(),
            b.kind.name()
        ),
    })?;
    let extent = match &shape {
        Primitive::Line(line) => along(line, &[a, b]),
        _ => Extent::Whole,
    };
    constructed(name, "construction.intersection", shape, extent, [a, b], build)
}

/// Plane midway between two planes, halving the smaller angle between them.
///
/// # Errors
/// [`Error::Construction`] if a feature is not a plane or the planes are nearer square than parallel.
pub fn midplane(name: &str, a: &Feature, b: &Feature) -> Result<Feature> {
    let build = |s: &[Primitive]| middle(&s[0], &s[1]);
    let shape = build(&[a.shape.clone(), b.shape.clone()]).ok_or_else(|| Error::Construction {
        what: format!("midplane \"{name}\" of \"{}\" and \"{}\"", a.name, b.name),
        reason: "needs two planes that are within 45 degrees of parallel".into(),
    })?;
    let extent = match &shape {
        Primitive::Plane(plane) => shadow(plane, a),
        _ => Extent::Whole,
    };
    constructed(name, "construction.midplane", shape, extent, [a, b], build)
}

fn constructed(
    name: &str,
    fitter: &str,
    shape: Primitive,
    extent: Extent,
    of: [&Feature; 2],
    build: impl Fn(&[Primitive]) -> Option<Primitive>,
) -> Result<Feature> {
    let inputs = of.map(|f| Uncertain { shape: &f.shape, covariance: &f.covariance });
    let covariance = shape_covariance(&inputs, build)
        .ok_or_else(|| Error::Internal(format!("construction of {name} is not stable")))?;
    let kind = match &shape {
        Primitive::Line(_) => FeatureKind::Line,
        Primitive::Plane(_) => FeatureKind::Plane,
        _ => FeatureKind::Point,
    };
    Ok(Feature {
        name: name.into(),
        kind,
        fitter: fitter.into(),
        pieces: vec![Bounded { shape: shape.clone(), extent }],
        shape,
        covariance,
        quality: None,
        noise: None,
        notes: vec![format!("from \"{}\" and \"{}\"", of[0].name, of[1].name)],
    })
}

fn intersect(a: &Primitive, b: &Primitive) -> Option<Primitive> {
    match (a, b) {
        (Primitive::Plane(a), Primitive::Plane(b)) => planes_meet(a, b).map(Into::into),
        (Primitive::Plane(plane), axis) | (axis, Primitive::Plane(plane)) => {
            let centre = axis_meets(&axis_of(axis)?, plane)?;
            Some(Sphere { centre, radius: 0.0 }.into())
        }
        _ => None,
    }
}

fn planes_meet(a: &Plane, b: &Plane) -> Option<Line> {
    let across = a.normal.cross(&b.normal);
    if across.norm() < PARALLEL {
        return None;
    }
    let direction = unit(across)?;
    let middle = nalgebra::center(&a.point, &b.point);
    // Foot of the middle on both planes at once: a combination of the two normals.
    let (da, db) = (a.distance(&middle), b.distance(&middle));
    let cos = a.normal.dot(&b.normal);
    let det = 1.0 - cos * cos;
    let (u, v) = ((da - cos * db) / det, (db - cos * da) / det);
    let point = middle - a.normal.into_inner() * u - b.normal.into_inner() * v;
    Some(Line { point, direction })
}

/// Point where a line meets a plane; `None` if they are nearly parallel.
pub(crate) fn axis_meets(axis: &Line, plane: &Plane) -> Option<Point3> {
    let rate = axis.direction.dot(&plane.normal);
    if rate.abs() < PARALLEL {
        return None;
    }
    Some(axis.point - axis.direction.into_inner() * (plane.distance(&axis.point) / rate))
}

/// The axis of a shape of revolution, or the line itself.
pub(crate) fn axis_of(shape: &Primitive) -> Option<Line> {
    match shape {
        Primitive::Line(s) => Some(*s),
        Primitive::Cylinder(s) => Some(s.axis_line()),
        Primitive::Cone(s) => Some(s.axis_line()),
        Primitive::Circle(s) => Some(Line { point: s.centre, direction: s.normal }),
        Primitive::Torus(s) => Some(Line { point: s.centre, direction: s.axis }),
        Primitive::Plane(_) | Primitive::Sphere(_) | Primitive::Composite(_) => None,
    }
}

fn middle(a: &Primitive, b: &Primitive) -> Option<Primitive> {
    let (Primitive::Plane(a), Primitive::Plane(b)) = (a, b) else { return None };
    let same = a.normal.dot(&b.normal);
    if same.abs() < std::f64::consts::FRAC_1_SQRT_2 {
        return None;
    }
    let normal = unit(a.normal.into_inner() + b.normal.into_inner() * same.signum())?;
    let point = nalgebra::center(&a.point, &b.point);
    // On the bisector every point is as far from one plane as from the other.
    let off = (a.distance(&point) + same.signum() * b.distance(&point)) / 2.0;
    let rate = normal.dot(&a.normal);
    Some(Plane { point: point - normal.into_inner() * (off / rate), normal }.into())
}

/// The line's extent over the outlines of features.
fn along(line: &Line, features: &[&Feature]) -> Extent {
    let points = features.iter().flat_map(|f| outline_points(f));
    let (low, high) = points
        .map(|p| line.parameter(&p))
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), t| (low.min(t), high.max(t)));
    if low < high { Extent::Segment(low, high) } else { Extent::Segment(-50.0, 50.0) }
}

/// A feature's outline dropped on a plane.
fn shadow(plane: &Plane, feature: &Feature) -> Extent {
    let loops = feature.pieces.iter().find_map(|b| match &b.extent {
        Extent::Outline(loops) => loops.first(),
        _ => None,
    });
    let mut outline: Vec<Point3> = loops.into_iter().flatten().map(|p| plane.project(p)).collect();
    if feature.shape.direction().is_some_and(|d| d.dot(&plane.normal) < 0.0) {
        outline.reverse();
    }
    Extent::Outline(vec![outline])
}

fn outline_points(feature: &Feature) -> Vec<Point3> {
    let loops = feature.pieces.iter().filter_map(|b| match &b.extent {
        Extent::Outline(loops) => Some(loops),
        _ => None,
    });
    loops.flatten().flatten().copied().collect()
}

/// Sine of the angle under which two directions count as parallel: 0.1 degrees, beyond which a
/// construction only amplifies noise.
const PARALLEL: f64 = 1.7e-3;
