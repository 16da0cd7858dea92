//! Answer of one check: value, uncertainty and what it consists of, limit, place, words.

use super::Verdict;
use super::budget::Budget;
use crate::primitive::Point3;

/// Answer of one check.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// Kind: `interference`, `clearance`, `hole`, `seat`, `coverage`, `tool access`, `insertion`,
    /// `motion`, `thermal`, `made part`.
    pub kind: &'static str,
    /// Feature or part of the scan it is about.
    pub name: String,
    /// The decision.
    pub verdict: Verdict,
    /// What the value, its uncertainty and its limit measure.
    pub measure: Measure,
    /// Measured value, mm unless `measure` says otherwise (clearance, margin; interference: depth as a
    /// positive number).
    pub value: Option<f64>,
    /// Expanded uncertainty of the value, k = 2.
    pub uncertainty: Option<f64>,
    /// What the uncertainty consists of, the largest first; empty where it was not split.
    pub budget: Vec<Contribution>,
    /// Limit the value is held against.
    pub limit: Option<f64>,
    /// Where, on the part, machine coordinates, mm.
    pub at: Option<Point3>,
    /// The other witness, on the scan, machine coordinates, mm.
    pub to: Option<Point3>,
    /// Longest side of the box round the place (interference patch), mm.
    pub extent: Option<f64>,
    /// Scan points that speak for it (interference patch: those inside the part).
    pub points: Option<usize>,
    /// Further numbers, each by name.
    pub numbers: Vec<Number>,
    /// One sentence for people.
    pub detail: String,
    /// What would decide or mend it; empty when passed.
    pub remedy: String,
}

/// A further number of a finding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number {
    /// What it is: `area`, `free_swing`.
    pub name: &'static str,
    /// Its value: mm, mm², mm³, rad, or a ratio or count as it is.
    pub value: f64,
    /// What it measures.
    pub measure: Measure,
}

/// What a number measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measure {
    /// mm.
    Length,
    /// rad.
    Angle,
    /// mm².
    Area,
    /// mm³.
    Volume,
    /// A ratio or a count.
    Ratio,
}

/// Share of an uncertainty by cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// Cause: `frame`, `join`, `scanner`, `scan noise`, `feature`, `hole axis`, `part mesh`, ….
    pub cause: &'static str,
    /// Standard deviation that it adds, in the unit of the finding's value.
    pub deviation: f64,
}

impl Finding {
    /// A passed finding with nothing measured yet.
    #[must_use]
    pub fn new(kind: &'static str, name: impl Into<String>) -> Self {
        Finding {
            kind,
            name: name.into(),
            verdict: Verdict::Pass,
            measure: Measure::Length,
            value: None,
            uncertainty: None,
            budget: Vec::new(),
            limit: None,
            at: None,
            to: None,
            extent: None,
            points: None,
            numbers: Vec::new(),
            detail: String::new(),
            remedy: String::new(),
        }
    }

    /// Adds a further number: `name` in lower case with underscores; `value` in mm, mm², mm³, rad or as it is.
    pub(super) fn number(&mut self, name: &'static str, value: f64, measure: Measure) {
        self.numbers.push(Number { name, value, measure });
    }

    /// Takes the uncertainty from a budget, with what it consists of.
    pub(super) fn spend(&mut self, budget: &Budget) {
        self.uncertainty = Some(budget.expanded());
        self.budget = budget.contributions();
    }
}

impl Measure {
    /// Name used in results.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Measure::Length => "length",
            Measure::Angle => "angle",
            Measure::Area => "area",
            Measure::Volume => "volume",
            Measure::Ratio => "ratio",
        }
    }
}
