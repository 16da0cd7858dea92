//! Offsets of surfaces: exact where the offset is a surface of the same kind, else along the normal.

use super::spline::Jet;
use super::surface::{Pole, Surface};
use crate::primitive::{Point3, Vec3, unit};

impl Surface {
    /// The surface at `distance`, mm, along this one's normal; none where that turns it inside out.
    pub(super) fn offset(self, distance: f64) -> Option<Surface> {
        match self {
            Surface::Plane(mut frame) => {
                frame.origin += frame.z * distance;
                Some(Surface::Plane(frame))
            }
            Surface::Cylinder { frame, radius } => {
                let radius = radius + distance;
                (radius > 0.0).then_some(Surface::Cylinder { frame, radius })
            }
            Surface::Cone { mut frame, radius, half_angle } => {
                let mut radius = radius + distance / half_angle.cos();
                if radius < 0.0 {
                    frame.origin -= frame.z * (radius / half_angle.tan());
                    radius = 0.0;
                }
                Some(Surface::Cone { frame, radius, half_angle })
            }
            Surface::Sphere { frame, radius } => {
                let radius = radius + distance;
                (radius > 0.0).then_some(Surface::Sphere { frame, radius })
            }
            Surface::Torus { frame, major, minor } => {
                let minor = minor + distance;
                (minor > 0.0).then_some(Surface::Torus { frame, major, minor })
            }
            Surface::Offset { basis, distance: before } => {
                Some(Surface::Offset { basis, distance: before + distance })
            }
            Surface::Stereographic { .. } => None,
            Surface::Extrusion { .. } | Surface::Revolution { .. } | Surface::Spline { .. } => {
                Some(Surface::Offset { basis: Box::new(self), distance })
            }
        }
    }
}

pub(super) fn point(basis: &Surface, distance: f64, uv: [f64; 2]) -> Point3 {
    let (point, du, dv) = basis.jet(uv);
    point + normal(basis, uv, &du, &dv) * distance
}

/// Derivatives by differences: the search for parameters, which alone uses them, needs no more.
pub(super) fn jet(surface: &Surface, uv: [f64; 2]) -> Jet {
    let slope = |axis: usize| {
        let (low, high) = surface.range(axis).unwrap_or((uv[axis] - 1.0, uv[axis] + 1.0));
        let step = 1e-5 * (high - low);
        let (mut before, mut after) = (uv, uv);
        before[axis] -= step;
        after[axis] += step;
        if !surface.closed(axis) {
            before[axis] = before[axis].max(low);
            after[axis] = after[axis].min(high);
        }
        (surface.at(after) - surface.at(before)) / (after[axis] - before[axis])
    };
    (surface.at(uv), slope(0), slope(1))
}

/// The basis's poles where the normal is one and the same all round them.
pub(super) fn poles(basis: &Surface, distance: f64) -> Vec<Pole> {
    let lifted = |pole: &Pole| {
        let (low, high) = basis.range(1 - pole.axis).unwrap_or((0.0, std::f64::consts::TAU));
        let around = [0.1, 0.35, 0.6, 0.85].map(|f| {
            let mut uv = [pole.value; 2];
            uv[1 - pole.axis] = low + f * (high - low);
            point(basis, distance, uv)
        });
        let mean = Point3::from(around.iter().fold(Vec3::zeros(), |s, p| s + p.coords) / 4.0);
        let one = around.iter().all(|p| (p - mean).norm() <= 1e-4 * distance.abs());
        one.then_some(Pole { point: mean, ..*pole })
    };
    basis.poles().iter().filter_map(lifted).collect()
}

/// Unit normal; at a pole that of a place just beside it.
fn normal(basis: &Surface, uv: [f64; 2], du: &Vec3, dv: &Vec3) -> Vec3 {
    let across = |du: &Vec3, dv: &Vec3| {
        let cross = du.cross(dv);
        let clear = cross.norm() > 1e-9 * (du.norm_squared() + dv.norm_squared());
        unit(cross).filter(|_| clear).map(|n| n.into_inner())
    };
    if let Some(n) = across(du, dv) {
        return n;
    }
    let beside = [0, 1].map(|axis| {
        let range = basis.range(axis);
        range.map_or(uv[axis], |(a, b)| uv[axis] + 1e-6 * (0.5 * (a + b) - uv[axis]))
    });
    let (_, du, dv) = basis.jet(beside);
    unit(du.cross(&dv)).map_or(Vec3::zeros(), |n| n.into_inner())
}
