//! Sphere: centre and radius.

use super::{Direction, Parameter, Point3, Pose, Vec3, unit};

/// Sphere; the distance is positive outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sphere {
    /// Centre, mm.
    pub centre: Point3,
    /// Radius, mm.
    pub radius: f64,
}

impl Sphere {
    /// Signed distance, mm.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        (p - self.centre).norm() - self.radius
    }

    /// Nearest point of the surface, mm; for the centre, any one.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        self.centre + self.normal_at(p).into_inner() * self.radius
    }

    /// Outward unit normal at the foot of `p`.
    #[must_use]
    pub fn normal_at(&self, p: &Point3) -> Direction {
        unit(p - self.centre).unwrap_or(Direction::new_unchecked(Vec3::z()))
    }

    /// The sphere moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        Sphere { centre: pose * self.centre, radius: self.radius }
    }

    /// `centre`, `radius`.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        vec![Parameter::point("centre", self.centre), Parameter::length("radius", self.radius)]
    }
}
