//! The weighted least-squares pose of features, from every rotation that they allow.

use nalgebra::{Matrix3, Translation3, UnitQuaternion, Vector6};

use super::super::freedom::Freedom;
use super::super::pairing::Scaling;
use super::look::{Look, Sums, foot};
use super::start::rotations;
use super::{FeatureOptions, SameFeature};
use crate::primitive::{Point3, Pose, Vec3};

/// A pose that fits, with the equations there.
#[derive(Debug, Clone, Copy)]
pub(super) struct Solution {
    pub(super) pose: Pose,
    pub(super) sums: Sums,
    pub(super) converged: bool,
}

/// Poses that the pairs allow, the best first, each told apart from the others; or what they leave free.
pub(super) fn solve(
    pairs: &[&SameFeature],
    scaling: &Scaling,
    options: &FeatureOptions,
) -> Result<Vec<Solution>, Freedom> {
    let mut found: Vec<Solution> = Vec::new();
    let mut open = None;
    for rotation in rotations(pairs) {
        let start = Solution::new(pairs, scaling, shifted(pairs, scaling, rotation));
        let freedom = start.freedom(options);
        if freedom.free.ncols() > 0 {
            open.get_or_insert(freedom);
            continue;
        }
        let solution = start.settled(pairs, scaling);
        let same = |s: &Solution| {
            let off = scaling.coordinates(&(s.pose * solution.pose.inverse()));
            off.norm() < SAME * scaling.radius
        };
        if solution.pose.translation.vector.iter().all(|x| x.is_finite()) && !found.iter().any(same)
        {
            found.push(solution);
        }
    }
    found.sort_by(|a, b| a.sums.square.total_cmp(&b.sums.square));
    match open {
        Some(freedom) if found.is_empty() => Err(freedom),
        _ => Ok(found),
    }
}

/// Coordinates about the middle of the features as the other scan shows them.
pub(super) fn scaling(pairs: &[&SameFeature]) -> Scaling {
    let places: Vec<Point3> = pairs.iter().map(|p| foot(&p.to, &p.to_covariance.at)).collect();
    let middle = super::super::rigid::centroid(&places);
    let square: f64 = places.iter().map(|p| (p - middle).norm_squared()).sum();
    let radius = (square / places.len().max(1) as f64).sqrt();
    Scaling { middle, radius: radius.max(LEAST_RADIUS) }
}

impl Solution {
    fn new(pairs: &[&SameFeature], scaling: &Scaling, pose: Pose) -> Self {
        let mut sums = Sums::default();
        pairs.iter().for_each(|p| sums.add(&Look::new(p, &pose, scaling)));
        Solution { pose, sums, converged: false }
    }

    /// Motions that the features hold worse than the loosest allowed: what tilts within three standard
    /// deviations may fake is no hold.
    fn freedom(&self, options: &FeatureOptions) -> Freedom {
        let eigen = (self.sums.matrix - self.sums.noise * FAKED).symmetric_eigen();
        let free = |k: &usize| eigen.eigenvalues[*k] < options.loosest.powi(-2);
        let motions: Vec<Vector6<f64>> =
            (0..6).filter(free).map(|k| eigen.eigenvectors.column(k).into_owned()).collect();
        Freedom::split(&motions)
    }

    fn settled(mut self, pairs: &[&SameFeature], scaling: &Scaling) -> Self {
        for _ in 0..MOST_STEPS {
            let Some(inverse) = self.sums.matrix.try_inverse() else { break };
            let step = -(inverse * self.sums.right);
            let length = step.dot(&(self.sums.matrix * step));
            self = Solution::new(pairs, scaling, scaling.motion(&step) * self.pose);
            if length < SETTLED || step.norm() < f64::EPSILON * scaling.radius {
                self.converged = true;
                break;
            }
        }
        self
    }
}

/// The pose of a rotation with the shift that fits best.
fn shifted(pairs: &[&SameFeature], scaling: &Scaling, rotation: UnitQuaternion<f64>) -> Pose {
    let middle =
        pairs.iter().map(|p| p.from_covariance.at.coords).sum::<Vec3>() / pairs.len().max(1) as f64;
    let shift = Translation3::from(scaling.middle.coords - rotation * middle);
    let pose = Pose::from_parts(shift, rotation);
    let sums = Solution::new(pairs, scaling, pose).sums;
    let eigen = sums.matrix.fixed_view::<3, 3>(0, 0).into_owned().symmetric_eigen();
    let least = 1e-9 * eigen.eigenvalues.max();
    let inverse = |x: f64| if x > least { 1.0 / x } else { 0.0 };
    let inverse: Matrix3<f64> = eigen.eigenvectors
        * Matrix3::from_diagonal(&eigen.eigenvalues.map(inverse))
        * eigen.eigenvectors.transpose();
    Translation3::from(-(inverse * sums.right.fixed_rows::<3>(0))) * pose
}

/// Poses nearer to each other than this share of the features' spread are the same.
const SAME: f64 = 1e-4;
/// Features closer together than this are spread as if they were so far apart, mm.
const LEAST_RADIUS: f64 = 10.0;
/// Variances of a tilt that count as faked hold.
const FAKED: f64 = 9.0;
/// Most steps of one start.
const MOST_STEPS: usize = 50;
/// Square of a step in standard deviations of the pose that ends the iteration.
const SETTLED: f64 = 1e-16;
