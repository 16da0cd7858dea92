//! Plane: three freedoms; starts from the principal directions of its points.

use super::model::{Foot, Frame, Model, Motion, positive};
use crate::numeric::algebraic;
use crate::primitive::{Direction, Kind, Plane, Point3, Vec3, unit};

impl Model<3> for Plane {
    const KIND: Kind = Kind::Plane;
    const RESIDUALS: usize = 1;
    const FREE: [usize; 3] = [2, 3, 4];
    const MINIMUM: usize = 3;
    const ELEMENTAL: usize = 3;
    const ORIENTED: bool = false;
    const SIZES: [&'static str; 2] = ["", ""];
    const REMEDY: &'static str = "give points that spread in two directions of the plane";

    fn with(point: Point3, normal: Direction, _sizes: [f64; 2]) -> Self {
        Plane { point, normal }
    }

    fn frame(&self) -> Frame {
        Frame::along(self.point, &self.normal)
    }

    fn constants(&self) -> [f64; 4] {
        [0.0; 4]
    }

    #[inline(always)]
    fn foot(_constants: &[f64; 4], x: [f64; 3], _k: usize) -> Foot {
        Foot { d: x[2], n: [0.0, 0.0, 1.0], s: [0.0; 2] }
    }

    fn moved(&self, motion: &Motion) -> Self {
        Plane { point: self.point + motion.shift, normal: motion.turned(&self.normal) }
    }

    fn near(&self, middle: &Point3) -> Self {
        Plane { point: self.project(middle), normal: self.normal }
    }

    fn unscaled(&self, centre: &Point3, scale: f64) -> Self {
        Plane { point: centre + self.point.coords * scale, normal: self.normal }
    }

    /// Along the mean of the normals given, else with the largest component positive.
    fn signed(&self, normals: Option<Vec3>) -> Self {
        let normal = match normals.map(|mean| mean.dot(&self.normal)) {
            Some(side) if side < 0.0 => -self.normal,
            Some(side) if side > 0.0 => self.normal,
            _ => positive(self.normal),
        };
        Plane { point: self.point, normal }
    }

    fn sizes(&self) -> [f64; 2] {
        [0.0; 2]
    }

    fn elemental(points: &[Point3], _normals: &[Vec3]) -> Option<Self> {
        let principal = algebraic::principal(points)?;
        Some(Plane { point: principal.mean, normal: unit(principal.directions[2])? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::associate::model::check;

    #[test]
    fn derivatives_match_finite_differences() {
        let normal = unit(Vec3::new(0.3, -0.5, 0.8)).expect("unit");
        check::derivatives(Plane { point: Point3::new(1.0, 2.0, -0.5), normal }, 3.0);
    }
}
