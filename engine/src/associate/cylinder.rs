//! Cylinder: five freedoms.
//!
//! Starts from normals (the axis is perpendicular to all of them) or from a supposed axis (circle of
//! the points seen along it).

use nalgebra::{Matrix2, Matrix3, Vector2};

use super::model::{Foot, Frame, Model, Motion, positive, radial};
use crate::numeric::algebraic;
use crate::primitive::{Cylinder, Direction, Kind, Point3, Vec3, unit};

impl Model<5> for Cylinder {
    const KIND: Kind = Kind::Cylinder;
    const RESIDUALS: usize = 1;
    const FREE: [usize; 5] = [0, 1, 3, 4, 6];
    const MINIMUM: usize = 5;
    const ELEMENTAL: usize = 2;
    const ORIENTED: bool = true;
    const SIZES: [&'static str; 2] = ["radius", ""];
    const REMEDY: &'static str =
        "scan more arc of the cylinder for its radius, more length for its axis";

    fn with(point: Point3, axis: Direction, [radius, _]: [f64; 2]) -> Self {
        Cylinder { point, axis, radius }
    }

    fn frame(&self) -> Frame {
        Frame::along(self.point, &self.axis)
    }

    fn constants(&self) -> [f64; 4] {
        [self.radius, 0.0, 0.0, 0.0]
    }

    #[inline(always)]
    fn foot(constants: &[f64; 4], x: [f64; 3], _k: usize) -> Foot {
        let (rho, e) = radial(x);
        Foot { d: rho - constants[0], n: [e[0], e[1], 0.0], s: [-1.0, 0.0] }
    }

    fn moved(&self, motion: &Motion) -> Self {
        Cylinder {
            point: self.point + motion.shift,
            axis: motion.turned(&self.axis),
            radius: self.radius + motion.sizes[0],
        }
    }

    fn near(&self, middle: &Point3) -> Self {
        Cylinder { point: self.axis_line().project(middle), ..*self }
    }

    fn unscaled(&self, centre: &Point3, scale: f64) -> Self {
        Cylinder {
            point: centre + self.point.coords * scale,
            axis: self.axis,
            radius: self.radius * scale,
        }
    }

    /// Largest component positive.
    fn signed(&self, _normals: Option<Vec3>) -> Self {
        Cylinder { axis: positive(self.axis), ..*self }
    }

    fn sizes(&self) -> [f64; 2] {
        [self.radius, 0.0]
    }

    fn elemental(points: &[Point3], normals: &[Vec3]) -> Option<Self> {
        let scatter: Matrix3<f64> = normals.iter().map(|n| n * n.transpose()).sum();
        let axis = unit(algebraic::eigen(&scatter).0[2])?;
        if points.len() > FEW {
            return Self::along(points, &axis);
        }
        let frame = Frame::along(algebraic::mean(points), &axis);
        let centre = meeting(&frame, points, normals)?;
        let distance = |p: &Point3| {
            let x = frame.local(p);
            (x[0] - centre.x).hypot(x[1] - centre.y)
        };
        let radius = points.iter().map(distance).sum::<f64>() / points.len() as f64;
        let point = frame.origin + frame.axes * Vec3::new(centre.x, centre.y, 0.0);
        (radius > 0.0 && radius.is_finite()).then_some(Cylinder { point, axis, radius })
    }

    fn along(points: &[Point3], axis: &Direction) -> Option<Self> {
        let frame = Frame::along(algebraic::mean(points), axis);
        let flat = points.iter().map(|p| {
            let x = frame.local(p);
            [x[0], x[1]]
        });
        let (c, radius) = algebraic::circle(flat)?;
        let point = frame.origin + frame.axes * Vec3::new(c.x, c.y, 0.0);
        Some(Cylinder { point, axis: *axis, radius })
    }
}

/// Point nearest to the normals' lines, all seen along the third axis.
fn meeting(frame: &Frame, points: &[Point3], normals: &[Vec3]) -> Option<Vector2<f64>> {
    let (mut a, mut b) = (Matrix2::zeros(), Vector2::zeros());
    for (p, n) in points.iter().zip(normals) {
        let (x, m) = (frame.local(p), frame.axes.tr_mul(n));
        let across = Vector2::new(-m.y, m.x);
        a += across * across.transpose();
        b += across * across.dot(&Vector2::new(x[0], x[1]));
    }
    a.lu().solve(&b)
}

/// Up to here the normals say more about the centre than the points do.
const FEW: usize = 5;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::associate::model::check;

    #[test]
    fn derivatives_match_finite_differences() {
        let axis = unit(Vec3::new(0.3, -0.5, 0.8)).expect("unit");
        check::derivatives(Cylinder { point: Point3::new(1.0, 2.0, -0.5), axis, radius: 2.0 }, 3.0);
    }
}
