//! Rotations that two directions of the features allow, whatever the pose.
//!
//! Directions are those of the shapes and, between places and axes, those of their shortest
//! connection, which has a sign. Two that are not parallel give a rotation (Black, "A passive system
//! for determining the attitude of a satellite", 1964); axes without a sign give one for each.

use std::f64::consts::PI;

use nalgebra::{Matrix3, Rotation3, UnitQuaternion};

use super::SameFeature;
use super::look::{axis, directed, foot, is_axis};
use crate::associate::Covariance;
use crate::primitive::{Direction, Kind, Point3, Primitive, Vec3, any_perpendicular};

/// A direction in both scans.
#[derive(Debug, Clone, Copy)]
struct Arrow {
    to: Vec3,
    from: Vec3,
    signed: bool,
    /// Standard deviation of its angle, rad.
    spread: f64,
}

/// Rotations from this scan to the other, those of the surest directions first.
pub(super) fn rotations(pairs: &[&SameFeature]) -> Vec<UnitQuaternion<f64>> {
    let arrows = arrows(pairs);
    let mut twos = Vec::new();
    for (i, a) in arrows.iter().enumerate() {
        for b in &arrows[i + 1..] {
            let (sin, spread) = (a.to.cross(&b.to).norm(), a.spread.hypot(b.spread));
            if sin > 3.0 * spread && sin > LEAST_SINE && agree(a, b, spread) {
                twos.push((sin / spread.max(f64::EPSILON), *a, *b));
            }
        }
    }
    twos.sort_by(|a, b| b.0.total_cmp(&a.0));
    twos.truncate(MOST_TWOS);
    let mut out: Vec<_> = twos.iter().flat_map(|(_, a, b)| turned(a, b)).collect();
    if out.is_empty() {
        // Turning about the one direction stays open, which the equations will tell.
        out = match arrows.first() {
            Some(a) => vec![between(&a.from, &a.to)],
            None => vec![UnitQuaternion::identity()],
        };
    }
    out
}

/// All rotations that take two directions to their likes within their spread.
fn turned(a: &Arrow, b: &Arrow) -> Vec<UnitQuaternion<f64>> {
    let signs = |signed: bool| if signed { &[1.0][..] } else { &[1.0, -1.0] };
    let mut out = Vec::new();
    for s in signs(a.signed) {
        for t in signs(b.signed) {
            let (u, v) = (a.from * *s, b.from * *t);
            let same_angle =
                (u.dot(&v) - a.to.dot(&b.to)).abs() < allowed(a.spread.hypot(b.spread));
            let frames = frame(&a.to, &b.to).zip(frame(&u, &v)).filter(|_| same_angle);
            out.extend(frames.map(|(to, from)| {
                let turn = Rotation3::from_matrix_unchecked(to * from.transpose());
                UnitQuaternion::from_rotation_matrix(&turn)
            }));
        }
    }
    out
}

/// Whether two directions enclose the same angle in both scans.
fn agree(a: &Arrow, b: &Arrow, spread: f64) -> bool {
    let (to, from) = (a.to.dot(&b.to), a.from.dot(&b.from));
    let off = match a.signed && b.signed {
        true => to - from,
        false => to.abs() - from.abs(),
    };
    off.abs() < allowed(spread)
}

fn allowed(spread: f64) -> f64 {
    LEAST_ALLOWED + 5.0 * spread
}

fn arrows(pairs: &[&SameFeature]) -> Vec<Arrow> {
    let directions = pairs.iter().filter_map(|p| {
        let (to, from) = (p.to.direction()?, p.from.direction()?);
        let spread = p.to_covariance.tilt(&to).hypot(p.from_covariance.tilt(&from));
        Some(Arrow { to: to.into_inner(), from: from.into_inner(), signed: directed(p), spread })
    });
    let mut out: Vec<Arrow> = directions.collect();
    for (i, a) in pairs.iter().enumerate() {
        out.extend(pairs[i + 1..].iter().filter_map(|b| connection(a, b)));
    }
    out
}

/// The shortest way from one place or axis to another, if it is long beside its uncertainty.
fn connection(a: &SameFeature, b: &SameFeature) -> Option<Arrow> {
    if a.to.kind() == Kind::Plane || b.to.kind() == Kind::Plane {
        return None;
    }
    // Whether two axes count as parallel is decided for both scans alike.
    let both = is_axis(a.to.kind()) && is_axis(b.to.kind());
    let parallel = both && sine_of(&a.to, &b.to).min(sine_of(&a.from, &b.from)) < PARALLEL;
    let way = |a: &Primitive, ac: &Covariance, b: &Primitive, bc: &Covariance| {
        let (p, q) = feet(a, &ac.at, b, parallel);
        let spread = ac.deviation_at(&p).hypot(bc.deviation_at(&q));
        (q - p, spread)
    };
    let (to, u) = way(&a.to, &a.to_covariance, &b.to, &b.to_covariance);
    let (from, v) = way(&a.from, &a.from_covariance, &b.from, &b.from_covariance);
    let (length, spread) = (to.norm().min(from.norm()), u.hypot(v));
    (length > CLEAR * spread && length > LEAST_LENGTH).then(|| Arrow {
        to: to.normalize(),
        from: from.normalize(),
        signed: true,
        spread: spread / length,
    })
}

/// Ends of the shortest way from one shape to another; of parallel axes near a point of the first.
fn feet(a: &Primitive, at: &Point3, b: &Primitive, parallel: bool) -> (Point3, Point3) {
    let (Some(k), Some(l)) = (axis(a), axis(b)) else {
        let p = foot(a, &foot(b, at));
        return (p, foot(b, &p));
    };
    let p = k.project(at);
    if parallel {
        return (p, l.project(&p));
    }
    // Where the first line is nearest to the second.
    let (d, e, w) = (k.direction, l.direction, l.point - p);
    let cos = d.dot(&e);
    let t = (d.dot(&w) - cos * e.dot(&w)) / (1.0 - cos * cos);
    let p = p + d.into_inner() * t;
    (p, l.project(&p))
}

fn sine_of(a: &Primitive, b: &Primitive) -> f64 {
    match (a.direction(), b.direction()) {
        (Some(a), Some(b)) => a.cross(&b).norm(),
        _ => 0.0,
    }
}

/// Right-handed frame whose first two columns span two directions, the first along their sum.
fn frame(a: &Vec3, b: &Vec3) -> Option<Matrix3<f64>> {
    let x = (a + b).try_normalize(1e-9)?;
    let z = a.cross(b).try_normalize(1e-9)?;
    Some(Matrix3::from_columns(&[x, z.cross(&x), z]))
}

/// A rotation that takes one direction to another.
fn between(from: &Vec3, to: &Vec3) -> UnitQuaternion<f64> {
    UnitQuaternion::rotation_between(from, to).unwrap_or_else(|| {
        let across = any_perpendicular(&Direction::new_unchecked(*to));
        UnitQuaternion::from_axis_angle(&across, PI)
    })
}

/// Pairs of directions tried, so that one wrong feature does not spoil all.
const MOST_TWOS: usize = 6;
/// Sine of the angle under which two directions give no rotation.
const LEAST_SINE: f64 = 0.02;
/// Sine under which two axes count as parallel.
const PARALLEL: f64 = 0.05;
/// Difference of two cosines held to be the same, without any uncertainty.
const LEAST_ALLOWED: f64 = 0.02;
/// A connection this many standard deviations long has a direction.
const CLEAR: f64 = 20.0;
/// A connection shorter than this has no direction, mm.
const LEAST_LENGTH: f64 = 1e-3;
