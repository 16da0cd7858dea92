//! Finding the points that belong before least squares: a high-breakdown search, a redescending
//! loss with its scale from the data, then a cut that removes only what is too much.
//!
//! Search: shapes through small random subsets with a fixed seed, ranked by the median distance
//! (Rousseeuw 1984, Least median of squares regression; Torr, Zisserman 2000, MLESAC). Loss: Tukey's
//! biweight (Rousseeuw, Yohai 1984, Robust regression by means of S-estimators). Cut: see
//! [`crate::numeric::robust`].

use rayon::prelude::*;

use super::data::{Data, Sample};
use super::model::Model;
use super::pass::{Weight, beyond, distances, histogram};
use super::seeds::{axes, bent, obeying, on_planes};
use super::solve::solve;
use super::start::{FAN, best, candidates, hopeless, judged, oriented, subsets};
use crate::context::Context;
use crate::error::Result;
use crate::numeric::random::{Random, SEED};
use crate::numeric::robust::{deviation_per_median, median, untruncated};
use crate::primitive::Point3;

/// A shape near the points that belong, and which do not.
#[derive(Debug, Clone)]
pub(crate) struct Separated<M> {
    pub(crate) shape: M,
    /// Standard deviation of the points that belong, scaled.
    pub(crate) deviation: f64,
    /// Distance beyond which points were left out, scaled; infinite if none were.
    pub(crate) cut: f64,
    /// By point; empty if all belong.
    pub(crate) rejected: Vec<bool>,
}

/// Whether there are enough points to tell gross outliers from the others.
pub(crate) fn redundant<M: Model<N>, const N: usize>(points: usize) -> bool {
    points * M::RESIDUALS >= REDUNDANCY * N
}

/// Separates the points that belong from those that do not.
pub(crate) fn separate<M: Model<N>, const N: usize>(
    data: &mut Data<'_>,
    sample: &Sample,
    context: Option<&Context>,
) -> Result<Separated<M>> {
    let (shape, deviation) = search::<M, N>(data, sample)?;
    let mut scaled = data.chosen(&sample.points);
    let start = match blameless(&scaled, shape, deviation)? {
        Some(found) => found,
        None => {
            let start = Separated { shape, deviation, cut: f64::INFINITY, rejected: Vec::new() };
            settle(&mut scaled, start, context)?
        }
    };
    // The sample's points are in an order of their own.
    settle(data, Separated { rejected: Vec::new(), ..start }, context)
}

/// Plain least squares of all points, if nothing speaks against it: no tail too heavy, and a scatter
/// that chance explains beside that of the best half. Without this step the best half of few points
/// would too often look like all there is.
fn blameless<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shape: M,
    deviation: f64,
) -> Result<Option<Separated<M>>> {
    let solution = solve(data, shape, &Weight::One, POLISH_PASSES, None)?;
    let spare = (data.len() * M::RESIDUALS).saturating_sub(N).max(1) as f64;
    let all = (solution.factor.cost / spare).sqrt().max(FLOOR * data.rounding);
    let usual = all <= deviation * (1.0 + SCATTER / spare.sqrt() + SCATTER_FEW / spare);
    let clean = usual && histogram(data, &solution.shape, all).cut(M::RESIDUALS).is_infinite();
    Ok(clean.then(|| Separated {
        shape: solution.shape,
        deviation: all,
        cut: f64::INFINITY,
        rejected: Vec::new(),
    }))
}

