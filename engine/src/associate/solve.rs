//! Levenberg-Marquardt with final plain Gauss-Newton steps, on any shape and weight.
//!
//! Stops on the step, never on the cost: the cost is flat at its minimum, and a test on it leaves
//! half of the digits behind (Madsen, Nielsen, Tingleff 2004, Methods for non-linear least squares problems).

use super::data::Data;
use super::held::Basis;
use super::model::Model;
use super::pass::{Weight, system};
use crate::context::Context;
use crate::error::Result;
use crate::numeric::qr::Factor;

/// Where an iteration ended.
#[derive(Debug, Clone)]
pub(crate) struct Solution<M, const N: usize> {
    pub(crate) shape: M,
    /// System at the shape.
    pub(crate) factor: Factor<N>,
    /// Steps that the constraints leave; `None` if there are no constraints.
    pub(crate) basis: Option<Basis<N>>,
    pub(crate) iterations: usize,
    pub(crate) converged: bool,
}

impl<M, const N: usize> Solution<M, N> {
    /// Root of the inverse normal matrix of the steps allowed, by column.
    pub(crate) fn inverse(&self) -> Option<[[f64; N]; N]> {
        self.basis.map_or_else(|| self.factor.inverse(), |b| b.inverse(&self.factor))
    }

    /// Condition and weakest combination of the steps allowed.
    pub(crate) fn condition(&self) -> (f64, [f64; N]) {
        self.basis.map_or_else(|| self.factor.condition(), |b| b.condition(&self.factor))
    }

    fn step(&self, damping: f64) -> Option<[f64; N]> {
        self.basis.map_or_else(|| self.factor.step(damping), |b| b.step(&self.factor, damping))
    }
}

/// Brings a shape to the nearest minimum on the data's constraints in at most `limit` passes.
pub(crate) fn solve<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    start: M,
    weight: &Weight<'_>,
    limit: usize,
    context: Option<&Context>,
) -> Result<Solution<M, N>> {
    let held = &data.held;
    let shape = held.applied(start).near(&data.middle);
    let (factor, basis) = (system(data, &shape, weight), held.basis(&shape));
    let mut at = Solution { shape, factor, basis, iterations: 0, converged: false };
    let (mut damping, mut last) = (0.0, f64::INFINITY);
    while at.iterations < limit && damping <= DAMPING_LIMIT {
        if let Some(context) = context {
            context.check()?;
        }
        let Some(step) = at.step(damping) else {
            damping = raised(damping);
            continue;
        };
        let motion = at.shape.frame().motion(&M::FREE, &step);
        let shape = held.applied(at.shape.moved(&motion)).near(&data.middle);
        let factor = system(data, &shape, weight);
        at.iterations += 1;
        let size = step.iter().map(|s| s * s).sum::<f64>().sqrt();
        // Close to the minimum the cost is only rounding and no judge any more.
        let close = size < CLOSE * extent(&at.shape);
        if !(factor.cost < at.factor.cost || close && factor.cost.is_finite()) {
            damping = raised(damping);
            last = f64::INFINITY;
            continue;
        }
        (at.shape, at.factor, at.basis) = (shape, factor, held.basis(&shape));
        if damping == 0.0 {
            if arrived(size, last, limit_of(data, &at)) {
                at.converged = true;
                break;
            }
            last = size;
        } else {
            damping = if close || damping < DAMPING_LOW { 0.0 } else { damping / 8.0 };
            last = f64::INFINITY;
        }
    }
    Ok(at)
}

/// Whether the distance still to go, judged from the last two steps, is below the limit.
fn arrived(size: f64, last: f64, limit: f64) -> bool {
    let rate = if last.is_finite() { size / last } else { 1.0 };
    let ahead = if rate < 1.0 { size * rate / (1.0 - rate) } else { f64::INFINITY };
    // Steps that no longer shrink are rounding, provided they are as small as rounding can make them.
    size <= limit || ahead <= limit || (last.is_finite() && rate > 0.3 && size <= STALL * limit)
}

/// Step below which nothing is gained: rounding, and for many points a hundred-thousandth of the deviation.
fn limit_of<M: Model<N>, const N: usize>(data: &Data<'_>, at: &Solution<M, N>) -> f64 {
    let Some(inverse) = at.inverse() else { return 0.0 };
    let norm = inverse.iter().flatten().map(|x| x * x).sum::<f64>().sqrt();
    let rows = (data.len() * M::RESIDUALS) as f64;
    let rounding = f64::EPSILON * extent(&at.shape) * (1.0 + norm * rows.sqrt());
    if data.len() < MANY {
        return rounding;
    }
    rounding.max(SHARE * norm * (at.factor.cost / rows).sqrt())
}

/// Size of the numbers a shape's residuals are made of, in scaled units.
fn extent<M: Model<N>, const N: usize>(shape: &M) -> f64 {
    1.0 + shape.sizes()[0].abs()
}

pub(crate) fn raised(damping: f64) -> f64 {
    if damping == 0.0 { DAMPING_START } else { damping * 8.0 }
}

/// Step, relative to the shape's size, from which on plain Gauss-Newton steps are taken.
pub(crate) const CLOSE: f64 = 1e-6;
/// First damping after a plain step failed.
const DAMPING_START: f64 = 1e-3;
/// Damping that is dropped altogether.
const DAMPING_LOW: f64 = 1e-4;
/// Damping at which the iteration gives up.
const DAMPING_LIMIT: f64 = 1e9;
/// How many times the rounding estimate a step may be when it stops shrinking.
const STALL: f64 = 64.0;
/// From this many points on the statistical deviation limits the last step.
const MANY: usize = 50_000;
/// Part of the statistical deviation that is not worth another pass.
const SHARE: f64 = 1e-5;
