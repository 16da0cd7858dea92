//! Bend table of a tube from the corners of its centre line, and back.
//!
//! A row: straight feed (tangent to tangent), rotation of the bend plane about the feed, bend angle,
//! centre-line radius; after the rows the last straight. Rotation is right-handed about the direction of
//! feed, the first is 0: with n = u × u' the normal of a bend from direction u to u', it turns the normal of
//! the bend before into that of the bend. Read from the other end the order is reversed and the
//! rotations keep their sign. Springback is not included.

use std::f64::consts::PI;

use nalgebra::{Unit, UnitQuaternion};

use crate::V3;

/// A bend and the straight before it; mm, rad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bend {
    /// Straight from the end of the bend before (or the start of the tube).
    pub feed: f64,
    /// Turn of the bend plane about the direction of feed, -π to π.
    pub rotation: f64,
    /// Deflection.
    pub angle: f64,
    /// Radius of the centre line.
    pub radius: f64,
}

/// Rows of a bend table and the last straight.
#[derive(Debug, Clone, PartialEq)]
pub struct BendTable {
    /// Bends in order.
    pub bends: Vec<Bend>,
    /// Straight after the last bend, mm.
    pub last: f64,
}

impl BendTable {
    /// From the two ends and the corners between them, where neighbouring straights meet, mm, with the radius
    /// of each corner. `None` for fewer than two points, radii that do not match, points that
    /// coincide, a straight that goes on straight or doubles back (its rotation is undefined).
    #[must_use]
    pub fn of_corners(points: &[[f64; 3]], radii: &[f64]) -> Option<Self> {
        if points.len() < 2 || radii.len() + 2 != points.len() {
            return None;
        }
        let legs: Vec<V3> =
            points.windows(2).map(|w| V3::from(w[1]) - V3::from(w[0])).collect::<Vec<_>>();
        let along: Vec<V3> =
            legs.iter().map(|l| l.try_normalize(f64::MIN_POSITIVE)).collect::<Option<_>>()?;
        let (mut bends, mut back, mut before) = (Vec::new(), 0.0, None);
        for (i, pair) in along.windows(2).enumerate() {
            let (u, v) = (pair[0], pair[1]);
            let cross = u.cross(&v);
            let normal = cross.try_normalize(LEAST_SINE)?;
            let angle = cross.norm().atan2(u.dot(&v));
            let set_back = radii[i] * (0.5 * angle).tan();
            let rotation = before.map_or(0.0, |n| turn(&u, &n, &normal));
            bends.push(Bend {
                feed: legs[i].norm() - back - set_back,
                rotation,
                angle,
                radius: radii[i],
            });
            (back, before) = (set_back, Some(normal));
        }
        let last = legs.last()?.norm() - back;
        (last.is_finite() && bends.iter().all(Bend::is_finite)).then_some(BendTable { bends, last })
    }

    /// Ends and corners of the tube that starts at `start` along `direction` and whose first bend has the
    /// normal `normal` (both unit, perpendicular).
    #[must_use]
    pub fn corners(&self, start: [f64; 3], direction: [f64; 3], normal: [f64; 3]) -> Vec<[f64; 3]> {
        let (mut at, mut u, mut n) = (V3::from(start), V3::from(direction), V3::from(normal));
        let (mut out, mut back) = (vec![start], 0.0);
        for bend in &self.bends {
            let set_back = bend.radius * (0.5 * bend.angle).tan();
            at += u * (back + bend.feed + set_back);
            out.push(at.into());
            n = about(&u, bend.rotation) * n;
            u = about(&n, bend.angle) * u;
            back = set_back;
        }
        out.push((at + u * (back + self.last)).into());
        out
    }

    /// Length of the centre line: what is cut from the bar.
    #[must_use]
    pub fn developed_length(&self) -> f64 {
        self.bends.iter().map(|b| b.feed + b.radius * b.angle).sum::<f64>() + self.last
    }
}

impl Bend {
    fn is_finite(&self) -> bool {
        [self.feed, self.rotation, self.angle, self.radius].iter().all(|x| x.is_finite())
    }
}

/// Angle about `u` that turns `from` into `to`, both perpendicular to it, -π to π.
fn turn(u: &V3, from: &V3, to: &V3) -> f64 {
    from.cross(to).dot(u).atan2(from.dot(to))
}

/// Turn about an axis.
pub(crate) fn about(axis: &V3, angle: f64) -> UnitQuaternion<f64> {
    UnitQuaternion::from_axis_angle(&Unit::new_normalize(*axis), angle)
}

/// The same angle between -π and π.
pub(crate) fn wrapped(angle: f64) -> f64 {
    let turned = angle - 2.0 * PI * (angle / (2.0 * PI)).round();
    if turned.is_finite() { turned } else { 0.0 }
}

/// Sine of the smallest bend that has a plane.
const LEAST_SINE: f64 = 1e-9;
