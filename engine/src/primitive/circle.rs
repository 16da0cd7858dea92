//! Circle in space: centre, unit normal of its plane, radius.

use super::{Direction, Parameter, Point3, Pose, any_perpendicular};

/// Circle in space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle {
    /// Centre, mm.
    pub centre: Point3,
    /// Unit normal of the circle's plane.
    pub normal: Direction,
    /// Radius, mm.
    pub radius: f64,
}

impl Circle {
    /// Distance to the curve, mm, never negative.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        let v = p - self.centre;
        let height = self.normal.dot(&v);
        let rho = (v - self.normal.into_inner() * height).norm();
        (rho - self.radius).hypot(height)
    }

    /// Nearest point of the curve, mm; for a point on the axis, any one.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        let v = p - self.centre;
        let radial = v - self.normal.into_inner() * self.normal.dot(&v);
        let out =
            super::unit(radial).unwrap_or_else(|| any_perpendicular(&self.normal)).into_inner();
        self.centre + out * self.radius
    }

    /// The circle moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        Circle { centre: pose * self.centre, normal: pose * self.normal, radius: self.radius }
    }

    /// `centre`, `normal`, `radius`.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        vec![
            Parameter::point("centre", self.centre),
            Parameter::direction("normal", self.normal),
            Parameter::length("radius", self.radius),
        ]
    }
}
