//! Refusal of what the data do not determine: limits on the deviations of the sizes and of the direction.

use nalgebra::SMatrix;

use super::data::Sample;
use super::model::Model;
use super::pass::distances;
use super::solve::Solution;
use crate::error::{Error, Result};
use crate::numeric::algebraic;
use crate::primitive::Kind;

/// Uncertainty of a solution's freedoms, scaled.
pub(crate) struct Deviations<const N: usize> {
    /// Standard deviation of one point.
    pub(crate) point: f64,
    /// Covariance of the freedoms.
    pub(crate) covariance: SMatrix<f64, N, N>,
}

impl<const N: usize> Deviations<N> {
    /// From the inverse of the solution's triangle by column and the covariance of the noise in it.
    pub(crate) fn new(inverse: &[[f64; N]; N], noise: &SMatrix<f64, N, N>, point: f64) -> Self {
        let inverse = SMatrix::<f64, N, N>::from_fn(|i, j| inverse[j][i]);
        Deviations { point, covariance: inverse * noise * inverse.transpose() }
    }

    /// Makes good for a circle's scatter across its plane being another than that out of it: the one
    /// moves centre and radius, the other height and tilt, and neither the other's. `squares` are the
    /// two sums.
    pub(crate) fn split(&mut self, squares: &[f64; 2], free: &[usize; N]) {
        let both = 0.5 * (squares[0] + squares[1]);
        if both <= 0.0 {
            return;
        }
        let factor = free.map(|f| (squares[usize::from((2..6).contains(&f))] / both).sqrt());
        self.covariance = SMatrix::from_fn(|i, j| self.covariance[(i, j)] * factor[i] * factor[j]);
        self.point *= (squares[0] / both).sqrt();
    }

    /// Standard deviation of freedom `j`.
    pub(crate) fn of(&self, j: usize) -> f64 {
        self.covariance[(j, j)].max(0.0).sqrt()
    }
}

/// Inverse of the solution's triangle by column, or the error that names the freedom left open.
pub(crate) fn inverse<M: Model<N>, const N: usize>(
    solution: &Solution<M, N>,
) -> Result<[[f64; N]; N]> {
    let (condition, weak) = solution.condition();
    solution
        .inverse()
        .filter(|_| condition < CONDITION_LIMIT)
        .ok_or_else(|| open::<M, N>(format!("its {} is open", freedom::<M, N>(&weak))))
}

/// Refuses a solution whose uncertainty leaves it open.
pub(crate) fn check<M: Model<N>, const N: usize>(
    solution: &Solution<M, N>,
    deviations: &Deviations<N>,
    sample: &Sample,
    cut: f64,
) -> Result<()> {
    let open = |reason: String| Err(open::<M, N>(reason));
    let (condition, weak) = solution.condition();
    let point = deviations.point;
    if let Some(reason) = sizes(&solution.shape, deviations) {
        return open(reason);
    }
    let tilt = (0..N).filter(|&j| (3..6).contains(&M::FREE[j])).map(|j| deviations.of(j));
    let tilt = tilt.fold(0.0, f64::max);
    if tilt > TILT_LIMIT {
        return open(format!(
            "its direction is known to {tilt:.2} rad only, at most {TILT_LIMIT} allowed"
        ));
    }
    let narrow = match solution.basis {
        None => spread(&solution.shape, point, sample, cut),
        Some(_) => lever(solution, tilt),
    };
    if let Some(reason) = narrow {
        return open(reason);
    }
    if !solution.converged {
        if condition > VALLEY {
            let weak = freedom::<M, N>(&weak);
            return open(format!("its {weak} still moves without bettering the fit"));
        }
        let reason = format!(
            "still moving after {} iterations, condition {condition:.0e}",
            solution.iterations
        );
        return Err(Error::NotConverged { what: M::KIND.name().into(), reason });
    }
    Ok(())
}

fn open<M: Model<N>, const N: usize>(reason: String) -> Error {
    Error::undetermined(M::KIND.name(), reason, M::REMEDY)
}

