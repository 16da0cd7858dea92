//! Sphere: four freedoms; starts from the algebraic sphere.

use nalgebra::Matrix3;

use super::model::{Foot, Frame, Model, Motion};
use crate::numeric::algebraic;
use crate::primitive::{Direction, Kind, Point3, Sphere, Vec3};

impl Model<4> for Sphere {
    const KIND: Kind = Kind::Sphere;
    const RESIDUALS: usize = 1;
    const FREE: [usize; 4] = [0, 1, 2, 6];
    const MINIMUM: usize = 4;
    const ELEMENTAL: usize = 4;
    const ORIENTED: bool = false;
    const SIZES: [&'static str; 2] = ["radius", ""];
    const REMEDY: &'static str = "scan more of the sphere, or state its radius";

    fn with(centre: Point3, _axis: Direction, [radius, _]: [f64; 2]) -> Self {
        Sphere { centre, radius }
    }

    fn frame(&self) -> Frame {
        Frame { origin: self.centre, axes: Matrix3::identity() }
    }

    fn constants(&self) -> [f64; 4] {
        [self.radius, 0.0, 0.0, 0.0]
    }

    #[inline(always)]
    fn foot(constants: &[f64; 4], x: [f64; 3], _k: usize) -> Foot {
        let rho = (x[0] * x[0] + x[1] * x[1] + x[2] * x[2]).sqrt();
        let inverse = 1.0 / rho.max(f64::MIN_POSITIVE);
        Foot { d: rho - constants[0], n: x.map(|c| c * inverse), s: [-1.0, 0.0] }
    }

    fn moved(&self, motion: &Motion) -> Self {
        Sphere { centre: self.centre + motion.shift, radius: self.radius + motion.sizes[0] }
    }

    fn near(&self, _middle: &Point3) -> Self {
        *self
    }

    fn unscaled(&self, centre: &Point3, scale: f64) -> Self {
        Sphere { centre: centre + self.centre.coords * scale, radius: self.radius * scale }
    }

    fn signed(&self, _normals: Option<Vec3>) -> Self {
        *self
    }

    fn sizes(&self) -> [f64; 2] {
        [self.radius, 0.0]
    }

    fn elemental(points: &[Point3], _normals: &[Vec3]) -> Option<Self> {
        let (centre, radius) = algebraic::sphere(points)?;
        Some(Sphere { centre, radius })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::associate::model::check;

    #[test]
    fn derivatives_match_finite_differences() {
        check::derivatives(Sphere { centre: Point3::new(1.0, 2.0, -0.5), radius: 2.0 }, 3.0);
    }
}
