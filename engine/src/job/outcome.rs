//! Everything a run found, in machine coordinates, before it is written or shown.

use super::spec::{HoldSpec, OutputSpec};
use crate::associate::{ConstraintCost, Covariance, Relation as Shared};
use crate::datum::DatumSystem;
use crate::exchange::Part;
use crate::feature::{Feature, Relation};
use crate::fitcheck::{DeviationMap, Finding, Verdict};
use crate::primitive::Pose;
use crate::register::{Adjusted, Candidate, Changes, FeatureResidual, Join, Merged, SavedDatum};
use crate::scan::{LengthError, Scan};
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
    /// Their adjustment all together, if the job asks for it; the first scan's coordinates are the common ones.
    pub adjusted: Option<Adjusted>,
    /// Takes coordinates of the first scan to machine coordinates; identity without a datum system.
    pub machine_from_scan: Pose,
    /// The datum system, if the job names one.
    pub datum: Option<DatumSystem>,
    /// Features in the job's order.
    pub features: Vec<FeatureOutcome>,
    /// Groups fitted at once, in the order they were found.
    pub groups: Vec<GroupOutcome>,
    /// Distances and angles between features that locate something (faces, holes, axes, points).
    pub relations: Vec<Relation>,
    /// The part, if the job names one.
    pub part: Option<Part>,
    /// Further designed parts, in the job's order.
    pub other_parts: Vec<OtherPartOutcome>,
    /// Names of features and other parts that are taken off for the way in.
    pub taken_off: Vec<String>,
    /// Where the part was checked, if not where it was designed: see [`crate::fitcheck::Checked`].
    pub checked_from_designed: Option<Pose>,
    /// Signed clearance of each part vertex to the nearest scan surface that is not its seat, or other part that it
    /// is not meant to touch, mm; negative inside; empty without a part.
    pub part_clearance: Vec<f64>,
    /// Required clearance of the job, mm.
    pub required_clearance: Option<f64>,
    /// The finished part, if it was scanned.
    pub made: Option<MadeOutcome>,
    /// Findings of all checks, the worst first.
    pub findings: Vec<Finding>,
    /// Worst verdict of the findings; pass without findings.
    pub verdict: Verdict,
    /// The scans as one, machine coordinates, if the job asks for them.
    pub joined: Option<Merged>,
    /// The datum system with its features, to be found again in a later scan; `None` without one.
    pub saved: Option<SavedDatum>,
    /// What moved since the day of the datum system that the job found again.
    pub again: Option<AgainOutcome>,
    /// How the job wants it written.
    pub output: OutputSpec,
}

/// A datum system of an earlier day that was found again.
#[derive(Debug, Clone)]
pub struct AgainOutcome {
    /// Its file as the job names it.
    pub file: String,
    /// The job that saved it.
    pub job: String,
    /// Change up to which a feature counts as where it was, mm.
    pub still: f64,
    /// What changed since.
    pub changes: Changes,
}

/// A designed part beside the one that is checked.
#[derive(Debug, Clone)]
pub struct OtherPartOutcome {
    /// Name in the job.
    pub name: String,
    /// The part, machine coordinates, where it was designed.
    pub part: Part,
    /// Clearance asked for it, mm; `None`: the general one.
    pub keep_clear: Option<f64>,
    /// Whether contact with it is wanted.
    pub touches: bool,
}

/// The scan of the finished part.
#[derive(Debug, Clone)]
pub struct MadeOutcome {
    /// File as the job names it.
    pub file: String,
    /// The scan in its own coordinates.
    pub scan: Scan,
    /// Takes its coordinates to the model's: machine coordinates.
    pub part_from_scan: Pose,
    /// Distance of each of its points from the model, mm; negative: material is missing.
    pub deviation: Vec<f64>,
    /// How far each piece of the model's surface is off.
    pub map: DeviationMap,
    /// Largest deviation that is admitted, mm.
    pub tolerance: Option<f64>,
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
    /// What each feature says of a join by features; else empty.
    pub join_features: Vec<FeatureResidual>,
    /// Poses weighed in a join from an unknown start, the best first; else empty.
    pub join_candidates: Vec<Candidate>,
    /// Covariance of where it lies, coordinates of the first scan: of all joins between, or of the
    /// adjustment against the held scan; `None` if exact.
    pub spread: Option<Covariance>,
    /// Error of length that the scanner's maker admits.
    pub length_error: Option<LengthError>,
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
    /// Standard deviation of its place by the scanner's error of length, mm.
    pub scanner: f64,
    /// Clearance asked for this feature, mm.
    pub keep_clear: Option<f64>,
    /// What its fit was held to, in the job's units, points and directions in machine coordinates.
    pub held: Option<HoldSpec>,
    /// What that cost.
    pub cost: Option<ConstraintCost>,
}

/// Features of the job that were fitted at once.
#[derive(Debug, Clone)]
pub struct GroupOutcome {
    /// Name in the job.
    pub name: String,
    /// What they share.
    pub relation: Shared,
    /// Names of its features.
    pub features: Vec<String>,
    /// What sharing it cost all of them together.
    pub cost: ConstraintCost,
}
