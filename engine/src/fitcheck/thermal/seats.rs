//! Seats and all bolts together at temperature: the mechanism once more, over the grown machine.
//!
//! Everything is measured in sizes of the part before it grew; a gap of less than a millimetre is the same then.
//! What is not known of coefficients and temperatures is carried by growing once more by its deviation.

use super::super::bolting::tell_shim;
use super::super::holes::Pair;
use super::super::mechanism::{self, ALL_BOLTS};
use super::super::scene::{Mount, Scene};
use super::super::view::View;
use super::super::{Finding, Verdict, seating};
use super::{Growth, beside, scaled, state};
use crate::error::Result;
use crate::feature::Feature;
use crate::fitcheck::Temperature;

/// What seats and bolts say at temperature.
pub(super) struct Seated {
    pub(super) findings: Vec<Finding>,
    /// Room of all bolts at once, mm, if they certainly go in with the part moved within their play.
    pub(super) room: Option<f64>,
}

/// Findings of each seat, of all seats and of all bolts.
pub(super) fn check(
    view: &View<'_>,
    mounts: &[Mount],
    holes: &[Pair],
    growth: &Growth,
    temperature: &Temperature,
    cold: &[Finding],
) -> Result<Seated> {
    let by = growth.machine / growth.part;
    let mut findings = grown(view, mounts, holes, growth, by)?;
    let further = grown(view, mounts, holes, growth, by + growth.deviation(1.0, 1.0))?;
    for found in &mut findings {
        match further.iter().find(|f| f.kind == found.kind && f.name == found.name) {
            Some(other) => {
                let moved = found.value.zip(other.value).map_or(0.0, |(a, b)| (a - b).abs());
                found.also_from("expansion", moved);
            }
            None => found.verdict = Verdict::Undecided,
        }
        beside(found, found.kind, cold);
        found.kind = "thermal";
        found.to = found.to.map(|p| growth.grown(&p, 1.0 / by));
        found.detail = format!("{}: {}", state(temperature), found.detail);
    }
    let together = findings.iter().find(|f| f.name == ALL_BOLTS && f.verdict == Verdict::Pass);
    let room = together.and_then(|f| f.value);
    Ok(Seated { findings, room })
}

/// Findings over a machine that has grown by a factor against the part.
fn grown(
    view: &View<'_>,
    mounts: &[Mount],
    holes: &[Pair],
    growth: &Growth,
    by: f64,
) -> Result<Vec<Finding>> {
    let features: Vec<Feature> = view
        .scene
        .features
        .iter()
        .map(|f| {
            let shape = scaled(&f.feature.shape, &growth.fixed, by);
            let shape = shape.unwrap_or_else(|| f.feature.shape.clone());
            Feature { shape, ..f.feature.clone() }
        })
        .collect();
    let mut scene: Scene<'_> = view.scene.clone();
    for (of, feature) in scene.features.iter_mut().zip(&features) {
        of.feature = feature;
    }
    let view = view.over(&scene, |p| growth.grown(p, by))?;
    let seats = seating::seats(&view, mounts);
    let pairs: Vec<Pair> =
        holes.iter().map(|h| h.grown(|p| *p, |q| growth.grown(q, by), [1.0, by])).collect();
    let together = mechanism::check(&view, mounts, &seats, &pairs);
    let mut findings = seating::check(&view, &seats);
    for (found, seat) in findings.iter_mut().zip(&seats) {
        tell_shim(found, seat.feature, &together);
    }
    findings.extend(together.findings);
    Ok(findings)
}
