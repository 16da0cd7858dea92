//! Covariance of a shape as that of a small rigid motion of it about a point, plus its sizes.
//!
//! One layout for every shape: `[tx ty tz | rx ry rz | size 1, size 2]`, mm and rad. A point x
//! carried by the shape moves by `t + r × (x - at)`. Freedoms that do not change the shape
//! (turning a cylinder about its axis) have zero rows. Sizes: radius, or major radius; minor
//! radius (torus), half-angle (cone). Method: JCGM 100 (GUM), linear propagation.

use nalgebra::{Matrix3, SMatrix, SVector};

use crate::primitive::{Direction, Point3, Pose};

/// Covariance of position, orientation and size of a shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Covariance {
    /// Point the motion is taken about, mm.
    pub at: Point3,
    /// Symmetric, in the order and units of the module's text.
    pub matrix: SMatrix<f64, 8, 8>,
}

impl Covariance {
    /// No uncertainty, about `at`.
    #[must_use]
    pub fn zero(at: Point3) -> Self {
        Covariance { at, matrix: SMatrix::zeros() }
    }

    /// Variance of the displacement along `direction` of a point carried by the shape, mm².
    #[must_use]
    pub fn variance_along(&self, p: &Point3, direction: &Direction) -> f64 {
        let mut g = SVector::<f64, 8>::zeros();
        g.fixed_rows_mut::<3>(0).copy_from(direction);
        g.fixed_rows_mut::<3>(3).copy_from(&(p - self.at).cross(direction));
        self.variance(&g)
    }

    /// Covariance of the displacement of a point carried by the shape, mm².
    #[must_use]
    pub fn position(&self, p: &Point3) -> Matrix3<f64> {
        let mut j = SMatrix::<f64, 3, 8>::zeros();
        j.fixed_view_mut::<3, 3>(0, 0).copy_from(&Matrix3::identity());
        j.fixed_view_mut::<3, 3>(0, 3).copy_from(&-(p - self.at).cross_matrix());
        j * self.matrix * j.transpose()
    }

    /// Covariance of the orientation (rotation vector), rad².
    #[must_use]
    pub fn rotation(&self) -> Matrix3<f64> {
        self.matrix.fixed_view::<3, 3>(3, 3).into_owned()
    }

    /// Largest standard deviation of the tilt of a direction carried by the shape, rad.
    #[must_use]
    pub fn tilt(&self, direction: &Direction) -> f64 {
        let c: Matrix3<f64> = -direction.cross_matrix();
        largest_deviation(&(c * self.rotation() * c.transpose()))
    }

    /// Largest standard deviation of the displacement of a carried point in any direction, mm.
    #[must_use]
    pub fn deviation_at(&self, p: &Point3) -> f64 {
        largest_deviation(&self.position(p))
    }

    /// Standard deviation of size 1 (0) or size 2 (1), mm or rad.
    ///
    /// # Panics
    /// If `index` is neither 0 nor 1.
    #[must_use]
    pub fn size(&self, index: usize) -> f64 {
        assert!(index < 2, "a shape has at most two sizes");
        self.matrix[(6 + index, 6 + index)].max(0.0).sqrt()
    }

    /// Variance of any linear function of the eight components.
    #[must_use]
    pub fn variance(&self, gradient: &SVector<f64, 8>) -> f64 {
        gradient.dot(&(self.matrix * gradient)).max(0.0)
    }

    /// The same covariance about another point.
    #[must_use]
    pub fn about(&self, at: Point3) -> Self {
        let mut j = SMatrix::<f64, 8, 8>::identity();
        j.fixed_view_mut::<3, 3>(0, 3).copy_from(&-(at - self.at).cross_matrix());
        Covariance { at, matrix: j * self.matrix * j.transpose() }
    }

    /// The covariance of the shape moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        let r = pose.rotation.to_rotation_matrix();
        let mut j = SMatrix::<f64, 8, 8>::identity();
        j.fixed_view_mut::<3, 3>(0, 0).copy_from(r.matrix());
        j.fixed_view_mut::<3, 3>(3, 3).copy_from(r.matrix());
        Covariance { at: pose * self.at, matrix: j * self.matrix * j.transpose() }
    }
}

/// Square root of the largest eigenvalue of a symmetric matrix.
fn largest_deviation(m: &Matrix3<f64>) -> f64 {
    m.symmetric_eigenvalues().max().max(0.0).sqrt()
}
