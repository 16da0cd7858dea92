//! Starting shapes without any guess of the user: many candidates, ranked by what they leave over.
//!
//! Candidates come from the points with their normals (given, or from the nearest neighbours) and
//! from a fixed fan of axis directions laid into the principal frame of the data, so that the same
//! data moved or turned have the same candidates.

use nalgebra::Matrix3;

use super::data::{Data, Sample};
use super::model::Model;
use super::pass::{Weight, distances};
use super::seeds::{axes, obeying, on_planes, stand_in};
use super::solve::{Solution, solve};
use crate::error::{Error, Result};
use crate::numeric::algebraic;
use crate::numeric::random::{Random, SEED};
use crate::primitive::{Direction, Point3, Vec3, unit};

/// All candidates for a sample, in a fixed order.
pub(crate) fn candidates<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    sample: &Sample,
    oriented: &Sample,
) -> Vec<M> {
    let points = &sample.points;
    let mut out = Vec::new();
    if !M::ORIENTED {
        out.extend(M::elemental(points, &[]));
        return out;
    }
    if oriented.points.len() >= M::ELEMENTAL {
        out.extend(M::elemental(&oriented.points, &oriented.normals));
    }
    out.extend(axes(&data.held, points).iter().filter_map(|axis| M::along(points, axis)));
    out.extend(M::guesses(points));
    out
}

/// Points with normals: those given if most are known, else estimated from neighbours.
pub(crate) fn oriented<M: Model<N>, const N: usize>(sample: &Sample) -> Sample {
    if !M::ORIENTED {
        return Sample::default();
    }
    let given = sample.oriented();
    if 2 * given.points.len() >= sample.points.len() { given } else { estimated(&sample.points) }
}

/// Starting shape for plain least squares.
pub(crate) fn least_squares<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    sample: &Sample,
) -> Result<M> {
    let small = sample.first(SMALL);
    let scaled = data.chosen(&small.points);
    let oriented = oriented::<M, N>(sample);
    let kept = (TRIES * TRIES_POINTS / small.points.len()).clamp(TRIES, TRIES_MOST);
    let rank = |shapes: Vec<M>, count: usize| {
        ranked::<M, N>(obeying(shapes, &scaled, &small.points), &small.points, count)
    };
    let mut chosen = rank(candidates(&scaled, &small, &oriented), kept);
    if M::ORIENTED {
        chosen.extend(rank(subsets(&scaled, &oriented, 1), TRIES));
    }
    chosen.extend(rank(on_planes(&scaled, &small), TRIES));
    let mut tried: Vec<(f64, M)> = Vec::new();
    for shape in chosen {
        let found = solve(&scaled, shape, &Weight::One, SHORT, None)?;
        tried.push(judged(&found));
    }
    best(tried, |shape| Ok(judged(&solve(&scaled, shape, &Weight::One, LONG, None)?)))?
        .ok_or_else(|| hopeless::<M, N>())
}

/// A solution with its cost; infinite for what is no such shape.
pub(crate) fn judged<M: Model<N>, const N: usize>(found: &Solution<M, N>) -> (f64, M) {
    let cost = if found.shape.plausible() { found.factor.cost } else { f64::INFINITY };
    (cost, found.shape)
}

/// The error when no candidate shape exists.
pub(crate) fn hopeless<M: Model<N>, const N: usize>() -> Error {
    let reason = "no such shape runs near the points";
    Error::undetermined(M::KIND.name(), reason, M::REMEDY)
}

/// Shapes through random subsets of the smallest size; `times` as many as usual.
pub(crate) fn subsets<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    pool: &Sample,
    times: usize,
) -> Vec<M> {
    if pool.points.len() < M::ELEMENTAL {
        return Vec::new();
    }
    let mut random = Random::new(SEED);
    let mut ids = vec![0; M::ELEMENTAL];
    let mut out = Vec::new();
    for _ in 0..times * TRIALS_PER_POINT * M::ELEMENTAL {
        random.choose(pool.points.len(), &mut ids);
        let mut points: Vec<_> = ids.iter().map(|&i| pool.points[i]).collect();
        stand_in::<M, N>(&data.held, &mut points);
        let normals: Vec<_> = ids.iter().filter_map(|&i| pool.normals.get(i).copied()).collect();
        out.extend(M::elemental(&points, &normals));
    }
    out
}

