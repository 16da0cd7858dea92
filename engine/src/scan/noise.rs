//! Noise and spacing from the scan alone.
//!
//! Noise: at sampled points a quadric (six coefficients) is fitted by least squares to the height of the
//! nearest points over their own mean plane; the residual variance of each patch, over its degrees of
//! freedom, follows a chi-square law where the surface is smooth there and lies above it where an edge, an
//! outlier or too tight a curve disturbs. The variance is the one whose chi-square law, cut at its 0.9
//! quantile, has the median of the patches below that cut (quantiles after Wilson, Hilferty 1931, The
//! distribution of chi-square). Patches of several sizes are tried: curvature can only raise the value,
//! so the largest size that agrees with the lowest value counts.

use nalgebra::{SMatrix, SVector};
use rayon::prelude::*;

use super::cloud::least_axis;
use crate::primitive::{Point3, frame_from_axis, unit};

/// Standard deviation normal to the surface, mm. `patch` gives the [`LARGEST`] nearest points of a sampled
/// point, nearest first, fewer where the surface ends.
pub(super) fn estimate(sample: &[u32], patch: impl Fn(u32) -> Vec<Point3> + Sync) -> f64 {
    let patches: Vec<[Option<f64>; SIZES.len()]> = sample
        .par_iter()
        .map(|&id| {
            let patch = patch(id);
            SIZES.map(|size| residual_variance(patch.get(..size)?))
        })
        .collect();
    let of_size = |(i, size): (usize, &usize)| {
        let variances = patches.iter().filter_map(|p| p[i]).collect();
        variance(variances, (size - TERMS) as f64).map(f64::sqrt)
    };
    let values: Vec<f64> = SIZES.iter().enumerate().filter_map(of_size).collect();
    let least = values.iter().copied().reduce(f64::min).unwrap_or(0.0);
    values.into_iter().rev().find(|v| *v <= least * AGREES).unwrap_or(0.0)
}

/// Ids spread over a scan, the same for the same count: all of a small one.
pub(super) fn sample(count: usize) -> Vec<u32> {
    if count <= SAMPLE {
        return (0..count as u32).collect();
    }
    // Multiples of the golden ratio, modulo one, follow no grid of the scanner.
    let place = |i: usize| (i as f64 * 0.618_033_988_749_895).fract();
    let mut ids: Vec<u32> =
        (0..SAMPLE).map(|i| ((place(i) * count as f64) as u32).min(count as u32 - 1)).collect();
    ids.sort_unstable();
    ids.dedup();
    ids
}

/// Median, the lower of the two middle ones.
pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    let middle = values.len().checked_sub(1)? / 2;
    Some(*values.select_nth_unstable_by(middle, f64::total_cmp).1)
}

/// Variance of the residuals about a quadric, mm²; `None` for points that do not determine one.
fn residual_variance(patch: &[Point3]) -> Option<f64> {
    let frame = frame_from_axis(&unit(least_axis(patch))?).inverse();
    let local: Vec<Point3> = patch.iter().map(|p| frame * Point3::from(p - patch[0])).collect();
    let reach = local.iter().map(|p| p.x.hypot(p.y)).fold(0.0, f64::max);
    let terms = |p: &Point3| {
        let (x, y) = (p.x / reach, p.y / reach);
        SVector::<f64, TERMS>::from([1.0, x, y, x * x, x * y, y * y])
    };
    let mut normal = SMatrix::<f64, TERMS, TERMS>::zeros();
    let mut right = SVector::<f64, TERMS>::zeros();
    for p in &local {
        let t = terms(p);
        normal += t * t.transpose();
        right += t * p.z;
    }
    let factor = normal.cholesky()?;
    let diagonal = factor.l_dirty().diagonal();
    if diagonal.min() < ILL * diagonal.max() {
        return None;
    }
    let quadric = factor.solve(&right);
    let squares: f64 = local.iter().map(|p| (p.z - quadric.dot(&terms(p))).powi(2)).sum();
    Some(squares / (patch.len() - TERMS) as f64)
}

/// The variance whose cut chi-square law fits the patches' variances best in the median.
fn variance(mut of_patches: Vec<f64>, freedom: f64) -> Option<f64> {
    if of_patches.len() < FEWEST {
        return None;
    }
    of_patches.sort_by(f64::total_cmp);
    let law = |z: f64| {
        let w = 2.0 / (9.0 * freedom);
        (1.0 - w + z * w.sqrt()).powi(3)
    };
    // Starting from the lower quartile keeps away from what is disturbed, up to most of the patches.
    let mut variance = of_patches[of_patches.len() / 4] / law(Z_25);
    for _ in 0..ROUNDS {
        let cut = variance * law(Z_90);
        let below = of_patches.partition_point(|v| *v <= cut);
        let next = of_patches[below.saturating_sub(1) / 2] / law(Z_45);
        if (next - variance).abs() <= 1e-6 * variance {
            break;
        }
        variance = next;
    }
    Some(variance)
}

/// Points in the largest patch.
pub(super) const LARGEST: usize = 61;
const SIZES: [usize; 4] = [13, 21, 31, LARGEST];
const TERMS: usize = 6;
const SAMPLE: usize = 4000;
const FEWEST: usize = 12;
const AGREES: f64 = 1.03;
const ROUNDS: usize = 200;
/// Quantiles of the normal distribution at 0.25, 0.45 and 0.9.
const Z_25: f64 = -0.674_489_75;
const Z_45: f64 = -0.125_661_35;
const Z_90: f64 = 1.281_551_57;
/// Pivot ratio of points along a line or a conic, which no quadric is determined by.
const ILL: f64 = 1e-3;
