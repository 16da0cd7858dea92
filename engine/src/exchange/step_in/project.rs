//! Parameters of a point on surfaces without a closed form: damped Gauss-Newton from sampled starts.
//!
//! Levenberg-Marquardt as in Nocedal and Wright (2006), Numerical Optimization, section 10.3.

use super::curve::even;
use super::surface::Surface;
use crate::primitive::{Point3, Vec3};

/// Parameters of the nearest point; the start nearest in space wins, `hint` first.
pub(super) fn parameters(surface: &Surface, p: &Point3, hint: Option<[f64; 2]>) -> [f64; 2] {
    let from_hint = hint.map(|start| descend(surface, p, start, 0.0));
    if let Some((uv, distance)) = from_hint
        && distance <= GOOD_ENOUGH
    {
        return uv;
    }
    let mut best = from_hint.unwrap_or(([0.0; 2], f64::INFINITY));
    for start in starts(surface, p) {
        let candidate = descend(surface, p, start, 0.0);
        if candidate.1 < best.1 {
            best = candidate;
        }
    }
    best.0
}

/// Distance to the surface from a point near the parameters `near`, mm; once it is found to be
/// below `good`, an upper bound.
pub(super) fn distance_near(surface: &Surface, p: &Point3, near: [f64; 2], good: f64) -> f64 {
    descend(surface, p, near, good).1
}

/// The most promising of the sampled parameters, best first.
fn starts(surface: &Surface, p: &Point3) -> Vec<[f64; 2]> {
    let mut sampled: Vec<([f64; 2], f64)> = candidates(surface, p)
        .into_iter()
        .map(|uv| (uv, (surface.at(uv) - p).norm_squared()))
        .collect();
    sampled.sort_by(|a, b| a.1.total_cmp(&b.1));
    sampled.truncate(MOST_STARTS);
    sampled.into_iter().map(|(uv, _)| uv).collect()
}

fn candidates(surface: &Surface, p: &Point3) -> Vec<[f64; 2]> {
    match surface {
        // For a swept profile the place along the sweep follows from the place on the profile.
        Surface::Extrusion { curve, direction } => curve
            .samples()
            .into_iter()
            .map(|u| [u, (p - curve.at(u)).dot(direction) / direction.norm_squared()])
            .collect(),
        Surface::Revolution { curve, point, axis, arc } => arc
            .map_or_else(|| curve.samples(), |(low, high)| even(low, high, 16))
            .into_iter()
            .map(|v| [angle_between(&(curve.at(v) - point), &(p - point), axis), v])
            .collect(),
        Surface::Spline { spline, .. } => {
            let lines = |breaks: Vec<f64>, degree: usize| {
                let each = (degree + 1).min(4);
                // Enough lines to meet every span of any usual surface, and never more.
                let stride = breaks.len().div_ceil(MOST_LINES).max(1);
                let mut all = vec![breaks[0]];
                for i in (0..breaks.len() - 1).step_by(stride) {
                    let next = breaks[(i + stride).min(breaks.len() - 1)];
                    all.extend(even(breaks[i], next, each).into_iter().skip(1));
                }
                all
            };
            let rows = lines(spline.v.breaks(), spline.v.degree());
            let columns = lines(spline.u.breaks(), spline.u.degree()).into_iter();
            columns.flat_map(|u| rows.iter().map(move |v| [u, *v])).collect()
        }
        Surface::Offset { basis, .. } => candidates(basis, p),
        _ => Vec::new(),
    }
}

fn angle_between(from: &Vec3, to: &Vec3, axis: &Vec3) -> f64 {
    axis.cross(from).dot(to).atan2(from.dot(to) - from.dot(axis) * to.dot(axis))
}

/// Descends from `start` until the distance is least or below `good`; returns the parameters and
/// the distance left.
fn descend(surface: &Surface, p: &Point3, start: [f64; 2], good: f64) -> ([f64; 2], f64) {
    let mut uv = start;
    let (mut point, mut du, mut dv) = surface.jet(uv);
    let mut square = (p - point).norm_squared();
    let mut damping = 1e-9;
    for _ in 0..MOST_STEPS {
        if square <= good * good {
            break;
        }
        let off = p - point;
        let (a, b, c) = (du.norm_squared(), du.dot(&dv), dv.norm_squared());
        let (a, c) = (a * (1.0 + damping) + TINY, c * (1.0 + damping) + TINY);
        let (g, h) = (off.dot(&du), off.dot(&dv));
        let det = a * c - b * b;
        if det.is_nan() || det <= 0.0 {
            break;
        }
        let step = [(g * c - h * b) / det, (h * a - g * b) / det];
        let ahead = du * step[0] + dv * step[1];
        if ahead.norm() <= 1e-12 * (1.0 + point.coords.amax()) {
            break;
        }
        let next = clamp(surface, [uv[0] + step[0], uv[1] + step[1]]);
        let jet = surface.jet(next);
        let next_square = (p - jet.0).norm_squared();
        if next_square < square {
            let settled = square - next_square <= 1e-12 * square;
            (uv, square) = (next, next_square);
            (point, du, dv) = jet;
            damping = (damping * 0.1).max(1e-12);
            if settled {
                break;
            }
        } else {
            damping = damping.max(1e-9) * 10.0;
            if damping > 1e6 {
                break;
            }
        }
    }
    (uv, square.sqrt())
}

/// Keeps parameters of an open surface inside its range.
fn clamp(surface: &Surface, mut uv: [f64; 2]) -> [f64; 2] {
    for (axis, t) in uv.iter_mut().enumerate() {
        if let Some((low, high)) = surface.range(axis) {
            // A closed surface wraps; keeping within one turn is enough for it.
            let slack = if surface.closed(axis) { high - low } else { 0.0 };
            *t = t.clamp(low - slack, high + slack);
        }
    }
    uv
}

/// Edges rarely lie nearer to their surfaces than this, mm: no other start can do better.
const GOOD_ENOUGH: f64 = 1e-6;
const MOST_LINES: usize = 64;
const MOST_STARTS: usize = 6;
const MOST_STEPS: usize = 60;
const TINY: f64 = 1e-300;
