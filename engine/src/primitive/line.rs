//! Straight line: a point and a unit direction.

use super::{Direction, Parameter, Point3, Pose};

/// Unbounded straight line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// A point on the line, mm.
    pub point: Point3,
    /// Unit direction.
    pub direction: Direction,
}

impl Line {
    /// Distance, mm, never negative.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        let v = p - self.point;
        (v - self.direction.into_inner() * self.direction.dot(&v)).norm()
    }

    /// Foot of the perpendicular, mm.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        self.point + self.direction.into_inner() * self.parameter(p)
    }

    /// Position of the foot of `p` along the line, mm from [`Line::point`].
    #[must_use]
    pub fn parameter(&self, p: &Point3) -> f64 {
        self.direction.dot(&(p - self.point))
    }

    /// The line moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        Line { point: pose * self.point, direction: pose * self.direction }
    }

    /// `point`, `direction`.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        vec![
            Parameter::point("point", self.point),
            Parameter::direction("direction", self.direction),
        ]
    }
}
