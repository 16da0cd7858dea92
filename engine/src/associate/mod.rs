//! Association of ideal shapes to points (ISO 17450): one file a shape, one file a criterion.

mod arc;
mod builtin;
mod circle;
mod cone;
mod covariance;
mod cylinder;
mod data;
mod determined;
mod extent;
mod follow;
mod growing;
mod least_squares;
mod line;
mod model;
mod pass;
mod plane;
mod quality;
mod robust;
mod solve;
mod sphere;
mod start;
mod torus;

pub use builtin::{builtin_fitters, fitter_by_id};
pub use covariance::Covariance;
pub use extent::extent;
pub use follow::refit;

use crate::context::Context;
use crate::error::Result;
use crate::primitive::{Kind, Point3, Primitive, Vec3};

/// Association criterion (ISO 14405-1, ISO 1101).
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Criterion {
    /// Smallest sum of squared orthogonal distances (Gaussian).
    #[default]
    LeastSquares,
    /// Smallest largest distance (Chebyshev).
    MinimumZone,
    /// Largest shape that fits inside the points.
    MaximumInscribed,
    /// Smallest shape that holds all points.
    MinimumCircumscribed,
}

/// What is asked of a fit.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct Request {
    /// Criterion; default least squares.
    pub criterion: Criterion,
    /// Whether gross outliers are found, left out and counted; default yes.
    pub reject_outliers: bool,
    /// Threads, progress, cancel.
    pub context: Option<Context>,
}

impl Default for Request {
    fn default() -> Self {
        Request { criterion: Criterion::LeastSquares, reject_outliers: true, context: None }
    }
}

/// Points to fit to; all slices of one length, or absent.
#[non_exhaustive]
#[derive(Debug, Clone, Copy)]
pub struct Input<'a> {
    /// Positions, mm.
    pub points: &'a [Point3],
    /// Unit normals, zero where unknown.
    pub normals: Option<&'a [Vec3]>,
    /// Where the user pointed, mm.
    pub pick: Option<Point3>,
    /// The scan's noise, mm, if known.
    pub noise: Option<f64>,
}

/// A fitted shape with its uncertainty and quality.
#[derive(Debug, Clone)]
pub struct Fit<S> {
    /// The shape; its point is the one nearest the middle of the data.
    pub shape: S,
    /// Covariance of its position, orientation and size.
    pub covariance: Covariance,
    /// How good it is.
    pub quality: Quality,
    /// Positions in the input of the points that were left out, ascending.
    pub rejected: Vec<u32>,
}

/// How good a fit is.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Quality {
    /// Points used.
    pub points: usize,
    /// Points left out as gross outliers.
    pub rejected: usize,
    /// Root mean square of the distances of the used points, mm.
    pub rms: f64,
    /// Largest absolute distance of a used point, mm.
    pub largest: f64,
    /// Largest minus smallest signed distance of the used points, mm.
    pub zone: f64,
    /// Standard deviation of one point, mm: rms corrected for the parameters fitted.
    pub sigma: f64,
    /// Extent of the data along the axis (plane: largest extent), mm.
    pub extent: f64,
    /// Arc covered about the axis, rad, up to 2π; 2π for planes, lines.
    pub arc: f64,
    /// Whether the iteration reached its answer.
    pub converged: bool,
    /// Iterations used.
    pub iterations: usize,
    /// Condition number of the scaled normal matrix' root.
    pub condition: f64,
}

/// Anything that associates a shape to points; built-in and plug-in fitters are told apart by nothing but their id.
pub trait Fitter: Send + Sync {
    /// Unique id: `builtin.cylinder`, `vendor.name`.
    fn id(&self) -> &str;
    /// One line for people.
    fn title(&self) -> &str;
    /// Kind of shape it returns.
    fn kind(&self) -> Kind;
    /// Fewest points it can work with.
    fn minimum_points(&self) -> usize;
    /// Associates the shape.
    ///
    /// # Errors
    /// [`crate::Error::TooFewPoints`], [`crate::Error::Undetermined`], [`crate::Error::NotConverged`],
    /// [`crate::Error::Argument`] for input that is not finite, [`crate::Error::Cancelled`].
    fn fit(&self, input: &Input<'_>, request: &Request) -> Result<Fit<Primitive>>;
}

impl<'a> Input<'a> {
    /// Points with nothing else known.
    #[must_use]
    pub fn new(points: &'a [Point3]) -> Self {
        Input { points, normals: None, pick: None, noise: None }
    }
}

impl<S> Fit<S> {
    /// The same fit with another type of shape.
    pub fn map<T>(self, f: impl FnOnce(S) -> T) -> Fit<T> {
        Fit {
            shape: f(self.shape),
            covariance: self.covariance,
            quality: self.quality,
            rejected: self.rejected,
        }
    }
}
