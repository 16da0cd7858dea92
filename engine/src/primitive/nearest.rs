//! Nearest point of a bounded piece.

use std::f64::consts::{PI, TAU};

use super::{Bounded, Cone, Direction, Extent, Point3, Primitive, Vec3};

impl Bounded {
    /// Nearest point of the piece, mm: the foot on the shape where the piece has it, else on its edge.
    ///
    /// Of a patch of a sphere the nearest point of an edge is taken along parameter lines, which is
    /// near, not exact. An extent that does not go with the shape is taken as all of it.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        match (&self.shape, &self.extent) {
            (Primitive::Plane(s), Extent::Outline(loops)) => {
                let foot = s.project(p);
                if inside(&foot, &s.normal, loops) { foot } else { on_edge(&foot, loops) }
            }
            (Primitive::Line(s), Extent::Segment(from, to)) => {
                s.point + s.direction.into_inner() * s.parameter(p).clamp(*from, from.max(*to))
            }
            (Primitive::Circle(s), Extent::Arc { zero, from, to }) => {
                let axes = Axes::new(s.centre, *zero, s.normal);
                axes.nearest((*from, *to), p, |u, _| axes.at(u, s.radius, 0.0))
            }
            (Primitive::Cylinder(s), Extent::Patch { zero, u, v, .. }) => {
                let axes = Axes::new(s.point, *zero, s.axis);
                axes.nearest(*u, p, |u, x| axes.at(u, s.radius, x.z.clamp(v.0, v.0.max(v.1))))
            }
            (Primitive::Cone(s), Extent::Patch { zero, u, v, .. }) => {
                let axes = Axes::new(s.point, *zero, s.axis);
                axes.nearest(*u, p, |u, x| {
                    let height = on_generator(s, u, x).clamp(v.0, v.0.max(v.1));
                    axes.at(u, s.radius + height * s.half_angle.tan(), height)
                })
            }
            (Primitive::Torus(s), Extent::Patch { zero, u, v, .. }) => {
                let axes = Axes::new(s.centre, *zero, s.axis);
                axes.nearest(*u, p, |u, x| {
                    let out = x.x * u.cos() + x.y * u.sin() - s.major_radius;
                    let of = |t: f64| {
                        let (sin, cos) = t.sin_cos();
                        axes.at(u, s.major_radius + s.minor_radius * cos, s.minor_radius * sin)
                    };
                    nearer(p, clamped(x.z.atan2(out), *v).map(of))
                })
            }
            (Primitive::Sphere(s), Extent::Patch { zero, pole, u, v }) => {
                let axes = Axes::new(s.centre, *zero, *pole);
                axes.nearest(*u, p, |u, x| {
                    let latitude = x.z.atan2(x.x * u.cos() + x.y * u.sin());
                    let (sin, cos) = latitude.clamp(v.0, v.0.max(v.1)).sin_cos();
                    axes.at(u, s.radius * cos, s.radius * sin)
                })
            }
            (shape, _) => shape.project(p),
        }
    }

    /// Distance of the piece, mm, never negative.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        (self.project(p) - p).norm()
    }

    /// Whether it is a piece of a curve.
    #[must_use]
    pub fn is_curve(&self) -> bool {
        matches!(self.shape, Primitive::Line(_) | Primitive::Circle(_))
    }
}

/// Frame of a patch's parameters.
struct Axes {
    origin: Point3,
    x: Vec3,
    y: Vec3,
    z: Vec3,
}

impl Axes {
    fn new(origin: Point3, zero: Direction, pole: Direction) -> Self {
        Axes { origin, x: zero.into_inner(), y: pole.cross(&zero), z: pole.into_inner() }
    }

    fn at(&self, u: f64, radius: f64, height: f64) -> Point3 {
        let (sin, cos) = u.sin_cos();
        self.origin + self.x * (radius * cos) + self.y * (radius * sin) + self.z * height
    }

    /// Nearest of the points `of` the angle of `p`, or of the two ends if the angle is past them.
    fn nearest(&self, range: (f64, f64), p: &Point3, of: impl Fn(f64, &Vec3) -> Point3) -> Point3 {
        let d = p - self.origin;
        let local = Vec3::new(d.dot(&self.x), d.dot(&self.y), d.dot(&self.z));
        nearer(p, clamped(local.y.atan2(local.x), range).map(|u| of(u, &local)))
    }
}

/// The angle itself, twice, if it lies in the range; else both ends.
fn clamped(angle: f64, (from, to): (f64, f64)) -> [f64; 2] {
    let past = (angle - from).rem_euclid(TAU);
    if past <= to - from { [angle, angle] } else { [from, to] }
}

fn nearer(p: &Point3, [a, b]: [Point3; 2]) -> Point3 {
    if (a - p).norm_squared() <= (b - p).norm_squared() { a } else { b }
}

/// Height of the foot on the generator at an angle.
fn on_generator(s: &Cone, u: f64, x: &Vec3) -> f64 {
    let out = x.x * u.cos() + x.y * u.sin() - s.radius;
    let (sin, cos) = s.half_angle.sin_cos();
    (out * sin + x.z * cos) * cos
}

/// Whether a point of the plane is inside the loops, by the angle they turn round it.
fn inside(p: &Point3, normal: &Direction, loops: &[Vec<Point3>]) -> bool {
    let mut turns = 0.0;
    for edges in loops {
        for (a, b) in edges.iter().zip(edges.iter().cycle().skip(1)) {
            let (a, b) = (a - p, b - p);
            turns += a.cross(&b).dot(normal).atan2(a.dot(&b));
        }
    }
    turns > PI
}

