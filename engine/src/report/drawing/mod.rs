//! Dimensioned drawings, as vectors: the hole pattern, and sections at the worst places.
//!
//! Lengths on paper are millimetres, so that what is printed at full size has the scale it says. Lines are told apart
//! by thickness, dashes and hatching, not by colour; they have the page's own, light or dark.

mod cut;
mod dimension;
mod field;
mod hatch;
mod holes;
mod label;
mod numbers;
mod ordinates;
mod outline;
mod paper;
mod plan;
mod section;
mod thin;

use crate::fitcheck::Verdict;
use crate::job::Outcome;
use crate::primitive::Direction;

use super::number::Units;
use super::picture::Scene;
use super::view;

/// All drawings of a job; `most` sections at most.
pub(super) fn drawings(
    outcome: &Outcome,
    scene: &Scene<'_>,
    general: &Direction,
    most: usize,
    units: &Units,
) -> String {
    let patterns = holes::patterns(outcome);
    let plans = patterns.iter().enumerate().map(|(i, p)| plan::plan(outcome, p, i + 1, units));
    let plans: String = plans.collect();
    let first = view::first_at_place(outcome);
    let open = |i: &usize| first[*i] == *i && outcome.findings[*i].verdict != Verdict::Pass;
    let sections: Vec<String> = (0..outcome.findings.len())
        .filter(open)
        .filter_map(|i| section::section(outcome, scene, general, i, units))
        .take(most)
        .collect();
    if sections.is_empty() {
        return plans;
    }
    let others =
        if outcome.other_parts.is_empty() { "" } else { "; hatched the other way: another part" };
    format!(
        "{plans}<p class=\"key\">Sections: thick and hatched, the part{others}; thin, the scan; dots, the two places \
         between which the value was measured.</p>\n{}",
        sections.concat()
    )
}

/// A drawing with what stands under it (safe HTML), in a frame that scrolls sideways where the page is narrow.
fn sheet(svg: &str, caption: &str) -> String {
    format!(
        "<figure class=\"drawing\"><div class=\"wide\" role=\"region\" tabindex=\"0\" aria-label=\"Drawing\">{svg}</div>\n\
         <figcaption>{caption}</figcaption></figure>\n"
    )
}

#[cfg(test)]
mod tests;
