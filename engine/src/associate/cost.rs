//! What constraints cost: the same points fitted free, and the F test of the difference (Draper,
//! Smith 1998, Applied Regression Analysis, 1.3).

use super::ConstraintCost;
use nalgebra::SMatrix;

use super::data::{Data, Sample};
use super::determined::{self, Deviations};
use super::held::Held;
use super::model::Model;
use super::noise::{self, Before};
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
    before: &Before<'_, N>,
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
    let mut unheld = *data;
    unheld.held = Held::default();
    let free = solve(&unheld, constrained.shape, weight, PASSES, context)?;
    let variance = (free.factor.cost / spare.max(1) as f64).max(data.rounding.powi(2));
    let inverse = determined::inverse(&free).ok().filter(|inverse| {
        let white = SMatrix::identity() * variance;
        let deviations = Deviations::new(inverse, &white, variance.sqrt());
        determined::check(&free, &deviations, sample, f64::INFINITY).is_ok()
    });
    let Some(inverse) = inverse.filter(|_| spare > 0) else { return Ok(Some(cost)) };
    // Points that share their noise are worth fewer in a test too. The free fit's residuals say how
    // many: what a false constraint leaves in the others looks shared.
    let (point, spare) = (variance.sqrt(), spare as f64);
    let alone = Before { inverse: &inverse, inside: point, point, spare, ..*before };
    let noise = noise::examine(&unheld, sample, &free, &alone);
    let worth = (noise.effective / (kept * M::RESIDUALS) as f64).min(1.0);
    // What the cut took from the scatter of one fit it took from the other too.
    let own = constrained.factor.cost / (spare + freedoms as f64);
    cost.free_sigma = Some(cost.sigma * (variance / own.max(data.rounding.powi(2))).sqrt());
    let more = (constrained.factor.cost - free.factor.cost).max(0.0) / freedoms as f64;
    cost.probability = Some(f_upper_tail(worth * more / variance, freedoms as f64, worth * spare));
    Ok(Some(cost))
}

/// Most passes of the free fit.
const PASSES: usize = 100;
