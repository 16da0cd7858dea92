//! What the fitters need of a host, so that they also run without a loader.

use fitwright_plugin::{Call, Failure, Fitted, Shape};

/// Standard fits, progress and the wish to stop.
pub trait Host {
    /// The host's cylinder through points, outliers found and left out.
    ///
    /// # Errors
    /// The host's.
    fn cylinder(
        &self,
        points: &[[f64; 3]],
        normals: Option<&[[f64; 3]]>,
    ) -> Result<Fitted, Failure>;

    /// Tells how much is done, 0 to 1.
    ///
    /// # Errors
    /// [`Failure::cancelled`].
    fn progress(&self, fraction: f64) -> Result<(), Failure>;

    /// To be asked at least every 50 ms.
    ///
    /// # Errors
    /// [`Failure::cancelled`].
    fn check(&self) -> Result<(), Failure>;
}

impl Host for Call<'_> {
    fn cylinder(
        &self,
        points: &[[f64; 3]],
        normals: Option<&[[f64; 3]]>,
    ) -> Result<Fitted, Failure> {
        self.fit(Shape::Cylinder, points, normals, true)
    }

    fn progress(&self, fraction: f64) -> Result<(), Failure> {
        Call::progress(self, fraction)
    }

    fn check(&self) -> Result<(), Failure> {
        Call::check(self)
    }
}
