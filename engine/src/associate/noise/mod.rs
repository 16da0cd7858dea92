//! What the residuals of a fit say of the noise: how far it hangs together, what that makes of the
//! uncertainty, and whether the shape is the right one at all.
//!
//! Noise of a scan is common to neighbouring points, so a thousand points are worth fewer. The
//! covariance of the parameters is that of least squares under the correlation found: (JᵀJ)⁻¹ Jᵀ C J
//! (JᵀJ)⁻¹ (JCGM 100 (GUM), 5.2), widened for the degrees of freedom so that two standard deviations
//! hold 95.45 % (GUM, G.3).

mod cells;
mod evidence;
mod field;
mod model;
mod patterns;
mod restored;

pub use evidence::Evidence;
pub use model::{NoiseModel, NoiseRecord};

use nalgebra::{DMatrix, SMatrix};
use rayon::prelude::*;

use super::data::{Data, Sample};
use super::model::Model;
use super::solve::Solution;
use crate::numeric::distribution::widening;
use cells::Cells;
use field::{Contrasts, Correlation, Judged, weighted};
use model::{STRONG, Size, Weights, ratios, step_below};
use restored::Combinations;

/// What was found.
pub(crate) struct Findings<const N: usize> {
    /// Covariance of the freedoms in units in which that of white noise of variance 1 is the identity,
    /// scaled².
    pub(crate) covariance: SMatrix<f64, N, N>,
    /// Deviation of the independent part, scaled.
    pub(crate) white: f64,
    /// Deviation of the smooth part, scaled.
    pub(crate) smooth: f64,
    /// Length of the smooth part, mm; zero where none shows.
    pub(crate) length: f64,
    /// Independent points that would determine the shape as well.
    pub(crate) effective: f64,
    /// How the shape stands against its neighbours.
    pub(crate) evidence: Vec<Evidence>,
    /// For pooling with other fits to the same scan.
    pub(crate) record: Option<NoiseRecord>,
}

/// What is known of a solution before its residuals are looked at; scaled.
pub(crate) struct Before<'a, const N: usize> {
    /// Inverse of the solution's triangle, by column.
    pub(crate) inverse: &'a [[f64; N]; N],
    /// By point; empty if all belong.
    pub(crate) rejected: &'a [bool],
    /// Distance beyond which points were left out.
    pub(crate) cut: f64,
    /// Standard deviation of a point's residual as it is, and made good for the cut.
    pub(crate) inside: f64,
    pub(crate) point: f64,
    /// Degrees of freedom of the residuals.
    pub(crate) spare: f64,
    /// Noise of the scan, if it is known.
    pub(crate) known: Option<&'a NoiseModel>,
}

/// Examines the residuals of a solution.
pub(crate) fn examine<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    sample: &Sample,
    solution: &Solution<M, N>,
    before: &Before<'_, N>,
) -> Findings<N> {
    // Residuals that are rounding say nothing of noise.
    let rounding = before.inside <= ROUNDING * data.rounding;
    let cells = if rounding || before.spare < LEAST {
        None
    } else {
        cells::sum(data, sample, &solution.shape, before.rejected, before.cut)
    };
    let Some(mut cells) = cells else { return white(before) };
    let (rows, explained) = whitened(&mut cells, before.inverse);
    let free = rows.columns(0, N).into_owned();
    let contrasts = Contrasts::new(&cells, &free);
    let beliefs = Beliefs::form(&cells, contrasts.as_ref(), before, data.scale);
    let left = &cells.patterns - explained.tr_mul(&explained);
    let evidence = evidence::against(M::KIND, &cells, &left, before.inside, data.scale, |white| {
        // What chance explains in independent noise it explains in any: the pattern may stay in.
        let own = (white < SUSPECT).then(|| Contrasts::new(&cells, &rows)).flatten();
        let beliefs = match &own {
            Some(own) => &Beliefs::form(&cells, Some(own), before, data.scale),
            None => &beliefs,
        };
        let patterns = rows.columns(N, rows.ncols() - N).into_owned();
        let carried = beliefs.carried(&weighted(&cells, &patterns), &left);
        let freedoms =
            own.as_ref().or(contrasts.as_ref()).map_or(before.spare, Contrasts::freedoms);
        (beliefs.independent, carried, freedoms)
    });
    beliefs.findings(&cells, &free, before, evidence)
}

