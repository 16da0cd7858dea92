//! Least squares (Gaussian) association: smallest sum of squared orthogonal distances of the points
//! that belong (ISO 14405-1; Forbes 1991, Least-squares best-fit geometric elements, NPL DITC 140/89).

use nalgebra::{SMatrix, SVector};

use super::data::{Data, Sample};
use super::determined::{self, Deviations};
use super::held::Held;
use super::model::Model;
use super::noise::{self, Before};
use super::pass::{self, Weight};
use super::robust::{self, Separated};
use super::solve::solve;
use super::{Covariance, Fit, Input, Request, cost, part, quality, start};
use crate::error::{Error, Result};
use crate::numeric::robust::{deviation_per_median, median, untruncated};
use crate::primitive::{Kind, Point3, Primitive, Vec3};

/// How a solution is finished.
#[derive(Debug, Clone, Copy)]
enum Looked {
    /// So many more passes, and the noise is examined.
    Closely(usize),
    /// The noise is taken as independent from point to point.
    Quickly,
}

/// Fits one shape.
pub(crate) fn fit<M: Model<N>, const N: usize>(
    input: &Input<'_>,
    request: &Request,
) -> Result<Fit<M>> {
    let held = Held::new::<M, N>(&request.constraints)?;
    let mut data = Data::new(M::KIND.name(), input, M::MINIMUM)?;
    data.held = held.scaled(M::KIND, &data.centre, data.scale);
    let sample = data.sample(SAMPLE);
    if request.reject_outliers && robust::redundant::<M, N>(data.len()) {
        let middle = data.middle;
        let found = robust::separate::<M, N>(&mut data, &sample, request.context.as_ref())?;
        let nothing_out = found.rejected.is_empty();
        match finish(&data, &sample, input, request, found, Looked::Closely(PASSES)) {
            // What is left must itself determine the shape, or else it was no outlier that was cut.
            Err(Error::Undetermined { .. }) if !nothing_out => data.middle = middle,
            done => return done,
        }
    }
    let shape = start::least_squares::<M, N>(&data, &sample)?;
    let all = Separated { shape, deviation: 0.0, cut: f64::INFINITY, rejected: Vec::new() };
    finish(&data, &sample, input, request, all, Looked::Closely(PASSES))
}

/// What is said of a shape that somebody else fitted: quality, noise and covariance, without moving it.
pub(super) fn judge<M: Model<N>, const N: usize>(
    input: &Input<'_>,
    request: &Request,
    shape: &Primitive,
    rejected: Vec<bool>,
) -> Result<Fit<M>> {
    let mut data = Data::new(M::KIND.name(), input, M::MINIMUM)?;
    let sample = data.sample(SAMPLE);
    if !rejected.is_empty() {
        data.recentre(&rejected);
    }
    let shape: M = scaled(&data, shape);
    let found = Separated { shape, deviation: 0.0, cut: f64::INFINITY, rejected };
    finish(&data, &sample, input, request, found, Looked::Closely(0))
}

/// The least-squares shape near a given one, gross outliers aside.
pub(super) fn polish<M: Model<N>, const N: usize>(
    input: &Input<'_>,
    near: &Primitive,
) -> Result<Fit<M>> {
    let mut data = Data::new(M::KIND.name(), input, M::MINIMUM)?;
    let sample = data.sample(SAMPLE);
    let mut found = Separated::<M> {
        shape: scaled(&data, near),
        deviation: 0.0,
        cut: f64::INFINITY,
        rejected: Vec::new(),
    };
    for _ in 0..POLISHINGS {
        let shape: Primitive = found.shape.unscaled(&data.centre, data.scale).into();
        let off = |p: &Point3| shape.distance(p).abs() / data.scale;
        let distances: Vec<f64> = input.points.iter().map(off).collect();
        found.deviation =
            (median(&mut distances.clone()) * deviation_per_median(1)).max(data.rounding);
        found.cut = POLISHED * found.deviation;
        found.rejected = distances.iter().map(|d| *d > found.cut).collect();
        let start = found.shape.signed(None);
        found.shape = solve(&data, start, &Weight::Kept(&found.rejected), PASSES, None)?.shape;
    }
    data.recentre(&found.rejected);
    finish(&data, &sample, input, &Request::default(), found, Looked::Quickly)
}

/// A shape in scaled coordinates.
fn scaled<M: Model<N>, const N: usize>(data: &Data<'_>, shape: &Primitive) -> M {
    let point = Point3::from((shape.point() - data.centre) / data.scale);
    let mut sizes = part::sizes(shape).map(|s| s / data.scale);
    if let Primitive::Cone(cone) = shape {
        sizes[1] = cone.half_angle;
    }
    M::with(point, shape.direction().unwrap_or_else(Vec3::z_axis), sizes)
}

