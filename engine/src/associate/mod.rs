//! Association of ideal shapes to points (ISO 17450): one file a shape, one file a criterion.

mod arc;
mod builtin;
mod circle;
mod cone;
mod constraint;
mod cost;
mod covariance;
mod cylinder;
mod data;
mod determined;
mod extent;
mod follow;
mod group;
mod growing;
mod held;
mod judge;
mod least_squares;
mod line;
mod minimax;
mod model;
mod noise;
mod part;
mod pass;
mod plane;
mod quality;
mod robust;
mod seeds;
mod solve;
mod sphere;
mod start;
mod torus;

pub use builtin::{builtin_fitters, fitter_by_id};
pub use constraint::{Constraint, ConstraintCost};
pub use covariance::Covariance;
pub use extent::extent;
pub use follow::refit;
pub use group::{GroupFit, MOST_MEMBERS, Member, Relation, fit_group};
pub(crate) use judge::{judge, polish};
pub use noise::{Evidence, NoiseModel, NoiseRecord};
pub(crate) use part::sizes;

use nalgebra::Matrix3;

use crate::context::Context;
use crate::error::Result;
use crate::primitive::{Kind, Point3, Primitive, Vec3};
use crate::units::Quantity;

/// Association criterion (ISO 14405-1, ISO 1101).
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Criterion {
    /// Smallest sum of squared orthogonal distances (Gaussian).
    #[default]
    LeastSquares,
    /// Smallest largest distance (Chebyshev). Of a line: the smallest cylinder that holds the points. Of
    /// a circle: the two concentric circles nearest to each other that hold the points between
    /// them, in the least-squares plane of the points (roundness of a section).
    MinimumZone,
    /// Largest shape that fits inside the points: circle (in the least-squares plane of the points),
    /// sphere, cylinder. The points must hold it all round.
    MaximumInscribed,
    /// Smallest shape that holds all points: circle (in the least-squares plane of the points),
    /// sphere, cylinder. The points must hold it all round.
    MinimumCircumscribed,
}

impl Criterion {
    /// Every criterion.
    pub const ALL: [Criterion; 4] = [
        Criterion::LeastSquares,
        Criterion::MinimumZone,
        Criterion::MaximumInscribed,
        Criterion::MinimumCircumscribed,
    ];

    /// Name in job files and results: `least-squares`, `minimum-zone`, `maximum-inscribed`,
    /// `minimum-circumscribed`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Criterion::LeastSquares => "least-squares",
            Criterion::MinimumZone => "minimum-zone",
            Criterion::MaximumInscribed => "maximum-inscribed",
            Criterion::MinimumCircumscribed => "minimum-circumscribed",
        }
    }

    /// The criterion of a name, `None` if there is none.
    #[must_use]
    pub fn by_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.name() == name)
    }

    /// Whether the built-in fitters have it for a kind of shape.
    #[must_use]
    pub fn is_for(self, kind: Kind) -> bool {
        match self {
            Criterion::LeastSquares | Criterion::MinimumZone => kind != Kind::Composite,
            Criterion::MaximumInscribed | Criterion::MinimumCircumscribed => {
                matches!(kind, Kind::Circle | Kind::Sphere | Kind::Cylinder)
            }
        }
    }
}

/// What is asked of a fit.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct Request {
    /// Criterion; default least squares.
    pub criterion: Criterion,
    /// What is known of the shape; default nothing.
    pub constraints: Vec<Constraint>,
    /// Covariance of the direction that the constraints hold the shape to, where it is a fitted one
    /// (rotation vector, rad²): carried into the covariance of the fit. Default none: exact.
    pub reference_tilt: Option<Matrix3<f64>>,
    /// Whether gross outliers are found, left out and counted; default yes.
    pub reject_outliers: bool,
    /// Options of a plug-in's fitter by name, in mm and rad (a switch: 1 or 0); the built-in fitters have
    /// none.
    pub options: Vec<(String, f64)>,
    /// Threads, progress, cancel.
    pub context: Option<Context>,
}

impl Default for Request {
    fn default() -> Self {
        Request {
            criterion: Criterion::LeastSquares,
            constraints: Vec::new(),
            reference_tilt: None,
            reject_outliers: true,
            options: Vec::new(),
            context: None,
        }
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
    /// How the scan's noise hangs together, if known from other fits.
    pub noise_model: Option<&'a NoiseModel>,
    /// Usual distance from point to point, mm, if known.
    pub resolution: Option<f64>,
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
    /// Positions in the input of the points that decide the shape, ascending; empty for least squares.
    pub contacts: Vec<u32>,
    /// What the constraints cost, if there were any.
    pub cost: Option<ConstraintCost>,
    /// What the residuals say of the scan's noise, if there were enough of them.
    pub noise: Option<NoiseRecord>,
    /// What a person should read beside the result.
    pub notes: Vec<String>,
}

/// Option of a fitter, in mm and rad.
#[derive(Debug, Clone, PartialEq)]
pub struct FitterOption {
    /// Name in job files.
    pub name: String,
    /// One line for people.
    pub description: String,
    /// What its value is.
    pub sort: OptionSort,
    /// Value where none is given.
    pub standard: f64,
    /// Smallest value.
    pub least: f64,
    /// Largest value.
    pub most: f64,
}

/// What an option's value is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OptionSort {
    /// A number of some quantity.
    Number(Quantity),
    /// A whole number.
    Whole,
    /// 1 for yes, 0 for no.
    Switch,
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
    /// Largest minus smallest signed distance of the used points, mm; of a line or a least-squares
    /// circle the diameter of the tube that holds them.
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
    /// Condition number of the scaled normal matrix' root (of least squares, whatever the criterion).
    pub condition: f64,
    /// Standard deviation of the part of the scatter that is independent from point to point, mm.
    pub independent: f64,
    /// Standard deviation of the part that neighbouring points have in common (slow noise, form), mm.
    pub smooth: f64,
    /// Distance over which that part hangs together, mm; zero where there is none.
    pub smooth_length: f64,
    /// How many independent points would determine the shape as well.
    pub effective_points: f64,
    /// How the shape stands against its neighbours: a cylinder against a cone.
    pub evidence: Vec<Evidence>,
    /// Criterion that the shape answers.
    pub criterion: Criterion,
    /// Where the points are that decide the shape, mm, as many as [`Fit::contacts`].
    pub contacts: Vec<Point3>,
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
    /// Its options.
    fn options(&self) -> &[FitterOption] {
        &[]
    }
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
        let (normals, pick, noise) = (None, None, None);
        Input { points, normals, pick, noise, noise_model: None, resolution: None }
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
            contacts: self.contacts,
            cost: self.cost,
            noise: self.noise,
            notes: self.notes,
        }
    }
}
