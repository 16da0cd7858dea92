//! Answer of one check: value, uncertainty and what it consists of, limit, place, words.

use super::Verdict;
use super::budget::Budget;
use super::insertion::PathPose;
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
    /// Whether the limit is the largest value that is admitted; else the least.
    pub at_most: bool,
    /// Where, on the part, machine coordinates, mm.
    pub at: Option<Point3>,
    /// The other witness, on the scan or another part, machine coordinates, mm.
    pub to: Option<Point3>,
    /// Longest side of the box round the place (interference patch), mm.
    pub extent: Option<f64>,
    /// Scan points that speak for it (interference patch: those inside the part).
    pub points: Option<usize>,
    /// Further numbers, each by name.
    pub numbers: Vec<Number>,
    /// Way of the part from outside to its seat (insertion); empty else.
    pub path: Vec<PathPose>,
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
            at_most: matches!(kind, "interference" | "seat" | "made part"),
            at: None,
            to: None,
            extent: None,
            points: None,
            numbers: Vec::new(),
            path: Vec::new(),
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

    /// Adds a further cause to the uncertainty, with its standard deviation, and decides again.
    pub(super) fn also_from(&mut self, cause: &'static str, deviation: f64) {
        let Some((value, limit)) = self.value.zip(self.limit) else { return };
        if deviation > 0.0 {
            self.budget.push(Contribution { cause, deviation });
            self.budget.sort_by(|a, b| b.deviation.total_cmp(&a.deviation));
        }
        let uncertainty = 2.0 * self.budget.iter().map(|c| c.deviation.powi(2)).sum::<f64>().sqrt();
        let before = self.verdict;
        let decide = if self.at_most { Verdict::at_most } else { Verdict::at_least };
        self.uncertainty = Some(uncertainty);
        self.verdict = decide(value, limit, uncertainty);
        if self.verdict == Verdict::Undecided && before != Verdict::Undecided {
            let largest = self.budget.first().map_or("nothing", |c| c.cause);
            self.remedy = format!("the uncertainty is mostly from {largest}");
        }
    }
}

impl Finding {
    /// Says what uncertainty would decide an undecided value, and whose share is to be made smaller for it.
    pub(super) fn say_what_decides(&mut self) {
        let (Some(value), Some(limit), Verdict::Undecided) = (self.value, self.limit, self.verdict)
        else {
            return;
        };
        let enough = (value - limit).abs();
        let shares: Vec<f64> = self.budget.iter().map(|c| c.deviation * c.deviation).collect();
        let squares = |from: usize| shares[from..].iter().sum::<f64>();
        let uncertainty = 2.0 * squares(0).sqrt();
        if shares.is_empty() || enough >= uncertainty {
            return;
        }
        self.number("deciding_uncertainty", enough, self.measure);
        // What remains of the largest share beside the others; without them if they alone are too much.
        let largest = &self.budget[0];
        let left = (0.25 * enough * enough - squares(1)).max(0.0).sqrt();
        let text = if left > 0.0 {
            format!(
                "; decided if \"{}\" were {left:.4} instead of {:.4}",
                largest.cause, largest.deviation
            )
        } else if enough > NEAREST * uncertainty {
            let fewest = (1..=shares.len()).find(|&k| 2.0 * squares(k).sqrt() < enough);
            let causes: Vec<&str> =
                self.budget.iter().take(fewest.unwrap_or(shares.len())).map(|c| c.cause).collect();
            format!("; decided only with much less from {} together", causes.join(" and "))
        } else {
            "; it lies so near the limit that no better measurement is likely to decide it".into()
        };
        self.remedy += &text;
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

/// Share of its uncertainty within which a value is at the limit.
const NEAREST: f64 = 0.05;

#[cfg(test)]
mod tests {
    use super::*;

    fn undecided(value: f64, shares: [(&'static str, f64); 2]) -> Finding {
        let mut found = Finding::new("clearance", "wall");
        let mut budget = Budget::default();
        shares.iter().for_each(|(cause, deviation)| budget.add(cause, *deviation));
        found.spend(&budget);
        (found.value, found.limit) = (Some(value), Some(3.0));
        found.verdict = Verdict::at_least(value, 3.0, budget.expanded());
        found.say_what_decides();
        found
    }

    /// U = 2 √(0.03² + 0.04²) = 0.1; 0.08 short of or beyond the limit is decided by a join of 0: √(0.04² − 0.03²).
    #[test]
    fn the_share_that_would_decide_is_named_with_its_size() {
        let shares = [("join", 0.03), ("frame", 0.04)];
        let found = undecided(3.08, shares);
        assert!((found.uncertainty.unwrap_or(0.0) - 0.1).abs() < 1e-12);
        assert!(
            found.remedy.contains("\"frame\" were 0.0265 instead of 0.0400"),
            "{}",
            found.remedy
        );
        assert!((found.numbers[0].value - 0.08).abs() < 1e-12);
        let found = undecided(3.0001, [("join", 0.03), ("frame", 0.04)]);
        assert!(found.remedy.contains("so near the limit"), "{}", found.remedy);
        let found = undecided(2.95, [("join", 0.03), ("frame", 0.04)]);
        assert!(found.remedy.contains("from frame and join together"), "{}", found.remedy);
        let found = undecided(3.2, shares);
        assert!(found.verdict == Verdict::Pass && found.numbers.is_empty());
    }
}
