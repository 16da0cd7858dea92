//! Criteria decided by the extreme points: minimum zone, maximum inscribed, minimum circumscribed.
//!
//! Gross outliers are separated and a start is found by robust least squares; the criterion then acts on
//! every point that was kept, on the true non-linear distances, and the answer is handed out only with
//! the proof that it is a (local) optimum. One file a criterion says what is made smallest; the rest of the folder
//! is shared: [`problem`] (values and slopes), [`descend`] (a few points), [`search`] (all points),
//! [`certify`], [`spread`] (covariance).

mod certify;
mod circumscribed;
mod descend;
mod inscribed;
mod minimum_zone;
mod newton;
mod problem;
mod search;
mod spread;

use std::borrow::Cow;

use super::data::{Data, Sample};
use super::model::Model;
use super::pass::distances;
use super::{Covariance, Criterion, Fit, Input, Quality, Request, least_squares, quality};
use crate::error::{Error, Result};
use crate::numeric::exchange::{self, Row};
use crate::primitive::{Kind, Plane, Point3};
use descend::State;
use newton::Active;
use problem::{Candidate, Problem, Side};

/// What a criterion makes smallest.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Aim {
    side: Side,
    /// Derivative of the radius by the largest value, where the radius follows from it.
    size: Option<f64>,
}

/// Fits one shape.
pub(crate) fn fit<M: Model<N>, const N: usize>(
    input: &Input<'_>,
    request: &Request,
) -> Result<Fit<M>> {
    let aim = aim(request.criterion, M::KIND)?;
    if !request.constraints.is_empty() {
        let found = format!("{} with {}", request.constraints.len(), request.criterion.name());
        return Err(Error::argument("constraints", found, "none, or least squares"));
    }
    let gaussian = Request { criterion: Criterion::LeastSquares, ..request.clone() };
    let least = least_squares::fit::<M, N>(input, &gaussian)?;
    let kept = Kept::new(input.points, &least.rejected);
    let mut fit = if M::KIND == Kind::Circle {
        in_plane::<M, N>(&kept.points, least, aim, &gaussian)?
    } else {
        by_criterion(&kept.points, least, aim, request)?
    };
    fit.contacts.iter_mut().for_each(|c| *c = kept.position(*c));
    fit.quality.contacts = fit.contacts.iter().map(|&c| input.points[c as usize]).collect();
    fit.quality.criterion = request.criterion;
    Ok(fit)
}

/// What a criterion means for a kind of shape.
fn aim(criterion: Criterion, kind: Kind) -> Result<Aim> {
    if !criterion.is_for(kind) {
        let has = Criterion::ALL.into_iter().filter(|c| c.is_for(kind)).map(Criterion::name);
        let allowed = format!("{} for a {}", has.collect::<Vec<_>>().join(", "), kind.name());
        return Err(Error::argument("criterion", criterion.name(), allowed));
    }
    Ok(match criterion {
        Criterion::MaximumInscribed => inscribed::AIM,
        Criterion::MinimumCircumscribed => circumscribed::AIM,
        Criterion::MinimumZone | Criterion::LeastSquares => minimum_zone::aim(kind),
    })
}

/// The points that were not rejected.
struct Kept<'a> {
    points: Cow<'a, [Point3]>,
    /// Positions in the input; empty if all were kept.
    positions: Vec<u32>,
}

impl<'a> Kept<'a> {
    fn new(points: &'a [Point3], rejected: &[u32]) -> Self {
        if rejected.is_empty() {
            return Kept { points: Cow::Borrowed(points), positions: Vec::new() };
        }
        let mut out = rejected.iter().peekable();
        let belongs = |i: &u32| out.next_if_eq(&i).is_none();
        let positions: Vec<u32> = (0..points.len() as u32).filter(belongs).collect();
        let kept = positions.iter().map(|&i| points[i as usize]).collect();
        Kept { points: Cow::Owned(kept), positions }
    }

    fn position(&self, kept: u32) -> u32 {
        self.positions.get(kept as usize).copied().unwrap_or(kept)
    }
}

/// A circle by its criterion in the least-squares plane of its points.
fn in_plane<M: Model<N>, const N: usize>(
    points: &[Point3],
    least: Fit<M>,
    aim: Aim,
    gaussian: &Request,
) -> Result<Fit<M>> {
    let every = Request { reject_outliers: false, ..gaussian.clone() };
    let plane = least_squares::fit::<Plane, 3>(&Input::new(points), &every)?;
    let flat: Vec<Point3> = points.iter().map(|p| plane.shape.project(p)).collect();
    let level = least_squares::fit::<M, N>(&Input::new(&flat), &every)?;
    let mut level = Fit { rejected: least.rejected, ..level };
    // Nothing is left across the plane, so a point has one residual here.
    let (count, freedoms) = (flat.len() as f64, 3.0);
    if count > freedoms {
        let scatter = level.quality.rms * (count / (count - freedoms)).sqrt();
        level.quality.sigma = level.quality.sigma.max(scatter);
    }
    let mut fit = by_criterion(&flat, level, aim, gaussian)?;
    fit.covariance.matrix += plane.covariance.about(fit.covariance.at).matrix;
    Ok(fit)
}

