//! Refusal of what the data do not determine: limits on the deviations of the sizes and of the direction.

use super::data::Sample;
use super::model::Model;
use super::pass::distances;
use super::solve::Solution;
use crate::error::{Error, Result};
use crate::numeric::algebraic;
use crate::primitive::Kind;

/// Standard deviations of a solution, scaled.
pub(crate) struct Deviations<const N: usize> {
    /// Of one point.
    pub(crate) point: f64,
    /// Inverse of the triangle; the covariance is `point² inverse inverseᵀ`.
    pub(crate) inverse: [[f64; N]; N],
}

impl<const N: usize> Deviations<N> {
    /// Standard deviation of freedom `j`.
    pub(crate) fn of(&self, j: usize) -> f64 {
        self.point * self.inverse.iter().map(|c| c[j] * c[j]).sum::<f64>().sqrt()
    }
}

/// Deviations of a solution, or the error that names what the data leave open.
pub(crate) fn check<M: Model<N>, const N: usize>(
    solution: &Solution<M, N>,
    point: f64,
    sample: &Sample,
    cut: f64,
) -> Result<Deviations<N>> {
    let open = |reason: String| Err(Error::undetermined(M::KIND.name(), reason, M::REMEDY));
    let (condition, weak) = solution.factor.condition();
    let Some(inverse) = solution.factor.inverse().filter(|_| condition < CONDITION_LIMIT) else {
        return open(format!("its {} is open", freedom::<M, N>(&weak)));
    };
    let deviations = Deviations { point, inverse };
    if let Some(reason) = sizes(solution, &deviations) {
        return open(reason);
    }
    let tilt = (0..N).filter(|&j| (3..6).contains(&M::FREE[j])).map(|j| deviations.of(j));
    let tilt = tilt.fold(0.0, f64::max);
    if tilt > TILT_LIMIT {
        return open(format!(
            "its direction is known to {tilt:.2} rad only, at most {TILT_LIMIT} allowed"
        ));
    }
    if let Some(reason) = spread(&solution.shape, point, sample, cut) {
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
    Ok(deviations)
}

/// Why a size is not determined.
fn sizes<M: Model<N>, const N: usize>(
    solution: &Solution<M, N>,
    deviations: &Deviations<N>,
) -> Option<String> {
    let sizes = solution.shape.sizes();
    for (k, name) in M::SIZES.iter().enumerate() {
        let Some(j) = M::FREE.iter().position(|&f| f == 6 + k) else { continue };
        let (size, deviation) = (sizes[k], deviations.of(j));
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
const CONDITION_LIMIT: f64 = 1e8;
/// Condition number from which on an iteration without end is the data's doing.
const VALLEY: f64 = 1e3;
/// Largest standard deviation of a radius, as a part of it: at a fifth, a plane passes for a
/// cylinder in one of some ten thousand cases.
const SIZE_LIMIT: f64 = 0.2;
/// Largest standard deviation of a direction, rad.
const TILT_LIMIT: f64 = 0.3;
/// Standard deviations by which a half-angle must differ from zero and from a right angle.
const ANGLE_LIMIT: f64 = 3.0;
/// Standard deviations of a point that a radius must have, and that the points must spread in every
/// direction of a plane or line.
const SPREAD_LIMIT: f64 = 3.0;
