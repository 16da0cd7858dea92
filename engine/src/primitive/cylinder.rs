//! Circular cylinder: a point on the axis, the axis, the radius.

use super::{Direction, Line, Parameter, Point3, Pose, any_perpendicular, unit};

/// Unbounded circular cylinder; the distance is positive outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cylinder {
    /// A point on the axis, mm.
    pub point: Point3,
    /// Unit direction of the axis.
    pub axis: Direction,
    /// Radius, mm.
    pub radius: f64,
}

impl Cylinder {
    /// Signed distance, mm.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        self.axis_line().distance(p) - self.radius
    }

    /// Nearest point of the surface, mm; for a point on the axis, any one.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        self.axis_line().project(p) + self.normal_at(p).into_inner() * self.radius
    }

    /// Outward unit normal at the foot of `p`.
    #[must_use]
    pub fn normal_at(&self, p: &Point3) -> Direction {
        unit(p - self.axis_line().project(p)).unwrap_or_else(|| any_perpendicular(&self.axis))
    }

    /// The axis as a line through [`Cylinder::point`].
    #[must_use]
    pub fn axis_line(&self) -> Line {
        Line { point: self.point, direction: self.axis }
    }

    /// The cylinder moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        Cylinder { point: pose * self.point, axis: pose * self.axis, radius: self.radius }
    }

    /// `point`, `axis`, `radius`.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        vec![
            Parameter::point("point", self.point),
            Parameter::direction("axis", self.axis),
            Parameter::length("radius", self.radius),
        ]
    }
}