/// Polishes the three best and returns the best of them.
pub(crate) fn best<M: Copy>(
    mut tried: Vec<(f64, M)>,
    mut polish: impl FnMut(M) -> Result<(f64, M)>,
) -> Result<Option<M>> {
    tried.retain(|t| t.0.is_finite());
    tried.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut winner: Option<(f64, M)> = None;
    for (_, shape) in tried.into_iter().take(3) {
        let polished = polish(shape)?;
        if polished.0.is_finite() && winner.is_none_or(|w| polished.0 < w.0) {
            winner = Some(polished);
        }
    }
    Ok(winner.map(|w| w.1))
}

/// The `count` candidates with the smallest sums of squares, from the smallest.
fn ranked<M: Model<N>, const N: usize>(
    candidates: Vec<M>,
    points: &[Point3],
    count: usize,
) -> Vec<M> {
    let mut buffer = Vec::new();
    let mut costs: Vec<(f64, M)> = Vec::new();
    for shape in candidates {
        distances(&shape, points, &mut buffer);
        let cost: f64 = buffer.iter().map(|d| d * d).sum();
        if cost.is_finite() {
            costs.push((cost, shape));
        }
    }
    costs.sort_by(|a, b| a.0.total_cmp(&b.0));
    costs.into_iter().take(count).map(|c| c.1).collect()
}

/// Principal axes of the points and a spiral of directions over the half sphere about them.
pub(crate) fn fan(points: &[Point3]) -> Vec<Direction> {
    let Some(principal) = algebraic::principal(points) else { return Vec::new() };
    let [a, b, c] = principal.directions;
    let mut out: Vec<Direction> = principal.directions.into_iter().filter_map(unit).collect();
    for i in 0..FAN {
        let z = (i as f64 + 0.5) / FAN as f64;
        let (sin, cos) = (i as f64 * GOLDEN_ANGLE).sin_cos();
        let flat = (1.0 - z * z).sqrt();
        out.extend(unit(a * (flat * cos) + b * (flat * sin) + c * z));
    }
    out
}

/// Normals of a choice of points from the principal directions of their nearest neighbours; the
/// sign is arbitrary.
fn estimated(points: &[Point3]) -> Sample {
    if points.len() < NEIGHBOURS {
        return Sample::default();
    }
    let mut out = Sample::default();
    for p in &points[..points.len().min(BASES)] {
        let mut near: Vec<(f64, Vec3)> =
            points.iter().map(|q| ((q - p).norm_squared(), q - p)).collect();
        near.select_nth_unstable_by(NEIGHBOURS - 1, |a, b| a.0.total_cmp(&b.0));
        let near = &near[..NEIGHBOURS];
        let mean = near.iter().map(|n| n.1).sum::<Vec3>() / NEIGHBOURS as f64;
        let scatter: Matrix3<f64> =
            near.iter().map(|n| (n.1 - mean) * (n.1 - mean).transpose()).sum();
        if let Some(normal) = unit(algebraic::eigen(&scatter).0[2]) {
            out.points.push(*p);
            out.normals.push(normal.into_inner());
        }
    }
    out
}

/// Points that candidates are ranked on.
const SMALL: usize = 512;
/// Candidates that are iterated: at least this many for many points.
const TRIES: usize = 12;
/// Points up to which more candidates are iterated.
const TRIES_POINTS: usize = 100;
/// Candidates that are iterated for few points.
const TRIES_MOST: usize = 120;
/// Iterations of a candidate before it is ranked.
const SHORT: usize = 25;
/// Iterations of the best candidates.
const LONG: usize = 150;
/// Directions of the fan.
pub(crate) const FAN: usize = 96;
/// Angle between successive directions of the spiral, rad.
const GOLDEN_ANGLE: f64 = 2.399_963_229_728_653;
/// Neighbours of a point that give its normal.
const NEIGHBOURS: usize = 9;
/// Points whose normal is estimated.
const BASES: usize = 200;
/// Random subsets for each point of a subset.
const TRIALS_PER_POINT: usize = 80;
