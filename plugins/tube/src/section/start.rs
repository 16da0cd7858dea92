//! Where to start: axis from pairs of normals, roll from their directions round it, sides from peaks of
//! the places of the points along each side's normal, every combination scored on the points.

use std::f64::consts::FRAC_PI_2;

use fitwright_plugin::Failure;
use nalgebra::{Matrix3, SymmetricEigen};

use super::Options;
use super::model::{HEIGHT, Section, TWIST, UNKNOWNS, WIDTH};
use crate::V3;
use crate::bends::about;
use crate::cloud::{Random, median};
use crate::gauss::{Loss, Model};
use crate::host::Host;
use crate::round::across;

/// Promising sections, best first.
pub(super) fn starts(
    points: &[V3],
    normals: &[V3],
    (spacing, seed): (f64, u64),
    options: &Options,
    host: &dyn Host,
) -> Result<Vec<Section>, Failure> {
    let known: Vec<usize> =
        (0..points.len()).filter(|i| normals[*i] != V3::zeros()).collect::<Vec<_>>();
    let mut scored = Vec::new();
    for axis in axes(normals, &known, seed) {
        let Some(side) = side(normals, &known, &axis) else { continue };
        let other = axis.cross(&side);
        let flat: Vec<usize> =
            known.iter().copied().filter(|i| normals[*i].dot(&axis).abs() < ALONG).collect();
        let intervals =
            |e: &V3, sizes: [f64; 2]| intervals(points, normals, &flat, e, spacing, sizes);
        let sizes = [options.width, options.height];
        let (xs, ys) = (intervals(&side, sizes), intervals(&other, sizes));
        host.check()?;
        for (x, y) in xs.iter().flat_map(|x| ys.iter().map(move |y| (x, y))) {
            for part in CORNERS {
                let origin = side * x.middle() + other * y.middle();
                let section = section((origin, axis, side), x.length(), y.length(), part, options);
                if let Some(section) = section {
                    let width = SCORING * x.length().min(y.length());
                    scored.push((cost(&section, points, width), section));
                }
            }
        }
    }
    scored.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out: Vec<Section> = Vec::new();
    for (_, section) in scored {
        if out.len() < KEPT && !out.iter().any(|s| alike(s, &section)) {
            out.push(section);
        }
    }
    Ok(out)
}

/// A section with what is known of it, turned so that a known size lies where it fits.
fn section(
    (origin, axis, side): (V3, V3, V3),
    x: f64,
    y: f64,
    part: f64,
    options: &Options,
) -> Option<Section> {
    let off = |w: f64, known: f64| if known > 0.0 { (w - known).abs() } else { 0.0 };
    let straight = off(x, options.width) + off(y, options.height);
    let turned = off(y, options.width) + off(x, options.height);
    let (side, x, y) = if turned < straight { (axis.cross(&side), y, x) } else { (side, x, y) };
    let or = |known: f64, found: f64| if known > 0.0 { known } else { found };
    let width = or(options.width, x);
    let height = if options.square { width } else { or(options.height, y) };
    let corner = or(options.corner, part * width.min(height));
    let mut free = [true; UNKNOWNS];
    free[WIDTH] = options.width <= 0.0;
    free[HEIGHT] = options.height <= 0.0;
    free[super::model::CORNER] = options.corner <= 0.0;
    free[TWIST] = options.twist;
    let section = Section {
        origin,
        axis,
        side,
        width,
        height,
        corner,
        twist: 0.0,
        free,
        square: options.square,
    };
    (2.0 * corner <= width.min(height)).then_some(section)
}

fn cost(section: &Section, points: &[V3], width: f64) -> f64 {
    let step = (points.len() / SCORED).max(1);
    let loss = Loss::Biweight(width);
    points.iter().step_by(step).map(|p| loss.of(section.distance(p)).0).sum::<f64>() / width.powi(2)
}

