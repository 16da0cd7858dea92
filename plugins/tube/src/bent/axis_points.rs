//! From points of a surface to points of the tube's centre line: each is moved inwards along its normal by
//! the tube's radius; what then gathers along a line was tube, what does not was something else.

use fitwright_plugin::Failure;

use crate::V3;
use crate::cloud::{Grid, Random};
use crate::host::Host;
use crate::normals::spread;

/// Radii of tubes that the points may lie on, likeliest first. Two points across each other on a tube of
/// radius r, with normals n and m, lie r (n - m) apart: every such pair votes.
pub(super) fn radii(
    points: &[V3],
    normals: &[V3],
    (spacing, seed): (f64, u64),
    host: &dyn Host,
) -> Result<Vec<f64>, Failure> {
    let mut random = Random::new(seed);
    let known: Vec<usize> = (0..points.len()).filter(|i| normals[*i] != V3::zeros()).collect();
    if known.is_empty() {
        return Ok(Vec::new());
    }
    let mut choice = |most: usize| -> Vec<usize> {
        (0..most.min(known.len())).map(|_| known[random.below(known.len())]).collect()
    };
    let (ones, others) = (choice(ONES), choice(OTHERS));
    let mut votes = Vec::new();
    for (k, i) in ones.into_iter().enumerate() {
        if k % 100 == 0 {
            host.check()?;
        }
        for j in &others {
            votes.extend(vote(&points[i], &points[*j], &normals[i], &normals[*j], spacing));
        }
    }
    Ok(modes(&votes))
}

/// Logarithm of the radius that a pair says, and its weight.
fn vote(x: &V3, y: &V3, n: &V3, m: &V3, spacing: f64) -> Option<(f64, f64)> {
    let cos = n.dot(m);
    if !(0.36..0.94).contains(&cos.abs()) {
        return None;
    }
    let (apart, turned) = (x - y, n - m * cos.signum());
    let squared = apart.norm_squared();
    let radius = apart.dot(&turned) / turned.norm_squared();
    let off = (apart - turned * radius).norm_squared();
    // So many more pairs lie farther apart.
    (squared > (1.5 * spacing).powi(2) && off < 0.06 * squared)
        .then(|| (radius.abs().ln(), 1.0 / squared))
}

fn modes(votes: &[(f64, f64)]) -> Vec<f64> {
    let low = votes.iter().map(|v| v.0).fold(f64::INFINITY, f64::min);
    let bin = |x: f64| ((x - low) / BIN) as usize;
    let Some(last) = votes.iter().map(|v| bin(v.0)).max() else { return Vec::new() };
    let mut bins = vec![0.0; last + 3];
    votes.iter().for_each(|v| bins[bin(v.0) + 1] += v.1);
    let three = |i: usize| bins[i - 1] + bins[i] + bins[i + 1];
    let mut order: Vec<usize> = (1..=last + 1).collect();
    order.sort_by(|a, b| three(*b).total_cmp(&three(*a)).then(a.cmp(b)));
    let most = order.first().map_or(0.0, |i| three(*i));
    let mut out: Vec<usize> = Vec::new();
    for i in order {
        if out.len() < MODES && three(i) > 0.2 * most && out.iter().all(|o| o.abs_diff(i) > 4) {
            out.push(i);
        }
    }
    let mean = |i: &usize| {
        let centre = low + (*i as f64 - 0.5) * BIN;
        let near = votes.iter().filter(|v| (v.0 - centre).abs() < 2.0 * BIN);
        let (sum, weight) = near.fold((0.0, 0.0), |s, v| (s.0 + v.0 * v.1, s.1 + v.1));
        (sum / weight).exp()
    };
    out.iter().map(mean).collect()
}

/// Points near the centre line of tubes of a radius.
pub(super) fn axis_points(
    points: &[V3],
    normals: &[V3],
    radius: f64,
    host: &dyn Host,
) -> Result<Vec<V3>, Failure> {
    let reach = 0.7 * radius;
    let grid = Grid::new(points, reach);
    let mut near = Vec::new();
    let step = (points.len() / MOST).max(1);
    let mut inside = Vec::new();
    for i in (0..points.len()).step_by(step).filter(|i| normals[*i] != V3::zeros()) {
        if inside.len() % 500 == 0 {
            host.check()?;
        }
        grid.near(&points[i], reach, &mut near);
        // A tube bends away from its outward normal.
        let sum: f64 =
            near.iter().map(|j| normals[i].dot(&(points[*j as usize] - points[i]))).sum();
        inside.push((points[i] + normals[i] * (radius * sum.signum()), normals[i]));
    }
    let once = gathered(&inside, BALL * radius, 0.25, host)?;
    Ok(gathered(&once, BALL * radius, 0.06, host)?.into_iter().map(|p| p.0).collect())
}

/// Points that lie along a line with their neighbours, across their normals, moved onto it. `width` is the
/// largest ratio of the variances across and along.
fn gathered(
    points: &[(V3, V3)],
    ball: f64,
    width: f64,
    host: &dyn Host,
) -> Result<Vec<(V3, V3)>, Failure> {
    let places: Vec<V3> = points.iter().map(|p| p.0).collect();
    let grid = Grid::new(&places, ball);
    let mut near = Vec::new();
    let mut moved = |p: &(V3, V3)| {
        grid.near(&p.0, ball, &mut near);
        if near.len() < FEWEST {
            return None;
        }
        let s = spread(near.iter().map(|i| places[*i as usize]));
        let line = s.directions[0];
        let fits = s.variances[1] < width * s.variances[0] && p.1.dot(&line).abs() < 0.35;
        fits.then(|| (s.mean + line * line.dot(&(p.0 - s.mean)), p.1))
    };
    let mut out = Vec::new();
    for part in points.chunks(500) {
        host.check()?;
        out.extend(part.iter().filter_map(&mut moved));
    }
    Ok(out)
}

/// Points paired with others.
const ONES: usize = 1000;
const OTHERS: usize = 3000;
/// Width of a bin of the logarithm of the radius.
const BIN: f64 = 0.06;
/// Radii tried.
const MODES: usize = 3;
/// Points moved to the centre line.
const MOST: usize = 8000;
/// Radius of a neighbourhood on the centre line, in tube radii.
const BALL: f64 = 0.8;
/// Neighbours that a line needs.
const FEWEST: usize = 6;
