//! Least-squares rigid motion between paired points, with its covariance.
//!
//! Singular value decomposition of the cross-covariance with the reflection guarded: Kabsch, "A
//! solution for the best rotation to relate two sets of vectors" (1976); Umeyama, "Least-squares
//! estimation of transformation parameters between two point patterns" (1991).

use nalgebra::{Matrix3, Rotation3, SMatrix, Translation3, UnitQuaternion};

use crate::associate::Covariance;
use crate::error::{Error, Result};
use crate::primitive::{Direction, Point3, Pose, Vec3};

/// Rigid motion of paired points that takes `from` to `to`, least squares, for a start: mm.
///
/// # Errors
/// [`Error::Join`] for fewer than three pairs, pairs on a line, or pairs of which the distances disagree by more than
/// a tenth of their spread.
pub fn of_pairs(to: &[Point3], from: &[Point3]) -> Result<Pose> {
    let refuse = |reason: String| Err(Error::Join { reason });
    if to.len() != from.len() || to.len() < 3 {
        return refuse(format!(
            "{} pairs of points: three are the least",
            to.len().min(from.len())
        ));
    }
    if to.iter().chain(from).any(|p| !p.iter().all(|x| x.is_finite())) {
        return refuse("a point of a pair is not finite".into());
    }
    let fit = RigidFit::new(to, from);
    let spread: Matrix3<f64> =
        to.iter().map(|p| (p - fit.middle) * (p - fit.middle).transpose()).sum();
    let mut sizes = spread.symmetric_eigenvalues();
    sizes.as_mut_slice().sort_by(f64::total_cmp);
    if sizes[1] <= 1e-4 * sizes[2] {
        return refuse("the pairs of points lie on a line: the turn about it stays free".into());
    }
    if fit.rss > 0.01 * spread.trace() {
        return refuse(
            "the distances between the pairs of points disagree: is one of them another place?"
                .into(),
        );
    }
    Ok(fit.to_from_this)
}

/// A rigid fit of paired points.
#[derive(Debug, Clone)]
pub(super) struct RigidFit {
    pub(super) to_from_this: Pose,
    /// Middle of the paired points of the other scan, mm.
    pub(super) middle: Point3,
    /// Sum of squared residuals, mm².
    pub(super) rss: f64,
    /// Inverse of the sum of squared levers (|x|² I − x xᵀ) about the middle, mm⁻²; zero if singular.
    pub(super) inverse_levers: Matrix3<f64>,
}

impl RigidFit {
    /// Fits `to[k] = pose * from[k]`; the slices have one length, at least 3.
    pub(super) fn new(to: &[Point3], from: &[Point3]) -> Self {
        let (middle, middle_from) = (centroid(to), centroid(from));
        let cross: Matrix3<f64> =
            to.iter().zip(from).map(|(t, f)| (t - middle) * (f - middle_from).transpose()).sum();
        let levers: Matrix3<f64> = to.iter().map(|t| lever(&(t - middle))).sum();
        let inverse_levers = levers.try_inverse().unwrap_or_else(Matrix3::zeros);
        let rotation = proper_rotation(&cross);
        // The decomposition of a flat layout is good to about 1e-11 rad: one linear step mends it.
        let moment: Vec3 = to
            .iter()
            .zip(from)
            .map(|(t, f)| (rotation * (f - middle_from)).cross(&(t - middle)))
            .sum();
        let rotation = UnitQuaternion::from_scaled_axis(inverse_levers * moment) * rotation;
        let shift = middle - rotation * middle_from;
        let pose = Pose::from_parts(Translation3::from(shift), rotation);
        RigidFit {
            to_from_this: pose,
            middle,
            rss: to.iter().zip(from).map(|(t, f)| (t - pose * f).norm_squared()).sum(),
            inverse_levers,
        }
    }

    /// Covariance for a standard deviation of one coordinate of one residual, mm.
    pub(super) fn covariance(&self, sigma: f64, count: usize) -> Covariance {
        let mut matrix = SMatrix::<f64, 8, 8>::zeros();
        let shift = Matrix3::identity() / count as f64;
        matrix.fixed_view_mut::<3, 3>(0, 0).copy_from(&(shift * sigma.powi(2)));
        matrix.fixed_view_mut::<3, 3>(3, 3).copy_from(&(self.inverse_levers * sigma.powi(2)));
        Covariance { at: self.middle, matrix }
    }

    /// Share of a target's own three coordinates in where the fit puts it, 0 to 1.
    pub(super) fn leverage(&self, target: &Point3, count: usize) -> f64 {
        let x = (target - self.middle).cross_matrix();
        let turn = (x * self.inverse_levers * x.transpose()).trace();
        (1.0 / count as f64 + turn / 3.0).min(1.0)
    }
}

/// The line that points lie nearest to, and their root mean square distances along and across it, mm.
pub(super) fn main_line(points: &[Point3]) -> (Point3, Direction, f64, f64) {
    let middle = centroid(points);
    let scatter: Matrix3<f64> =
        points.iter().map(|p| (p - middle) * (p - middle).transpose()).sum();
    let eigen = scatter.symmetric_eigen();
    let largest = eigen.eigenvalues.imax();
    let direction = Direction::new_normalize(eigen.eigenvectors.column(largest).into_owned());
    let mean = |sum: f64| (sum.max(0.0) / points.len() as f64).sqrt();
    let along = eigen.eigenvalues[largest];
    (middle, direction, mean(along), mean(eigen.eigenvalues.sum() - along))
}

/// Middle of points; the origin for none.
pub(super) fn centroid(points: &[Point3]) -> Point3 {
    let sum: Vec3 = points.iter().map(|p| p.coords).sum();
    Point3::from(sum / points.len().max(1) as f64)
}

fn proper_rotation(cross: &Matrix3<f64>) -> UnitQuaternion<f64> {
    let svd = cross.svd(true, true);
    let (Some(u), Some(v_t)) = (svd.u, svd.v_t) else { return UnitQuaternion::identity() };
    let mut sign = Matrix3::identity();
    if (u * v_t).determinant() < 0.0 {
        let smallest = svd.singular_values.imin();
        sign[(smallest, smallest)] = -1.0;
    }
    UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(u * sign * v_t))
}

fn lever(x: &Vec3) -> Matrix3<f64> {
    Matrix3::identity() * x.norm_squared() - x * x.transpose()
}