/// The criterion on all points given, from their least-squares shape.
fn by_criterion<M: Model<N>, const N: usize>(
    points: &[Point3],
    least: Fit<M>,
    aim: Aim,
    request: &Request,
) -> Result<Fit<M>> {
    let data = Data::new(M::KIND.name(), &Input::new(points), M::MINIMUM)?;
    let sample = data.sample(SAMPLE);
    let start = scaled(&least.shape, &data).near(&data.middle);
    let flat = M::KIND == Kind::Circle;
    let free = M::FREE
        .into_iter()
        .filter(|&f| (aim.size.is_none() || f < 6) && !(flat && (2..6).contains(&f)));
    let problem = Problem::new(&data, aim.side, free.collect(), &sample, &start);
    if aim.size.is_some() {
        held_all_round(&problem, &start, &sample)?;
    }
    let reach = reach(&start, &sample).max(least.quality.largest / data.scale).max(SMALLEST);
    let state = search::search(&problem, start, reach, request.context.as_ref())?
        .ok_or_else(|| open::<M, N>("the shape slips out between the points"))?;
    let active = certify::certify(&problem, &state)
        .map_err(|reason| Error::NotConverged { what: M::KIND.name().into(), reason })?;
    Ok(finished(&problem, &sample, least, aim, &state, &active))
}

/// The answer with everything that is said about it.
fn finished<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    sample: &Sample,
    least: Fit<M>,
    aim: Aim,
    state: &State<M>,
    active: &Active,
) -> Fit<M> {
    let data = problem.data;
    let shape = aim.size.map_or(state.shape, |s| resized(&state.shape, s * state.value));
    let outer = shape.unscaled(&data.centre, data.scale);
    // The direction keeps the side that least squares chose by the normals.
    let signed = outer.signed(Some(least.shape.frame().axes.column(2).into_owned()));
    let noise = least.quality.sigma / data.scale;
    let spread = spread::covariance(problem, &state.shape, active, aim.size, noise);
    let flipped = outer.sizes()[1] * signed.sizes()[1] < 0.0;
    let units = spread::units(M::KIND, data.scale, flipped);
    let at = outer.frame().origin;
    let covariance = match spread {
        Some(matrix) => Covariance { at, matrix: units * matrix * units },
        // Too few deciding points to say: the least-squares shape of the same points says more.
        None => least.covariance.about(at),
    };
    let rejected = least.rejected.len();
    let measured = quality::measure(data, sample, &shape, &[]);
    let mut contacts: Vec<u32> = active.candidates.iter().map(|c| c.id).collect();
    contacts.sort_unstable();
    contacts.dedup();
    let quality = Quality {
        rejected,
        zone: if problem.side == Side::Tube {
            measured.zone
        } else {
            width(problem, &shape) * data.scale
        },
        sigma: least.quality.sigma,
        independent: least.quality.independent,
        smooth: least.quality.smooth,
        smooth_length: least.quality.smooth_length,
        effective_points: least.quality.effective_points,
        evidence: least.quality.evidence,
        converged: true,
        iterations: state.iterations,
        condition: least.quality.condition,
        ..measured
    };
    Fit {
        shape: signed,
        covariance,
        quality,
        rejected: least.rejected,
        contacts,
        cost: None,
        noise: least.noise,
        notes: least.notes,
    }
}

/// Largest minus smallest signed distance.
fn width<M: Model<N>, const N: usize>(problem: &Problem<'_>, shape: &M) -> f64 {
    let both = Problem { side: Side::Both, ..problem.clone() };
    let ends = both.extremes(shape);
    let largest = |sign: f64| {
        let values = ends.iter().filter(|e| e.1.sign == sign).map(|e| e.0);
        values.fold(f64::NEG_INFINITY, f64::max)
    };
    largest(1.0) + largest(-1.0)
}

/// Refuses points that leave a way out: a step on which every one of them would come nearer.
fn held_all_round<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    shape: &M,
    sample: &Sample,
) -> Result<()> {
    let candidate = |p: &Point3| Candidate { id: 0, point: *p, sign: 1.0 };
    let all: Vec<Candidate> = sample.points.iter().map(candidate).collect();
    let mut rows = problem.rows(shape, &all);
    rows.iter_mut().for_each(|r| *r = Row { f: 0.0, ..*r });
    let free = exchange::minimax(&rows, problem.unknowns(), 1.0).is_none_or(|v| v.value < -WAY_OUT);
    if free {
        return Err(open::<M, N>(
            "the points lie on one side of it: nothing holds it on the other",
        ));
    }
    Ok(())
}

fn open<M: Model<N>, const N: usize>(reason: &str) -> Error {
    Error::undetermined(M::KIND.name(), reason, REMEDY)
}

/// Distance of the farthest of the sample.
fn reach<M: Model<N>, const N: usize>(shape: &M, sample: &Sample) -> f64 {
    let mut buffer = Vec::new();
    distances(shape, &sample.points, &mut buffer);
    buffer.into_iter().fold(0.0, f64::max)
}

/// A shape in outer coordinates, in the data's.
fn scaled<M: Model<N>, const N: usize>(shape: &M, data: &Data<'_>) -> M {
    shape.unscaled(&Point3::from(-data.centre.coords / data.scale), 1.0 / data.scale)
}

/// The shape with its radius changed.
fn resized<M: Model<N>, const N: usize>(shape: &M, by: f64) -> M {
    let zero = crate::primitive::Vec3::zeros();
    shape.moved(&super::model::Motion { shift: zero, turn: zero, sizes: [by, 0.0] })
}

/// Least step expected: with points that fit to their rounding, a smaller box would hold the shape
/// before they do.
const SMALLEST: f64 = 1e-6;
/// Points that scale and starts are taken from.
const SAMPLE: usize = 2048;
/// Slope, each point's being about one, that is no rounding.
const WAY_OUT: f64 = 1e-9;
/// What would determine an inscribed or circumscribed shape.
const REMEDY: &str =
    "give points on more than half a turn, or use least squares, which a part of it determines";
