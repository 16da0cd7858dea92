//! The straight parts among the nodes of a centre line: the longest run that a line fits, then the next.

use std::ops::Range;

use fitwright_plugin::Failure;

use crate::V3;
use crate::host::Host;
use crate::normals::spread;

/// A straight part, its nodes and its line.
#[derive(Debug, Clone)]
pub(super) struct Straight {
    pub(super) nodes: Range<usize>,
    pub(super) point: V3,
    pub(super) along: V3,
}

/// Straights in order along the nodes.
pub(super) fn straights(
    nodes: &[V3],
    radius: f64,
    host: &dyn Host,
) -> Result<Vec<Straight>, Failure> {
    let tolerance = tolerance(nodes, radius);
    let mut free = vec![true; nodes.len()];
    let mut out: Vec<Straight> = Vec::new();
    while let Some(found) = longest(nodes, &free, tolerance, 2.0 * radius, host)? {
        found.nodes.clone().for_each(|i| free[i] = false);
        out.push(found);
    }
    out.sort_by_key(|s| s.nodes.start);
    Ok(merged(out, nodes, radius))
}

/// How far a node may lie off a line: what the straightest stretches show.
fn tolerance(nodes: &[V3], radius: f64) -> f64 {
    let mut all: Vec<f64> = nodes.windows(WINDOW).map(|w| off(w, &line(w)).1).collect();
    if all.is_empty() {
        return 0.01 * radius;
    }
    let k = all.len() / 4;
    let quarter = *all.select_nth_unstable_by(k, f64::total_cmp).1;
    (3.0 * quarter).clamp(0.006 * radius, 0.03 * radius)
}

fn line(nodes: &[V3]) -> (V3, V3) {
    let s = spread(nodes.iter().copied());
    let forward = s.directions[0].dot(&(nodes[nodes.len() - 1] - nodes[0])).signum();
    (s.mean, s.directions[0] * forward)
}

/// Largest and root mean square distance from a line.
fn off(nodes: &[V3], line: &(V3, V3)) -> (f64, f64) {
    let squares = nodes.iter().map(|p| line.1.cross(&(p - line.0)).norm_squared());
    let (most, sum) = squares.fold((0.0, 0.0), |a, s| (f64::max(a.0, s), a.1 + s));
    (most.sqrt(), (sum / nodes.len() as f64).sqrt())
}

fn longest(
    nodes: &[V3],
    free: &[bool],
    tolerance: f64,
    least: f64,
    host: &dyn Host,
) -> Result<Option<Straight>, Failure> {
    let mut best: Option<(f64, Range<usize>)> = None;
    let mut from = 0;
    for a in 0..nodes.len() {
        if a % 16 == 0 {
            host.check()?;
        }
        let mut to = from.max(a + 3);
        let fits = |to: usize| {
            to <= nodes.len() && free[a..to].iter().all(|f| *f) && {
                let part = &nodes[a..to];
                let (most, rms) = off(part, &line(part));
                rms < tolerance && most < 3.0 * tolerance
            }
        };
        while to > a + 3 && !fits(to) {
            to -= 1;
        }
        while fits(to + 1) {
            to += 1;
        }
        from = to;
        if to >= a + 4 && fits(to) {
            let length = (nodes[to - 1] - nodes[a]).norm();
            if length >= least && best.as_ref().is_none_or(|b| length > b.0) {
                best = Some((length, a..to));
            }
        }
    }
    let Some((_, range)) = best else { return Ok(None) };
    let range = trimmed(nodes, range, tolerance);
    let (point, along) = line(&nodes[range.clone()]);
    Ok(Some(Straight { nodes: range, point, along }))
}

/// Without the nodes at its ends that lie off the line of its inner half: the bends begin there.
fn trimmed(nodes: &[V3], range: Range<usize>, tolerance: f64) -> Range<usize> {
    let quarter = range.len() / 4;
    let inner = line(&nodes[range.start + quarter..range.end - quarter]);
    let near = |i: usize| off(&nodes[i..=i], &inner).0 < 2.0 * tolerance;
    let (mut a, mut b) = (range.start, range.end);
    while b - a > 4 && !near(a) {
        a += 1;
    }
    while b - a > 4 && !near(b - 1) {
        b -= 1;
    }
    a..b
}

/// Neighbours that are one line, interrupted, become one.
fn merged(straights: Vec<Straight>, nodes: &[V3], radius: f64) -> Vec<Straight> {
    let mut out: Vec<Straight> = Vec::new();
    for s in straights {
        if let Some(before) = out.last_mut() {
            let both = before.nodes.start..s.nodes.end;
            let one = line(&nodes[both.clone()]);
            let off = off(&nodes[both.clone()], &one);
            if before.along.dot(&s.along) > COLLINEAR && off.1 < 0.02 * radius {
                *before = Straight { nodes: both, point: one.0, along: one.1 };
                continue;
            }
        }
        out.push(s);
    }
    out
}

/// Nodes of a stretch that shows how exact they are.
const WINDOW: usize = 6;
/// Cosine of 0.7 degrees.
const COLLINEAR: f64 = 0.999_925;