fn alike(a: &Section, b: &Section) -> bool {
    let near = 0.02 * a.width.max(a.height);
    a.axis.dot(&b.axis).abs() > 0.999
        && (a.width - b.width).abs() < near
        && (a.height - b.height).abs() < near
        && (a.origin - b.origin).norm() < near
}

/// Directions that many normals are perpendicular to.
fn axes(normals: &[V3], known: &[usize], seed: u64) -> Vec<V3> {
    let mut random = Random::new(seed);
    if known.len() < 2 {
        return Vec::new();
    }
    let judges: Vec<V3> =
        (0..JUDGES.min(known.len())).map(|_| normals[known[random.below(known.len())]]).collect();
    let across = |a: &V3| judges.iter().filter(|n| n.dot(a).abs() < ALONG).count();
    let mut found: Vec<(usize, V3)> = Vec::new();
    for _ in 0..PAIRS {
        let n = [(); 2].map(|()| normals[known[random.below(known.len())]]);
        let cross = n[0].cross(&n[1]);
        if cross.norm() > 0.5 {
            let axis = cross.normalize();
            found.push((across(&axis), axis));
        }
    }
    found.sort_by_key(|f| std::cmp::Reverse(f.0));
    let mut out: Vec<V3> = Vec::new();
    for (_, axis) in found {
        if out.len() < AXES && !out.iter().any(|a| a.dot(&axis).abs() > 0.98) {
            out.push(refined(axis, normals, known));
        }
    }
    out
}

/// The direction nearest to an axis to which its normals are perpendicular on average.
fn refined(axis: V3, normals: &[V3], known: &[usize]) -> V3 {
    let mut axis = axis;
    for _ in 0..3 {
        let near = known.iter().map(|i| normals[*i]).filter(|n| n.dot(&axis).abs() < ALONG);
        let scatter: Matrix3<f64> = near.map(|n| n * n.transpose()).sum();
        let eigen = SymmetricEigen::new(scatter);
        let v: V3 = eigen.eigenvectors.column(eigen.eigenvalues.imin()).into_owned();
        if v.dot(&axis).abs() > 0.9 {
            axis = v * v.dot(&axis).signum();
        }
    }
    axis
}

/// Direction of a side: the commonest of the normals' directions, by quarter turns alike.
fn side(normals: &[V3], known: &[usize], axis: &V3) -> Option<V3> {
    let (e, f) = across(axis);
    let flat = known.iter().map(|i| normals[*i]).filter(|n| n.dot(axis).abs() < ALONG);
    let turns: Vec<f64> = flat.map(|n| f.dot(&n).atan2(e.dot(&n)).rem_euclid(FRAC_PI_2)).collect();
    let mut bins = [0usize; DEGREES];
    let bin = |t: f64| ((t / FRAC_PI_2 * DEGREES as f64) as usize).min(DEGREES - 1);
    turns.iter().for_each(|t| bins[bin(*t)] += 1);
    let three = |i: usize| bins[(i + DEGREES - 1) % DEGREES] + bins[i] + bins[(i + 1) % DEGREES];
    let best = (0..DEGREES).max_by_key(|i| (three(*i), DEGREES - i))?;
    let peak = (best as f64 + 0.5) * FRAC_PI_2 / DEGREES as f64;
    let mut off: Vec<f64> = turns
        .iter()
        .map(|t| (t - peak + 0.5 * FRAC_PI_2).rem_euclid(FRAC_PI_2) - 0.5 * FRAC_PI_2)
        .filter(|d| d.abs() < PEAK)
        .collect();
    Some(about(axis, peak + median(&mut off)) * e)
}

/// From side to side.
#[derive(Debug, Clone, Copy)]
struct Interval(f64, f64);

impl Interval {
    fn middle(self) -> f64 {
        0.5 * (self.0 + self.1)
    }

    fn length(self) -> f64 {
        self.1 - self.0
    }
}

