//! Surfaces of faces: point, derivatives, parameters of a point, periods and poles.
//!
//! Parameters are (u, v) with the normal along du x dv, as ISO 10303-42 defines each surface.

use std::f64::consts::{FRAC_PI_2, TAU};

use super::curve::{Curve, Frame};
use super::offset;
use super::project;
use super::spline::{Jet, SplineSurface};
use crate::primitive::{Cone, Cylinder, Direction, Plane, Point3, Primitive, Sphere, Torus, Vec3};

/// Surface in space, mm and rad.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Surface {
    Plane(Frame),
    Cylinder {
        frame: Frame,
        radius: f64,
    },
    Cone {
        frame: Frame,
        radius: f64,
        half_angle: f64,
    },
    Sphere {
        frame: Frame,
        radius: f64,
    },
    /// A sphere in stereographic parameters from the pole `frame.z`: no seam, one point missing.
    Stereographic {
        frame: Frame,
        radius: f64,
    },
    /// With `minor` over `major` only the outer part, which ends where it meets the axis.
    Torus {
        frame: Frame,
        major: f64,
        minor: f64,
    },
    Extrusion {
        curve: Curve,
        direction: Vec3,
    },
    Revolution {
        curve: Curve,
        point: Point3,
        axis: Vec3,
        /// The arc of a closed profile that is meant, from one place on the axis to the other.
        arc: Option<(f64, f64)>,
    },
    /// `closed`: which parameters run round, because two opposite sides are the same curve.
    Spline {
        spline: SplineSurface,
        closed: [bool; 2],
    },
    /// `distance` along the normal of a surface whose offset has no simpler form.
    Offset {
        basis: Box<Surface>,
        distance: f64,
    },
}

/// A parameter line that is a single point of the surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pole {
    /// 0: u is fixed on the line, 1: v is fixed.
    pub axis: usize,
    pub value: f64,
    pub point: Point3,
}

impl Surface {
    pub(super) fn spline(spline: SplineSurface) -> Self {
        let mut surface = Surface::Spline { spline, closed: [false; 2] };
        let found = [0, 1].map(|axis| surface.sides_meet(axis));
        if let Surface::Spline { closed, .. } = &mut surface {
            *closed = found;
        }
        surface
    }

    pub(super) fn at(&self, uv: [f64; 2]) -> Point3 {
        let [u, v] = uv;
        let (sin, cos) = u.sin_cos();
        match self {
            Surface::Plane(f) => f.at(u, v, 0.0),
            Surface::Cylinder { frame, radius } => frame.at(radius * cos, radius * sin, v),
            Surface::Cone { frame, radius, half_angle } => {
                let r = radius + v * half_angle.tan();
                frame.at(r * cos, r * sin, v)
            }
            Surface::Sphere { frame, radius } => {
                let (up, across) = v.sin_cos();
                frame.at(radius * across * cos, radius * across * sin, radius * up)
            }
            Surface::Stereographic { frame, radius } => {
                let square = u * u + v * v;
                let scale = radius / (1.0 + square);
                frame.at(2.0 * u * scale, 2.0 * v * scale, (square - 1.0) * scale)
            }
            Surface::Torus { frame, major, minor } => {
                let (up, out) = v.sin_cos();
                let r = major + minor * out;
                frame.at(r * cos, r * sin, minor * up)
            }
            Surface::Extrusion { .. } | Surface::Revolution { .. } | Surface::Spline { .. } => {
                self.jet(uv).0
            }
            Surface::Offset { basis, distance } => offset::point(basis, *distance, uv),
        }
    }

    /// Point and both derivatives; the closed-form surfaces never need the derivatives.
    pub(super) fn jet(&self, uv: [f64; 2]) -> Jet {
        let [u, v] = uv;
        match self {
            Surface::Extrusion { curve, direction } => {
                let (point, slope) = curve.jet(u);
                (point + direction * v, slope, *direction)
            }
            Surface::Revolution { curve, point, axis, .. } => {
                let (on, slope) = curve.jet(v);
                let turn =
                    nalgebra::Rotation3::from_axis_angle(&Direction::new_unchecked(*axis), u);
                let arm = turn * (on - point);
                (point + arm, axis.cross(&arm), turn * slope)
            }
            Surface::Spline { spline, .. } => {
                let wrap = |t: f64, (low, high): (f64, f64)| {
                    if t < low || t > high { low + (t - low).rem_euclid(high - low) } else { t }
                };
                spline.jet(wrap(u, spline.u.range()), wrap(v, spline.v.range()))
            }
            Surface::Offset { .. } => offset::jet(self, uv),
            _ => (self.at(uv), Vec3::zeros(), Vec3::zeros()),
        }
    }

