//! Answers, comparison, seeded scans of known shapes.

use std::f64::consts::TAU;

use fitwright::associate::{Fit, Fitter, Input, Request, fitter_by_id};
use fitwright::primitive::{
    Circle, Cone, Cylinder, Direction, Line, Plane, Point3, Primitive, Sphere, Torus, Vec3,
};
use fitwright::simulate::random::Random;

pub(crate) const KINDS: [&str; 7] =
    ["plane", "line", "circle", "sphere", "cylinder", "cone", "torus"];

/// Differences of a fit from an answer: lengths in mm, angles in rad.
#[derive(Debug, Default, Clone, Copy, PartialEq)]
pub(crate) struct Difference {
    pub(crate) length: f64,
    pub(crate) angle: f64,
}

impl Difference {
    /// The larger of both, part by part.
    pub(crate) fn or(self, other: Difference) -> Difference {
        Difference { length: self.length.max(other.length), angle: self.angle.max(other.angle) }
    }
}

/// Differences at the point of the answer, where sizes are compared too.
pub(crate) fn compare(shape: &Primitive, answer: &Primitive) -> Difference {
    let p = answer.point();
    let angle = match (shape.direction(), answer.direction()) {
        (Some(a), Some(b)) => a.cross(&b).norm(),
        _ => 0.0,
    };
    let (length, angle) = match (shape, answer) {
        (Primitive::Plane(s), Primitive::Plane(_)) => (s.distance(&p).abs(), angle),
        (Primitive::Line(s), Primitive::Line(_)) => (s.distance(&p), angle),
        (Primitive::Circle(s), Primitive::Circle(a)) => {
            ((s.centre - p).norm().max((s.radius - a.radius).abs()), angle)
        }
        (Primitive::Sphere(s), Primitive::Sphere(a)) => {
            ((s.centre - p).norm().max((s.radius - a.radius).abs()), angle)
        }
        (Primitive::Cylinder(s), Primitive::Cylinder(a)) => {
            (s.axis_line().distance(&p).max((s.radius - a.radius).abs()), angle)
        }
        (Primitive::Cone(s), Primitive::Cone(a)) => {
            let radius = s.radius_at(s.axis_line().parameter(&p));
            let length = s.axis_line().distance(&p).max((radius - a.radius).abs());
            (length, angle.max((s.half_angle - a.half_angle).abs()))
        }
        (Primitive::Torus(s), Primitive::Torus(a)) => {
            let sizes = (s.major_radius - a.major_radius)
                .abs()
                .max((s.minor_radius - a.minor_radius).abs());
            ((s.centre - p).norm().max(sizes), angle)
        }
        _ => panic!("{shape:?} is not of the kind of {answer:?}"),
    };
    Difference { length, angle }
}

/// A primitive from named numbers; `sizes` as the kind needs them.
pub(crate) fn primitive(
    kind: &str,
    point: Point3,
    axis: Option<Direction>,
    sizes: &[f64],
) -> Primitive {
    let z = axis.unwrap_or(Direction::new_unchecked(Vec3::z()));
    match kind {
        "plane" => Plane { point, normal: z }.into(),
        "line" => Line { point, direction: z }.into(),
        "circle" => Circle { centre: point, normal: z, radius: sizes[0] }.into(),
        "sphere" => Sphere { centre: point, radius: sizes[0] }.into(),
        "cylinder" => Cylinder { point, axis: z, radius: sizes[0] }.into(),
        "cone" => Cone { point, axis: z, radius: sizes[0], half_angle: sizes[1] }.into(),
        "torus" => {
            let (major_radius, minor_radius) = (sizes[0], sizes[1]);
            Torus { centre: point, axis: z, major_radius, minor_radius }.into()
        }
        _ => panic!("no kind {kind}"),
    }
}

pub(crate) fn fitter(kind: &str) -> Box<dyn Fitter> {
    fitter_by_id(&format!("builtin.{kind}")).expect("a built-in fitter")
}

pub(crate) fn fit(
    kind: &str,
    points: &[Point3],
    request: &Request,
) -> fitwright::Result<Fit<Primitive>> {
    fitter(kind).fit(&Input::new(points), request)
}

/// Every point counts.
pub(crate) fn plain() -> Request {
    let mut request = Request::default();
    request.reject_outliers = false;
    request
}

/// Shape of a simulated scan, about the z axis at the origin.
pub(crate) fn truth(kind: &str) -> Primitive {
    let sizes: &[f64] = match kind {
        "cone" => &[5.0, 0.3],
        "torus" => &[8.0, 3.0],
        _ => &[5.0],
    };
    primitive(kind, Point3::origin(), None, sizes)
}

/// One scanned point of [`truth`] with its outward normal: noise along the normal (curves: in both
/// directions across), an arc about the axis centred on x.
pub(crate) fn scanned(kind: &str, numbers: &mut Random, noise: f64, arc: f64) -> (Point3, Vec3) {
    let angle = (numbers.uniform() - 0.5) * arc;
    let along = 2.0 * numbers.uniform() - 1.0;
    let (error, second) = (numbers.normal() * noise, numbers.normal() * noise);
    let (sin, cos) = angle.sin_cos();
    let out = Vec3::new(cos, sin, 0.0);
    let (foot, normal) = match kind {
        "plane" => (Vec3::new(10.0 * along, 10.0 * (angle / arc), 0.0), Vec3::z()),
        "line" => (Vec3::new(0.0, second, 10.0 * along), Vec3::x()),
        "circle" => (out * 5.0 + Vec3::z() * second, out),
        "sphere" => {
            let normal = out * (1.0 - along * along).sqrt() + Vec3::z() * along;
            (normal * 5.0, normal)
        }
        "cylinder" => (out * 5.0 + Vec3::z() * (10.0 * along), out),
        "cone" => {
            let (slope, rise) = (0.3f64.tan(), 10.0 * along);
            let normal = out * 0.3f64.cos() - Vec3::z() * 0.3f64.sin();
            (out * (5.0 + slope * rise) + Vec3::z() * rise, normal)
        }
        "torus" => {
            let (up, flat) = (along * std::f64::consts::PI).sin_cos();
            let normal = out * flat + Vec3::z() * up;
            (out * 8.0 + normal * 3.0, normal)
        }
        _ => panic!("no kind {kind}"),
    };
    (Point3::from(foot + normal * error), normal)
}

/// A simulated scan over the whole turn.
pub(crate) fn scan(kind: &str, count: usize, noise: f64, seed: u64) -> Vec<Point3> {
    let mut numbers = Random::new(seed);
    (0..count).map(|_| scanned(kind, &mut numbers, noise, TAU).0).collect()
}
