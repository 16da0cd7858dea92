//! Distances and angles between two features: what no rule can reach on a cast machine.

use super::propagate::{Uncertain, number_deviation};
use super::{Feature, FeatureKind};
use crate::feature::construct::axis_of;
use crate::primitive::{Direction, Line, Point3, Primitive};

/// How one feature lies to another, with expanded uncertainties (k = 2).
#[derive(Debug, Clone, PartialEq)]
pub struct Relation {
    /// Name of the first feature.
    pub a: String,
    /// Name of the second feature.
    pub b: String,
    /// Angle between their directions, rad in [0, π/2]; `None` if one has none.
    pub angle: Option<f64>,
    /// Expanded uncertainty of the angle, rad.
    pub angle_uncertainty: Option<f64>,
    /// Distance, mm; what it is from and to is said by `measure`.
    pub distance: f64,
    /// Expanded uncertainty of the distance, mm.
    pub distance_uncertainty: f64,
    /// What the distance is: `middle of b from plane a`, `between axes`, ….
    pub measure: &'static str,
}

/// Distance and angle of two features in one frame; `None` for shapes without a meaningful one
/// (composites).
///
/// From a plane: the signed height of the other's middle over it. Between two axes: their least
/// distance, or for axes within a degree of parallel their distance in the middle of the second.
/// Else between points.
#[must_use]
pub fn relation(a: &Feature, b: &Feature) -> Option<Relation> {
    let inputs = [a, b].map(|f| Uncertain { shape: &f.shape, covariance: &f.covariance });
    let shapes = [a.shape.clone(), b.shape.clone()];
    let (measure, compute) = measure_of(a, b)?;
    let distance = compute(&shapes)?;
    let deviation = number_deviation(&inputs, &compute)?;
    let angle = angle(&shapes);
    Some(Relation {
        a: a.name.clone(),
        b: b.name.clone(),
        angle,
        angle_uncertainty: angle.and(angle_deviation(a, b)).map(|s| 2.0 * s),
        distance,
        distance_uncertainty: 2.0 * deviation,
        measure,
    })
}

/// Relations of every pair of features that locate something, in order.
#[must_use]
pub fn relations(features: &[Feature]) -> Vec<Relation> {
    let locating: Vec<&Feature> =
        features.iter().filter(|f| f.kind != FeatureKind::Composite).collect();
    let mut all = Vec::new();
    for (i, a) in locating.iter().enumerate() {
        all.extend(locating[i + 1..].iter().filter_map(|b| relation(a, b)));
    }
    all
}

type Measure = (&'static str, Box<dyn Fn(&[Primitive]) -> Option<f64>>);

fn measure_of(a: &Feature, b: &Feature) -> Option<Measure> {
    let (pa, pb) = (a.shape.point(), b.shape.point());
    Some(match (&a.shape, &b.shape) {
        (Primitive::Composite(_), _) | (_, Primitive::Composite(_)) => return None,
        (Primitive::Plane(_), _) => {
            ("middle of b from plane a", Box::new(move |s| height(&s[0], &carried(&s[1], &pb))))
        }
        (_, Primitive::Plane(_)) => {
            ("middle of a from plane b", Box::new(move |s| height(&s[1], &carried(&s[0], &pa))))
        }
        (x, y) => match (axis_of(x), axis_of(y)) {
            (Some(u), Some(v)) if u.direction.cross(&v.direction).norm() < NEARLY_PARALLEL => {
                ("between axes, at the middle of b", Box::new(move |s| between(s, &pb)))
            }
            (Some(_), Some(_)) => ("least between axes", Box::new(skew)),
            (Some(_), None) => ("centre of b from axis a", Box::new(|s| from_axis(&s[0], &s[1]))),
            (None, Some(_)) => ("centre of a from axis b", Box::new(|s| from_axis(&s[1], &s[0]))),
            (None, None) => {
                ("between centres", Box::new(|s| Some((s[0].point() - s[1].point()).norm())))
            }
        },
    })
}

/// The point of a moved shape that stands for its middle: its own point if it has one, else the
/// foot of the original middle.
fn carried(shape: &Primitive, middle: &Point3) -> Point3 {
    match (shape, axis_of(shape)) {
        (Primitive::Plane(p), _) => p.project(middle),
        (Primitive::Circle(_) | Primitive::Torus(_), _) => shape.point(),
        (_, Some(axis)) => axis.project(middle),
        _ => shape.point(),
    }
}

fn height(plane: &Primitive, p: &Point3) -> Option<f64> {
    Some(plane.distance(p))
}

fn between(s: &[Primitive], middle: &Point3) -> Option<f64> {
    let (a, b) = (axis_of(&s[0])?, axis_of(&s[1])?);
    Some(a.distance(&b.project(middle)))
}

fn skew(s: &[Primitive]) -> Option<f64> {
    let (a, b): (Line, Line) = (axis_of(&s[0])?, axis_of(&s[1])?);
    let across = a.direction.cross(&b.direction);
    Some((b.point - a.point).dot(&across).abs() / across.norm())
}

fn from_axis(axis: &Primitive, other: &Primitive) -> Option<f64> {
    Some(axis_of(axis)?.distance(&other.point()))
}

fn angle(s: &[Primitive]) -> Option<f64> {
    Some(between_directions(&s[0].direction()?, &s[1].direction()?))
}

/// Angle between two directions without sense, rad in [0, π/2].
pub(crate) fn between_directions(a: &Direction, b: &Direction) -> f64 {
    a.cross(b).norm().atan2(a.dot(b).abs())
}

/// Standard deviation of the angle: of the tilt in the plane of the two directions, or, where
/// they are parallel and no plane is given, of the larger tilt in any.
fn angle_deviation(a: &Feature, b: &Feature) -> Option<f64> {
    let (da, db) = (a.shape.direction()?, b.shape.direction()?);
    let about = crate::primitive::unit(da.cross(&db));
    let tilt = |f: &Feature, d: &Direction| match about {
        Some(axis) if da.cross(&db).norm() > NEARLY_PARALLEL => {
            axis.dot(&(f.covariance.rotation() * axis.into_inner())).max(0.0).sqrt()
        }
        _ => f.covariance.tilt(d),
    };
    Some(tilt(a, &da).hypot(tilt(b, &db)))
}

/// Sine of one degree: axes nearer to parallel than this have no least distance worth the name.
const NEARLY_PARALLEL: f64 = 0.01745;
