//! Space for a straight socket: least distance of anything from the bolt's axis over the tool's whole way.

use super::around::{Around, Place, Source};
use super::{Bolted, KIND};
use crate::fitcheck::{Finding, Measure, Verdict};
use crate::primitive::Vec3;

/// Air round the socket, negative where something stands in it.
pub(super) fn check(around: &Around<'_>, bolted: &Bolted<'_>) -> Finding {
    let limits = bolted.limits;
    let diameter = limits.socket_diameter.unwrap_or_else(|| bolted.head.socket_diameter());
    let length = limits.socket_length.unwrap_or_else(|| bolted.head.socket_length());
    let radius = 0.5 * diameter;
    let (low, high) =
        (bolted.under_head, bolted.under_head + length + limits.extension + bolted.length);
    let mut found = Finding::new(KIND, format!("{}, socket", around.hole.name()));
    found.limit = Some(limits.air);
    found.detail = format!(
        "socket of {diameter:.1} mm and {length:.0} mm (sizes from memory), extension {:.0} mm, bolt of \
         {:.1} mm ({}) still to be drawn out",
        limits.extension, bolted.length, bolted.length_from
    );
    found.number("socket_diameter", diameter, Measure::Length);
    found.number("tool_length", high - low, Measure::Length);
    let nearest = nearest(around, low, high);
    let budget =
        around.budget(nearest.as_ref(), nearest.map(|n| n.at - Vec3::z() * n.at.z).as_ref());
    let uncertainty = budget.expanded();
    found.spend(&budget);
    let air = nearest.map_or(f64::INFINITY, |n| n.at.xy().norm() - radius);
    found.verdict = Verdict::at_least(air, limits.air, uncertainty);
    if let Some(place) = nearest {
        found.value = Some(air);
        found.to = Some(around.frame.machine(&place.at));
        let (x, y) = (place.at.x, place.at.y);
        let scale = radius / x.hypot(y).max(radius * 1e-9);
        found.at = Some(around.frame.machine(&Vec3::new(x * scale, y * scale, place.at.z)));
        found.detail += &format!(
            ": {air:.2} mm of air to {} at a height of {:.1} mm",
            around.name(place.source),
            place.at.z
        );
    }
    found.remedy = remedy(found.verdict, &budget);
    unseen(around, &mut found, (low, high, radius + limits.air));
    found
}

/// Place nearest to the axis between two heights.
fn nearest(around: &Around<'_>, low: f64, high: f64) -> Option<Place> {
    let mut best: Option<(f64, Place)> = None;
    for (source, outline) in around.outlines(low, high, SEARCHED) {
        let (radius, at) = outline.least_radius();
        if radius <= SEARCHED && best.is_none_or(|b| radius < b.0) {
            best = Some((radius, Place { source, at }));
        }
    }
    best.map(|b| b.1)
}

fn remedy(verdict: Verdict, budget: &crate::fitcheck::budget::Budget) -> String {
    match verdict {
        Verdict::Pass => String::new(),
        Verdict::Fail => "use a narrower or shorter tool, or move what stands in its way".into(),
        Verdict::Undecided => format!("the uncertainty is mostly from {}", budget.largest()),
    }
}

/// A passed tool that surface beyond a scan's border could bar is undecided.
fn unseen(around: &Around<'_>, found: &mut Finding, (low, high, radius): (f64, f64, f64)) {
    let Some(border) = around.borders(low, high, radius).next() else { return };
    if found.verdict == Verdict::Pass {
        found.verdict = Verdict::Undecided;
        found.to = Some(around.frame.machine(&border.at));
        found.detail += &format!(
            "; {} ends beside it and may go on unseen by {:.1} mm",
            around.name(border.source),
            around.view.limits.unseen_reach
        );
        found.remedy = "scan beyond that border".into();
    }
}

impl Around<'_> {
    /// Name of what a place belongs to.
    pub(super) fn name(&self, source: Source) -> String {
        match source {
            Source::Part => "the part".into(),
            Source::Scan(s) => format!("the scan \"{}\"", self.view.scene.scans[s].name),
            Source::Other(o) => format!("the other part \"{}\"", self.view.others[o].given.name),
        }
    }
}

/// Radius beyond which nothing is looked for, mm.
const SEARCHED: f64 = 200.0;