    /// Parameters of the point nearest to `p`; `hint` is a place to start from.
    pub(super) fn parameters(&self, p: &Point3, hint: Option<[f64; 2]>) -> [f64; 2] {
        match self {
            Surface::Plane(f) => {
                let q = f.local(p);
                [q.x, q.y]
            }
            Surface::Cylinder { frame, .. } => {
                let q = frame.local(p);
                [q.y.atan2(q.x), q.z]
            }
            Surface::Cone { frame, radius, half_angle } => {
                let q = frame.local(p);
                let (sin, cos) = half_angle.sin_cos();
                // Foot on the generator, not the height of the point itself.
                let along = (q.x.hypot(q.y) - radius) * sin + q.z * cos;
                [q.y.atan2(q.x), along * cos]
            }
            Surface::Sphere { frame, .. } => {
                let q = frame.local(p);
                [q.y.atan2(q.x), q.z.atan2(q.x.hypot(q.y))]
            }
            Surface::Stereographic { frame, .. } => {
                let q = frame.local(p).normalize();
                [q.x / (1.0 - q.z), q.y / (1.0 - q.z)]
            }
            Surface::Torus { frame, major, .. } => {
                let q = frame.local(p);
                [q.y.atan2(q.x), q.z.atan2(q.x.hypot(q.y) - major)]
            }
            Surface::Extrusion { .. }
            | Surface::Revolution { .. }
            | Surface::Spline { .. }
            | Surface::Offset { .. } => project::parameters(self, p, hint),
        }
    }

    /// After how much u (0) or v (1) the surface repeats.
    pub(super) fn periods(&self) -> [Option<f64>; 2] {
        match self {
            Surface::Cylinder { .. } | Surface::Cone { .. } | Surface::Sphere { .. } => {
                [Some(TAU), None]
            }
            Surface::Torus { major, minor, .. } => [Some(TAU), (minor < major).then_some(TAU)],
            Surface::Extrusion { curve, .. } => [curve.period(), None],
            Surface::Revolution { curve, arc, .. } => {
                [Some(TAU), curve.period().filter(|_| arc.is_none())]
            }
            Surface::Spline { .. } => [0, 1]
                .map(|axis| self.range(axis).filter(|_| self.closed(axis)).map(|(a, b)| b - a)),
            Surface::Offset { basis, .. } => basis.periods(),
            Surface::Plane(_) | Surface::Stereographic { .. } => [None, None],
        }
    }

    /// Range of u (0) or v (1) where it is bounded.
    pub(super) fn range(&self, axis: usize) -> Option<(f64, f64)> {
        match self {
            Surface::Spline { spline, .. } => {
                Some(if axis == 0 { spline.u.range() } else { spline.v.range() })
            }
            Surface::Extrusion { curve, .. } if axis == 0 => curve.range(),
            Surface::Revolution { curve, arc, .. } if axis == 1 => arc.or(curve.range()),
            Surface::Offset { basis, .. } => basis.range(axis),
            _ => None,
        }
    }

    pub(super) fn poles(&self) -> Vec<Pole> {
        match self {
            Surface::Cone { frame, radius, half_angle } => {
                let value = -radius / half_angle.tan();
                vec![Pole { axis: 1, value, point: frame.at(0.0, 0.0, value) }]
            }
            Surface::Sphere { frame, radius } => [-1.0, 1.0]
                .map(|s| Pole {
                    axis: 1,
                    value: s * FRAC_PI_2,
                    point: frame.at(0.0, 0.0, s * radius),
                })
                .to_vec(),
            Surface::Torus { frame, major, minor } if minor >= major => {
                let v = (-major / minor).acos();
                let height = minor * v.sin();
                [-1.0, 1.0]
                    .map(|s| Pole { axis: 1, value: s * v, point: frame.at(0.0, 0.0, s * height) })
                    .to_vec()
            }
            Surface::Revolution { curve, point, axis, arc } => {
                revolution_poles(curve, point, axis, *arc)
            }
            Surface::Spline { .. } => self.collapsed_sides(),
            Surface::Offset { basis, distance } => offset::poles(basis, *distance),
            _ => Vec::new(),
        }
    }