/// Why a size is not determined.
pub(crate) fn sizes<M: Model<N>, const N: usize>(
    shape: &M,
    deviations: &Deviations<N>,
) -> Option<String> {
    let sizes = shape.sizes();
    for (k, name) in M::SIZES.iter().enumerate() {
        let Some(j) = M::FREE.iter().position(|&f| f == 6 + k) else { continue };
        let (size, deviation) = (sizes[k], deviations.of(j));
        if deviation == 0.0 {
            // Held by a constraint: not for the data to determine.
            continue;
        }
        if M::KIND == Kind::Cone && k == 1 {
            let (size, right) = (size.abs(), std::f64::consts::FRAC_PI_2);
            if size < ANGLE_LIMIT * deviation {
                return Some(format!(
                    "its half-angle of {size:.2e} rad ± {deviation:.2e} cannot be told from zero"
                ));
            }
            if right - size < ANGLE_LIMIT * deviation {
                return Some(format!(
                    "its half-angle of {size:.4} rad cannot be told from a plane's"
                ));
            }
            continue;
        }
        if size < SPREAD_LIMIT * deviations.point {
            return Some(format!("its {name} is lost in the points' scatter"));
        }
        let share = deviation / size;
        if !(size > 0.0 && share <= SIZE_LIMIT) {
            let share = 100.0 * share.abs();
            return Some(format!(
                "its {name} is known to {share:.0} % only, at most {:.0} % allowed",
                100.0 * SIZE_LIMIT
            ));
        }
    }
    if M::KIND == Kind::Torus && sizes[0] <= sizes[1] {
        return Some("its major radius comes out smaller than its minor radius".into());
    }
    None
}

/// Why a plane or line is not determined: points on a line, points on a spot.
fn spread<M: Model<N>, const N: usize>(
    shape: &M,
    point: f64,
    sample: &Sample,
    cut: f64,
) -> Option<String> {
    let (index, kind) = match M::KIND {
        Kind::Plane => (1, "lie on a line"),
        Kind::Line => (0, "lie on one spot"),
        Kind::Circle
        | Kind::Sphere
        | Kind::Cylinder
        | Kind::Cone
        | Kind::Torus
        | Kind::Composite => {
            return None;
        }
    };
    let mut buffer = Vec::new();
    distances(shape, &sample.points, &mut buffer);
    let used = sample.points.iter().zip(&buffer).filter(|(_, d)| **d <= cut);
    let used: Vec<_> = used.map(|(p, _)| *p).collect();
    let width = algebraic::principal(&used)?.variances[index].sqrt();
    (width < SPREAD_LIMIT * point).then(|| format!("the points {kind} within their scatter"))
}

/// Why the direction of a plane or line is not determined beside what is held: the arm that the
/// points turn it by, seen from the point or axis it may turn about, is lost in their scatter.
fn lever<M: Model<N>, const N: usize>(solution: &Solution<M, N>, tilt: f64) -> Option<String> {
    if !matches!(M::KIND, Kind::Plane | Kind::Line) {
        return None;
    }
    // A shift changes the distance of every point alike, so its column is the root of their number.
    let root = solution.factor.r[0].iter().map(|x| x * x).sum::<f64>().sqrt();
    (tilt * root * SPREAD_LIMIT > 1.0).then(|| {
        "the points do not reach across what it may turn about within their scatter".into()
    })
}

/// Name of the freedom with the largest part in a combination.
fn freedom<M: Model<N>, const N: usize>(weak: &[f64; N]) -> &'static str {
    let largest = (0..N).max_by(|&a, &b| weak[a].abs().total_cmp(&weak[b].abs()));
    match largest.map_or(0, |j| M::FREE[j]) {
        0..3 => "position",
        3..6 => "direction",
        index => M::SIZES[index - 6],
    }
}

/// Largest condition number of a system that still has an answer: its square is 1 / rounding.
pub(crate) const CONDITION_LIMIT: f64 = 1e8;
/// Condition number from which on an iteration without end is the data's doing.
const VALLEY: f64 = 1e3;
/// Largest standard deviation of a radius, as a part of it: at a fifth, a plane passes for a
/// cylinder in one of some ten thousand cases.
const SIZE_LIMIT: f64 = 0.2;
/// Largest standard deviation of a direction, rad.
pub(crate) const TILT_LIMIT: f64 = 0.3;
/// Standard deviations by which a half-angle must differ from zero and from a right angle.
const ANGLE_LIMIT: f64 = 3.0;
/// Standard deviations of a point that a radius must have, and that the points must spread in every
/// direction of a plane or line.
const SPREAD_LIMIT: f64 = 3.0;
