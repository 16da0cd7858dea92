//! Can the bolt be put in: free length over the seat of its head, as wide as its head's corners.

use super::around::{Around, Place, Source};
use super::{Bolted, KIND};
use crate::fitcheck::{Finding, Measure, Verdict};
use crate::primitive::Vec3;

/// Free length against that of bolt and head.
pub(super) fn check(around: &Around<'_>, bolted: &Bolted<'_>) -> Finding {
    let needed = bolted.length + bolted.head.height;
    let radius = 0.5 * bolted.head.corners();
    let mut found = Finding::new(KIND, format!("{}, bolt in", around.hole.name()));
    found.limit = Some(needed);
    found.number("bolt_length", bolted.length, Measure::Length);
    found.detail = format!(
        "bolt of {:.1} mm ({}) and head of {:.1} mm, {:.1} mm across corners",
        bolted.length,
        bolted.length_from,
        bolted.head.height,
        2.0 * radius
    );
    let searched = 4.0 * needed;
    // How far the bolt is drawn out: its head's top starts over the head's height.
    let free = |radius: f64| free_length(around, bolted.under_head, searched, radius);
    let nearest = free(radius);
    // Sideways it may be nearer or farther, by as much at the height it would stop at.
    let end = Place { at: Vec3::new(radius, 0.0, needed), source: Source::Part };
    let place = nearest.unwrap_or(end);
    let sideways = around.budget(Some(&place), None).expanded();
    let budget = around.budget(Some(&place), Some(&Vec3::z()));
    let uncertainty = budget.expanded();
    found.spend(&budget);
    let length = |at: Option<Place>| at.map_or(f64::INFINITY, |p| p.at.z - bolted.under_head);
    let (least, most) =
        (length(free(radius + sideways)), length(free((radius - sideways).max(0.0))));
    found.verdict = match () {
        () if least - uncertainty >= needed => Verdict::Pass,
        () if most + uncertainty < needed => Verdict::Fail,
        () => Verdict::Undecided,
    };
    match nearest {
        Some(place) => {
            let free = length(nearest);
            found.value = Some(free);
            found.at = Some(around.frame.machine(&place.at));
            found.detail += &format!(": {free:.1} mm free, up to {}", around.name(place.source));
        }
        None => {
            found.detail += &format!(": nothing within {:.0} mm", searched - bolted.under_head);
        }
    }
    found.remedy = match found.verdict {
        Verdict::Pass => String::new(),
        Verdict::Fail => {
            "use a shorter bolt or a stud, put it in before the part, or make room".into()
        }
        Verdict::Undecided => format!("the uncertainty is mostly from {}", budget.largest()),
    };
    let border = around.borders(bolted.under_head, bolted.under_head + needed, radius).next();
    if let Some(border) = border.filter(|_| found.verdict == Verdict::Pass) {
        found.verdict = Verdict::Undecided;
        found.to = Some(around.frame.machine(&border.at));
        found.detail +=
            &format!("; {} ends beside it and may go on unseen", around.name(border.source));
        found.remedy = "scan beyond that border".into();
    }
    found
}

/// The first thing over the seat inside a cylinder.
fn free_length(around: &Around<'_>, low: f64, high: f64, radius: f64) -> Option<Place> {
    let mut best: Option<Place> = None;
    for (source, outline) in around.outlines(low, high, radius) {
        if let Some(at) = outline.lowest(radius).filter(|p| best.is_none_or(|b| p.z < b.at.z)) {
            best = Some(Place { source, at });
        }
    }
    best
}
