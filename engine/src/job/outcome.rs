//! Everything a run found, in machine coordinates, before it is written or shown.

use crate::datum::DatumSystem;
use crate::exchange::Part;
use crate::feature::{Feature, Relation};
use crate::fitcheck::{Finding, Verdict};
use crate::primitive::Pose;
use crate::register::Join;
use crate::scan::Scan;
use crate::units::{AngleUnit, LengthUnit};

/// Result of a job.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// Name of the job.
    pub job: String,
    /// Unit of length of job file and results.
    pub length: LengthUnit,
    /// Unit of angle of job file and results.
    pub angle: AngleUnit,
    /// Scans in the job's order.
    pub scans: Vec<ScanOutcome>,
    /// Takes coordinates of the first scan to machine coordinates; identity without a datum system.
    pub machine_from_scan: Pose,
    /// The datum system, if the job names one.
    pub datum: Option<DatumSystem>,
    /// Features in the job's order.
    pub features: Vec<FeatureOutcome>,
    /// Distances and angles between features that locate something (faces, holes, axes, points).
    pub relations: Vec<Relation>,
    /// The part, if the job names one.
    pub part: Option<Part>,
    /// Signed clearance of each part vertex to the nearest scan surface that is not its seat, mm;
    /// negative inside; empty without a part.
    pub part_clearance: Vec<f64>,
    /// Required clearance of the job, mm.
    pub required_clearance: Option<f64>,
    /// Findings of all checks, the worst first.
    pub findings: Vec<Finding>,
    /// Worst verdict of the findings; pass without findings.
    pub verdict: Verdict,
}

/// A scan of the job.
#[derive(Debug, Clone)]
pub struct ScanOutcome {
    /// Name in the job.
    pub name: String,
    /// File as the job names it.
    pub file: String,
    /// The scan in its own coordinates.
    pub scan: Scan,
    /// Takes its coordinates to those of the first scan.
    pub first_from_this: Pose,
    /// How it was joined; `None` for the first.
    pub join: Option<Join>,
}

/// A feature of the job.
#[derive(Debug, Clone)]
pub struct FeatureOutcome {
    /// The feature in machine coordinates.
    pub feature: Feature,
    /// Index of the scan its points are from; `None` for constructions.
    pub scan: Option<usize>,
    /// Ids in that scan of its surface, edges included, ascending.
    pub surface: Vec<u32>,
    /// Clearance asked for this feature, mm.
    pub keep_clear: Option<f64>,
}