    /// On which side of the axis the profile of a surface of revolution is at `v`: positive on the
    /// side of the profile's farthest point.
    pub(super) fn side_of_axis(&self, v: f64) -> f64 {
        let Surface::Revolution { curve, point, axis, .. } = self else { return 1.0 };
        let arm = |v: f64| {
            let d = curve.at(v) - point;
            d - axis * d.dot(axis)
        };
        let farthest = [0.0, 0.25, 0.5, 0.75]
            .map(|f| arm(f * TAU))
            .into_iter()
            .fold(Vec3::zeros(), |a, b| if b.norm() > a.norm() { b } else { a });
        arm(v).dot(&farthest)
    }

    /// The ideal shape this surface is, if it is one.
    pub(super) fn primitive(&self) -> Option<Primitive> {
        let direction = Direction::new_normalize;
        Some(match self {
            Surface::Plane(f) => Plane { point: f.origin, normal: direction(f.z) }.into(),
            Surface::Cylinder { frame: f, radius } => {
                Cylinder { point: f.origin, axis: direction(f.z), radius: *radius }.into()
            }
            Surface::Cone { frame: f, radius, half_angle } => {
                let axis = direction(f.z);
                Cone { point: f.origin, axis, radius: *radius, half_angle: *half_angle }.into()
            }
            Surface::Sphere { frame: f, radius } | Surface::Stereographic { frame: f, radius } => {
                Sphere { centre: f.origin, radius: *radius }.into()
            }
            Surface::Torus { frame: f, major, minor } => Torus {
                centre: f.origin,
                axis: direction(f.z),
                major_radius: *major,
                minor_radius: *minor,
            }
            .into(),
            Surface::Extrusion { .. }
            | Surface::Revolution { .. }
            | Surface::Spline { .. }
            | Surface::Offset { .. } => return None,
        })
    }

    /// Whether the parameter runs round on a bounded surface.
    pub(super) fn closed(&self, axis: usize) -> bool {
        match self {
            Surface::Spline { closed, .. } => closed[axis],
            Surface::Extrusion { curve, .. } => axis == 0 && curve.period().is_some(),
            Surface::Revolution { curve, arc, .. } => {
                axis == 1 && arc.is_none() && curve.period().is_some()
            }
            Surface::Offset { basis, .. } => basis.closed(axis),
            _ => false,
        }
    }

    fn sides_meet(&self, axis: usize) -> bool {
        let (Some((low, high)), Some((from, to))) = (self.range(axis), self.range(1 - axis)) else {
            return false;
        };
        let at = |t: f64, s: f64| self.jet(if axis == 0 { [t, s] } else { [s, t] }).0;
        let (mut size, mut gap): (f64, f64) = (0.0, 0.0);
        for i in 0..=8 {
            let s = from + (to - from) * f64::from(i) / 8.0;
            gap = gap.max((at(low, s) - at(high, s)).norm());
            for j in 1..4 {
                let t = low + (high - low) * f64::from(j) / 4.0;
                size = size.max((at(low, s) - at(t, s)).norm());
            }
        }
        gap <= 1e-6 * size
    }

    /// Sides of a bounded surface that are a single point.
    fn collapsed_sides(&self) -> Vec<Pole> {
        let mut poles = Vec::new();
        for axis in 0..2 {
            let (Some((low, high)), Some((from, to))) = (self.range(axis), self.range(1 - axis))
            else {
                continue;
            };
            let at = |t: f64, s: f64| self.jet(if axis == 0 { [t, s] } else { [s, t] }).0;
            let size =
                (at(low, from) - at(high, to)).norm().max((at(low, to) - at(high, from)).norm());
            for value in [low, high] {
                let point = at(value, from);
                let spread = (1..=8)
                    .map(|i| (at(value, from + (to - from) * f64::from(i) / 8.0) - point).norm())
                    .fold(0.0, f64::max);
                if spread <= 1e-6 * size {
                    poles.push(Pole { axis, value, point });
                }
            }
        }
        poles
    }
}

