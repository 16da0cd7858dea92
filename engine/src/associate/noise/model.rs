//! The noise of a scan, pooled from the fits to its surfaces: what a large face shows of slow noise
//! holds for the small hole in it too, whose own residuals cannot show it.

use std::f64::consts::TAU;

use super::field::Correlation;

/// How the noise of a scan hangs together, as weights over suppositions.
#[derive(Debug, Clone, PartialEq)]
pub struct NoiseModel {
    /// Weight of independent noise alone.
    pub(crate) white: f64,
    /// Weights of the smooth fields.
    pub(crate) fields: Vec<Weights>,
    /// How large it is altogether.
    pub(crate) size: Size,
}

/// What one fit's residuals say of the noise of its scan; see [`NoiseModel::pooled`].
#[derive(Debug, Clone, PartialEq)]
pub struct NoiseRecord {
    /// Logarithm of the likelihood ratio against independent noise, for each field looked at.
    pub(crate) fields: Vec<Weights>,
    /// How large the noise is altogether.
    pub(crate) size: Size,
}

/// A variance.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct Size {
    /// Of one point, mm².
    pub(crate) variance: f64,
    /// Degrees of freedom that show it.
    pub(crate) freedoms: f64,
}

/// A kind of field with a value for each of the [`ratios`].
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Weights {
    /// Its length is 2^(step / 4) mm.
    pub(crate) step: i32,
    pub(crate) rough: bool,
    /// First ratio that makes a difference to the data it was judged by.
    pub(crate) first: usize,
    /// Ratio from which on the data it was judged by would not show it.
    pub(crate) last: usize,
    pub(crate) by_ratio: Vec<f64>,
}

impl NoiseModel {
    /// The noise that the fits to surfaces of one scan agree on; `None` if none of them saw it.
    #[must_use]
    pub fn pooled<'a>(records: impl IntoIterator<Item = &'a NoiseRecord>) -> Option<Self> {
        let mut total: Vec<Weights> = Vec::new();
        let mut size = Size::default();
        for record in records {
            size = size.pooled(record.size);
            for field in &record.fields {
                let same = |t: &&mut Weights| (t.step, t.rough) == (field.step, field.rough);
                match total.iter_mut().find(same) {
                    Some(sum) => {
                        sum.by_ratio.iter_mut().zip(&field.by_ratio).for_each(|(a, b)| *a += b);
                        sum.first = sum.first.min(field.first);
                        sum.last = sum.last.max(field.last);
                    }
                    None => total.push(field.clone()),
                }
            }
        }
        total.sort_by_key(|t| (t.step, t.rough));
        size.freedoms = size.freedoms.min(ALIKE);
        (!total.is_empty()).then(|| NoiseModel { size, ..Self::weighed(total) })
    }

    /// Noise known to be independent from point to point.
    #[must_use]
    pub fn independent() -> Self {
        NoiseModel { white: 1.0, fields: Vec::new(), size: Size::default() }
    }

    /// Weights from logarithms of likelihood ratios; beforehand independent noise is believed three
    /// times as much as all smooth fields together, of which rough ones are a third.
    pub(crate) fn weighed(mut fields: Vec<Weights>) -> Self {
        let counted = |f: &Weights| f.last - f.first;
        let count = |rough: bool| {
            fields.iter().filter(|f| f.rough == rough).map(counted).sum::<usize>().max(1) as f64
        };
        let prior = [SMOOTH * (1.0 - ROUGH) / count(false), SMOOTH * ROUGH / count(true)];
        let values = fields.iter().flat_map(|f| &f.by_ratio[f.first..f.last]);
        let largest = values.copied().fold(0.0, f64::max);
        let white = (-largest).exp();
        let mut sum = white;
        for field in &mut fields {
            field.by_ratio[..field.first].fill(0.0);
            field.by_ratio[field.last..].fill(0.0);
            for value in &mut field.by_ratio[field.first..field.last] {
                *value = prior[usize::from(field.rough)] * (*value - largest).exp();
                sum += *value;
            }
        }
        fields.iter_mut().flat_map(|f| &mut f.by_ratio).for_each(|v| *v /= sum);
        fields.retain(|f| f.by_ratio.iter().any(|w| *w > NEGLIGIBLE));
        NoiseModel { white: white / sum, fields, size: Size::default() }
    }

    /// How many times larger than by counting points the variance of something is that depends on all of
    /// `count` points alike that lie `spacing` mm apart on a surface: the sum of a point's correlations
    /// with the others, averaged over the suppositions.
    pub(crate) fn inflation(&self, spacing: f64, count: usize) -> f64 {
        let (mut sum, mut weight) = (self.white, self.white);
        for field in &self.fields {
            let neighbours = (TAU * (length(field.step) / spacing).powi(2)).min(count as f64);
            for (ratio, w) in ratios().zip(&field.by_ratio) {
                let share = ratio / (1.0 + ratio);
                sum += w * (1.0 + share * (neighbours - 1.0).max(0.0));
                weight += w;
            }
        }
        if weight > 0.0 { sum / weight } else { 1.0 }
    }

    /// Lengths that matter, as steps, ascending.
    pub(crate) fn steps(&self) -> Vec<i32> {
        let mut steps: Vec<i32> = self.fields.iter().map(|f| f.step).collect();
        steps.sort_unstable();
        steps.dedup();
        steps
    }

    /// Weights of a field by ratio, if it matters.
    pub(crate) fn of(&self, field: &Correlation) -> Option<&Vec<f64>> {
        let same = |f: &&Weights| (f.step, f.rough) == (field.step, field.rough);
        self.fields.iter().find(same).map(|f| &f.by_ratio)
    }
}

impl Size {
    /// The variance that two findings agree on.
    pub(crate) fn pooled(self, other: Size) -> Size {
        let freedoms = self.freedoms + other.freedoms;
        let sum = self.variance * self.freedoms + other.variance * other.freedoms;
        Size { variance: if freedoms > 0.0 { sum / freedoms } else { 0.0 }, freedoms }
    }
}

/// Length of a step of the grid, mm.
pub(crate) fn length(step: i32) -> f64 {
    (0.25 * f64::from(step)).exp2()
}

/// Last step of the grid whose length is not above this, mm.
pub(crate) fn step_below(length: f64) -> i32 {
    (4.0 * length.log2()).floor().clamp(-120.0, 120.0) as i32
}

/// Variances of the smooth field that are supposed, over that of the independent noise.
pub(crate) fn ratios() -> impl Iterator<Item = f64> {
    (-14..=12).map(|k| f64::from(k).exp2())
}

/// Ratio above which a field is supposed only where most of it would show.
pub(crate) const STRONG: f64 = 64.0;
/// Belief in smooth fields beforehand, over that in independent noise: with more, deviations stated
/// for independent noise come out a fifth too large.
const SMOOTH: f64 = 1.0 / 3.0;
/// Part of the belief in smooth fields that is given to rough ones.
const ROUGH: f64 = 1.0 / 3.0;
/// Degrees of freedom that what other surfaces show of the noise's size is believed for: it differs from
/// surface to surface by about an eighth.
const ALIKE: f64 = 30.0;
/// Weight that makes no difference.
const NEGLIGIBLE: f64 = 1e-6;
