//! Does the part fit: one question a file, each returning findings with a verdict (ISO 14253-1).

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
    /// One sentence for people.
    pub detail: String,
    /// What would decide or mend it; empty when passed.
    pub remedy: String,
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

    /// Worst of several: fail before undecided before pass.
    #[must_use]
    pub fn worst(all: impl IntoIterator<Item = Verdict>) -> Self {
        all.into_iter().fold(Verdict::Pass, |a, b| match (a, b) {
            (Verdict::Fail, _) | (_, Verdict::Fail) => Verdict::Fail,
            (Verdict::Undecided, _) | (_, Verdict::Undecided) => Verdict::Undecided,
            _ => Verdict::Pass,
        })
    }
}
