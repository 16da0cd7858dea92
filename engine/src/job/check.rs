//! Checking the part of a job against what was found.

use std::collections::BTreeSet;
use std::path::PathBuf;

use super::access::Taken;
use super::made;
use super::motion::motions;
use super::other_parts;
use super::outcome::Outcome;
use super::run::{Folder, by_name};
use super::spec::{CheckSpec, Job, PartSpec};
use crate::associate::Covariance;
use crate::context::Context;
use crate::error::{Error, Result};
use crate::exchange::{Part, PartOptions};
use crate::fitcheck::{
    self, Limits, Mount, Scene, SceneFeature, SceneScan, Verdict, part_clearance,
};
use crate::plugin::Registry;
use crate::primitive::{Point3, Pose};
use crate::units::LengthUnit;

/// Reads the part, runs every check, and puts both into the outcome.
pub(super) fn check(
    job: &Job,
    folder: &Folder,
    registry: &Registry,
    outcome: &mut Outcome,
    context: &Context,
) -> Result<()> {
    let Some(spec) = &job.part else { return Ok(()) };
    context.report("reading the part", 0.0)?;
    let mm = job.length_unit()?.to_mm();
    let mut limits = limits(job.check.as_ref(), mm);
    access(job, outcome, mm, &mut limits)?;
    let file = part_file(job, folder, spec, limits.clearance, mm)?;
    let mut part = read_part(&file, registry, context)?;
    let others = other_parts::read(job, folder, registry, file.chord_error, context)?;
    let mounts = mounts(job, spec, outcome, &mut part, mm)?;
    let joins = join_covariances(outcome);
    let mut scene = scene(job, outcome, &mounts, &joins);
    scene.others = other_parts::of_scene(&others);
    scene.motions = motions(job, outcome)?;
    let temperature = job.check.as_ref().and_then(|c| c.temperature.as_ref());
    scene.temperature = temperature.map(|t| t.temperature(job)).transpose()?;
    let checked = fitcheck::all(&part, &scene, &mounts, &limits, context)?;
    let mut findings = checked.findings;
    let mut outcome_made = None;
    let pose = checked.checked_from_designed;
    let there: Vec<Mount> = mounts.iter().map(|m| m.transformed(&pose)).collect();
    let clearance = part_clearance(&part.transformed(&pose), &scene, &there, &limits, context)?;
    if let Some(spec) = &spec.made {
        let against = (&scene, &limits);
        let (made, more) = made::check(job, folder, spec, (&part, &mounts), against, context)?;
        findings.extend(more);
        findings.sort_by_key(|f| f.verdict.rank());
        outcome_made = Some(made);
    }
    outcome.verdict = Verdict::worst(findings.iter().map(|f| f.verdict));
    outcome.findings = findings;
    outcome.made = outcome_made;
    outcome.part_clearance = clearance;
    outcome.required_clearance = Some(limits.clearance);
    outcome.part = Some(part);
    outcome.other_parts = others;
    let insertion = job.check.as_ref().and_then(|c| c.insertion.as_ref());
    outcome.taken_off = insertion.map_or_else(Vec::new, |i| i.without().to_vec());
    outcome.checked_from_designed = Some(pose).filter(|p| *p != Pose::identity());
    Ok(())
}

fn limits(check: Option<&CheckSpec>, mm: f64) -> Limits {
    let mut limits = Limits::default();
    if let Some(check) = check {
        limits.clearance = check.clearance * mm;
        if let Some(tolerance) = check.seat_tolerance {
            limits.seat_tolerance = tolerance * mm;
        }
    }
    limits
}

/// What is asked of tools and of the way in.
fn access(job: &Job, outcome: &Outcome, mm: f64, limits: &mut Limits) -> Result<()> {
    let (Some(check), Some(part)) = (&job.check, &job.part) else { return Ok(()) };
    let place = |name: &str| by_name(&outcome.features, name).map(|f| f.0);
    if let Some(tools) = &check.tool_access {
        limits.tools = tools.limits((mm, job.angle_unit()?.to_rad()));
    }
    if let Some(tools) = &mut limits.tools {
        for mount in &part.mount {
            if let Some(length) = mount.bolt_length {
                tools.bolt_lengths.insert(place(&mount.hole)?, length * mm);
            }
        }
    }
    if let Some(insertion) = &check.insertion {
        limits.insertion = insertion.limits(mm, |name| {
            match job.other_parts.iter().position(|o| o.name == name) {
                Some(other) => Ok(Taken::Other(other)),
                None => place(name).map(Taken::Feature),
            }
        })?;
    }
    Ok(())
}

