//! Does the part fit: one question a file, each returning findings with a verdict (ISO 14253-1).
//!
//! Every value is compared with its limit by its expanded uncertainty (k = 2), to which the scan's
//! noise at the place, the machine frame, the scan's join, the feature and the chords of the part's
//! mesh contribute.

mod body;
mod bolts;
mod budget;
mod clearance;
mod finding;
mod holes;
mod interference;
mod local;
mod mechanism;
mod part_clearance;
mod scene;
mod seating;
mod verdict;
mod view;

pub use body::{PartBody, ScanSurface, Touching};
pub use bolts::Bolt;
pub use finding::{Contribution, Finding, Measure, Number};
pub use part_clearance::part_clearance;
pub use scene::{Limits, Mount, Scene, SceneFeature, SceneScan};
pub use verdict::Verdict;

use crate::context::Context;
use crate::error::Result;
use crate::exchange::Part;

/// All checks of the part against the scene, the worst findings first: interference, clearance to
/// every feature and to the rest of each scan, seating, bolt holes. Everything in machine
/// coordinates, mm.
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
) -> Result<Vec<Finding>> {
    context.report("fit check: preparing", 0.0)?;
    let view = context.run(|| view::View::new(part, scene, mounts, limits))?;
    context.report("fit check: interference", 0.3)?;
    let mut findings = context.run(|| interference::check(&view));
    context.report("fit check: clearance", 0.5)?;
    findings.extend(context.run(|| clearance::check(&view)));
    context.report("fit check: seats and holes", 0.9)?;
    findings.extend(context.run(|| seating::check(&view, mounts)));
    let holes = holes::pairs(&view, mounts)?;
    let mut bolts = holes::check(&view, &holes);
    context.report("fit check: seats and bolts at once", 0.95)?;
    let together = context.run(|| mechanism::check(&view, mounts, &holes));
    mechanism::excuse(&mut bolts, &together);
    findings.extend(bolts);
    findings.extend(together);
    findings.sort_by_key(|f| f.verdict.rank());
    context.report("fit check: done", 1.0)?;
    Ok(findings)
}