/// Where the two sides across `e` may lie: pairs of peaks, a peak and a known size, a peak and how far the
/// points reach.
fn intervals(
    points: &[V3],
    normals: &[V3],
    flat: &[usize],
    e: &V3,
    spacing: f64,
    sizes: [f64; 2],
) -> Vec<Interval> {
    let mut reach: Vec<f64> = flat.iter().map(|i| e.dot(&points[*i])).collect();
    reach.sort_by(f64::total_cmp);
    let (Some(low), Some(high)) = (reach.first(), reach.last()) else { return Vec::new() };
    let width = (0.005 * (high - low)).max(0.5 * spacing).max(f64::MIN_POSITIVE);
    let facing = flat.iter().filter(|i| normals[**i].dot(e).abs() > FACING);
    let places: Vec<f64> = facing.map(|i| e.dot(&points[*i])).collect();
    let peaks = peaks(&places, *low, width);
    let mut out = Vec::new();
    let mut add = |a: f64, b: f64| {
        if (b - a).abs() > 4.0 * width {
            out.push(Interval(a.min(b), a.max(b)));
        }
    };
    for (i, a) in peaks.iter().enumerate() {
        peaks[i + 1..].iter().for_each(|b| add(*a, *b));
        for s in sizes.into_iter().filter(|s| *s > 0.0) {
            add(*a, a + s);
            add(*a, a - s);
        }
    }
    let quantile = |q: f64| reach[(q * (reach.len() - 1) as f64) as usize];
    for (a, q) in peaks.iter().take(2).flat_map(|a| STRAYS.map(|q| (*a, q))) {
        add(a, quantile(q));
        add(a, quantile(1.0 - q));
    }
    for q in STRAYS {
        add(quantile(q), quantile(1.0 - q));
    }
    out
}

/// Places where many lie, most first.
fn peaks(places: &[f64], low: f64, width: f64) -> Vec<f64> {
    let bin = |x: f64| ((x - low) / width).max(0.0) as usize;
    let Some(last) = places.iter().map(|x| bin(*x)).max() else { return Vec::new() };
    let mut counts = vec![0usize; last + 2];
    places.iter().for_each(|x| counts[bin(*x)] += 1);
    let mut order: Vec<usize> = (0..counts.len()).collect();
    order.sort_by_key(|i| (std::cmp::Reverse(counts[*i]), *i));
    let most = counts[order[0]];
    let mut out: Vec<(usize, f64)> = Vec::new();
    for i in order {
        let far = out.iter().all(|o| o.0.abs_diff(i) > 4);
        if out.len() == PEAKS || (counts[i] as f64) < LOW_PEAK * most as f64 {
            break;
        }
        if far {
            let centre = low + (i as f64 + 0.5) * width;
            let near = places.iter().copied().filter(|x| (x - centre).abs() < 1.5 * width);
            out.push((i, median(&mut near.collect::<Vec<_>>())));
        }
    }
    out.into_iter().map(|o| o.1).collect()
}

/// Corner radii tried, as parts of the smaller side.
const CORNERS: [f64; 3] = [0.04, 0.12, 0.25];
/// Width of the loss of scoring, as a part of the smaller side.
const SCORING: f64 = 0.03;
/// Points of scoring.
const SCORED: usize = 800;
/// Sections handed on.
const KEPT: usize = 6;
/// Cosine up to which a normal is across the axis.
const ALONG: f64 = 0.1;
/// Cosine from which on a normal faces a direction.
const FACING: f64 = 0.97;
/// Normals that judge an axis.
const JUDGES: usize = 1000;
/// Pairs of normals tried.
const PAIRS: usize = 300;
/// Axes kept.
const AXES: usize = 3;
/// Bins of a quarter turn.
const DEGREES: usize = 90;
/// Half width of a peak of directions, rad.
const PEAK: f64 = 0.05;
/// Peaks kept.
const PEAKS: usize = 4;
/// Height of a peak worth a look, as part of the highest.
const LOW_PEAK: f64 = 0.08;
/// Shares of points that may lie beyond the section.
const STRAYS: [f64; 4] = [0.0, 0.01, 0.03, 0.1];