/// Repeats cut and least squares until the cut no longer changes. The deviation is that of the
/// points kept, made good for the cut: points that lie as evenly up to the cut as if there were more
/// of them behind it widen it, so that a start on too small a part of good data heals.
fn settle<M: Model<N>, const N: usize>(
    data: &mut Data<'_>,
    start: Separated<M>,
    context: Option<&Context>,
) -> Result<Separated<M>> {
    let mut now = start;
    for round in 0..ROUNDS {
        let cut = histogram(data, &now.shape, now.deviation).cut(M::RESIDUALS) * now.deviation;
        let rejected = if cut.is_finite() { beyond(data, &now.shape, cut) } else { Vec::new() };
        let same = changes(&now.rejected, &rejected) <= data.len() / 10_000;
        (now.cut, now.rejected) = (cut, rejected);
        if round > 0 && same {
            break;
        }
        let (weight, kept) = if now.rejected.is_empty() {
            (Weight::One, data.len())
        } else {
            data.recentre(&now.rejected);
            let kept = now.rejected.iter().filter(|r| !**r).count();
            (Weight::Kept(&now.rejected), kept)
        };
        // Where a sample was settled before, the shape has no way to go.
        let passes = if data.len() > MANY { 1 } else { PASSES };
        let solution = solve(data, now.shape, &weight, passes, context)?;
        let spare = (kept * M::RESIDUALS).saturating_sub(N).max(1) as f64;
        let inside = (solution.factor.cost / spare).sqrt();
        let deviation = untruncated(inside, cut, M::RESIDUALS);
        now.shape = solution.shape;
        now.deviation = if deviation.is_finite() { deviation } else { WIDEN * cut };
        now.deviation = now.deviation.max(FLOOR * data.rounding);
    }
    Ok(now)
}

fn changes(old: &[bool], new: &[bool]) -> usize {
    match (old.is_empty(), new.is_empty()) {
        (true, _) => new.iter().filter(|r| **r).count(),
        (_, true) => old.iter().filter(|r| **r).count(),
        _ => old.iter().zip(new).filter(|(a, b)| a != b).count(),
    }
}

/// The best shape of the search and the scale of its residuals. Where it leaves out much of a shape that
/// starts from estimated normals, it is repeated with more effort: a good start is then rare.
fn search<M: Model<N>, const N: usize>(data: &Data<'_>, sample: &Sample) -> Result<(M, f64)> {
    let oriented = oriented::<M, N>(sample);
    let found = attempt::<M, N>(data, sample, &oriented, 1)?;
    if !M::ORIENTED {
        return Ok(found);
    }
    let mut buffer = Vec::new();
    distances(&found.0, &sample.points, &mut buffer);
    let far = buffer.iter().filter(|d| **d > CAP * found.1).count();
    if far as f64 <= FEW * buffer.len() as f64 {
        return Ok(found);
    }
    attempt::<M, N>(data, sample, &oriented, EFFORT)
}

/// One search; `effort` multiplies the subsets tried and the candidates kept.
fn attempt<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    sample: &Sample,
    oriented: &Sample,
    effort: usize,
) -> Result<(M, f64)> {
    let small = sample.first(SMALL);
    let points = data.chosen(&small.points);
    let floor = FLOOR * data.rounding;
    let refined =
        promising::<M, N>(&points, &small, oriented, effort).into_par_iter().map(|mut shape| {
            let mut buffer = Vec::new();
            for _ in 0..REFINEMENTS {
                let cut = CUT_OFF * scale(&shape, &small.points, floor, &mut buffer);
                shape = solve(&points, shape, &Weight::Biweight(cut), REFINE_PASSES, None)?.shape;
            }
            Ok((scale(&shape, &small.points, floor, &mut buffer), shape))
        });
    let refined = refined.collect::<Result<Vec<(f64, M)>>>()?;
    let deviation = refined.iter().map(|r| r.0).fold(f64::INFINITY, f64::min);
    let whole = data.chosen(&sample.points);
    let weight = Weight::Biweight(CUT_OFF * deviation);
    let mut buffer = Vec::new();
    // On all of the sample: among few points chance can make a neighbour look the larger part.
    let scored = refined.into_iter().map(|(_, shape)| {
        distances(&shape, &sample.points, &mut buffer);
        (buffer.iter().map(|d| (d / deviation).min(CAP).powi(2)).sum::<f64>(), shape)
    });
    let scored = scored.collect();
    let found =
        best(scored, |shape| Ok(judged(&solve(&whole, shape, &weight, POLISH_PASSES, None)?)))?;
    let shape = found.ok_or_else(hopeless::<M, N>)?;
    Ok((shape, scale(&shape, &sample.points, floor, &mut buffer)))
}

/// Standard deviation that the median distance of the points says, at least `floor`.
fn scale<M: Model<N>, const N: usize>(
    shape: &M,
    points: &[Point3],
    floor: f64,
    buffer: &mut Vec<f64>,
) -> f64 {
    distances(shape, points, buffer);
    let factor = deviation_per_median(M::RESIDUALS) * small_sample::<M, N>(points.len());
    (median(buffer) * factor).max(floor)
}

