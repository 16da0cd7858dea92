//! Running a job: scans in, joined, features, datum system, part, checks; only public calls below it.

use std::path::{Path, PathBuf};
use std::time::Duration;

use super::outcome::{FeatureOutcome, Outcome, ScanOutcome};
use super::spec::{Job, JoinBy, JoinSpec, JoinStart, ScanSpec};
use super::{again, check, find, joined};
use crate::associate::Covariance;
use crate::context::Context;
use crate::datum::{Datum, DatumSystem};
use crate::error::{Error, Result};
use crate::feature::{Feature, Relation, relations};
use crate::fitcheck::Verdict;
use crate::plugin::{LoadOptions, Registry};
use crate::primitive::{Point3, Pose};
use crate::register::{self, Candidate, FeatureResidual, Join};
use crate::scan::{LengthError, ReadOptions, Scan};
use crate::units::LengthUnit;

/// Where a job's files are.
#[derive(Debug, Clone)]
pub struct Folder(PathBuf);

impl Folder {
    /// The folder that a job file's paths are relative to.
    #[must_use]
    pub fn of(job_file: &Path) -> Self {
        Folder(job_file.parent().map_or_else(PathBuf::new, Path::to_path_buf))
    }

    pub(super) fn path(&self, relative: &Path) -> PathBuf {
        self.0.join(relative)
    }
}

impl Job {
    /// Runs the job with the built-in fitters and the plug-ins that it names.
    ///
    /// # Errors
    /// Any [`Error`]; the message names the scan, feature or part it came from.
    pub fn run(&self, folder: &Folder, context: &Context) -> Result<Outcome> {
        self.run_with(folder, &Registry::new(), &LoadOptions::default(), context)
    }

    /// Runs the job with the fitters of a registry beside the plug-ins that it names itself, which are
    /// loaded as `options` say; what the job trusts is trusted too, and its limits go first.
    ///
    /// # Errors
    /// As [`Job::run`].
    pub fn run_with(
        &self,
        folder: &Folder,
        registry: &Registry,
        options: &LoadOptions,
        context: &Context,
    ) -> Result<Outcome> {
        let registry = self.registry(folder, registry, options)?;
        context.run(|| self.run_here(folder, &registry, context))
    }

    fn registry(
        &self,
        folder: &Folder,
        registry: &Registry,
        options: &LoadOptions,
    ) -> Result<Registry> {
        let (mut registry, mut options) = (registry.clone(), options.clone());
        let Some(plugins) = &self.plugins else { return Ok(registry) };
        options.trusted.extend_from_slice(&plugins.trusted);
        if let Some(seconds) = plugins.time_limit {
            options.time_limit = Duration::from_secs_f64(seconds);
        }
        if let Some(megabytes) = plugins.memory_limit {
            options.memory_limit = megabytes << 20;
        }
        for path in &plugins.folders {
            let loaded = registry.load(&folder.path(path), &options);
            loaded.map_err(|e| Error::Job {
                place: format!("[plugins] folder \"{}\"", path.display()),
                reason: e.to_string(),
            })?;
        }
        Ok(registry)
    }

    fn run_here(&self, folder: &Folder, registry: &Registry, context: &Context) -> Result<Outcome> {
        let unit = self.length_unit()?;
        let mut scans = self.read_scans(folder, unit, context)?;
        let adjusted = self.adjust(&mut scans, context)?;
        let mut finder = find::Finder::new(self, &scans, registry, context)?;
        finder.find_in_scan_coordinates()?;
        finder.find_again_with_known_noise()?;
        let again = again::find(self, folder, &scans, registry, context)?;
        let datum = match &again {
            Some(again) => Some(again.datum.clone()),
            None => self.datum_system(&finder)?,
        };
        let machine_from_scan = datum.as_ref().map_or_else(Pose::identity, |d| d.machine_from_scan);
        finder.find_in_machine_coordinates(&machine_from_scan)?;
        let (mut features, groups) = finder.into_machine(&machine_from_scan);
        let saved = again::saved(self, again.as_ref(), &features, &machine_from_scan, &scans)?;
        let again = again.map(|found| found.into_outcome(&mut features));
        let locating: Vec<Feature> = features.iter().map(|f| f.feature.clone()).collect();
        let relations = with_length_error(relations(&locating), &features, &scans);
        let mut outcome = Outcome {
            job: self.job.name.clone(),
            length: unit,
            angle: self.angle_unit()?,
            scans,
            adjusted,
            machine_from_scan,
            datum,
            relations,
            groups,
            features,
            part: None,
            other_parts: Vec::new(),
            taken_off: Vec::new(),
            checked_from_designed: None,
            part_clearance: Vec::new(),
            required_clearance: None,
            made: None,
            findings: Vec::new(),
            verdict: Verdict::Pass,
            joined: None,
            saved,
            again,
            output: self.output.clone(),
        };
        if self.part.is_some() {
            check::check(self, folder, registry, &mut outcome, context)?;
        }
        if self.output.joined.is_some() {
            outcome.joined = Some(joined::joined(&outcome, context)?);
        }
        context.report("done", 1.0)?;
        Ok(outcome)
    }

