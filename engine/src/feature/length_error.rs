//! The scanner's own error of length in a feature's sizes and direction.

use nalgebra::Matrix3;

use super::Feature;
use crate::primitive::{Kind, Primitive};
use crate::scan::LengthError;

impl Feature {
    /// The feature with the scanner's error of length added to its sizes (over the diameter) and to its
    /// direction (over its extent); to its place it adds only once it is known from where.
    #[must_use]
    pub fn with_length_error(&self, error: &LengthError) -> Self {
        let mut out = self.clone();
        let matrix = &mut out.covariance.matrix;
        let turn = self.quality.as_ref().filter(|q| q.extent > 0.0).map(|q| {
            let deviation = error.deviation(q.extent) / q.extent;
            deviation * deviation
        });
        for (k, radius) in radii(&self.shape).into_iter().enumerate() {
            matrix[(6 + k, 6 + k)] += (0.5 * error.deviation(2.0 * radius)).powi(2);
        }
        if self.shape.kind() == Kind::Cone {
            matrix[(7, 7)] += turn.unwrap_or(0.0);
        }
        if let (Some(turn), Some(direction)) = (turn, self.shape.direction()) {
            let across = Matrix3::identity() - direction.into_inner() * direction.transpose();
            let sum = matrix.fixed_view::<3, 3>(3, 3) + across * turn;
            matrix.fixed_view_mut::<3, 3>(3, 3).copy_from(&sum);
        }
        out
    }
}

/// Radii of a shape in the order of its sizes.
fn radii(shape: &Primitive) -> Vec<f64> {
    match shape {
        Primitive::Plane(_) | Primitive::Line(_) | Primitive::Composite(_) => vec![],
        Primitive::Circle(s) => vec![s.radius],
        // A point is a sphere of radius 0, and has no size to be wrong.
        Primitive::Sphere(s) => Some(s.radius).filter(|r| *r > 0.0).into_iter().collect(),
        Primitive::Cylinder(s) => vec![s.radius],
        Primitive::Cone(s) => vec![s.radius],
        Primitive::Torus(s) => vec![s.major_radius, s.minor_radius],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::associate::Covariance;
    use crate::feature::FeatureKind;
    use crate::primitive::{Direction, Point3, Sphere, Vec3};
    use crate::scan::LengthError;

    /// By hand: 0.02 + 0.0001 · 50 = 0.025 over the diameter, half of it over the radius, / √3.
    #[test]
    fn a_radius_carries_half_the_error_of_its_diameter() {
        let sphere = Sphere { centre: Point3::origin(), radius: 25.0 };
        let feature = Feature {
            name: "ball".into(),
            kind: FeatureKind::Sphere,
            fitter: String::new(),
            shape: sphere.into(),
            pieces: vec![],
            covariance: Covariance::zero(Point3::origin()),
            quality: None,
            noise: None,
            notes: vec![],
        };
        let error = LengthError::new(0.02, 0.0001).expect("in range");
        let found = feature.with_length_error(&error).covariance;
        assert!((found.size(0) - 0.0125 / 3f64.sqrt()).abs() < 1e-15);
        assert_eq!(found.tilt(&Direction::new_unchecked(Vec3::z())), 0.0);
        assert!(LengthError::new(0.02, 50.0).is_err() && LengthError::new(f64::NAN, 0.0).is_err());
    }
}