/// Candidates with the smallest median distance: the best of all points' and the best of subsets'.
fn promising<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    small: &Sample,
    oriented: &Sample,
    effort: usize,
) -> Vec<M> {
    let kept = KEPT * effort;
    let mut out = pick::<M, N>(data, candidates(data, small, oriented), small, kept);
    let pool = if M::ORIENTED { oriented } else { small };
    out.extend(pick::<M, N>(data, subsets(data, pool, effort * effort), small, kept));
    if M::ORIENTED {
        out.extend(pick::<M, N>(data, fanned(data, small), small, kept));
        out.extend(pick::<M, N>(data, bent(data, small, oriented), small, kept));
    }
    out.extend(pick::<M, N>(data, on_planes(data, small), small, kept));
    out
}

/// The `count` shapes with the smallest median distance, from the smallest.
fn pick<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shapes: Vec<M>,
    small: &Sample,
    count: usize,
) -> Vec<M> {
    let mut buffer = Vec::new();
    let mut scored = Vec::with_capacity(shapes.len());
    for shape in obeying(shapes, data, &small.points) {
        distances(&shape, &small.points, &mut buffer);
        let value = median(&mut buffer);
        if value.is_finite() {
            scored.push((value, shape));
        }
    }
    scored.sort_by(|a, b| a.0.total_cmp(&b.0));
    scored.into_iter().take(count).map(|s| s.1).collect()
}

/// Shapes through random subsets for each direction of the fan, for data without usable normals.
fn fanned<M: Model<N>, const N: usize>(data: &Data<'_>, small: &Sample) -> Vec<M> {
    let mut random = Random::new(SEED);
    let mut ids = vec![0; M::MINIMUM];
    let mut out = Vec::new();
    let fan = axes(&data.held, &small.points);
    // As many trials for fewer axes.
    let trials = TRIALS_PER_AXIS * (FAN + 3).div_ceil(fan.len().max(1));
    for axis in fan {
        for _ in 0..trials {
            random.choose(small.points.len(), &mut ids);
            let points: Vec<_> = ids.iter().map(|&i| small.points[i]).collect();
            out.extend(M::along(&points, &axis));
        }
    }
    out
}

/// Correction of the median's scale for few points (Rousseeuw, Leroy 1987).
fn small_sample<M: Model<N>, const N: usize>(points: usize) -> f64 {
    let spare = (points * M::RESIDUALS).saturating_sub(N).max(1);
    1.0 + 5.0 / spare as f64
}

/// Residuals for each freedom from which on outliers are looked for.
const REDUNDANCY: usize = 4;
/// Points of the search.
const SMALL: usize = 512;
/// Candidates kept of each sort.
const KEPT: usize = 8;
/// Share of points far from the shape found up to which one search is enough.
const FEW: f64 = 0.15;
/// How many times more candidates are kept in the second search; subsets grow with its square.
const EFFORT: usize = 3;
/// Random subsets for each direction of the fan.
const TRIALS_PER_AXIS: usize = 6;
/// Rounds of scale and loss for a candidate.
const REFINEMENTS: usize = 3;
/// Iterations in one such round.
const REFINE_PASSES: usize = 5;
/// Iterations of the best candidates.
const POLISH_PASSES: usize = 60;
/// Cut-off of the biweight in standard deviations: half of the points may be outliers (Rousseeuw,
/// Yohai 1984, Robust regression by means of S-estimators).
const CUT_OFF: f64 = 1.547;
/// Distance in standard deviations beyond which all outliers count alike.
const CAP: f64 = 3.0;
/// How much more all points of good data may scatter than the best half says, times the root of the
/// spare points.
const SCATTER: f64 = 6.0;
/// The same for very few spare points, times their number.
const SCATTER_FEW: f64 = 15.0;
/// Rounds of cut and least squares.
const ROUNDS: usize = 10;
/// Iterations between two cuts.
const PASSES: usize = 2;
/// Deviation, as a part of the cut, when the points kept show no end: the cut more than doubles.
const WIDEN: f64 = 1.0;
/// Points from which on one iteration between two cuts is enough.
const MANY: usize = 50_000;
/// Smallest standard deviation, in roundings of a coordinate.
const FLOOR: f64 = 8.0;