/// Least squares of the points that belong, with everything that is said about it.
fn finish<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    sample: &Sample,
    input: &Input<'_>,
    request: &Request,
    found: Separated<M>,
    looked: Looked,
) -> Result<Fit<M>> {
    let passes = match looked {
        Looked::Closely(passes) => passes,
        Looked::Quickly => PASSES,
    };
    let context = request.context.as_ref();
    let weight =
        if found.rejected.is_empty() { Weight::One } else { Weight::Kept(&found.rejected) };
    let mut solution = solve(data, found.shape.signed(None), &weight, passes, context)?;
    // A shape that is only judged is where it is to be.
    solution.converged |= passes == 0;
    let mut quality = quality::measure(data, sample, &solution.shape, &found.rejected);
    let spare = (quality.points * M::RESIDUALS).saturating_sub(N - data.held.freedoms);
    let sigma = scatter(solution.factor.cost, spare, found.cut, M::RESIDUALS)
        .unwrap_or(input.noise.unwrap_or(0.0) / data.scale)
        .max(data.rounding);
    let inverse = determined::inverse(&solution)?;
    let before = Before {
        inverse: &inverse,
        rejected: &found.rejected,
        cut: found.cut,
        inside: (solution.factor.cost / spare.max(1) as f64).sqrt().max(data.rounding),
        point: sigma,
        spare: spare as f64,
        known: input.noise_model,
    };
    // Whether the data determine the shape is a matter of where they lie, not of what their noise shares.
    let plain = Deviations::new(&inverse, &(SMatrix::identity() * sigma.powi(2)), sigma);
    determined::check(&solution, &plain, sample, found.cut)?;
    let noise = match looked {
        Looked::Closely(_) => noise::examine(data, sample, &solution, &before),
        Looked::Quickly => noise::white(&before),
    };
    let mut deviations = Deviations::new(&inverse, &noise.covariance, sigma);
    if M::KIND == Kind::Circle {
        deviations.split(&pass::by_residual(data, &solution.shape, &weight), &M::FREE);
    }
    quality.sigma = deviations.point * data.scale;
    quality.converged = solution.converged;
    quality.iterations = solution.iterations;
    quality.condition = solution.condition().0;
    quality.independent = noise.white * data.scale;
    quality.smooth = noise.smooth * data.scale;
    quality.smooth_length = noise.length;
    quality.effective_points = noise.effective / M::RESIDUALS as f64;
    quality.evidence = noise.evidence;
    // Once more in outer coordinates, whose rounding is another.
    let held = Held::new::<M, N>(&request.constraints)?;
    let outer = held.applied(solution.shape.unscaled(&data.centre, data.scale));
    let shape = outer.signed(data.mean_normal(sample));
    let carry = carry(&outer, &shape, data.scale);
    let mut covariance = covariance(&outer, &carry, &deviations);
    if let Some(tilt) = &request.reference_tilt
        && let Some(turned) = data.held.carried(&solution.shape, &solution.factor)
    {
        covariance.matrix += carry * turned * tilt * (carry * turned).transpose();
    }
    // Symmetric to the last bit: rounding is not, and readers rely on it.
    covariance.matrix = 0.5 * (covariance.matrix + covariance.matrix.transpose());
    let rejected = found.rejected.iter().enumerate().filter(|(_, r)| **r);
    let rejected = rejected.map(|(i, _)| i as u32).collect();
    let cost = cost::of(data, sample, &solution, &weight, sigma, &before, context)?;
    Ok(Fit {
        shape,
        covariance,
        quality,
        rejected,
        contacts: Vec::new(),
        cost,
        noise: noise.record,
        notes: Vec::new(),
    })
}

/// Standard deviation of one residual, made good for the tail that was cut; `None` without spare points.
fn scatter(cost: f64, spare: usize, cut: f64, residuals: usize) -> Option<f64> {
    if spare == 0 {
        return None;
    }
    let inside = (cost / spare as f64).sqrt();
    let whole = untruncated(inside, cut, residuals);
    Some(if whole.is_finite() { whole } else { inside })
}

/// Covariance in the layout of [`Covariance`], about the shape's point, mm and rad.
fn covariance<M: Model<N>, const N: usize>(
    outer: &M,
    carry: &SMatrix<f64, 8, N>,
    deviations: &Deviations<N>,
) -> Covariance {
    let matrix = carry * deviations.covariance * carry.transpose();
    Covariance { at: outer.frame().origin, matrix }
}

/// Takes a scaled local step to the layout of [`Covariance`].
pub(crate) fn carry<M: Model<N>, const N: usize>(
    outer: &M,
    signed: &M,
    scale: f64,
) -> SMatrix<f64, 8, N> {
    let axes = outer.frame().axes;
    let mut carry = SMatrix::<f64, 8, N>::zeros();
    for (j, &index) in M::FREE.iter().enumerate() {
        let mut column = SVector::<f64, 8>::zeros();
        match index {
            0..=2 => column.fixed_rows_mut::<3>(0).copy_from(&(axes.column(index) * scale)),
            3..=5 => column.fixed_rows_mut::<3>(3).copy_from(&axes.column(index - 3)),
            // A half-angle has no unit of length, and changes its sign with the axis.
            7 if M::KIND == Kind::Cone => column[7] = sign(outer.sizes()[1] * signed.sizes()[1]),
            6.. => column[index] = scale,
        }
        carry.set_column(j, &column);
    }
    carry
}

fn sign(x: f64) -> f64 {
    if x < 0.0 { -1.0 } else { 1.0 }
}

/// Points that starting values and scale are taken from.
pub(crate) const SAMPLE: usize = 2048;
/// Times that outliers are told from the rest when a shape is polished.
const POLISHINGS: usize = 2;
/// Deviations beyond which a point is left out of it.
const POLISHED: f64 = 3.5;
/// Most passes over all points.
const PASSES: usize = 200;
