//! Ring torus: centre, axis, major and minor radius.

use super::{Circle, Direction, Parameter, Point3, Pose, unit};

/// Ring torus; the distance is positive outside the tube.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Torus {
    /// Centre, mm.
    pub centre: Point3,
    /// Unit direction of the axis of revolution.
    pub axis: Direction,
    /// Radius of the centre line, mm.
    pub major_radius: f64,
    /// Radius of the tube, mm.
    pub minor_radius: f64,
}

impl Torus {
    /// Signed distance, mm.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        self.centre_line().distance(p) - self.minor_radius
    }

    /// Nearest point of the surface, mm; where it is not unique, any one.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        self.centre_line().project(p) + self.normal_at(p).into_inner() * self.minor_radius
    }

    /// Outward unit normal at the foot of `p`.
    #[must_use]
    pub fn normal_at(&self, p: &Point3) -> Direction {
        unit(p - self.centre_line().project(p)).unwrap_or(self.axis)
    }

    /// The circle along which the tube runs.
    #[must_use]
    pub fn centre_line(&self) -> Circle {
        Circle { centre: self.centre, normal: self.axis, radius: self.major_radius }
    }

    /// The torus moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        Torus { centre: pose * self.centre, axis: pose * self.axis, ..*self }
    }

    /// `centre`, `axis`, `major_radius`, `minor_radius`.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        vec![
            Parameter::point("centre", self.centre),
            Parameter::direction("axis", self.axis),
            Parameter::length("major_radius", self.major_radius),
            Parameter::length("minor_radius", self.minor_radius),
        ]
    }
}