/// Where the profile of a surface of revolution meets the axis.
fn revolution_poles(
    curve: &Curve,
    point: &Point3,
    axis: &Vec3,
    arc: Option<(f64, f64)>,
) -> Vec<Pole> {
    let candidates = match curve {
        Curve::Line { point: start, direction } => {
            // Distance from the axis is least where the part across the axis vanishes.
            let across = |d: Vec3| d - axis * d.dot(axis);
            let (a, b) = (across(start - point), across(*direction));
            if b.norm_squared() > 0.0 { vec![-a.dot(&b) / b.norm_squared()] } else { Vec::new() }
        }
        Curve::Parabola { .. } => vec![nearest_to_axis(curve, point, axis)],
        _ if arc.is_some() => arc.map_or(Vec::new(), |(low, high)| vec![low, high]),
        _ if curve.period().is_none() => {
            curve.range().map_or(Vec::new(), |(low, high)| vec![low, high])
        }
        _ => Vec::new(),
    };
    let mut poles = Vec::new();
    for value in candidates {
        let on = curve.at(value);
        let arm = on - point;
        let off = arm - axis * arm.dot(axis);
        if off.norm() <= 1e-6 {
            poles.push(Pole { axis: 1, value, point: on - off });
        }
    }
    poles
}

/// Parameter at which a profile that meets the axis once does so, by Gauss-Newton.
fn nearest_to_axis(curve: &Curve, point: &Point3, axis: &Vec3) -> f64 {
    let across = |d: Vec3| d - axis * d.dot(axis);
    let mut t = 0.0;
    for _ in 0..60 {
        let (on, slope) = curve.jet(t);
        let (arm, slope) = (across(on - point), across(slope));
        let step = arm.dot(&slope) / slope.norm_squared().max(f64::MIN_POSITIVE);
        t -= step;
        if step.abs() <= 1e-15 * (1.0 + t.abs()) {
            break;
        }
    }
    t
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame() -> Frame {
        let axis = Direction::new_normalize(Vec3::new(1.0, -2.0, 0.5));
        Frame::new(Point3::new(4.0, 5.0, -6.0), axis, Some(Vec3::x()))
    }

    fn surfaces() -> Vec<Surface> {
        let frame = frame();
        let profile = Curve::Ellipse { frame, a: 3.0, b: 2.0 };
        vec![
            Surface::Plane(frame),
            Surface::Cylinder { frame, radius: 7.0 },
            Surface::Cone { frame, radius: 7.0, half_angle: 0.4 },
            Surface::Sphere { frame, radius: 7.0 },
            Surface::Stereographic { frame, radius: 7.0 },
            Surface::Torus { frame, major: 9.0, minor: 2.0 },
            Surface::Extrusion { curve: profile.clone(), direction: frame.z + frame.x },
            Surface::Revolution {
                curve: profile,
                point: frame.at(9.0, 0.0, 0.0),
                axis: frame.y,
                arc: None,
            },
        ]
    }

    #[test]
    fn parameters_of_a_point_on_the_surface_come_back() {
        for surface in surfaces() {
            for u in [-1.4, 0.3, 1.2] {
                for v in [-0.8, 0.1, 1.1] {
                    let found = surface.parameters(&surface.at([u, v]), None);
                    let [a, b] =
                        crate::exchange::step_in::loops::near(found, [u, v], surface.periods());
                    let off = (surface.at([a, b]) - surface.at([u, v])).norm();
                    assert!(off < 1e-9, "{surface:?} {u} {v} {off}");
                    assert!((a - u).abs() + (b - v).abs() < 1e-6, "{surface:?} {a} {b}");
                }
            }
        }
    }

    // The other side is `Primitive::distance`, positive outside, written without this file.
    #[test]
    fn normals_and_shapes_agree_with_the_primitives() {
        for surface in surfaces() {
            let Some(shape) = surface.primitive() else { continue };
            let (uv, h) = ([0.4, 0.3], 1e-5);
            let du = surface.at([uv[0] + h, uv[1]]) - surface.at([uv[0] - h, uv[1]]);
            let dv = surface.at([uv[0], uv[1] + h]) - surface.at([uv[0], uv[1] - h]);
            let normal = du.cross(&dv).normalize();
            assert!(shape.distance(&surface.at(uv)).abs() < 1e-12);
            let outward = shape.distance(&(surface.at(uv) + normal * 0.1));
            // The stereographic map runs round the pole the other way; its frame is turned for it.
            let sign = if matches!(surface, Surface::Stereographic { .. }) { -1.0 } else { 1.0 };
            assert!((outward - sign * 0.1).abs() < 1e-6, "{shape:?} {outward}");
        }
    }
}
