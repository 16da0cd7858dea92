//! What constraints cost: the same points fitted free, and the F test of the difference (Draper,
//! Smith 1998, Applied Regression Analysis, 1.3).

use super::ConstraintCost;
use nalgebra::SMatrix;

use super::data::{Data, Sample};
use super::determined::{self, Deviations};
use super::held::Held;
use super::model::Model;
use super::pass::Weight;
use super::solve::{Solution, solve};
use crate::context::Context;
use crate::error::Result;
use crate::numeric::distribution::f_upper_tail;

/// Cost of the data's constraints, `None` if there are none; `sigma` is the scatter of the
/// constrained fit, scaled.
pub(crate) fn of<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    sample: &Sample,
    constrained: &Solution<M, N>,
    weight: &Weight<'_>,
    sigma: f64,
    worth: f64,
    context: Option<&Context>,
) -> Result<Option<ConstraintCost>> {
    let freedoms = data.held.freedoms;
    if freedoms == 0 {
        return Ok(None);
    }
    let mut cost =
        ConstraintCost { freedoms, free_sigma: None, sigma: sigma * data.scale, probability: None };
    let kept = match weight {
        Weight::Kept(rejected) => rejected.iter().filter(|r| !**r).count(),
        Weight::One | Weight::Biweight(_) => data.len(),
    };
    let spare = (kept * M::RESIDUALS).saturating_sub(N);
    let mut free = *data;
    free.held = Held::default();
    let free = solve(&free, constrained.shape, weight, PASSES, context)?;
    let variance = (free.factor.cost / spare.max(1) as f64).max(data.rounding.powi(2));
    let determined = determined::inverse(&free).is_ok_and(|inverse| {
        let white = SMatrix::identity() * variance;
        let deviations = Deviations::new(&inverse, &white, variance.sqrt());
        determined::check(&free, &deviations, sample, f64::INFINITY).is_ok()
    });
    if spare == 0 || !determined {
        return Ok(Some(cost));
    }
    // What the cut took from the scatter of one fit it took from the other too.
    let own = constrained.factor.cost / (spare + freedoms) as f64;
    cost.free_sigma = Some(cost.sigma * (variance / own.max(data.rounding.powi(2))).sqrt());
    let more = (constrained.factor.cost - free.factor.cost).max(0.0) / freedoms as f64;
    cost.probability =
        Some(f_upper_tail(worth * more / variance, freedoms as f64, worth * spare as f64));
    Ok(Some(cost))
}

/// Most passes of the free fit.
const PASSES: usize = 100;
