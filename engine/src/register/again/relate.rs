//! What is between features, whatever pose they are seen in, and how far one is from where it was.

use nalgebra::Matrix3;

use super::landmark::{Fixes, Geometry};
use crate::feature::FeatureKind;
use crate::primitive::{Direction, Vec3};

/// Distances between two features that a motion of both leaves: between points, axes and planes, and the angle
/// between their directions as a length at their own size.
pub(super) fn between(p: &Geometry, q: &Geometry) -> [Option<f64>; 2] {
    let ways = q.point - p.point;
    let (Some(d), Some(e)) = (p.direction, q.direction) else {
        let one = p.direction.or(q.direction).map(Direction::into_inner);
        let fixes = if p.direction.is_some() { p.fixes() } else { q.fixes() };
        return [Some(distance(fixes, one, &ways)), None];
    };
    let mut cos = d.dot(&e);
    if !(p.signed && q.signed) {
        cos = cos.abs();
    }
    let across = d.cross(&e).norm();
    // Of short features the direction is little known.
    let lever = p.extent.min(q.extent);
    let angle = Some(across.atan2(cos) * lever);
    let parallel = across < PARALLEL;
    let square = cos.abs() < PARALLEL;
    use Fixes::{Axis, Plane, Point};
    let place = match (p.fixes(), q.fixes()) {
        (Plane, Plane) if parallel => Some(d.dot(&ways).abs()),
        (Axis, Axis) if parallel => Some(distance(Axis, Some(d.into_inner()), &ways)),
        (Axis, Axis) => Some((ways.dot(&d.cross(&e)) / across).abs()),
        (Plane, Axis) if square => Some(d.dot(&ways).abs()),
        (Axis, Plane) if square => Some(e.dot(&ways).abs()),
        (Point, Point) => Some(ways.norm()),
        (Point, other) => Some(distance(other, Some(e.into_inner()), &ways)),
        (other, Point) => Some(distance(other, Some(d.into_inner()), &ways)),
        _ => None,
    };
    [place, angle]
}

/// Length of a way as a plane's, an axis's or a point's neighbour sees it.
fn distance(fixes: Fixes, direction: Option<Vec3>, ways: &Vec3) -> f64 {
    match (fixes, direction) {
        (Fixes::Plane, Some(d)) => d.dot(ways).abs(),
        (Fixes::Axis, Some(d)) => (ways - d * d.dot(ways)).norm(),
        _ => ways.norm(),
    }
}

/// Unit vector from one feature to another, if both have a place across it.
pub(super) fn apart(p: &Geometry, q: &Geometry) -> Option<Vec3> {
    if p.fixes() == Fixes::Plane || q.fixes() == Fixes::Plane {
        return None;
    }
    let mut ways = q.point - p.point;
    let axes = [p, q].into_iter().filter(|g| g.fixes() == Fixes::Axis);
    let directions: Vec<Direction> = axes.filter_map(|g| g.direction).collect();
    match directions[..] {
        [d] => ways -= d.into_inner() * d.dot(&ways),
        [d, e] if d.cross(&e).norm() < PARALLEL => ways -= d.into_inner() * d.dot(&ways),
        // Of skew axes the directions say all.
        [_, _] => return None,
        _ => {}
    }
    ways.try_normalize(f64::MIN_POSITIVE)
}

/// How far a landmark in machine coordinates is from a saved feature, mm; `None` if it is elsewhere or lies
/// otherwise.
pub(super) fn off(saved: &Geometry, there: &Geometry) -> Option<f64> {
    let lever = saved.extent.min(there.extent);
    let angle = match (saved.direction, there.direction) {
        (Some(d), Some(e)) => {
            let cos = if saved.signed && there.signed { d.dot(&e) } else { d.dot(&e).abs() };
            d.cross(&e).norm().atan2(cos)
        }
        _ => 0.0,
    };
    if angle > WIDEST_ANGLE || (there.middle - saved.middle).norm() > saved.extent + there.extent {
        return None;
    }
    let direction = saved.direction.map(Direction::into_inner);
    // A hole is an axis, but its mouth is on its face; of a bore alone the wall begins about there.
    if let (FeatureKind::Hole, Some(d)) = (saved.kind, direction) {
        let wall = match there.kind {
            FeatureKind::Hole => 0.0,
            _ => (there.extent.powi(2) - there.sizes[0].powi(2)).max(0.0).sqrt(),
        };
        let mouth = d.dot(&(there.middle - saved.middle)) + wall;
        // The first of the wall is rounded, or was not seen.
        let hidden = if there.kind == FeatureKind::Hole { 0.0 } else { 0.3 * saved.extent };
        if mouth > MOUTH || mouth < -MOUTH - hidden {
            return None;
        }
    }
    let place = distance(saved.fixes(), direction, &(there.point - saved.point));
    Some(place.max(angle * lever))
}

/// Right-handed orthonormal columns, the first along `a`, the second in the plane of both.
pub(super) fn triad(a: &Vec3, b: &Vec3) -> Option<Matrix3<f64>> {
    let x = a.try_normalize(f64::MIN_POSITIVE)?;
    let z = a.cross(b).try_normalize(f64::MIN_POSITIVE)?;
    Some(Matrix3::from_columns(&[x, z.cross(&x), z]))
}

/// Sine below which directions count as parallel, cosine below which as square.
const PARALLEL: f64 = 0.05;
/// Largest angle between a saved feature and what it is found as, rad.
const WIDEST_ANGLE: f64 = 0.1;
/// How far a hole's mouth may be along its axis from where it was, mm: as far as a moved face is looked for.
const MOUTH: f64 = 5.0;
