//! Bent pipe: straight legs and circular bends along one centre line, with round ends.

use crate::primitive::{Cylinder, Direction, Point3, Primitive, Torus, Vec3, unit};

/// Bent pipe as the set of points within a radius of its centre line.
#[derive(Debug, Clone)]
pub struct Pipe {
    radius: f64,
    legs: Vec<(Point3, Point3)>,
    bends: Vec<Bend>,
}

#[derive(Debug, Clone)]
struct Bend {
    centre: Point3,
    /// From the centre to the start of the arc.
    start: Direction,
    /// Direction of travel at the start.
    tangent: Direction,
    axis: Direction,
    radius: f64,
    angle: f64,
}

impl Pipe {
    /// Pipe of outer `radius` through the corners `path` (at least two, mm), each inner corner
    /// replaced by a tangent arc of `bend_radius` about its centre line.
    #[must_use]
    pub fn new(path: &[Point3], bend_radius: f64, radius: f64) -> Self {
        let mut pipe = Pipe { radius, legs: Vec::new(), bends: Vec::new() };
        let mut from = path[0];
        for i in 1..path.len() {
            let to = match path.get(i + 1) {
                Some(next) => pipe.bend(&path[i - 1], &path[i], next, bend_radius),
                None => None,
            };
            let (end, start) = to.unwrap_or((path[i], path[i]));
            pipe.legs.push((from, end));
            from = start;
        }
        pipe
    }

    /// Exact signed distance of a point, mm.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        let legs = self.legs.iter().map(|(a, b)| segment(p, a, b));
        let bends = self.bends.iter().map(|b| b.distance(p));
        legs.chain(bends).fold(f64::INFINITY, f64::min) - self.radius
    }

    /// The ideal surfaces in order of travel: leg, bend, leg, …
    #[must_use]
    pub fn surfaces(&self) -> Vec<Primitive> {
        let mut all = Vec::new();
        for (i, (a, b)) in self.legs.iter().enumerate() {
            if let Some(axis) = unit(b - a) {
                let middle = nalgebra::center(a, b);
                all.push(Cylinder { point: middle, axis, radius: self.radius }.into());
            }
            if let Some(bend) = self.bends.get(i) {
                all.push(bend.torus(self.radius).into());
            }
        }
        all
    }

    pub(super) fn bounds(&self) -> (Point3, Point3) {
        let arcs = self.bends.iter().flat_map(|b| {
            (0..=16).map(|k| b.at(b.angle * f64::from(k) / 16.0)).collect::<Vec<_>>()
        });
        let ends = self.legs.iter().flat_map(|(a, b)| [*a, *b]);
        super::bounds_of(ends.chain(arcs), self.radius + 1.0)
    }

    /// Adds the arc at a corner; returns where it leaves the first and reaches the second leg.
    fn bend(
        &mut self,
        a: &Point3,
        corner: &Point3,
        b: &Point3,
        r: f64,
    ) -> Option<(Point3, Point3)> {
        let (tangent, out) = (unit(corner - a)?, unit(b - corner)?);
        let axis = unit(tangent.cross(&out))?;
        let angle = tangent.angle(&out);
        let cut = r * (angle / 2.0).tan();
        let start = corner - tangent.into_inner() * cut;
        let inward = axis.cross(&tangent);
        self.bends.push(Bend {
            centre: start + inward * r,
            start: Direction::new_unchecked(-inward),
            tangent,
            axis,
            radius: r,
            angle,
        });
        Some((start, corner + out.into_inner() * cut))
    }
}

impl Bend {
    fn at(&self, angle: f64) -> Point3 {
        let (sin, cos) = angle.sin_cos();
        self.centre
            + (self.start.into_inner() * cos + self.tangent.into_inner() * sin) * self.radius
    }

    fn distance(&self, p: &Point3) -> f64 {
        let v: Vec3 = p - self.centre;
        let (x, y, z) = (v.dot(&self.start), v.dot(&self.tangent), v.dot(&self.axis));
        // Angle counted from the middle of the arc, where the far side is equally far from both ends.
        let half = self.angle / 2.0;
        let (sin, cos) = half.sin_cos();
        let from_middle = (y * cos - x * sin).atan2(x * cos + y * sin);
        if from_middle.abs() <= half {
            return super::length(super::length(x, y) - self.radius, z);
        }
        (p - self.at(if from_middle < 0.0 { 0.0 } else { self.angle })).norm()
    }

    fn torus(&self, minor_radius: f64) -> Torus {
        Torus { centre: self.centre, axis: self.axis, major_radius: self.radius, minor_radius }
    }
}

fn segment(p: &Point3, a: &Point3, b: &Point3) -> f64 {
    let e = b - a;
    let t = ((p - a).dot(&e) / e.norm_squared().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
    (p - (a + e * t)).norm()
}
