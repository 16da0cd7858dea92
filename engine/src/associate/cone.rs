//! Cone: six freedoms, the radius being that at the shape's point.
//!
//! Starts from normals (every tangent plane holds the apex) or from a supposed axis (squared radius
//! as a quadratic of the height). While iterating the half-angle may have either sign, so that a
//! cone can pass through a cylinder on its way; the axis is turned at the end.

use nalgebra::{Matrix3, SMatrix, SVector};

use super::model::{FLATTEST, Foot, Frame, Model, Motion, radial};
use crate::numeric::algebraic;
use crate::primitive::{Cone, Direction, Kind, Point3, Vec3, unit};

impl Model<6> for Cone {
    const KIND: Kind = Kind::Cone;
    const RESIDUALS: usize = 1;
    const FREE: [usize; 6] = [0, 1, 3, 4, 6, 7];
    const MINIMUM: usize = 6;
    const ELEMENTAL: usize = 3;
    const ORIENTED: bool = true;
    const SIZES: [&'static str; 2] = ["radius", "half-angle"];
    const REMEDY: &'static str =
        "scan more arc and more length of the cone, or fit a cylinder or a plane";

    fn with(point: Point3, axis: Direction, [radius, half_angle]: [f64; 2]) -> Self {
        Cone { point, axis, radius, half_angle }
    }

    fn frame(&self) -> Frame {
        Frame::along(self.point, &self.axis)
    }

    fn constants(&self) -> [f64; 4] {
        let (sin, cos) = self.half_angle.sin_cos();
        [self.radius, sin, cos, 0.0]
    }

    #[inline(always)]
    fn foot(constants: &[f64; 4], x: [f64; 3], _k: usize) -> Foot {
        let [radius, sin, cos, _] = *constants;
        let (rho, e) = radial(x);
        if (x[2] * sin + radius * cos) * cos + rho * sin * sin < 0.0 {
            return beyond_apex(constants, x);
        }
        Foot {
            d: (rho - radius) * cos - x[2] * sin,
            n: [e[0] * cos, e[1] * cos, -sin],
            s: [-cos, -(rho - radius) * sin - x[2] * cos],
        }
    }

    fn moved(&self, motion: &Motion) -> Self {
        Cone {
            point: self.point + motion.shift,
            axis: motion.turned(&self.axis),
            radius: self.radius + motion.sizes[0],
            half_angle: self.half_angle + motion.sizes[1],
        }
    }

    fn near(&self, middle: &Point3) -> Self {
        let along = self.axis.dot(&(middle - self.point));
        let point = self.point + self.axis.into_inner() * along;
        Cone { point, radius: self.radius_at(along), ..*self }
    }

    fn unscaled(&self, centre: &Point3, scale: f64) -> Self {
        Cone { point: centre + self.point.coords * scale, radius: self.radius * scale, ..*self }
    }

    /// Towards growing radius.
    fn signed(&self, _normals: Option<Vec3>) -> Self {
        if self.half_angle < 0.0 {
            Cone { axis: -self.axis, half_angle: -self.half_angle, ..*self }
        } else {
            *self
        }
    }

    fn sizes(&self) -> [f64; 2] {
        [self.radius, self.half_angle]
    }

    fn plausible(&self) -> bool {
        (0.0..FLATTEST).contains(&self.radius)
            && self.half_angle.abs() < std::f64::consts::FRAC_PI_2
    }

    fn elemental(points: &[Point3], normals: &[Vec3]) -> Option<Self> {
        let middle = algebraic::mean(points);
        let (mut a, mut b) = (Matrix3::zeros(), Vec3::zeros());
        for (p, n) in points.iter().zip(normals) {
            a += n * n.transpose();
            b += n * n.dot(&(p - middle));
        }
        let apex = middle + a.lu().solve(&b)?;
        let mut directions = Vec::with_capacity(points.len());
        for p in points {
            directions.push(Point3::from(unit(p - apex)?.into_inner()));
        }
        let principal = algebraic::principal(&directions)?;
        let axis = unit(principal.directions[2])?;
        let along = principal.mean.coords.dot(&axis);
        let (axis, along) = if along < 0.0 { (-axis, -along) } else { (axis, along) };
        let half_angle = along.clamp(0.0, 1.0).acos();
        let cone = Cone { point: apex, axis, radius: 0.0, half_angle }.near(&middle);
        (cone.radius > 0.0 && cone.radius.is_finite()).then_some(cone)
    }

    fn along(points: &[Point3], axis: &Direction) -> Option<Self> {
        let frame = Frame::along(algebraic::mean(points), axis);
        let (mut a, mut b) = (SMatrix::<f64, 5, 5>::zeros(), SVector::<f64, 5>::zeros());
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for p in points {
            let [x, y, z] = frame.local(p);
            let row = SVector::<f64, 5>::new(x, y, z, z * z, 1.0);
            a += row * row.transpose();
            b += row * (x * x + y * y);
            (low, high) = (low.min(z), high.max(z));
        }
        let c = a.lu().solve(&b)?;
        let shift = Vec3::new(0.5 * c[0], 0.5 * c[1], 0.0);
        let square = |z: f64| c[4] + shift.norm_squared() + z * (c[2] + z * c[3]);
        let (first, last) = (square(low).max(0.0).sqrt(), square(high).max(0.0).sqrt());
        let slope = (last - first) / (high - low);
        let radius = first - slope * low;
        let cone = Cone {
            point: frame.origin + frame.axes * shift,
            axis: *axis,
            radius,
            half_angle: slope.atan(),
        };
        (slope.is_finite() && radius > 0.0).then_some(cone)
    }
}

/// Residual of a point whose nearest point is the apex.
#[cold]
fn beyond_apex(constants: &[f64; 4], x: [f64; 3]) -> Foot {
    let [radius, sin, cos, _] = *constants;
    let (rho, e) = radial(x);
    let height = x[2] + radius * cos / sin;
    let d = rho.hypot(height);
    let inverse = 1.0 / d.max(f64::MIN_POSITIVE);
    let (flat, up) = (rho * inverse, height * inverse);
    Foot { d, n: [e[0] * flat, e[1] * flat, up], s: [up * cos / sin, -up * radius / (sin * sin)] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::associate::model::check;

    #[test]
    fn derivatives_match_finite_differences() {
        let axis = unit(Vec3::new(0.3, -0.5, 0.8)).expect("unit");
        let point = Point3::new(1.0, 2.0, -0.5);
        for half_angle in [0.05, 0.4, 1.2] {
            check::derivatives(Cone { point, axis, radius: 2.0, half_angle }, 3.0);
        }
    }
}