/// Independent noise, for want of anything better.
pub(crate) fn white<const N: usize>(before: &Before<'_, N>) -> Findings<N> {
    Findings {
        covariance: SMatrix::identity() * (before.point * widening(before.spare)).powi(2),
        white: before.point,
        smooth: 0.0,
        length: 0.0,
        effective: before.spare + N as f64,
        evidence: Vec::new(),
        record: None,
    }
}

/// Rows of the whitened derivatives beside the patterns less what the freedoms explain of them, and
/// the products of whitened derivatives and patterns. What a part of the points would have of the
/// freedoms goes out of the patterns' sums with the residuals.
fn whitened<const N: usize>(
    cells: &mut Cells,
    inverse: &[[f64; N]; N],
) -> (DMatrix<f64>, DMatrix<f64>) {
    let inverse = DMatrix::from_fn(N, N, |i, j| inverse[j][i] / cells.share.sqrt());
    let mut out = cells.derivatives.clone();
    let free = cells.derivatives.columns(0, N) * &inverse;
    let explained = inverse.tr_mul(&cells.crossed);
    cells.projected -= explained.tr_mul(&inverse.tr_mul(&cells.pull));
    let patterns = out.ncols() - N;
    let cleaned = out.columns(N, patterns) - &free * &explained;
    out.columns_mut(0, N).copy_from(&free);
    out.columns_mut(N, patterns).copy_from(&cleaned);
    (out, explained)
}

/// What the noise is taken to be: a mean over suppositions.
struct Beliefs {
    /// Fields with the variance each is expected to have, widened for the degrees of freedom it shows in.
    fields: Vec<(Correlation, f64)>,
    /// Expected variance of the independent part, widened likewise.
    independent: f64,
    /// Expected variance of all fields, as it is.
    smooth: f64,
    /// Expected logarithm of the length, steps, where there is a field; and the belief in one.
    length: (f64, f64),
    record: Option<NoiseRecord>,
}

impl Beliefs {
    fn form<const N: usize>(
        cells: &Cells,
        contrasts: Option<&Contrasts<'_>>,
        before: &Before<'_, N>,
        scale: f64,
    ) -> Self {
        let steps = before.known.map_or_else(|| steps(cells, scale), NoiseModel::steps);
        let fields = Correlation::all(cells, &steps, scale);
        let judged: Vec<Vec<Judged>> = match contrasts {
            Some(contrasts) => fields.par_iter().map(|f| contrasts.judge(f)).collect(),
            None => fields.iter().map(|f| unjudged(f, before.inside)).collect(),
        };
        let base = contrasts.map_or(0.0, Contrasts::white);
        let mean = cells.count.iter().sum::<f64>() / cells.count.len() as f64;
        let likelihood = |(f, judged): (&Correlation, &Vec<Judged>)| {
            let count = |below: &dyn Fn(f64) -> bool| ratios().take_while(|r| below(*r)).count();
            let first = count(&|r| r * mean * (1.0 - f.apart) < FELT).min(judged.len() - 1);
            // What the fit would swallow whole is not ruled out by its residuals, however strong.
            let left = contrasts.map_or(0.0, |c| c.left(f));
            let last = count(&|r| r <= STRONG || left > MOST).max(first + 1);
            let by_ratio = judged.iter().map(|j| j.log - base).collect();
            Weights { step: f.step, rough: f.rough, first, last, by_ratio }
        };
        let likelihoods: Vec<Weights> = fields.iter().zip(&judged).map(likelihood).collect();
        let own;
        let model = match before.known {
            Some(model) => model,
            None => {
                own = NoiseModel::weighed(likelihoods.clone());
                &own
            }
        };
        let mut out = Beliefs {
            fields: Vec::new(),
            independent: model.white * before.inside.powi(2),
            smooth: 0.0,
            length: (0.0, 0.0),
            record: None,
        };
        let mut freedoms = model.white * before.spare;
        for (field, judged) in fields.into_iter().zip(&judged) {
            let Some(weights) = model.of(&field) else { continue };
            let mut carried = 0.0;
            for ((ratio, weight), judged) in ratios().zip(weights).zip(judged) {
                // What the scan's other surfaces show of the size counts beside what this one does.
                let size = Size { variance: judged.variance, freedoms: judged.freedoms };
                let variance = model.size.variance / (1.0 + ratio) / (scale * scale);
                let size = size.pooled(Size { variance, ..model.size });
                let variance = weight * size.variance;
                out.independent += variance;
                out.smooth += ratio * variance;
                carried += ratio * variance * widening(size.freedoms).powi(2);
                freedoms += weight * judged.freedoms;
                out.length.0 += weight * f64::from(field.step);
                out.length.1 += weight;
            }
            out.fields.push((field, carried));
        }
        let variance = (out.independent + out.smooth) * scale * scale;
        out.record = contrasts
            .map(|_| NoiseRecord { fields: likelihoods, size: Size { variance, freedoms } });
        out.independent *= widening(before.spare).powi(2);
        out
    }

