//! Torus: seven freedoms.
//!
//! Starts from normals (each line along a normal meets the axis: Pottmann, Randrup 1998, Rotational
//! and helical surface approximation), from a supposed axis (profile of the points), or as a bent
//! cylinder.

use nalgebra::Matrix3;

use super::model::{FLATTEST, Foot, Frame, Model, Motion, positive, radial};
use crate::numeric::algebraic;
use crate::primitive::{Cylinder, Direction, Kind, Point3, Torus, Vec3, any_perpendicular, unit};

impl Model<7> for Torus {
    const KIND: Kind = Kind::Torus;
    const RESIDUALS: usize = 1;
    const FREE: [usize; 7] = [0, 1, 2, 3, 4, 6, 7];
    const MINIMUM: usize = 7;
    const ELEMENTAL: usize = 5;
    const ORIENTED: bool = true;
    const SIZES: [&'static str; 2] = ["major radius", "minor radius"];
    const REMEDY: &'static str =
        "scan more of the bend and more round the tube, or fit a cylinder or a sphere";

    fn with(centre: Point3, axis: Direction, [major_radius, minor_radius]: [f64; 2]) -> Self {
        Torus { centre, axis, major_radius, minor_radius }
    }

    fn frame(&self) -> Frame {
        Frame::along(self.centre, &self.axis)
    }

    fn constants(&self) -> [f64; 4] {
        [self.major_radius, self.minor_radius, 0.0, 0.0]
    }

    #[inline(always)]
    fn foot(constants: &[f64; 4], x: [f64; 3], _k: usize) -> Foot {
        let (rho, e) = radial(x);
        let out = rho - constants[0];
        let h = (out * out + x[2] * x[2]).sqrt();
        let inverse = 1.0 / h.max(f64::MIN_POSITIVE);
        let (flat, up) = (out * inverse, x[2] * inverse);
        Foot { d: h - constants[1], n: [e[0] * flat, e[1] * flat, up], s: [-flat, -1.0] }
    }

    fn moved(&self, motion: &Motion) -> Self {
        Torus {
            centre: self.centre + motion.shift,
            axis: motion.turned(&self.axis),
            major_radius: self.major_radius + motion.sizes[0],
            minor_radius: self.minor_radius + motion.sizes[1],
        }
    }

    fn near(&self, _middle: &Point3) -> Self {
        *self
    }

    fn unscaled(&self, centre: &Point3, scale: f64) -> Self {
        Torus {
            centre: centre + self.centre.coords * scale,
            axis: self.axis,
            major_radius: self.major_radius * scale,
            minor_radius: self.minor_radius * scale,
        }
    }

    /// Largest component positive.
    fn signed(&self, _normals: Option<Vec3>) -> Self {
        Torus { axis: positive(self.axis), ..*self }
    }

    fn sizes(&self) -> [f64; 2] {
        [self.major_radius, self.minor_radius]
    }

    fn plausible(&self) -> bool {
        self.minor_radius > 0.0 && (self.minor_radius..FLATTEST).contains(&self.major_radius)
    }

    fn elemental(points: &[Point3], normals: &[Vec3]) -> Option<Self> {
        let middle = algebraic::mean(points);
        let [mut a, mut b, mut c] = [Matrix3::zeros(); 3];
        for (p, n) in points.iter().zip(normals) {
            let moment = (p - middle).cross(n);
            a += moment * moment.transpose();
            b += moment * n.transpose();
            c += n * n.transpose();
        }
        // The line (g, m) that meets all normals makes g·moment + m·n smallest; m follows from g.
        let from_g = -c.lu().solve(&b.transpose())?;
        let axis = unit(algebraic::eigen(&(a + b * from_g)).0[2])?;
        let moment = from_g * axis.into_inner();
        about(points, &axis, middle + axis.cross(&moment))
    }

    fn along(points: &[Point3], axis: &Direction) -> Option<Self> {
        let cylinder = Cylinder::along(points, axis)?;
        about(points, axis, cylinder.point)
    }

    fn guesses(points: &[Point3]) -> Vec<Self> {
        let Some(principal) = algebraic::principal(points) else { return Vec::new() };
        // A bend shorter than its tube is wide does not have its longest extent along the tube.
        let along = principal.directions.into_iter().filter_map(unit);
        along.filter_map(|d| Cylinder::along(points, &d)).flat_map(|tube| bends(&tube)).collect()
    }

    fn bent(tube: &Cylinder) -> Vec<Self> {
        bends(tube)
    }
}

/// A tube, bent to all sides.
fn bends(tube: &Cylinder) -> Vec<Torus> {
    let along = tube.axis;
    let (u, v) = (any_perpendicular(&along), along.cross(&any_perpendicular(&along)));
    let mut bends = Vec::new();
    for major_radius in BENDS {
        for i in 0..8 {
            let (sin, cos) = (f64::from(i) * std::f64::consts::FRAC_PI_4).sin_cos();
            let towards = u.into_inner() * cos + v * sin;
            bends.push(Torus {
                centre: tube.point + towards * major_radius,
                axis: Direction::new_normalize(along.cross(&towards)),
                major_radius,
                minor_radius: tube.radius,
            });
        }
    }
    bends
}

/// Torus about a known axis: the circle of the points' profile.
fn about(points: &[Point3], axis: &Direction, through: Point3) -> Option<Torus> {
    let frame = Frame::along(through, axis);
    let profile = points.iter().map(|p| {
        let x = frame.local(p);
        [radial(x).0, x[2]]
    });
    let (c, minor_radius) = algebraic::circle(profile)?;
    let centre = through + axis.into_inner() * c.y;
    (c.x > 0.0).then_some(Torus { centre, axis: *axis, major_radius: c.x, minor_radius })
}

/// Radii of bends tried, in units of half the data's extent.
const BENDS: [f64; 3] = [1.0, 3.0, 10.0];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::associate::model::check;

    #[test]
    fn derivatives_match_finite_differences() {
        let axis = unit(Vec3::new(0.3, -0.5, 0.8)).expect("unit");
        let centre = Point3::new(1.0, 2.0, -0.5);
        let torus = Torus { centre, axis, major_radius: 2.0, minor_radius: 0.7 };
        check::derivatives(torus, 3.0);
    }
}
