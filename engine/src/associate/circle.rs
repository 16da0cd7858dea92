//! Circle in space: six freedoms, two residuals a point (across in its plane, and out of it).
//!
//! The sum of squares is that of the full orthogonal distance in space, which is not the same as a
//! plane through the points followed by a circle in it. Starts from plane and algebraic circle.

use super::model::{Foot, Frame, Model, Motion, positive, radial};
use crate::numeric::algebraic;
use crate::primitive::{Circle, Direction, Kind, Point3, Vec3, unit};

impl Model<6> for Circle {
    const KIND: Kind = Kind::Circle;
    const RESIDUALS: usize = 2;
    const FREE: [usize; 6] = [0, 1, 2, 3, 4, 6];
    const MINIMUM: usize = 3;
    const ELEMENTAL: usize = 3;
    const ORIENTED: bool = false;
    const SIZES: [&'static str; 2] = ["radius", ""];
    const REMEDY: &'static str = "give points on more arc of the circle";

    fn with(centre: Point3, normal: Direction, [radius, _]: [f64; 2]) -> Self {
        Circle { centre, normal, radius }
    }

    fn frame(&self) -> Frame {
        Frame::along(self.centre, &self.normal)
    }

    fn constants(&self) -> [f64; 4] {
        [self.radius, 0.0, 0.0, 0.0]
    }

    #[inline(always)]
    fn foot(constants: &[f64; 4], x: [f64; 3], k: usize) -> Foot {
        if k == 1 {
            return Foot { d: x[2], n: [0.0, 0.0, 1.0], s: [0.0; 2] };
        }
        let (rho, e) = radial(x);
        Foot { d: rho - constants[0], n: [e[0], e[1], 0.0], s: [-1.0, 0.0] }
    }

    fn moved(&self, motion: &Motion) -> Self {
        Circle {
            centre: self.centre + motion.shift,
            normal: motion.turned(&self.normal),
            radius: self.radius + motion.sizes[0],
        }
    }

    fn near(&self, _middle: &Point3) -> Self {
        *self
    }

    fn unscaled(&self, centre: &Point3, scale: f64) -> Self {
        Circle {
            centre: centre + self.centre.coords * scale,
            normal: self.normal,
            radius: self.radius * scale,
        }
    }

    /// Largest component positive.
    fn signed(&self, _normals: Option<Vec3>) -> Self {
        Circle { normal: positive(self.normal), ..*self }
    }

    fn sizes(&self) -> [f64; 2] {
        [self.radius, 0.0]
    }

    fn elemental(points: &[Point3], _normals: &[Vec3]) -> Option<Self> {
        let principal = algebraic::principal(points)?;
        let normal = unit(principal.directions[2])?;
        let frame = Frame::along(principal.mean, &normal);
        let flat = points.iter().map(|p| {
            let x = frame.local(p);
            [x[0], x[1]]
        });
        let (c, radius) = algebraic::circle(flat)?;
        let centre = frame.origin + frame.axes * Vec3::new(c.x, c.y, 0.0);
        Some(Circle { centre, normal, radius })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::associate::model::check;

    #[test]
    fn derivatives_match_finite_differences() {
        let normal = unit(Vec3::new(0.3, -0.5, 0.8)).expect("unit");
        check::derivatives(
            Circle { centre: Point3::new(1.0, 2.0, -0.5), normal, radius: 2.0 },
            3.0,
        );
    }
}
