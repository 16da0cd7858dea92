//! How far apart, in its parameters, the points of a face may lie for a chord error.

use super::curve::{LARGEST_ARC, arc_step, distance_to_chord};
use super::loops::Loop;
use super::surface::Surface;
use crate::primitive::Point3;

/// Scale of the plane in which a face is triangulated: one unit is one step of the surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Steps {
    /// Parameters in one unit of the plane.
    pub unit: [f64; 2],
    /// Distance of points in space, mm, for surfaces whose parameters are not even; else infinite.
    pub spacing: f64,
}

impl Steps {
    /// Steps of a face within its bounds; `error` is the chord error of one direction, mm.
    pub(super) fn new(surface: &Surface, loops: &[Loop], whole: bool, error: f64) -> Steps {
        let (low, high) = extent(surface, loops, whole);
        let width = [0, 1].map(|axis| (high[axis] - low[axis]).max(f64::MIN_POSITIVE));
        let mut spacing = f64::INFINITY;
        let unit = match surface {
            Surface::Plane(_) => [1.0; 2],
            Surface::Cylinder { radius, .. } => [arc_step(*radius, error), width[1]],
            Surface::Cone { radius, half_angle, .. } => {
                let widest = [low[1], high[1]].map(|v| radius + v * half_angle.tan());
                [arc_step(widest[0].abs().max(widest[1].abs()), error), width[1]]
            }
            Surface::Sphere { radius, .. } => [arc_step(*radius, error); 2],
            Surface::Stereographic { radius, .. } => {
                spacing = 2.0 * radius * (0.5 * arc_step(*radius, error)).sin();
                [1.0; 2]
            }
            Surface::Torus { major, minor, .. } => {
                [arc_step(major + minor, error), arc_step(*minor, error)]
            }
            Surface::Revolution { .. } => {
                let sampled = sampled_steps(surface, low, high, error);
                [sampled[0].min(LARGEST_ARC), sampled[1]]
            }
            Surface::Extrusion { .. } => [sampled_steps(surface, low, high, error)[0], width[1]],
            Surface::Spline { .. } => sampled_steps(surface, low, high, error),
            Surface::Offset { basis, .. } => {
                let sampled = sampled_steps(surface, low, high, error);
                match **basis {
                    Surface::Revolution { .. } => [sampled[0].min(LARGEST_ARC), sampled[1]],
                    _ => sampled,
                }
            }
        };
        Steps { unit, spacing }
    }

    /// Place of parameters in the plane.
    pub(super) fn plane(&self, uv: [f64; 2]) -> [f64; 2] {
        [uv[0] / self.unit[0], uv[1] / self.unit[1]]
    }

    /// Parameters of a place in the plane.
    pub(super) fn parameters(&self, xy: [f64; 2]) -> [f64; 2] {
        [xy[0] * self.unit[0], xy[1] * self.unit[1]]
    }

    /// Length in steps from one place on the face to another.
    pub(super) fn length(&self, a: ([f64; 2], &Point3), b: ([f64; 2], &Point3)) -> f64 {
        if self.spacing.is_finite() {
            return (a.1 - b.1).norm() / self.spacing;
        }
        let (p, q) = (self.plane(a.0), self.plane(b.0));
        (p[0] - q[0]).hypot(p[1] - q[1])
    }
}

/// Box of the bounds; whole turns where the face runs round.
fn extent(surface: &Surface, loops: &[Loop], whole: bool) -> ([f64; 2], [f64; 2]) {
    let mut low = [f64::INFINITY; 2];
    let mut high = [f64::NEG_INFINITY; 2];
    for node in loops.iter().flat_map(|l| &l.nodes) {
        for axis in 0..2 {
            low[axis] = low[axis].min(node.uv[axis]);
            high[axis] = high[axis].max(node.uv[axis]);
        }
    }
    let periods = surface.periods();
    for pole in surface.poles() {
        let round = loops.iter().any(|l| l.winding[1 - pole.axis] != 0);
        if whole || round {
            low[pole.axis] = low[pole.axis].min(pole.value);
            high[pole.axis] = high[pole.axis].max(pole.value);
        }
    }
    for axis in 0..2 {
        let round = loops.iter().any(|l| l.winding[axis] != 0);
        if let Some(period) = periods[axis].filter(|_| whole || round) {
            let (from, _) = surface.range(axis).unwrap_or((0.0, period));
            (low[axis], high[axis]) = (from, from + period);
        } else if let Some((from, to)) = surface.range(axis).filter(|_| periods[axis].is_none()) {
            low[axis] = low[axis].clamp(from, to);
            high[axis] = high[axis].clamp(from, to);
        }
        // A torus with two bounds round it: either may lie a turn off, the strip is between.
        if low[axis].is_nan() || high[axis].is_nan() || low[axis] > high[axis] {
            (low[axis], high[axis]) = (0.0, 1.0);
        }
    }
    (low, high)
}

/// Smallest step over sampled parameter lines: the sag of an arc grows with its length squared.
fn sampled_steps(surface: &Surface, low: [f64; 2], high: [f64; 2], error: f64) -> [f64; 2] {
    [0, 1].map(|axis| {
        let width = high[axis] - low[axis];
        let across = 1 - axis;
        let mut step = width;
        for line in 0..=LINES {
            let s = low[across] + (high[across] - low[across]) * f64::from(line) / f64::from(LINES);
            let at = |t: f64| surface.at(if axis == 0 { [t, s] } else { [s, t] });
            let count = samples(surface, axis);
            let piece = width / count as f64;
            for i in 0..count {
                let t = low[axis] + piece * i as f64;
                let sag = distance_to_chord(&at(t + 0.5 * piece), &at(t), &at(t + piece));
                step = step.min(piece * (error / sag.max(f64::MIN_POSITIVE)).sqrt());
            }
        }
        step.clamp(width / FINEST, width).max(f64::MIN_POSITIVE)
    })
}

/// Pieces of a parameter line: some in each span.
fn samples(surface: &Surface, axis: usize) -> usize {
    let spans = match surface {
        Surface::Spline { spline, .. } if axis == 0 => spline.u.breaks().len(),
        Surface::Spline { spline, .. } => spline.v.breaks().len(),
        Surface::Extrusion { curve, .. } | Surface::Revolution { curve, .. } => match curve {
            super::curve::Curve::Spline(spline) => spline.knots.breaks().len(),
            _ => curve.samples().len() / 2,
        },
        Surface::Offset { basis, .. } => return samples(basis, axis),
        _ => 8,
    };
    (2 * spans).clamp(16, 256)
}

const LINES: u32 = 8;
/// No face is divided finer than this in one direction.
const FINEST: f64 = 4000.0;
