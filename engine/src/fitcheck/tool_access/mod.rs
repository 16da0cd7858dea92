//! Can a tool reach each bolt: a straight socket, an open-ended spanner, the bolt's own way in, and the
//! seat of its head.
//!
//! Tools are ideal: a socket is a cylinder about the bolt's scanned axis, from the washer out over socket,
//! extension and the length of bolt that is still to be drawn; a spanner is a disc and a handle, both
//! as thick as the tool, square to the bolt. Distances and the arcs that a handle is barred from are closed
//! forms of every triangle (see `outline`). Hands, the cranking of handles and what holds the nut are not
//! looked at.
//!
//! What was not seen: surface may go on beyond a scan's border by the unseen reach. A tool that this could
//! bar is undecided; borders that another scan goes on from, or that lie under the part, do not count.

mod around;
mod bolt_in;
mod flat;
mod head_seat;
mod limits;
mod outline;
mod sizes;
mod socket;
mod spanner;
mod spikes;

pub use limits::ToolLimits;

use rayon::prelude::*;

use super::holes::Pair;
use super::view::View;
use super::{Finding, Verdict, borders};
use crate::primitive::{Line, Point3};
use around::{Around, Frame};
use flat::Flat;
use sizes::Head;

/// Findings of each mount: its tool, the bolt's way in and the seat of its head.
pub(super) fn check(view: &View<'_>, holes: &[Pair], limits: &ToolLimits) -> Vec<Finding> {
    let open = borders::open(view);
    let places: Vec<Point3> = holes.iter().map(|h| h.part_axis().point).collect();
    let seen = Seen { open: &open, spikes: &spikes::find(view, &places) };
    holes.par_iter().flat_map_iter(|hole| of_hole(view, hole, limits, &seen)).collect()
}

/// What is known of the scans apart from where they are.
struct Seen<'a> {
    /// Open borders: scan and point.
    open: &'a [(usize, u32)],
    /// By scan, points that stand off their surface.
    spikes: &'a [Vec<bool>],
}

/// A bolt with its head and what is asked of its tools.
struct Bolted<'a> {
    limits: &'a ToolLimits,
    head: Head,
    /// Under the head, mm.
    length: f64,
    /// Where the length is from.
    length_from: &'static str,
    /// Height of the head's underside over the part.
    under_head: f64,
}

fn of_hole(view: &View<'_>, hole: &Pair, limits: &ToolLimits, seen: &Seen<'_>) -> Vec<Finding> {
    let Some(bolt) = hole.bolt() else {
        let mut found = Finding::new(KIND, hole.name());
        found.verdict = Verdict::Undecided;
        found.detail = "the bolt's size is not known".into();
        found.remedy = "name the bolt of this hole".into();
        return vec![found];
    };
    let head = Head::of(&bolt);
    let under_head = if limits.washer { head.washer_thickness } else { WASHER_FACE };
    let given = limits.bolt_lengths.get(&hole.feature()).copied().or(limits.bolt_length);
    let length = given.unwrap_or(hole.depth() + under_head + head.nominal);
    let length_from =
        if given.is_some() { "as given" } else { "through part, washer and one diameter" };
    let bolted = Bolted { limits, head, length, length_from, under_head };

    let outward = hole.part_axis();
    let end =
        Line { point: outward.point + outward.direction.into_inner() * hole.depth(), ..outward };
    let flat = Flat::of(view.part, &end, 0.5 * hole.part_diameter(), 0.5 * head.washer);
    let axis = hole.bolt_axis();
    let frame = Frame::new(on_flat(&axis, &end.point, &flat), axis.direction);
    let around = Around::new(view, hole, frame, &flat, seen);
    let mut findings = tools(&around, &bolted);
    findings.push(bolt_in::check(&around, &bolted));
    findings.push(head_seat::check(&around, &flat, &bolted));
    findings
}

/// Where the bolt's axis meets the flat, else the plane across it at the hole's end.
fn on_flat(axis: &Line, end: &Point3, flat: &Flat) -> Point3 {
    let (at, normal) = flat.plane.unwrap_or((*end, axis.direction));
    let t = (at - axis.point).dot(&normal) / axis.direction.dot(&normal);
    axis.point + axis.direction.into_inner() * t
}

/// The tools asked for: each by itself, or the one that does best.
fn tools(around: &Around<'_>, bolted: &Bolted<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    if bolted.limits.socket {
        found.push(socket::check(around, bolted));
    }
    if bolted.limits.spanner {
        found.push(spanner::check(around, bolted));
    }
    if bolted.limits.every || found.len() < 2 {
        return found;
    }
    // Socket first where both do alike.
    let (a, b) = (&found[0], &found[1]);
    let (best, other) =
        if Verdict::worst([a.verdict, b.verdict]) == a.verdict && a.verdict != b.verdict {
            (b, a)
        } else {
            (a, b)
        };
    let mut one = best.clone();
    one.numbers.extend(other.numbers.iter().copied());
    one.detail =
        format!("{}. The other tool ({}): {}", best.detail, other.verdict.name(), other.detail);
    one.name = around.hole.name().into();
    vec![one]
}

const KIND: &str = "tool access";
/// Height of the washer face under a head without a washer, mm (from memory of ISO 4014).
const WASHER_FACE: f64 = 0.5;
/// Height over a flat up to which something does not stand on it, mm.
const RISES: f64 = 0.05;
