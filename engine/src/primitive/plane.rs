//! Plane: a point and a unit normal.

use super::{Direction, Parameter, Point3, Pose};

/// Unbounded plane; the normal points to the side of positive distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plane {
    /// A point on the plane, mm.
    pub point: Point3,
    /// Unit normal.
    pub normal: Direction,
}

impl Plane {
    /// Signed distance, mm.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        self.normal.dot(&(p - self.point))
    }

    /// Foot of the perpendicular, mm.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        p - self.normal.into_inner() * self.distance(p)
    }

    /// Unit normal at the foot of `p`.
    #[must_use]
    pub fn normal_at(&self, _p: &Point3) -> Direction {
        self.normal
    }

    /// The plane moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        Plane { point: pose * self.point, normal: pose * self.normal }
    }

    /// `point`, `normal`.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        vec![Parameter::point("point", self.point), Parameter::direction("normal", self.normal)]
    }
}
