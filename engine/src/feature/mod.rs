//! Named things: what was fitted or constructed, with its bounded pieces, uncertainty and quality.

use crate::associate::{Covariance, Quality};
use crate::primitive::{Bounded, Pose, Primitive};

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
    /// What a person should know: rim only, small arc, many rejected.
    pub notes: Vec<String>,
}

impl Feature {
    /// The feature moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        Feature {
            shape: self.shape.transformed(pose),
            pieces: self.pieces.iter().map(|b| b.transformed(pose)).collect(),
            covariance: self.covariance.transformed(pose),
            ..self.clone()
        }
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
