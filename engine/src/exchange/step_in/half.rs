//! Closed profiles that meet the axis they are turned about: a dome, an ogive, a lens.
//!
//! Between the places on the axis such a profile has two arcs, which sweep two surfaces, or one
//! and the same with two senses. The file does not say which is meant: its edges do.

use super::curve::{Curve, even};
use super::surface::Surface;
use crate::primitive::{Direction, Point3, Vec3};

impl Surface {
    /// The surface swept by one arc of its profile, if the edges of the face, three inner points
    /// of each, lie on one arc only; else the surface as it is.
    pub(super) fn halved(self, edges: &[[Point3; 3]]) -> Surface {
        let Surface::Revolution { curve, point, axis, arc: None } = &self else { return self };
        if !matches!(curve, Curve::Ellipse { .. }) {
            return self;
        }
        let arcs = arcs(curve, point, axis);
        let off = |p: &Point3, t: f64| (curve.at(t) - p).norm();
        // An edge along the profile itself, as writers put where the turn begins, tells the arc
        // even where both sweep the same surface.
        let holds = |arc: &(f64, f64), edge: &[Point3; 3]| {
            edge.iter().all(|p| {
                let t = curve.parameter(p);
                within(*arc, t) && off(p, t) <= ON_AXIS
            })
        };
        let named = only(&arcs, |arc| edges.iter().any(|edge| holds(arc, edge)));
        let on_axis = |p: &Point3| across(&(p - point), axis).norm() <= ON_AXIS;
        let beside: Vec<&Point3> = edges.iter().flatten().filter(|p| !on_axis(p)).collect();
        let fitting = only(&arcs, |arc| {
            let side = across(&(curve.at(0.5 * (arc.0 + arc.1)) - point), axis);
            beside.iter().all(|p| {
                let arm = *p - point;
                let angle = axis.cross(&across(&arm, axis)).dot(&side);
                let angle = angle.atan2(across(&arm, axis).dot(&side));
                let turn =
                    nalgebra::Rotation3::from_axis_angle(&Direction::new_unchecked(*axis), angle);
                let turned = point + turn * arm;
                let t = curve.parameter(&turned);
                within(*arc, t) && off(&turned, t) <= FITTING
            })
        });
        let (curve, point, axis) = (curve.clone(), *point, *axis);
        Surface::Revolution { curve, point, axis, arc: named.or(fitting) }
    }
}

/// The arcs of a closed profile between its places on the axis; none if it has no two.
fn arcs(curve: &Curve, point: &Point3, axis: &Vec3) -> Vec<(f64, f64)> {
    let turn = std::f64::consts::TAU;
    let mut places: Vec<f64> = Vec::new();
    for start in even(0.0, turn, 32) {
        let mut t = start;
        for _ in 0..60 {
            let (on, slope) = curve.jet(t);
            let (arm, slope) = (across(&(on - point), axis), across(&slope, axis));
            let step = arm.dot(&slope) / slope.norm_squared().max(f64::MIN_POSITIVE);
            t -= step.clamp(-0.5, 0.5);
            if step.abs() <= 1e-15 {
                break;
            }
        }
        let t = t.rem_euclid(turn);
        let apart = |other: &f64| {
            let gap = (t - other).abs();
            gap.min(turn - gap) > 1e-6
        };
        if across(&(curve.at(t) - point), axis).norm() <= ON_AXIS && places.iter().all(apart) {
            places.push(t);
        }
    }
    places.sort_by(f64::total_cmp);
    match places[..] {
        [a, b] => vec![(a, b), (b, a + turn)],
        _ => Vec::new(),
    }
}

fn across(arm: &Vec3, axis: &Vec3) -> Vec3 {
    arm - axis * arm.dot(axis)
}

fn within((low, high): (f64, f64), t: f64) -> bool {
    low + (t - low).rem_euclid(std::f64::consts::TAU) <= high
}

fn only(arcs: &[(f64, f64)], holds: impl Fn(&(f64, f64)) -> bool) -> Option<(f64, f64)> {
    let mut all = arcs.iter().filter(|arc| holds(arc));
    match (all.next(), all.next()) {
        (Some(arc), None) => Some(*arc),
        _ => None,
    }
}

/// Nearer than this, mm, is on the axis or on the profile.
const ON_AXIS: f64 = 1e-5;
/// CAD kernels keep edges to a hundredth of a millimetre at worst.
const FITTING: f64 = 1e-2;
