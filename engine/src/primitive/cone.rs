//! Circular cone: a point on the axis, the axis towards growing radius, the radius there, the half-angle.

use super::{Direction, Line, Parameter, Point3, Pose, Vec3, any_perpendicular, unit};

/// One half of an unbounded circular cone; the distance is positive outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cone {
    /// A point on the axis, mm.
    pub point: Point3,
    /// Unit direction of the axis, towards growing radius.
    pub axis: Direction,
    /// Radius of the cross-section at [`Cone::point`], mm.
    pub radius: f64,
    /// Angle between axis and generator, rad, in (0, π/2).
    pub half_angle: f64,
}

impl Cone {
    /// Tip of the cone, mm.
    #[must_use]
    pub fn apex(&self) -> Point3 {
        self.point - self.axis.into_inner() * (self.radius / self.half_angle.tan())
    }

    /// Signed distance, mm; beyond the apex the distance to the apex.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        let (along, rho) = self.coordinates(p);
        let (sin, cos) = self.half_angle.sin_cos();
        let dz = along + self.radius * cos / sin;
        // Behind the plane through the apex that is perpendicular to the generator.
        if dz * cos + rho * sin < 0.0 {
            return rho.hypot(dz);
        }
        (rho - self.radius) * cos - along * sin
    }

    /// Nearest point of the surface, mm; beyond the apex, the apex.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        let (along, rho) = self.coordinates(p);
        let (sin, cos) = self.half_angle.sin_cos();
        let dz = along + self.radius * cos / sin;
        let slant = dz * cos + rho * sin;
        if slant < 0.0 {
            return self.apex();
        }
        self.apex() + self.axis.into_inner() * (slant * cos) + self.radial(p) * (slant * sin)
    }

    /// Outward unit normal at the foot of `p`.
    #[must_use]
    pub fn normal_at(&self, p: &Point3) -> Direction {
        let (sin, cos) = self.half_angle.sin_cos();
        Direction::new_normalize(self.radial(p) * cos - self.axis.into_inner() * sin)
    }

    /// Radius of the cross-section at height `along` from [`Cone::point`], mm.
    #[must_use]
    pub fn radius_at(&self, along: f64) -> f64 {
        self.radius + along * self.half_angle.tan()
    }

    /// The axis as a line through [`Cone::point`].
    #[must_use]
    pub fn axis_line(&self) -> Line {
        Line { point: self.point, direction: self.axis }
    }

    /// The cone moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        Cone { point: pose * self.point, axis: pose * self.axis, ..*self }
    }

    /// `point`, `axis`, `radius`, `half_angle`.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        vec![
            Parameter::point("point", self.point),
            Parameter::direction("axis", self.axis),
            Parameter::length("radius", self.radius),
            Parameter::angle("half_angle", self.half_angle),
        ]
    }

    fn coordinates(&self, p: &Point3) -> (f64, f64) {
        let line = self.axis_line();
        (line.parameter(p), line.distance(p))
    }

    fn radial(&self, p: &Point3) -> Vec3 {
        unit(p - self.axis_line().project(p))
            .unwrap_or_else(|| any_perpendicular(&self.axis))
            .into_inner()
    }
}