    fn read_scans(
        &self,
        folder: &Folder,
        unit: LengthUnit,
        context: &Context,
    ) -> Result<Vec<ScanOutcome>> {
        let mut done: Vec<ScanOutcome> = Vec::new();
        for (k, spec) in self.scans.iter().enumerate() {
            let fraction = k as f64 / self.scans.len() as f64;
            context.report(&format!("reading {}", spec.name), fraction)?;
            let job_unit = unit;
            let unit = spec.unit.as_deref().map_or(Ok(unit), LengthUnit::parse)?;
            let options = ReadOptions { drop_invalid: spec.drop_invalid, ..ReadOptions::default() };
            let path = folder.path(&spec.file);
            let scan = Scan::read_with(&path, unit, &options, context)?;
            let joined = match &spec.join {
                None => Joined::exactly(Pose::identity(), None),
                Some(how) => {
                    context.report(&format!("joining {}", spec.name), fraction)?;
                    self.join(folder, &scan, spec, how, &done, context)
                        .map_err(|e| in_scan(&spec.name, e))?
                }
            };
            let length_error = spec
                .length_error
                .map(|e| LengthError::new(e.fixed * job_unit.to_mm(), e.per_length));
            done.push(ScanOutcome {
                length_error: length_error.transpose().map_err(|e| in_scan(&spec.name, e))?,
                name: spec.name.clone(),
                file: spec.file.display().to_string(),
                scan,
                first_from_this: joined.first_from_this,
                join: joined.join,
                join_features: joined.features,
                join_candidates: joined.candidates,
                spread: joined.spread,
            });
        }
        Ok(done)
    }

    fn join(
        &self,
        folder: &Folder,
        scan: &Scan,
        spec: &ScanSpec,
        how: &JoinSpec,
        done: &[ScanOutcome],
        context: &Context,
    ) -> Result<Joined> {
        let other = done.iter().find(|s| s.name == how.to).ok_or_else(|| Error::UnknownName {
            kind: "scan",
            name: how.to.clone(),
            nearest: None,
        })?;
        let surface = |start: &Pose| {
            let options = register::SurfaceOptions::default();
            register::by_surface(&other.scan, scan, start, &options, context)
        };
        let (mut features, mut candidates) = (Vec::new(), Vec::new());
        let join = match how.by {
            JoinBy::Nothing => {
                return Ok(Joined::exactly(other.first_from_this, other.spread.clone()));
            }
            JoinBy::Surface if how.start == JoinStart::Unknown => {
                let options = register::UnknownStartOptions::default();
                let (join, weighed) =
                    register::from_unknown_start(&other.scan, scan, &options, context)?;
                candidates = weighed;
                join
            }
            JoinBy::Surface => surface(&Pose::identity())?,
            JoinBy::Targets => {
                let join = self.join_by_targets(folder, spec, how)?;
                if how.refine.unwrap_or(true) { surface(&join.to_from_this)? } else { join }
            }
            JoinBy::Features => {
                let found = how.by_features(&other.scan, scan, self.length_unit()?, context)?;
                features = found.features;
                let refine = how.refine.unwrap_or(false);
                if refine { surface(&found.join.to_from_this)? } else { found.join }
            }
        };
        Ok(Joined {
            first_from_this: other.first_from_this * join.to_from_this,
            spread: Some(chained(other, &join.covariance)),
            join: Some(join),
            features,
            candidates,
        })
    }

