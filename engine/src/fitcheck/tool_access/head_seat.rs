//! Does the washer (or head) lie on a flat of the part: least distance of the flat's edges, and of anything
//! that stands on it, from the bolt.

use super::around::{Around, Frame, Place, Source};
use super::flat::Flat;
use super::outline::Outline;
use super::{Bolted, KIND, RISES};
use crate::fitcheck::{Finding, Measure, Verdict};
use crate::primitive::Vec3;

/// Flat left beside the washer, negative where it hangs over an edge.
pub(super) fn check(around: &Around<'_>, flat: &Flat, bolted: &Bolted<'_>) -> Finding {
    let mut found = Finding::new(KIND, format!("{}, head seat", around.hole.name()));
    found.limit = Some(0.0);
    let (head, washer) = (&bolted.head, bolted.limits.washer);
    let (what, radius) =
        if washer { ("washer", 0.5 * head.washer) } else { ("head", 0.5 * head.corners()) };
    found.number("seat_diameter", 2.0 * radius, Measure::Length);
    found.detail = format!("{what} of {:.1} mm", 2.0 * radius);
    if flat.plane.is_none() {
        found.verdict = Verdict::Fail;
        found.detail += ": no flat of the part lies square to the hole at its end";
        found.remedy = "give the hole a flat or a spot face".into();
        return found;
    }
    let origin = around.frame.origin;
    let edge = flat
        .edge_near(&origin)
        .map(|(distance, at)| (distance, around.frame.local(&at), "the flat's edge"));
    // A washer lies flat on the part: what stands on the flat is measured square to it.
    let standing = standing(around, flat, bolted, radius);
    let standing = standing.map(|at| (at.xy().norm(), at, "what stands on the flat"));
    let nearest = edge.into_iter().chain(standing).min_by(|a, b| a.0.total_cmp(&b.0));
    let place = nearest.map(|n| Place { source: Source::Part, at: n.1 });
    let budget =
        around.budget(place.as_ref(), place.map(|p| Vec3::new(p.at.x, p.at.y, 0.0)).as_ref());
    let uncertainty = budget.expanded();
    found.spend(&budget);
    let left = nearest.map_or(f64::INFINITY, |n| n.0 - radius);
    found.verdict = Verdict::at_least(left, 0.0, uncertainty);
    if let Some((_, at, name)) = nearest {
        found.value = Some(left);
        found.at = Some(around.frame.machine(&at));
        found.detail += &format!(": {left:.2} mm left to {name}");
    }
    if flat.rim > radius {
        found.verdict = Verdict::Fail;
        found.detail += &format!("; the hole's mouth is wider than it ({:.1} mm)", 2.0 * flat.rim);
    }
    found.remedy = match found.verdict {
        Verdict::Pass => String::new(),
        Verdict::Fail => "widen the flat, move the hole, or use a smaller washer".into(),
        Verdict::Undecided => format!("the uncertainty is mostly from {}", budget.largest()),
    };
    found
}

/// Nearest place to the bolt of the part that rises over its flat, in the bolt's coordinates.
fn standing(around: &Around<'_>, flat: &Flat, bolted: &Bolted<'_>, radius: f64) -> Option<Vec3> {
    let (_, normal) = flat.plane?;
    let square = Frame::new(around.frame.origin, normal);
    let part = &around.view.part.points;
    let mut best: Option<(f64, Vec3)> = None;
    for t in flat.others() {
        let corners = t.map(|i| square.local(&part[i as usize]));
        let high = bolted.under_head + bolted.head.height;
        let Some(cut) = Outline::between(&corners, RISES, high) else { continue };
        let (distance, at) = cut.least_radius();
        if distance < 2.0 * radius && best.is_none_or(|b| distance < b.0) {
            best = Some((distance, at));
        }
    }
    best.map(|(_, at)| around.frame.local(&square.machine(&at)))
}
