//! What the part is held against: scans with their places, features with their surfaces, mounts, limits.

use super::insertion::InsertionLimits;
use super::motion::Motion;
use super::thermal::Temperature;
use super::tool_access::ToolLimits;
use crate::associate::Covariance;
use crate::exchange::{Part, PartHole};
use crate::feature::Feature;
use crate::primitive::{Point3, Pose};
use crate::scan::{LengthError, Scan};

/// The machine as it was seen, in machine coordinates.
#[derive(Debug, Clone, Default)]
pub struct Scene<'a> {
    /// Scans; overlapping ones are fine.
    pub scans: Vec<SceneScan<'a>>,
    /// Features that carry their own clearance, seats and bolt holes.
    pub features: Vec<SceneFeature<'a>>,
    /// Uncertainty of the machine frame as a small motion of it, machine coordinates.
    pub frame_covariance: Option<&'a Covariance>,
    /// What moves, beside standing where it was scanned.
    pub motions: Vec<Motion>,
    /// What machine and part are warmed to; `None`: no check at temperature.
    pub temperature: Option<Temperature>,
    /// Further designed parts that are in the machine.
    pub others: Vec<OtherPart<'a>>,
}

/// A designed part beside the one that is checked, in the same coordinates: those of the machine.
#[derive(Debug, Clone)]
pub struct OtherPart<'a> {
    /// Name for findings.
    pub name: &'a str,
    /// The part, a closed solid.
    pub part: &'a Part,
    /// Clearance asked for it, mm; `None`: the general one.
    pub keep_clear: Option<f64>,
    /// Whether contact with it is wanted: then only overlap is a fail, no clearance is asked, and where the part
    /// has to be moved for its bolts it goes along.
    pub touches: bool,
}

/// One scan and where it lies.
#[derive(Debug, Clone)]
pub struct SceneScan<'a> {
    /// Name for findings.
    pub name: &'a str,
    /// The scan in its own coordinates.
    pub scan: &'a Scan,
    /// Takes its coordinates to machine coordinates.
    pub machine_from_scan: Pose,
    /// Uncertainty of its join to the first scan as a small motion, machine coordinates.
    pub join_covariance: Option<&'a Covariance>,
    /// Error of length that the scanner's maker admits; counts from the machine's origin.
    pub length_error: Option<LengthError>,
}

/// A feature with the surface it was seen on.
#[derive(Debug, Clone)]
pub struct SceneFeature<'a> {
    /// The feature, machine coordinates.
    pub feature: &'a Feature,
    /// Index of the scan its points are from; `None` for a construction.
    pub scan: Option<usize>,
    /// Ids in that scan of its surface, edges included.
    pub surface: &'a [u32],
    /// Clearance asked for it, mm; `None`: the general one.
    pub keep_clear: Option<f64>,
    /// Whether the part is meant to touch it.
    pub is_seat: bool,
    /// Bolt that goes into it: `M8`.
    pub bolt: Option<&'a str>,
}

/// Where the part is bolted on.
#[derive(Debug, Clone)]
pub struct Mount {
    /// Index of the hole among the scene's features.
    pub hole: usize,
    /// Index of the face the part sits on there, if it is a feature.
    pub seat: Option<usize>,
    /// Where the part's hole was asked for, machine coordinates, mm.
    pub near: Point3,
    /// The part's hole there.
    pub part_hole: PartHole,
}

impl Mount {
    /// The mount of a part that was moved.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        let hole = &self.part_hole;
        let part_hole =
            PartHole { point: pose * hole.point, axis: pose * hole.axis, ..hole.clone() };
        Mount { near: pose * self.near, part_hole, ..self.clone() }
    }
}

/// Limits of the checks, mm.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Least air everywhere that is not a seat; default 3 (usual least for static parts).
    pub clearance: f64,
    /// Largest gap or overlap at a seat that still counts as seated; default 0.2 (more needs a shim).
    pub seat_tolerance: f64,
    /// How far a surface may continue unseen beyond a scan's border; default 5. A clearance that
    /// would be lost by less is undecided.
    pub unseen_reach: f64,
    /// What is asked of the space for tools; default nothing.
    pub tools: Option<ToolLimits>,
    /// What is asked of the way in; default nothing.
    pub insertion: Option<InsertionLimits>,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            clearance: 3.0,
            seat_tolerance: 0.2,
            unseen_reach: 5.0,
            tools: None,
            insertion: None,
        }
    }
}

impl Limits {
    /// The default limits with another general clearance, mm.
    #[must_use]
    pub fn with_clearance(clearance: f64) -> Self {
        Limits { clearance, ..Limits::default() }
    }
}