    fn join_by_targets(&self, folder: &Folder, spec: &ScanSpec, how: &JoinSpec) -> Result<Join> {
        let read = |file: &Option<PathBuf>, unit: &Option<String>| -> Result<Vec<Point3>> {
            let unit = unit.as_deref().map_or_else(|| self.length_unit(), LengthUnit::parse)?;
            let file = file.as_ref().ok_or_else(|| Error::Join {
                reason: "targets of one of the scans are not named".into(),
            })?;
            register::read_targets(folder.path(file), unit)
        };
        let other = self.scans.iter().find(|s| s.name == how.to);
        let (file, unit) = other.map_or((None, None), |o| (o.targets.clone(), o.unit.clone()));
        let to = read(&file, &unit)?;
        let from = read(&how.targets.clone().or_else(|| spec.targets.clone()), &spec.unit)?;
        register::by_targets(&to, &from, &register::TargetOptions::default())
    }

    fn datum_system(&self, finder: &find::Finder<'_>) -> Result<Option<DatumSystem>> {
        let Some(spec) = &self.datum else { return Ok(None) };
        let mut datums = Vec::new();
        for d in spec.features() {
            let mut datum = Datum::new(finder.in_first_scan(&d.feature)?);
            if let Some(axis) = &d.axis {
                datum = datum.axis(axis)?;
            }
            if let Some(sets) = &d.sets {
                datum = datum.sets(sets)?;
            }
            datums.push(datum);
        }
        DatumSystem::new(&datums).map(Some)
    }
}

/// Where a scan lies and how that was found.
struct Joined {
    first_from_this: Pose,
    join: Option<Join>,
    features: Vec<FeatureResidual>,
    candidates: Vec<Candidate>,
    spread: Option<Covariance>,
}

impl Joined {
    /// In coordinates that are another scan's, or the first's own.
    fn exactly(first_from_this: Pose, spread: Option<Covariance>) -> Self {
        Joined { first_from_this, join: None, features: Vec::new(), candidates: Vec::new(), spread }
    }
}

/// Covariance of a scan in the first scan's coordinates: that of its join beside that of the other scan.
fn chained(other: &ScanOutcome, join: &Covariance) -> Covariance {
    let mut sum = join.transformed(&other.first_from_this);
    if let Some(before) = &other.spread {
        sum.matrix += before.about(sum.at).matrix;
    }
    sum
}

/// Distances with the error of length of the scans that their features are from.
fn with_length_error(
    mut relations: Vec<Relation>,
    features: &[FeatureOutcome],
    scans: &[ScanOutcome],
) -> Vec<Relation> {
    let error = |name: &str, length: f64| {
        let feature = features.iter().find(|f| f.feature.name == name)?;
        Some(scans[feature.scan?].length_error?.deviation(length))
    };
    for r in &mut relations {
        let of = |name: &str| error(name, r.distance).unwrap_or(0.0);
        let deviation = of(&r.a).max(of(&r.b));
        r.distance_uncertainty = r.distance_uncertainty.hypot(2.0 * deviation);
    }
    relations
}

/// The same error with the scan's name in front.
fn in_scan(name: &str, error: Error) -> Error {
    match error {
        Error::Join { reason } => Error::Join { reason: format!("scan \"{name}\": {reason}") },
        other => other,
    }
}

/// A feature that could not be found, said by its name.
pub(super) fn in_feature(name: &str, error: Error) -> Error {
    match error {
        Error::Cancelled | Error::Internal(_) => error,
        other => Error::Job { place: format!("[[feature]] \"{name}\""), reason: other.to_string() },
    }
}

/// Index and data of a feature by name.
pub(super) fn by_name<'a>(
    features: &'a [FeatureOutcome],
    name: &str,
) -> Result<(usize, &'a FeatureOutcome)> {
    features
        .iter()
        .enumerate()
        .find(|(_, f)| f.feature.name == name)
        .ok_or_else(|| Error::UnknownName { kind: "feature", name: name.into(), nearest: None })
}
