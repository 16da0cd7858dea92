//! The scan of the finished part of a job.

use super::outcome::MadeOutcome;
use super::run::Folder;
use super::spec::{Job, LaidOnSpec, MadeSpec, PairSpec};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::exchange::Part;
use crate::fitcheck::{self, Finding, LaidOn, Limits, Made, Mount, Scene};
use crate::primitive::{Point3, Pose};
use crate::register;
use crate::scan::Scan;
use crate::units::LengthUnit;

/// Holds the finished part against its model and makes every check again with it.
pub(super) fn check(
    job: &Job,
    folder: &Folder,
    spec: &MadeSpec,
    (part, mounts): (&Part, &[Mount]),
    (scene, limits): (&Scene<'_>, &Limits),
    context: &Context,
) -> Result<(MadeOutcome, Vec<Finding>)> {
    let mm = job.length_unit()?.to_mm();
    let unit = spec.unit.as_deref().map_or_else(|| job.length_unit(), LengthUnit::parse)?;
    let scan = Scan::read(folder.path(&spec.file), unit)?;
    let made = Made {
        scan: &scan,
        laid_on: match spec.laid_on {
            LaidOnSpec::Model => LaidOn::Model,
            LaidOnSpec::Seats => LaidOn::Seats,
        },
        start: start(&spec.start, unit.to_mm(), mm)?,
        tolerance: spec.tolerance.map(|t| t * mm),
    };
    let tolerance = made.tolerance;
    let found = fitcheck::made(part, &made, scene, mounts, limits, context);
    let found = found.map_err(|e| match e {
        Error::Cancelled | Error::Internal(_) => e,
        e => Error::Job { place: "[part] made".into(), reason: e.to_string() },
    })?;
    let outcome = MadeOutcome {
        file: spec.file.display().to_string(),
        scan,
        part_from_scan: found.part_from_scan,
        deviation: found.deviation,
        map: found.map,
        tolerance,
    };
    Ok((outcome, found.findings))
}

/// Pose of three pairs or more; `None` without any.
fn start(pairs: &[PairSpec], scan_mm: f64, mm: f64) -> Result<Option<Pose>> {
    if pairs.is_empty() {
        return Ok(None);
    }
    let to: Vec<Point3> = pairs.iter().map(|p| Point3::from(p.part) * mm).collect();
    let from: Vec<Point3> = pairs.iter().map(|p| Point3::from(p.scan) * scan_mm).collect();
    register::of_pairs(&to, &from)
        .map(Some)
        .map_err(|e| Error::Job { place: "[part] made.start".into(), reason: e.to_string() })
}
