//! The seven shapes as the benchmark knows them: truth, points on it, Jacobian, errors of a fit.
//!
//! Nothing of the engine's association takes part. Coordinates are local: origin at the shape's
//! point in the middle of the data, third axis along the shape's, first axis along the bisector of
//! the arc (sphere: the cap's axis is the third). Unknowns have the layout of
//! [`fitwright::associate::Covariance`]: shift, turn, two sizes.

use fitwright::primitive::{
    Circle, Cone, Cylinder, Direction, Kind, Line, Plane, Point3, Pose, Primitive, Sphere, Torus,
    Vec3,
};
use nalgebra::{DMatrix, Rotation3, Translation3, UnitQuaternion};

/// A shape of known place and size, of which an arc is seen.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Truth {
    pub(crate) kind: Kind,
    /// Arc that is seen, rad.
    pub(crate) arc: f64,
    /// Radius or, for plane and line, a quarter of the length; mm.
    pub(crate) size: f64,
    pub(crate) scan_from_local: Pose,
}

/// A residual of a point: distance, unit normal, derivatives by the sizes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Residual {
    pub(crate) d: f64,
    pub(crate) n: Vec3,
    s: [f64; 2],
}

/// Differences in the four classes of ISO 10360-6; lengths in mm, angles in rad.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Classes {
    /// Largest distance between the two axes (planes, centres) over the points' extent.
    pub(crate) location: f64,
    pub(crate) orientation: f64,
    pub(crate) size: f64,
    pub(crate) angle: f64,
}

impl Truth {
    /// The shape with `degrees` of arc, turned some way and placed at `origin`.
    pub(crate) fn new(kind: Kind, degrees: f64, size: f64, origin: Vec3) -> Self {
        let z = Direction::new_normalize(Vec3::new(1.0, 2.0, -3.0));
        let turn = Rotation3::face_towards(&z, &Vec3::y());
        let scan_from_local = Pose::from_parts(
            Translation3::from(origin),
            UnitQuaternion::from_rotation_matrix(&turn),
        );
        Truth { kind, arc: degrees.to_radians(), size, scan_from_local }
    }

    /// A shape from its numbers.
    pub(crate) fn shape(kind: Kind, point: Point3, axis: Direction, sizes: [f64; 2]) -> Primitive {
        let [radius, second] = sizes;
        match kind {
            Kind::Plane => Plane { point, normal: axis }.into(),
            Kind::Line => Line { point, direction: axis }.into(),
            Kind::Circle => Circle { centre: point, normal: axis, radius }.into(),
            Kind::Sphere => Sphere { centre: point, radius }.into(),
            Kind::Cylinder => Cylinder { point, axis, radius }.into(),
            Kind::Cone => Cone { point, axis, radius, half_angle: second }.into(),
            _ => Torus { centre: point, axis, major_radius: radius, minor_radius: second }.into(),
        }
    }

    /// Its sizes: radius or major radius; half-angle or minor radius.
    pub(crate) fn sizes(&self) -> [f64; 2] {
        match self.kind {
            Kind::Plane | Kind::Line => [0.0; 2],
            Kind::Cone => [self.size, HALF_ANGLE],
            Kind::Torus => [self.size, TUBE * self.size],
            _ => [self.size, 0.0],
        }
    }

    /// Length of the sampled part along the axis (plane: along its first axis), mm.
    pub(crate) fn length(&self) -> f64 {
        match self.kind {
            Kind::Plane | Kind::Line => 4.0 * self.size,
            Kind::Cylinder | Kind::Cone => 1.6 * self.size,
            _ => 0.0,
        }
    }

    /// Residuals a point has.
    pub(crate) fn families(&self) -> usize {
        if matches!(self.kind, Kind::Line | Kind::Circle) { 2 } else { 1 }
    }

