//! Line: four freedoms, two residuals a point; starts from the principal directions of its points.

use super::model::{Foot, Frame, Model, Motion, positive};
use crate::numeric::algebraic;
use crate::primitive::{Direction, Kind, Line, Point3, Vec3, unit};

impl Model<4> for Line {
    const KIND: Kind = Kind::Line;
    const RESIDUALS: usize = 2;
    const FREE: [usize; 4] = [0, 1, 3, 4];
    const MINIMUM: usize = 2;
    const ELEMENTAL: usize = 2;
    const ORIENTED: bool = false;
    const SIZES: [&'static str; 2] = ["", ""];
    const REMEDY: &'static str = "give points farther apart along the line";

    fn with(point: Point3, direction: Direction, _sizes: [f64; 2]) -> Self {
        Line { point, direction }
    }

    fn frame(&self) -> Frame {
        Frame::along(self.point, &self.direction)
    }

    fn constants(&self) -> [f64; 4] {
        [0.0; 4]
    }

    #[inline(always)]
    fn foot(_constants: &[f64; 4], x: [f64; 3], k: usize) -> Foot {
        let n = if k == 0 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] };
        Foot { d: x[k], n, s: [0.0; 2] }
    }

    fn moved(&self, motion: &Motion) -> Self {
        Line { point: self.point + motion.shift, direction: motion.turned(&self.direction) }
    }

    fn near(&self, middle: &Point3) -> Self {
        Line { point: self.project(middle), direction: self.direction }
    }

    fn unscaled(&self, centre: &Point3, scale: f64) -> Self {
        Line { point: centre + self.point.coords * scale, direction: self.direction }
    }

    /// Largest component positive.
    fn signed(&self, _normals: Option<Vec3>) -> Self {
        Line { point: self.point, direction: positive(self.direction) }
    }

    fn sizes(&self) -> [f64; 2] {
        [0.0; 2]
    }

    fn elemental(points: &[Point3], _normals: &[Vec3]) -> Option<Self> {
        let principal = algebraic::principal(points)?;
        Some(Line { point: principal.mean, direction: unit(principal.directions[0])? })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::associate::model::check;

    #[test]
    fn derivatives_match_finite_differences() {
        let direction = unit(Vec3::new(0.3, -0.5, 0.8)).expect("unit");
        check::derivatives(Line { point: Point3::new(1.0, 2.0, -0.5), direction }, 3.0);
    }
}