    /// Covariance that the fields make of sums over all points; see [`Combinations::new`].
    fn carried(&self, rows: &DMatrix<f64>, total: &DMatrix<f64>) -> DMatrix<f64> {
        Combinations::new(rows, total).under(&self.fields)
    }

    fn findings<const N: usize>(
        &self,
        cells: &Cells,
        free: &DMatrix<f64>,
        before: &Before<'_, N>,
        evidence: Vec<Evidence>,
    ) -> Findings<N> {
        let carried = self.carried(&weighted(cells, free), &DMatrix::identity(N, N));
        let mut covariance = SMatrix::<f64, N, N>::identity() * self.independent;
        covariance += carried.fixed_view::<N, N>(0, 0) / cells.share;
        let smooth = self.smooth;
        let mean = covariance.trace() / N as f64;
        let effective = (before.spare + N as f64) * (self.independent + smooth) / mean;
        // What was cut away of the scatter is missing from the residuals.
        let whole = before.point / before.inside;
        let shows = self.length.1 > 0.5;
        Findings {
            covariance: covariance * whole.powi(2),
            white: (if shows { self.independent } else { self.independent + smooth }).sqrt()
                * whole,
            smooth: if shows { smooth.sqrt() * whole } else { 0.0 },
            length: if shows { (0.25 * self.length.0 / self.length.1).exp2() } else { 0.0 },
            effective,
            evidence,
            record: self.record.clone(),
        }
    }
}

/// All ratios alike, for want of contrasts; the variance of the independent part from the scatter.
fn unjudged(field: &Correlation, inside: f64) -> Vec<Judged> {
    let judged = |ratio| Judged {
        log: 0.0,
        variance: inside * inside / (1.0 + ratio * field.apart),
        freedoms: 1.0,
    };
    ratios().map(judged).collect()
}

/// Lengths that these cells can tell: from the points' own spacing to a third of the extent; to suppose
/// longer ones, of which the fit itself leaves little, overstates independent noise.
fn steps(cells: &Cells, scale: f64) -> Vec<i32> {
    let mean = cells.count.iter().sum::<f64>() / cells.count.len() as f64;
    let spacing = cells.pitch / mean.powf(1.0 / f64::from(cells.dimensions));
    let [low, high, fine] =
        [spacing, LONGEST * cells.reach, FINE * cells.pitch].map(|x| step_below(x * scale));
    // Within a cell an octave makes little difference.
    (low.max(high - STEPS)..=high).filter(|step| *step >= fine || step % 4 == 0).collect()
}

/// Residuals for each rounding of a coordinate from which on they are taken for noise.
const ROUNDING: f64 = 1e3;
/// Degrees of freedom from which on correlation is looked for.
const LEAST: f64 = 12.0;
/// Probability under independent noise below which a pattern is tested with its own noise.
const SUSPECT: f64 = 0.05;
/// Variance of a field in a cell's mean, over that of the independent noise, from which on it counts.
const FELT: f64 = 0.25;
/// Share of a field that the fit must leave for more than [`STRONG`] ones to be supposed.
const MOST: f64 = 0.5;
/// Longest correlation looked for, as a part of the data's extent.
const LONGEST: f64 = 0.3;
/// Length, in sides of a cell, below which the grid of lengths is coarser.
const FINE: f64 = 0.25;
/// Steps that the grid of lengths reaches down from its longest.
const STEPS: i32 = 40;