    /// Its unknowns, as indices of the layout.
    pub(crate) fn free(&self) -> &'static [usize] {
        match self.kind {
            Kind::Plane => &[2, 3, 4],
            Kind::Line => &[0, 1, 3, 4],
            Kind::Circle => &[0, 1, 2, 3, 4, 6],
            Kind::Sphere => &[0, 1, 2, 6],
            Kind::Cylinder => &[0, 1, 3, 4, 6],
            Kind::Cone => &[0, 1, 3, 4, 6, 7],
            _ => &[0, 1, 2, 3, 4, 6, 7],
        }
    }

    /// Names of the unknowns.
    pub(crate) fn names(&self) -> Vec<&'static str> {
        let second = if self.kind == Kind::Cone { "half-angle" } else { "minor r" };
        let first = if self.kind == Kind::Torus { "major r" } else { "radius" };
        let all = ["x", "y", "z", "tilt x", "tilt y", "", first, second];
        self.free().iter().map(|&i| all[i]).collect()
    }

    /// The point on the shape for two numbers in [0, 1), evenly spread over what is seen.
    pub(crate) fn on(&self, u: f64, v: f64) -> Vec3 {
        let (sin, cos) = (self.arc * (u - 0.5)).sin_cos();
        let e = Vec3::new(cos, sin, 0.0);
        let z = self.length() * (v - 0.5);
        let [first, second] = self.sizes();
        match self.kind {
            Kind::Plane => Vec3::new(self.length() * (u - 0.5), WIDTH * z, 0.0),
            Kind::Line => Vec3::z() * z,
            Kind::Circle => e * first,
            Kind::Sphere => {
                let up = 1.0 - (1.0 - (0.5 * self.arc).cos()) * v;
                let (sin, cos) = (std::f64::consts::TAU * u).sin_cos();
                (Vec3::new(cos, sin, 0.0) * (1.0 - up * up).sqrt() + Vec3::z() * up) * first
            }
            Kind::Cylinder => e * first + Vec3::z() * z,
            Kind::Cone => e * (first + z * second.tan()) + Vec3::z() * z,
            _ => {
                let (sin, cos) = (std::f64::consts::TAU * v).sin_cos();
                e * first + (e * cos + Vec3::z() * sin) * second
            }
        }
    }

    /// Mean distance of neighbours among `count` points, mm.
    pub(crate) fn spacing(&self, count: usize) -> f64 {
        let [first, second] = self.sizes();
        let area = match self.kind {
            Kind::Plane => WIDTH * self.length().powi(2),
            Kind::Line => return self.length() / count as f64,
            Kind::Circle => return self.arc * first / count as f64,
            Kind::Sphere => std::f64::consts::TAU * first * first * (1.0 - (0.5 * self.arc).cos()),
            Kind::Cylinder => self.arc * first * self.length(),
            Kind::Cone => self.arc * first * self.length() / second.cos(),
            _ => self.arc * first * std::f64::consts::TAU * second,
        };
        (area / count as f64).sqrt()
    }

    /// Residual `k` of any point.
    #[inline]
    pub(crate) fn residual(&self, x: &Vec3, k: usize) -> Residual {
        let [first, second] = self.sizes();
        let rho = x.x.hypot(x.y);
        let e = Vec3::new(x.x / rho, x.y / rho, 0.0);
        let curve = |d, n| Residual { d, n, s: [0.0; 2] };
        match (self.kind, k) {
            (Kind::Plane, _) | (Kind::Circle, 1) => curve(x.z, Vec3::z()),
            (Kind::Line, 0) => curve(x.x, Vec3::x()),
            (Kind::Line, _) => curve(x.y, Vec3::y()),
            (Kind::Sphere, _) => {
                let r = x.norm();
                Residual { d: r - first, n: x / r, s: [-1.0, 0.0] }
            }
            (Kind::Circle | Kind::Cylinder, _) => Residual { d: rho - first, n: e, s: [-1.0, 0.0] },
            (Kind::Cone, _) => {
                let (sin, cos) = second.sin_cos();
                let (out, n) = (rho - first, e * cos - Vec3::z() * sin);
                Residual { d: out * cos - x.z * sin, n, s: [-cos, -out * sin - x.z * cos] }
            }
            _ => {
                let (out, h) = (rho - first, (rho - first).hypot(x.z));
                let n = e * (out / h) + Vec3::z() * (x.z / h);
                Residual { d: h - second, n, s: [-out / h, -1.0] }
            }
        }
    }

    /// Inverse of JᵀJ at the truth over its unknowns: the covariance bound for unit noise.
    pub(crate) fn bound(&self, feet: &[Vec3]) -> Option<DMatrix<f64>> {
        let m = self.free().len();
        let mut information = DMatrix::zeros(m, m);
        for row in self.rows(feet) {
            for i in 0..m {
                for j in 0..m {
                    information[(i, j)] += row[i] * row[j];
                }
            }
        }
        // Unknowns of different units: invert with a unit diagonal.
        let scale = information.diagonal().map(|d: f64| 1.0 / d.sqrt());
        let even = DMatrix::from_fn(m, m, |i, j| information[(i, j)] * scale[i] * scale[j]);
        let inverse = even.cholesky()?.inverse();
        Some(DMatrix::from_fn(m, m, |i, j| inverse[(i, j)] * scale[i] * scale[j]))
    }

    /// First-order errors of the unknowns that noise `d` (by point, by family) along the normals makes.
    pub(crate) fn first_order(
        &self,
        feet: &[Vec3],
        d: &[[f64; 2]],
        bound: &DMatrix<f64>,
    ) -> Vec<f64> {
        let m = self.free().len();
        let mut gradient = DMatrix::zeros(m, 1);
        let noise = d.iter().flat_map(|d| &d[..self.families()]);
        for (row, d) in self.rows(feet).zip(noise) {
            for i in 0..m {
                gradient[i] -= row[i] * d;
            }
        }
        (bound * gradient).iter().copied().collect()
    }

    /// Rows of the Jacobian over the unknowns, point by point and family by family.
    pub(crate) fn rows(&self, feet: &[Vec3]) -> impl Iterator<Item = [f64; 8]> {
        feet.iter().flat_map(|x| {
            (0..self.families()).map(|k| {
                let mut row = [0.0; 8];
                let residual = self.residual(x, k);
                for (out, &index) in row.iter_mut().zip(self.free()) {
                    *out = residual.derivative(x, index);
                }
                row
            })
        })
    }

    /// Errors of a found shape in the unknowns. A cone's radius is compared at the found shape's point.
    pub(crate) fn errors(&self, found: &Primitive) -> Vec<f64> {
        let inverse = self.scan_from_local.inverse();
        let shift = Pose::from_parts(
            self.scan_from_local.translation.inverse(),
            UnitQuaternion::identity(),
        );
        let turn = Pose::from_parts(Translation3::identity(), inverse.rotation);
        let local = found.transformed(&shift).transformed(&turn);
        let p = local.point().coords;
        let a = local.direction().map_or(Vec3::z(), |a| a.into_inner());
        let a = a * a.z.signum();
        let [first, second] = self.sizes();
        let at_middle = match local {
            Primitive::Plane(_) => Vec3::z() * (a.dot(&p) / a.z),
            Primitive::Line(_) | Primitive::Cylinder(_) | Primitive::Cone(_) => p - a * (p.z / a.z),
            _ => p,
        };
        let sizes = match local {
            Primitive::Circle(s) => [s.radius - first, 0.0],
            Primitive::Sphere(s) => [s.radius - first, 0.0],
            Primitive::Cylinder(s) => [s.radius - first, 0.0],
            Primitive::Cone(s) => {
                [s.radius - first - p.z * second.tan(), s.half_angle * s.axis.z.signum() - second]
            }
            Primitive::Torus(s) => [s.major_radius - first, s.minor_radius - second],
            _ => [0.0; 2],
        };
        let all = [at_middle.x, at_middle.y, at_middle.z, -a.y, a.x, 0.0, sizes[0], sizes[1]];
        self.free().iter().map(|&i| all[i]).collect()
    }

    /// Errors of the unknowns summed up in classes.
    pub(crate) fn classes(&self, errors: &[f64]) -> Classes {
        let mut e = [0.0; 8];
        self.free().iter().zip(errors).for_each(|(&i, v)| e[i] = *v);
        let half = 0.5 * self.length();
        let location = match self.kind {
            Kind::Plane => e[2].abs() + half * (WIDTH * e[3].abs() + e[4].abs()),
            Kind::Line | Kind::Cylinder | Kind::Cone => {
                let end = |z: f64| (e[0] + z * e[4]).hypot(e[1] - z * e[3]);
                end(half).max(end(-half))
            }
            _ => Vec3::new(e[0], e[1], e[2]).norm(),
        };
        let cone = self.kind == Kind::Cone;
        Classes {
            location,
            orientation: e[3].hypot(e[4]),
            size: e[6].abs().max(if cone { 0.0 } else { e[7].abs() }),
            angle: if cone { e[7].abs() } else { 0.0 },
        }
    }
}

impl Residual {
    /// Derivative by unknown `index` of the layout.
    #[inline]
    pub(crate) fn derivative(&self, x: &Vec3, index: usize) -> f64 {
        match index {
            0..3 => -self.n[index],
            3..6 => -x.cross(&self.n)[index - 3],
            _ => self.s[index - 6],
        }
    }
}

/// The seven kinds in the order of the tables.
pub(crate) const KINDS: [Kind; 7] =
    [Kind::Plane, Kind::Line, Kind::Circle, Kind::Sphere, Kind::Cylinder, Kind::Cone, Kind::Torus];
/// Half-angle of the cone, rad: 15 degrees.
const HALF_ANGLE: f64 = std::f64::consts::PI / 12.0;
/// Minor radius of the torus as part of the major one.
const TUBE: f64 = 0.25;
/// Width of the plane as part of its length.
pub(crate) const WIDTH: f64 = 0.6;
