//! One shape of a group as the joint fit sees it: its linearised system, its moves, its result.

use nalgebra::{DMatrix, DVector, SMatrix};

use super::data::{Data, Sample};
use super::determined::{self, Deviations, TILT_LIMIT};
use super::held::{Held, Hold};
use super::least_squares::{self, SAMPLE, carry};
use super::model::{Frame, Model};
use super::pass::{Weight, system};
use super::{Covariance, Fit, Input, Request, quality};
use crate::error::{Error, Result};
use crate::primitive::{
    Circle, Cone, Cylinder, Kind, Line, Plane, Point3, Primitive, Sphere, Torus, Vec3,
};

/// A shape of any kind within a joint fit, in the group's scaled coordinates.
pub(crate) trait Part: Send + Sync {
    fn frame(&self) -> Frame;
    /// Its freedoms in the layout of [`Covariance`].
    fn freedoms(&self) -> Vec<usize>;
    /// Triangle, right-hand side and cost in standard deviations of its points.
    fn system(&self) -> (DMatrix<f64>, DVector<f64>, f64);
    /// Takes a step, then obeys; a shape that `slides` is held to the axis through the point, not
    /// to the point.
    fn step(&mut self, step: &[f64], held: Held, slides: bool);
    /// Undoes the last step.
    fn back(&mut self);
    /// Kept residuals.
    fn rows(&self) -> usize;
    /// Standard deviation of one residual, scaled.
    fn sigma(&self) -> f64;
    /// Sums of squares, scaled: now, and fitted alone if its points determine it alone.
    fn squares(&self) -> (f64, Option<f64>);
    /// The result for a covariance of its freedoms.
    fn finish(&self, covariance: &DMatrix<f64>, iterations: usize) -> Result<Fit<Primitive>>;
}

/// What a shape's own points say before the group is fitted.
pub(crate) struct Alone {
    pub(crate) fit: Fit<Primitive>,
    /// Whether it took nothing from the others.
    pub(crate) free: bool,
}

/// The part of a kind; `centre` and `scale` of the group's coordinates.
pub(crate) fn part<'a>(
    kind: Kind,
    input: &Input<'a>,
    alone: &Alone,
    centre: Point3,
    scale: f64,
) -> Result<Box<dyn Part + 'a>> {
    match kind {
        Kind::Plane => boxed::<Plane, 3>(input, alone, centre, scale),
        Kind::Line => boxed::<Line, 4>(input, alone, centre, scale),
        Kind::Circle => boxed::<Circle, 6>(input, alone, centre, scale),
        Kind::Sphere => boxed::<Sphere, 4>(input, alone, centre, scale),
        Kind::Cylinder => boxed::<Cylinder, 5>(input, alone, centre, scale),
        Kind::Cone => boxed::<Cone, 6>(input, alone, centre, scale),
        Kind::Torus => boxed::<Torus, 7>(input, alone, centre, scale),
        Kind::Composite => Err(Error::argument("member", "composite", "a built-in shape")),
    }
}

/// A member fitted by itself.
pub(crate) fn alone(kind: Kind, input: &Input<'_>, request: &Request) -> Result<Fit<Primitive>> {
    fn fit<M: Model<N>, const N: usize>(
        input: &Input<'_>,
        request: &Request,
    ) -> Result<Fit<Primitive>> {
        Ok(least_squares::fit::<M, N>(input, request)?.map(Into::into))
    }
    match kind {
        Kind::Plane => fit::<Plane, 3>(input, request),
        Kind::Line => fit::<Line, 4>(input, request),
        Kind::Circle => fit::<Circle, 6>(input, request),
        Kind::Sphere => fit::<Sphere, 4>(input, request),
        Kind::Cylinder => fit::<Cylinder, 5>(input, request),
        Kind::Cone => fit::<Cone, 6>(input, request),
        Kind::Torus => fit::<Torus, 7>(input, request),
        Kind::Composite => Err(Error::argument("member", "composite", "a built-in shape")),
    }
}

struct Typed<'a, M, const N: usize> {
    data: Data<'a>,
    sample: Sample,
    rejected: Vec<bool>,
    shape: M,
    before: M,
    sigma: f64,
    free: Option<f64>,
}

fn boxed<'a, M: Model<N> + 'a, const N: usize>(
    input: &Input<'a>,
    alone: &Alone,
    centre: Point3,
    scale: f64,
) -> Result<Box<dyn Part + 'a>> {
    let mut data = Data::new(M::KIND.name(), input, M::MINIMUM)?.about(centre, scale);
    let mut rejected = Vec::new();
    if !alone.fit.rejected.is_empty() {
        rejected = vec![false; data.len()];
        alone.fit.rejected.iter().for_each(|&i| rejected[i as usize] = true);
        data.recentre(&rejected);
    }
    let quality = &alone.fit.quality;
    let squares = (quality.rms / scale).powi(2) * quality.points as f64;
    let known = &alone.fit.shape;
    let [first, second] = sizes(known);
    let second = if M::KIND == Kind::Cone { second } else { second / scale };
    let shape = M::with(
        Point3::from((known.point() - centre) / scale),
        known.direction().unwrap_or(Vec3::z_axis()),
        [first / scale, second],
    );
    Ok(Box::new(Typed::<M, N> {
        sample: data.sample(SAMPLE),
        shape: shape.near(&data.middle),
        before: shape,
        sigma: (quality.sigma / scale).max(data.rounding),
        free: alone.free.then_some(squares),
        rejected,
        data,
    }))
}

