//! From straights to a chain to start from: lines refined on the points, each bend's radius by trial on
//! the points round it.

use fitwright_plugin::Failure;

use super::chain::Chain;
use super::part::{Line, Part};
use super::straights::Straight;
use crate::V3;
use crate::bends::{Bend, BendTable};
use crate::gauss::settle;
use crate::host::Host;

/// Refines the lines of straights on the surface's points; gives the usual radius of the tube.
pub(super) fn refined(
    straights: &mut [Straight],
    nodes: &[V3],
    points: &[V3],
    radius: f64,
    host: &dyn Host,
) -> Result<f64, Failure> {
    let mut radii = Vec::new();
    for s in straights.iter_mut() {
        let place = |i: usize| s.along.dot(&(nodes[i] - s.point));
        let (low, high) = (place(s.nodes.start), place(s.nodes.end - 1));
        let beside = |p: &V3| {
            let d = p - s.point;
            let z = s.along.dot(&d);
            let off = (d - s.along * z).norm() - radius;
            (low..high).contains(&z) && off.abs() < WIDE * radius
        };
        let own: Vec<V3> = points.iter().copied().filter(beside).collect();
        if own.len() < FEWEST {
            continue;
        }
        let start = Chain {
            start: s.point,
            direction: s.along,
            normal: crate::round::across(&s.along).0,
            table: BendTable { bends: Vec::new(), last: high },
            radius,
            common: false,
        };
        match settle(start, &own, WIDE * radius, host) {
            Ok(found) if found.model.direction.dot(&s.along) > 0.98 => {
                (s.point, s.along) = (found.model.start, found.model.direction);
                radii.push(found.model.radius);
            }
            Err(e) if e == Failure::cancelled() => return Err(e),
            _ => {}
        }
    }
    let found = crate::cloud::median(&mut radii);
    Ok(if found > 0.5 * radius && found < 2.0 * radius { found } else { radius })
}

/// The chain along straights; `None` where two of them do not give a bend.
pub(super) fn chain(
    straights: &[Straight],
    nodes: &[V3],
    points: &[V3],
    radius: f64,
    common: bool,
) -> Option<Chain> {
    let (first, last) = (straights.first()?, straights.last()?);
    let direction = first.along;
    let start = first.point + direction * direction.dot(&(nodes[0] - first.point));
    let mut out = Chain {
        start,
        direction,
        normal: V3::zeros(),
        table: BendTable { bends: Vec::new(), last: 0.0 },
        radius,
        common,
    };
    for pair in straights.windows(2) {
        let between = &nodes[middle(&pair[0])..middle(&pair[1])];
        let near = |p: &V3| between.iter().any(|n| (p - n).norm_squared() < (2.0 * radius).powi(2));
        let near: Vec<V3> = points.iter().copied().filter(near).collect();
        out = with_bend(&out, &pair[0], &pair[1], nodes, &near)?;
    }
    let Some(Part::Straight { from, along, .. }) = out.parts().last().copied() else { return None };
    out.table.last = along.dot(&(nodes[last.nodes.end - 1] - from)).max(0.0);
    if common && !out.table.bends.is_empty() {
        let mut radii: Vec<f64> = out.table.bends.iter().map(|b| b.radius).collect();
        let one = crate::cloud::median(&mut radii);
        out = of_radius(&out, one);
    }
    Some(out)
}

fn middle(s: &Straight) -> usize {
    (s.nodes.start + s.nodes.end) / 2
}

/// The same corners with another radius.
fn of_radius(chain: &Chain, radius: f64) -> Chain {
    let mut out = chain.clone();
    let change = |b: &Bend| {
        let turn = (0.5 * b.angle).tan();
        if b.angle < STEEP { (radius - b.radius) * turn } else { 0.0 }
    };
    let changes: Vec<f64> = chain.table.bends.iter().map(change).collect();
    for (i, bend) in out.table.bends.iter_mut().enumerate() {
        bend.radius = radius;
        bend.feed -= changes[i] + if i > 0 { changes[i - 1] } else { 0.0 };
    }
    out.table.last -= changes.last().copied().unwrap_or(0.0);
    out
}

/// The chain with one more bend, of the radius that suits the points round it best.
fn with_bend(
    chain: &Chain,
    this: &Straight,
    next: &Straight,
    nodes: &[V3],
    points: &[V3],
) -> Option<Chain> {
    let mut best: Option<(f64, Chain)> = None;
    for k in 0..TRIALS {
        let ratio = LEAST * (MOST / LEAST).powf(f64::from(k) / f64::from(TRIALS - 1));
        let Some(mut trial) = bent(chain, this, next, nodes, ratio * chain.radius) else {
            continue;
        };
        let reach = (nodes[next.nodes.end - 1] - next.point).norm() + trial.radius;
        trial.table.last = reach;
        let line = Line::new(&trial);
        let cap = 0.1 * trial.radius;
        let off = |p: &V3| (line.nearest(p).squared.sqrt() - trial.radius).abs().min(cap);
        let misfit: f64 = points.iter().map(off).sum();
        if best.as_ref().is_none_or(|b| misfit < b.0) {
            best = Some((misfit, trial));
        }
    }
    best.map(|b| b.1)
}

/// The chain with a bend of a radius onto the next line.
fn bent(
    chain: &Chain,
    this: &Straight,
    next: &Straight,
    nodes: &[V3],
    radius: f64,
) -> Option<Chain> {
    let Some(Part::Straight { from, along: u, .. }) = chain.parts().last().copied() else {
        return None;
    };
    let v = next.along;
    let angle = u.cross(&v).norm().atan2(u.dot(&v));
    let (normal, radius, feed) = if angle < STEEP {
        let n = u.cross(&v).try_normalize(1e-6)?;
        let m = n.cross(&u);
        // The exit lies on the next line, as seen in the plane of the bend.
        let side = n.cross(&v);
        let (sin, cos) = angle.sin_cos();
        let exit = from + (u * sin + m * (1.0 - cos)) * radius;
        (n, radius, -side.dot(&(exit - next.point)) / side.dot(&u))
    } else {
        let across = next.point - from;
        let across = across - u * u.dot(&across);
        let m = across.try_normalize(1e-6)?;
        let end = u.dot(&(nodes[this.nodes.end - 1] - from));
        (u.cross(&m), 0.5 * across.norm(), end)
    };
    let first = chain.table.bends.is_empty();
    if feed < if first { f64::NEG_INFINITY } else { -chain.radius } {
        return None;
    }
    let mut out = chain.clone();
    let rotation = match chain.parts().iter().rev().nth(1) {
        Some(Part::Arc { normal: before, .. }) => {
            before.cross(&normal).dot(&u).atan2(before.dot(&normal))
        }
        _ => {
            out.normal = normal;
            0.0
        }
    };
    out.table.bends.push(Bend { feed, rotation, angle, radius });
    Some(out)
}

/// Points that refine a straight.
const FEWEST: usize = 40;
/// Half width of the band round a straight, in radii.
const WIDE: f64 = 0.3;
/// Radii of bends tried, in tube radii.
const LEAST: f64 = 1.2;
const MOST: f64 = 60.0;
const TRIALS: u32 = 40;
/// Bends from which on the corner is no help, rad.
const STEEP: f64 = 2.9;
