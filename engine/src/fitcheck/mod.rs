//! Does the part fit: one question a file, each returning findings with a verdict (ISO 14253-1).
//!
//! Every value is compared with its limit by its expanded uncertainty (k = 2), to which the scan's
//! noise at the place, the machine frame, the scan's join, the feature and the chords of the part's
//! mesh contribute.

mod body;
mod bolts;
mod budget;
mod clearance;
mod holes;
mod interference;
mod local;
mod mechanism;
mod part_clearance;
mod scene;
mod seating;
mod view;

pub use body::{PartBody, ScanSurface, Touching};
pub use bolts::Bolt;
pub use part_clearance::part_clearance;
pub use scene::{Limits, Mount, Scene, SceneFeature, SceneScan};

use crate::context::Context;
use crate::error::Result;
use crate::exchange::Part;
use crate::primitive::Point3;

/// Decision of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The limit is met by more than the expanded uncertainty.
    Pass,
    /// The limit is broken by more than the expanded uncertainty.
    Fail,
    /// In between, or not seen.
    Undecided,
}

/// Answer of one check.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Kind: `interference`, `clearance`, `hole`, `seat`, `coverage`.
    pub kind: &'static str,
    /// Feature or part of the scan it is about.
    pub name: String,
    /// The decision.
    pub verdict: Verdict,
    /// Measured value, mm (clearance, margin; interference: depth as a positive number).
    pub value: Option<f64>,
    /// Expanded uncertainty of the value, k = 2, mm.
    pub uncertainty: Option<f64>,
    /// Limit the value is held against, mm.
    pub limit: Option<f64>,
    /// Where, on the part, machine coordinates, mm.
    pub at: Option<Point3>,
    /// The other witness, on the scan, machine coordinates, mm.
    pub to: Option<Point3>,
    /// Longest side of the box round the place (interference patch), mm.
    pub extent: Option<f64>,
    /// Scan points that speak for it (interference patch: those inside the part).
    pub points: Option<usize>,
    /// One sentence for people.
    pub detail: String,
    /// What would decide or mend it; empty when passed.
    pub remedy: String,
}

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

impl Finding {
    /// A passed finding with nothing measured yet.
    #[must_use]
    pub fn new(kind: &'static str, name: impl Into<String>) -> Self {
        Finding {
            kind,
            name: name.into(),
            verdict: Verdict::Pass,
            value: None,
            uncertainty: None,
            limit: None,
            at: None,
            to: None,
            extent: None,
            points: None,
            detail: String::new(),
            remedy: String::new(),
        }
    }
}

impl Verdict {
    /// Name used in results.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Pass => "pass",
            Verdict::Fail => "fail",
            Verdict::Undecided => "undecided",
        }
    }

    /// ISO 14253-1 for a lower limit: value must be at least `limit`.
    #[must_use]
    pub fn at_least(value: f64, limit: f64, uncertainty: f64) -> Self {
        if value - uncertainty >= limit {
            Verdict::Pass
        } else if value + uncertainty < limit {
            Verdict::Fail
        } else {
            Verdict::Undecided
        }
    }

    /// ISO 14253-1 for an upper limit: value must be at most `limit`.
    #[must_use]
    pub fn at_most(value: f64, limit: f64, uncertainty: f64) -> Self {
        Verdict::at_least(-value, -limit, uncertainty)
    }

    /// Worst of several: fail before undecided before pass.
    #[must_use]
    pub fn worst(all: impl IntoIterator<Item = Verdict>) -> Self {
        all.into_iter().fold(Verdict::Pass, |a, b| if b.rank() < a.rank() { b } else { a })
    }

    /// 0 for the worst.
    fn rank(self) -> u8 {
        match self {
            Verdict::Fail => 0,
            Verdict::Undecided => 1,
            Verdict::Pass => 2,
        }
    }
}