impl<M: Model<N>, const N: usize> Typed<'_, M, N> {
    fn weight(&self) -> Weight<'_> {
        if self.rejected.is_empty() { Weight::One } else { Weight::Kept(&self.rejected) }
    }
}

impl<M: Model<N>, const N: usize> Part for Typed<'_, M, N> {
    fn frame(&self) -> Frame {
        self.shape.frame()
    }

    fn freedoms(&self) -> Vec<usize> {
        M::FREE.to_vec()
    }

    fn system(&self) -> (DMatrix<f64>, DVector<f64>, f64) {
        let factor = system(&self.data, &self.shape, &self.weight());
        let r = DMatrix::from_fn(N, N, |i, j| factor.r[j][i] / self.sigma);
        let z = DVector::from_fn(N, |i, _| factor.z[i] / self.sigma);
        (r, z, factor.cost / self.sigma.powi(2))
    }

    fn step(&mut self, step: &[f64], mut held: Held, slides: bool) {
        let step = std::array::from_fn(|j| step[j]);
        let moved = self.shape.moved(&self.shape.frame().motion(&M::FREE, &step));
        if let (true, Some(origin), Hold::Along(axis)) = (slides, held.through, held.direction) {
            let known: Primitive = moved.into();
            let along = axis.dot(&(known.point() - origin));
            held.through = Some(origin + axis.into_inner() * along);
        }
        self.before = self.shape;
        self.shape = held.applied(moved).near(&self.data.middle);
    }

    fn back(&mut self) {
        self.shape = self.before;
    }

    fn rows(&self) -> usize {
        let out = self.rejected.iter().filter(|r| **r).count();
        (self.data.len() - out) * M::RESIDUALS
    }

    fn sigma(&self) -> f64 {
        self.sigma
    }

    fn squares(&self) -> (f64, Option<f64>) {
        (system(&self.data, &self.shape, &self.weight()).cost, self.free)
    }

    fn finish(&self, covariance: &DMatrix<f64>, iterations: usize) -> Result<Fit<Primitive>> {
        let open = |reason: String| Err(Error::undetermined(M::KIND.name(), reason, M::REMEDY));
        let variances = SMatrix::<f64, N, N>::from_fn(|i, j| covariance[(i, j)]);
        let deviations = Deviations { point: self.sigma, covariance: variances };
        if let Some(reason) = determined::sizes(&self.shape, &deviations) {
            return open(reason);
        }
        let tilt = (0..N).filter(|&j| (3..6).contains(&M::FREE[j])).map(|j| deviations.of(j));
        if tilt.fold(0.0, f64::max) > TILT_LIMIT {
            return open("its direction is open".into());
        }
        let (data, scale) = (&self.data, self.data.scale);
        let mut quality = quality::measure(data, &self.sample, &self.shape, &self.rejected);
        quality.sigma = self.sigma * scale;
        (quality.converged, quality.iterations) = (true, iterations);
        let outer = self.shape.unscaled(&data.centre, scale);
        let shape = outer.signed(data.mean_normal(&self.sample));
        let carry = carry(&outer, &shape, scale);
        let matrix = carry * variances * carry.transpose();
        let covariance = Covariance { at: outer.frame().origin, matrix };
        let rejected = self.rejected.iter().enumerate().filter(|(_, r)| **r);
        let rejected = rejected.map(|(i, _)| i as u32).collect();
        let shape = shape.into();
        Ok(Fit {
            shape,
            covariance,
            quality,
            rejected,
            contacts: Vec::new(),
            cost: None,
            noise: None,
            notes: Vec::new(),
        })
    }
}

/// Sizes in the order of the covariance, zero where there are none.
pub(crate) fn sizes(shape: &Primitive) -> [f64; 2] {
    match shape {
        Primitive::Circle(s) => [s.radius, 0.0],
        Primitive::Sphere(s) => [s.radius, 0.0],
        Primitive::Cylinder(s) => [s.radius, 0.0],
        Primitive::Cone(s) => [s.radius, s.half_angle],
        Primitive::Torus(s) => [s.major_radius, s.minor_radius],
        Primitive::Plane(_) | Primitive::Line(_) | Primitive::Composite(_) => [0.0; 2],
    }
}
