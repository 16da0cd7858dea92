//! Does the part fit: one question a file, each returning findings with a verdict (ISO 14253-1).
//!
//! Every value is compared with its limit by its expanded uncertainty (k = 2), to which the scan's
//! noise at the place, the machine frame, the scan's join, the feature and the chords of the part's
//! mesh contribute.

mod body;
mod bolting;
mod bolts;
mod borders;
mod budget;
mod clearance;
mod coverage;
mod finding;
mod holes;
mod insertion;
mod interference;
mod local;
mod made;
mod mechanism;
mod motion;
mod moved;
mod others;
mod part_clearance;
mod scene;
mod seating;
mod thermal;
mod tool_access;
mod verdict;
mod view;

pub use body::{PartBody, ScanSurface, Touching};
pub use bolts::Bolt;
pub use finding::{Contribution, Finding, Measure, Number};
pub use insertion::{InsertionLimits, PathPose};
pub use made::{DeviationMap, LaidOn, Made, MadePart, made};
pub use motion::{Guide, Motion, Move, Moving, Within};
pub use part_clearance::part_clearance;
pub use scene::{Limits, Mount, OtherPart, Scene, SceneFeature, SceneScan};
pub use thermal::{Material, Temperature, Warming};
pub use tool_access::ToolLimits;
pub use verdict::Verdict;

use crate::context::Context;
use crate::error::Result;
use crate::exchange::Part;
use crate::primitive::Pose;
use bolting::Bolting;
use view::View;

/// What the checks of a part found.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// Findings, the worst first.
    pub findings: Vec<Finding>,
    /// Where the part was checked: moves it from where it was designed. The identity, unless its bolts go in only
    /// with the part moved within its play; then, every check is made where they have most room.
    pub checked_from_designed: Pose,
}

/// All checks of the part against the scene, the worst findings first: interference, clearance to
/// every feature, to the rest of each scan and to other parts, coverage, seating, bolt holes, what moves, tools, the
/// way in, what is warmed. Everything in machine coordinates, mm.
///
/// # Errors
/// [`crate::Error::OpenPart`] if the part is not a closed solid, [`crate::Error::Argument`] for
/// indices out of range, limits that are not finite or an unknown bolt, [`crate::Error::Cancelled`].
pub fn all(
    part: &Part,
    scene: &Scene<'_>,
    mounts: &[Mount],
    limits: &Limits,
    context: &Context,
) -> Result<Checked> {
    context.report("fit check: preparing", 0.0)?;
    let view = context.run(|| View::new(part, scene, mounts, limits))?;
    context.report("fit check: seats and bolts", 0.3)?;
    let bolting = Bolting::new(&view, mounts, context)?;
    let Some(pose) = bolting.moved() else {
        let mut findings = surroundings(&view, mounts, context)?;
        findings.extend(bolting.findings(false));
        warmed(&view, mounts, &mut findings, context)?;
        return Checked::new(findings, Pose::identity(), context);
    };
    let part = part.transformed(&pose);
    let mounts: Vec<Mount> = mounts.iter().map(|m| m.transformed(&pose)).collect();
    // What is meant to touch the part goes along with it.
    let gone: Vec<Part> = scene.others.iter().map(|o| o.part.transformed(&pose)).collect();
    let mut scene: Scene<'_> = scene.clone();
    for (other, gone) in scene.others.iter_mut().zip(&gone).filter(|(o, _)| o.touches) {
        other.part = gone;
    }
    let mut view = context.run(|| View::new(&part, &scene, &mounts, limits))?;
    view.moved = true;
    let mut findings = surroundings(&view, &mounts, context)?;
    // Each seat and bolt where the part is now; what moved it there stays as it was found.
    let mut there = Bolting::new(&view, &mounts, context)?;
    there.together = bolting.together;
    findings.extend(there.findings(true));
    warmed(&view, &mounts, &mut findings, context)?;
    Checked::new(findings, pose, context)
}

/// What the part is held against wherever it is bolted.
fn surroundings(view: &View<'_>, mounts: &[Mount], context: &Context) -> Result<Vec<Finding>> {
    context.report("fit check: interference", 0.4)?;
    let mut findings = context.run(|| interference::check(view));
    context.report("fit check: clearance", 0.6)?;
    findings.extend(context.run(|| clearance::check(view)));
    findings.extend(context.run(|| others::check(view)));
    context.report("fit check: coverage", 0.85)?;
    let unseen = context.run(|| coverage::check(view, mounts, &findings));
    findings.extend(unseen);
    context.report("fit check: motions", 0.9)?;
    findings.extend(motion::check(view, context)?);
    if view.limits.tools.is_none() && view.limits.insertion.is_none() {
        return Ok(findings);
    }
    let holes = holes::pairs(view, mounts)?;
    if let Some(tools) = &view.limits.tools {
        context.report("fit check: tools", 0.92)?;
        findings.extend(context.run(|| tool_access::check(view, &holes, tools)));
    }
    if let Some(way) = &view.limits.insertion {
        findings.push(context.run(|| insertion::check(view, &holes, way, context))?);
    }
    Ok(findings)
}

/// Adds what becomes of bolts, seats and clearances at temperature, if that is asked for.
fn warmed(
    view: &View<'_>,
    mounts: &[Mount],
    findings: &mut Vec<Finding>,
    context: &Context,
) -> Result<()> {
    context.report("fit check: at temperature", 0.95)?;
    let holes = holes::pairs(view, mounts)?;
    let more = context.run(|| thermal::check(view, mounts, &holes, findings))?;
    findings.extend(more);
    Ok(())
}

impl Checked {
    fn new(mut findings: Vec<Finding>, pose: Pose, context: &Context) -> Result<Self> {
        findings.iter_mut().for_each(Finding::say_what_decides);
        // Ways are given from the designed place, wherever the part was checked.
        for place in findings.iter_mut().flat_map(|f| &mut f.path) {
            place.machine_from_part *= pose;
        }
        findings.sort_by_key(|f| f.verdict.rank());
        context.report("fit check: done", 1.0)?;
        Ok(Checked { findings, checked_from_designed: pose })
    }
}