fn on_edge(p: &Point3, loops: &[Vec<Point3>]) -> Point3 {
    let edges = loops.iter().flat_map(|l| l.iter().zip(l.iter().cycle().skip(1)));
    let feet = edges.map(|(a, b)| {
        let d = b - a;
        let t = (p - a).dot(&d) / d.norm_squared().max(f64::MIN_POSITIVE);
        a + d * t.clamp(0.0, 1.0)
    });
    feet.min_by(|a, b| (a - p).norm_squared().total_cmp(&(b - p).norm_squared())).unwrap_or(*p)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::primitive::{Circle, Cylinder, Line, Plane, Sphere, Torus};

    /// Points of a piece laid out by its parameters, as a reference that knows nothing of feet.
    fn dense(piece: &Bounded) -> Vec<Point3> {
        let steps = |(a, b): (f64, f64)| (0..=200).map(move |i| a + (b - a) * f64::from(i) / 200.0);
        let z = Direction::new_normalize(Vec3::z());
        match (&piece.shape, &piece.extent) {
            (Primitive::Line(s), Extent::Segment(a, b)) => {
                steps((*a, *b)).map(|t| s.point + s.direction.into_inner() * t).collect()
            }
            (Primitive::Circle(s), Extent::Arc { zero, from, to }) => {
                let axes = Axes::new(s.centre, *zero, s.normal);
                steps((*from, *to)).map(|u| axes.at(u, s.radius, 0.0)).collect()
            }
            (Primitive::Plane(_), Extent::Outline(_)) => steps((0.0, 4.0))
                .flat_map(|x| steps((0.0, 2.0)).map(move |y| Point3::new(x, y, 1.0)))
                .filter(|p| !(p.x > 1.0 && p.x < 2.0 && p.y > 0.5 && p.y < 1.5))
                .collect(),
            (shape, Extent::Patch { zero, u, v, .. }) => {
                let axes = Axes::new(shape.point(), *zero, z);
                let place = |u: f64, v: f64| match shape {
                    Primitive::Cylinder(s) => axes.at(u, s.radius, v),
                    Primitive::Cone(s) => axes.at(u, s.radius + v * s.half_angle.tan(), v),
                    Primitive::Torus(s) => axes.at(
                        u,
                        s.major_radius + s.minor_radius * v.cos(),
                        s.minor_radius * v.sin(),
                    ),
                    Primitive::Sphere(s) => axes.at(u, s.radius * v.cos(), s.radius * v.sin()),
                    _ => unreachable!("no patch of another shape here"),
                };
                steps(*u).flat_map(|u| steps(*v).map(move |v| place(u, v))).collect()
            }
            _ => unreachable!("no other piece here"),
        }
    }

    fn pieces() -> Vec<Bounded> {
        let z = Direction::new_normalize(Vec3::z());
        let zero = Direction::new_normalize(Vec3::new(1.0, 1.0, 0.0));
        let point = Point3::new(0.5, -0.5, 1.0);
        let patch = |v| Extent::Patch { zero, pole: z, u: (-0.5, 2.5), v };
        let hole = [(1.0, 0.5), (1.0, 1.5), (2.0, 1.5), (2.0, 0.5)];
        let outer = [(0.0, 0.0), (4.0, 0.0), (4.0, 2.0), (0.0, 2.0)];
        let lift = |l: &[(f64, f64)]| l.iter().map(|(x, y)| Point3::new(*x, *y, 1.0)).collect();
        let (axis, normal, direction, centre) = (z, z, z, point);
        let (radius, half_angle) = (1.5, 0.4);
        vec![
            Bounded {
                shape: Plane { point: Point3::new(9.0, 9.0, 1.0), normal }.into(),
                extent: Extent::Outline(vec![lift(&outer), lift(&hole)]),
            },
            Bounded { shape: Line { point, direction }.into(), extent: Extent::Segment(-1.0, 2.0) },
            Bounded {
                shape: Circle { centre, normal, radius }.into(),
                extent: Extent::Arc { zero, from: -0.5, to: 2.5 },
            },
            Bounded { shape: Cylinder { point, axis, radius }.into(), extent: patch((-1.0, 2.0)) },
            Bounded {
                shape: Cone { point, axis, radius, half_angle }.into(),
                extent: patch((-1.0, 2.0)),
            },
            Bounded {
                shape: Torus { centre, axis, major_radius: 2.0, minor_radius: 0.6 }.into(),
                extent: patch((-2.0, 1.0)),
            },
            Bounded { shape: Sphere { centre, radius }.into(), extent: patch((-1.5, 1.5)) },
        ]
    }

    #[test]
    fn the_nearest_point_is_on_the_piece_and_no_other_is_nearer() {
        for piece in pieces() {
            let all = dense(&piece);
            for k in 0..200u32 {
                let at = |n: u32| f64::from(k.wrapping_mul(n) % 97) / 97.0 * 8.0 - 3.0;
                let p = Point3::new(at(31), at(57), at(73));
                let least = all.iter().map(|q| (q - p).norm()).fold(f64::INFINITY, f64::min);
                let found = piece.project(&p);
                let off = all.iter().map(|q| (q - found).norm()).fold(f64::INFINITY, f64::min);
                assert!(off < 0.06, "{:?} is {off} off {:?}", found, piece.shape);
                // The edge of a sphere's patch is only near.
                let slack =
                    if piece.shape.kind() == crate::primitive::Kind::Sphere { 0.3 } else { 0.0 };
                let excess = (found - p).norm() - least;
                assert!(excess < 1e-9 + slack, "{excess} too far of {:?}", piece.shape);
                assert!(excess > -0.06, "{excess} nearer than can be of {:?}", piece.shape);
            }
        }
    }
}
