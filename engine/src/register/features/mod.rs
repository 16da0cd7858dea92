//! Joining by features: planes, axes and points that are named in both scans.
//!
//! Each pair says as much of the pose as its shapes show, weighted by the covariance of both; the
//! pose is their weighted least-squares fit (Gauss and Newton) from every start that two directions
//! allow, so any pose will do. More than needed is judged by the chi-square of the residuals and, one
//! pair left out at a time, by what the rest then says: Baarda, "A testing procedure for use in
//! geodetic networks" (1968). Less than needed, or several poses that fit, are refused.

mod free;
mod judge;
mod look;
mod solve;
mod start;

pub use judge::by_features;

use super::Join;
use crate::associate::Covariance;
use crate::error::{Error, Result};
use crate::primitive::{Kind, Primitive};

/// A feature that is the same in both scans, as each of them shows it.
///
/// Of a plane its place along the normal and its tilt count; of a line, cylinder or cone the axis; of
/// a circle or torus centre and axis; of a sphere (radius 0: a point) the centre.
#[derive(Debug, Clone)]
pub struct SameFeature {
    /// Name, for people.
    pub name: String,
    /// In coordinates of the scan joined to, mm.
    pub to: Primitive,
    /// Covariance of `to`.
    pub to_covariance: Covariance,
    /// In this scan's coordinates, mm.
    pub from: Primitive,
    /// Covariance of `from`.
    pub from_covariance: Covariance,
    /// Whether both directions point the same way: normals of planes that point out of the material. A
    /// cone's axis always does; for axes and normals of no sure sign `false`.
    pub directed: bool,
}

/// Limits of a join by features.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct FeatureOptions {
    /// Largest distance of a feature from its like after the fit, beyond three standard deviations of
    /// it: more means that it is another one, mm; default 1.
    pub tolerance: f64,
    /// Largest standard deviation of a motion, at the mean distance of the features from their middle,
    /// that counts as held, mm; default 0.5.
    pub loosest: f64,
}

impl Default for FeatureOptions {
    fn default() -> Self {
        FeatureOptions { tolerance: 1.0, loosest: 0.5 }
    }
}

/// A join with what each feature says of it.
#[derive(Debug, Clone)]
pub struct FeatureJoin {
    /// The join; its covariance is widened where the features disagree by more than they state.
    pub join: Join,
    /// Each feature's residual, in the order given.
    pub features: Vec<FeatureResidual>,
    /// Sum of the squared residuals of the features used, each over its uncertainty.
    pub chi_square: f64,
    /// Equations more than a pose needs: what `chi_square` is on average.
    pub freedoms: usize,
    /// Probability of a larger `chi_square` by chance; 1 without freedoms.
    pub probability: f64,
}

/// How far a feature of this scan lies from its like after the fit.
#[derive(Debug, Clone, PartialEq)]
pub struct FeatureResidual {
    /// Its name.
    pub name: String,
    /// Whether the pose was fitted to it; not if it disagreed with all others.
    pub used: bool,
    /// Distance as far as the shape shows it, mm.
    pub distance: f64,
    /// Standard deviation of one component of `distance` from both covariances, mm.
    pub distance_deviation: f64,
    /// Angle between the directions, rad; 0 without directions.
    pub tilt: f64,
    /// Standard deviation of one component of `tilt`, rad.
    pub tilt_deviation: f64,
    /// Its share of the chi-square: squared residual over its uncertainty.
    pub square: f64,
    /// Numbers it gives: 3 of a plane or point, 4 of an axis, 5 of a circle or torus.
    pub equations: usize,
}

impl SameFeature {
    fn check(&self) -> Result<()> {
        let name = || format!("feature \"{}\"", self.name);
        let (a, b) = (self.to.kind(), self.from.kind());
        if look::seen(a).is_none() {
            let allowed = "plane, line, cylinder, cone, circle, torus, sphere";
            return Err(Error::argument(name(), a.name(), allowed));
        }
        let same =
            a == b || look::is_axis(a) && look::is_axis(b) && a != Kind::Cone && b != Kind::Cone;
        if !same {
            return Err(Error::argument(
                name(),
                format!("{} and {}", a.name(), b.name()),
                "the same kind of shape in both scans",
            ));
        }
        let finite = |shape: &Primitive, covariance: &Covariance| {
            let direction = shape.direction().is_none_or(|d| d.iter().all(|x| x.is_finite()));
            let place = shape.point().iter().chain(covariance.at.iter()).all(|x| x.is_finite());
            direction && place && covariance.matrix.iter().all(|x| x.is_finite())
        };
        if !finite(&self.to, &self.to_covariance) || !finite(&self.from, &self.from_covariance) {
            return Err(Error::argument(name(), "a number that is not finite", "finite numbers"));
        }
        Ok(())
    }
}

impl FeatureOptions {
    fn check(&self) -> Result<()> {
        for (name, value) in [("tolerance", self.tolerance), ("loosest", self.loosest)] {
            if !(value.is_finite() && value > 0.0) {
                return Err(Error::argument(name, value, "a length over 0 mm"));
            }
        }
        Ok(())
    }
}
