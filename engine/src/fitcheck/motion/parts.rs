//! Another part that moves: least air to it over all of its motion, exact on both meshes.

use super::super::budget::Budget;
use super::super::others::Other;
use super::super::view::View;
use super::super::{Finding, Measure, Verdict};
use super::lever::Carried;
use super::{Motion, prepare, smooth, tell_values, words};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::unit;
use crate::solid::{Mesh, Movement, pose_at};

/// Another part ready to be followed.
pub(super) struct Moving<'a> {
    other: &'a Other<'a>,
    movements: Vec<Movement>,
    limit: f64,
}

impl<'a> Moving<'a> {
    /// # Errors
    /// [`Error::Argument`] for a part that there is not, or what cannot move like this.
    pub(super) fn new(view: &'a View<'_>, motion: &Motion, o: usize) -> Result<Self> {
        let other = view.others.get(o).ok_or_else(|| {
            let what = format!("other part of motion \"{}\"", motion.name);
            Error::argument(what, o, format!("below {}", view.others.len()))
        })?;
        let given = other.given;
        let own =
            if given.touches { 0.0 } else { given.keep_clear.unwrap_or(view.limits.clearance) };
        let movements = prepare::movements(view, motion)?;
        Ok(Moving { other, movements, limit: motion.clearance.unwrap_or(own) })
    }
}

pub(super) fn finding(
    view: &View<'_>,
    motion: &Motion,
    what: &Moving<'_>,
    context: &Context,
) -> Result<Finding> {
    let go_on = || context.check();
    let nothing = || Error::Internal("a motion of nothing".into());
    let (mesh, movements) = (&what.other.mesh, &what.movements);
    let mut least = view.solid.least_over(mesh, movements, smooth::TOLERANCE, &go_on)?;
    if least.is_some_and(|l| l.distance <= smooth::TOLERANCE) {
        let deepest = view.solid.deepest(mesh, movements, smooth::TOLERANCE, &go_on)?;
        least = deepest.filter(|d| d.distance < 0.0).or(least);
    }
    let found = least.ok_or_else(nothing)?;
    let pose = pose_at(movements, &found.values);
    let moved = what.other.given.part.transformed(&pose);
    let there = Mesh::new(moved.points, moved.triangles);
    let near = view.solid.least_distance(&there, f64::INFINITY).ok_or_else(nothing)?;
    let mut budget = Budget::default();
    budget.add("part mesh", view.part.chord_error / 3f64.sqrt());
    budget.add("other part's mesh", what.other.given.part.chord_error / 3f64.sqrt());
    if let Some(along) = unit(near.on_a - near.on_b) {
        let seen = pose.inverse_transform_point(&near.on_b);
        let carried = Carried { movements, values: &found.values, seen: &seen };
        budget.add("axis", carried.deviation(view, motion, &along));
    }
    let mut finding = Finding::new("motion", motion.name.clone());
    finding.limit = Some(what.limit);
    finding.spend(&budget);
    // The bound is no standard deviation: it is added as it is.
    let uncertainty = budget.expanded() + found.gap;
    finding.uncertainty = Some(uncertainty);
    let value = if found.distance < 0.0 { found.distance } else { near.distance };
    finding.value = Some(value);
    finding.verdict = Verdict::at_least(value, what.limit, uncertainty);
    (finding.at, finding.to) = (Some(near.on_a), Some(near.on_b));
    tell_values(&mut finding, movements, &found);
    finding.number("bound", found.gap, Measure::Length);
    let air = if value < 0.0 {
        format!("both parts overlap, {:.3} mm deep at a corner", -value)
    } else {
        format!("least air {value:.3} mm between both parts")
    };
    finding.detail = format!(
        "{}, {air}; no pose of the motion is nearer by more than {:.4} mm",
        words(movements, &found),
        found.gap
    );
    let more = what.limit - value + uncertainty;
    finding.remedy = match finding.verdict {
        Verdict::Pass => String::new(),
        Verdict::Fail => format!("move the part's surface there away by {more:.2} mm"),
        Verdict::Undecided => format!(
            "the uncertainty is mostly from {}; make that smaller, or {more:.2} mm more room",
            budget.largest()
        ),
    };
    Ok(finding)
}