/// A file of a part and how it is read.
pub(super) struct PartFile<'a> {
    pub(super) path: PathBuf,
    pub(super) unit: LengthUnit,
    /// mm.
    pub(super) chord_error: f64,
    /// Importer of a plug-in.
    pub(super) reader: Option<&'a str>,
    /// In the job file.
    pub(super) place: String,
}

fn part_file<'a>(
    job: &Job,
    folder: &Folder,
    spec: &'a PartSpec,
    clearance: f64,
    mm: f64,
) -> Result<PartFile<'a>> {
    let unit = spec.unit.as_deref().map_or_else(|| job.length_unit(), LengthUnit::parse)?;
    let others = job.other_parts.iter().filter_map(|o| o.keep_clear);
    let keep_clear = job.features.iter().filter_map(|f| f.keep_clear).chain(others).map(|c| c * mm);
    let smallest = keep_clear.chain([clearance]).filter(|c| *c > 0.0).fold(f64::INFINITY, f64::min);
    let chord_error = match spec.chord_error {
        Some(error) => error * mm,
        None if smallest.is_finite() => CHORD_SHARE * smallest,
        None => PartOptions::default().chord_error_mm,
    };
    let (path, reader) = (folder.path(&spec.file), spec.reader.as_deref());
    Ok(PartFile { path, unit, chord_error, reader, place: "[part]".into() })
}

/// By the reader that the job names.
pub(super) fn read_part(
    file: &PartFile<'_>,
    registry: &Registry,
    context: &Context,
) -> Result<Part> {
    let mut options = PartOptions { unit: file.unit, ..PartOptions::default() };
    options.chord_error_mm = file.chord_error;
    let part = match file.reader {
        None => Part::read(&file.path, &options)?,
        Some(id) => {
            let importer = registry.importer(id).map_err(|e| Error::Job {
                place: format!("{} reader", file.place),
                reason: format!("{e}; leave it out for the built-in readers"),
            })?;
            Part::read_with(&file.path, &options, &importer, Some(context))?
        }
    };
    part.closed()?;
    Ok(part)
}

/// The part's hole at each mount, put among the part's known holes if it was fitted here.
fn mounts(
    job: &Job,
    spec: &PartSpec,
    outcome: &Outcome,
    part: &mut Part,
    mm: f64,
) -> Result<Vec<Mount>> {
    let mut all = Vec::new();
    for mount in &spec.mount {
        let (hole, _) = by_name(&outcome.features, &mount.hole)?;
        let face = mount.seat.as_ref().or(job.feature(&mount.hole).and_then(|f| f.on.as_ref()));
        let seat = face.map(|name| by_name(&outcome.features, name)).transpose()?;
        let near = Point3::from(mount.near) * mm;
        let part_hole = part.hole_at(&near).map_err(|e| Error::Job {
            place: format!("[part] mount of \"{}\"", mount.hole),
            reason: e.to_string(),
        })?;
        if !part.holes.contains(&part_hole) {
            part.holes.push(part_hole.clone());
        }
        all.push(Mount { hole, seat: seat.map(|(k, _)| k), near, part_hole });
    }
    Ok(all)
}

/// Covariance of each scan's join as a motion in machine coordinates.
fn join_covariances(outcome: &Outcome) -> Vec<Option<Covariance>> {
    let machine_from_first = &outcome.machine_from_scan;
    let spreads = outcome.scans.iter().map(|s| s.spread.as_ref());
    spreads.map(|s| s.map(|s| s.transformed(machine_from_first))).collect()
}

fn scene<'a>(
    job: &'a Job,
    outcome: &'a Outcome,
    mounts: &[Mount],
    joins: &'a [Option<Covariance>],
) -> Scene<'a> {
    let seats: BTreeSet<usize> = mounts.iter().filter_map(|m| m.seat).collect();
    let scans = outcome.scans.iter().zip(joins).map(|(s, join)| SceneScan {
        name: &s.name,
        scan: &s.scan,
        machine_from_scan: outcome.machine_from_scan * s.first_from_this,
        join_covariance: join.as_ref(),
        length_error: s.length_error,
    });
    let features = outcome.features.iter().enumerate().map(|(k, f)| SceneFeature {
        feature: &f.feature,
        scan: f.scan,
        surface: &f.surface,
        keep_clear: f.keep_clear,
        is_seat: seats.contains(&k),
        bolt: job.feature(&f.feature.name).and_then(|s| s.bolt.as_deref()),
    });
    Scene {
        scans: scans.collect(),
        features: features.collect(),
        frame_covariance: outcome.datum.as_ref().map(|d| &d.covariance),
        ..Scene::default()
    }
}

/// Share of the smallest clearance asked for that the part's mesh may be off its exact surface.
const CHORD_SHARE: f64 = 0.1;
