//! Named things: what was fitted or constructed, with its bounded pieces, uncertainty and quality.

mod construct;
mod hole;
mod length_error;
mod propagate;
mod relation;
mod surface;

pub(crate) use construct::{axis_meets, axis_of};
pub use construct::{intersection, midplane};
pub use hole::HoleSearch;
pub(crate) use propagate::{Uncertain, propagate};
pub(crate) use relation::between_directions;
pub use relation::{Relation, relation, relations};

use nalgebra::{Matrix3, SMatrix};

use crate::associate::{Covariance, NoiseRecord, Quality};
use crate::primitive::{Bounded, Kind, Pose, Primitive};

/// What a feature is.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FeatureKind {
    /// Bounded plane.
    Plane,
    /// Straight line or axis.
    Line,
    /// Circle.
    Circle,
    /// Point.
    Point,
    /// Sphere.
    Sphere,
    /// Cylinder (shaft, boss, pipe).
    Cylinder,
    /// Cone.
    Cone,
    /// Torus.
    Torus,
    /// Hole: wall axis and the circle where it opens in its face.
    Hole,
    /// What a plug-in returned.
    Composite,
}

/// A named feature in one frame (the scan's, or the machine's after [`Feature::transformed`]).
#[derive(Debug, Clone)]
pub struct Feature {
    /// Name, unique in a job.
    pub name: String,
    /// What it is.
    pub kind: FeatureKind,
    /// Id of the fitter that made it, or `construction.…`.
    pub fitter: String,
    /// The unbounded shape that locates it (a hole's is its cylinder, a point's is a sphere of radius 0).
    pub shape: Primitive,
    /// Bounded pieces for CAD and pictures (a hole: wall, rim circle, axis segment).
    pub pieces: Vec<Bounded>,
    /// Uncertainty of shape.
    pub covariance: Covariance,
    /// Quality of the association; `None` for a construction.
    pub quality: Option<Quality>,
    /// What the residuals of the association say of the scan's noise, if there were enough of them.
    pub noise: Option<NoiseRecord>,
    /// What a person should know: rim only, small arc, many rejected.
    pub notes: Vec<String>,
}

impl Feature {
    /// The feature moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        let mut quality = self.quality.clone();
        if let Some(quality) = &mut quality {
            quality.contacts.iter_mut().for_each(|p| *p = pose * *p);
        }
        Feature {
            quality,
            shape: self.shape.transformed(pose),
            pieces: self.pieces.iter().map(|b| b.transformed(pose)).collect(),
            covariance: self.covariance.transformed(pose),
            ..self.clone()
        }
    }
}

impl Feature {
    /// Covariance of the feature when the frame it stands in moves too, as far as the shape shows
    /// that motion: sliding a plane in itself or turning a cylinder about its axis is no change.
    #[must_use]
    pub fn carried_by(&self, frame: &Covariance) -> Covariance {
        let mut motion = frame.about(self.covariance.at);
        let seen = self.visible_motions();
        motion.matrix = seen * motion.matrix * seen;
        motion.matrix += self.covariance.matrix;
        motion
    }

    /// Projector on the motions that change the shape.
    fn visible_motions(&self) -> SMatrix<f64, 8, 8> {
        let along = self.shape.direction().map(|d| d.into_inner() * d.transpose());
        let (mut place, mut turn) = (Matrix3::identity(), Matrix3::identity());
        if let Some(along) = along {
            turn -= along;
            match self.shape.kind() {
                Kind::Plane => place = along,
                Kind::Line | Kind::Cylinder => place -= along,
                Kind::Circle | Kind::Cone | Kind::Torus | Kind::Sphere | Kind::Composite => {}
            }
        } else if self.shape.kind() == Kind::Sphere {
            turn = Matrix3::zeros();
        }
        let mut all = SMatrix::<f64, 8, 8>::zeros();
        all.fixed_view_mut::<3, 3>(0, 0).copy_from(&place);
        all.fixed_view_mut::<3, 3>(3, 3).copy_from(&turn);
        all
    }
}

impl FeatureKind {
    /// Name used in results and layers.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            FeatureKind::Plane => "plane",
            FeatureKind::Line => "line",
            FeatureKind::Circle => "circle",
            FeatureKind::Point => "point",
            FeatureKind::Sphere => "sphere",
            FeatureKind::Cylinder => "cylinder",
            FeatureKind::Cone => "cone",
            FeatureKind::Torus => "torus",
            FeatureKind::Hole => "hole",
            FeatureKind::Composite => "composite",
        }
    }
}
