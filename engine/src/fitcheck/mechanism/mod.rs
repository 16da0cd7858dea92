//! Seats and bolts at once: the part pressed onto its seats, then moved within the play of its holes to where
//! the bolts have most room.
//!
//! Places of the seats are the medians over small cells that the seats are judged by, so that no single scan
//! point carries the part. The part floats: the machine's frame moves all of it and is no part of the
//! uncertainty; what the axes of the scanned holes are worth is. Bolts clamp with friction: seats of almost one
//! direction count as of one, so that the part does not slide along what differs by the scan's noise.

mod solve;
#[cfg(test)]
mod tests;

use super::budget::{Budget, deviation};
use super::holes::Pair;
use super::scene::Mount;
use super::seating::{self, Cells, Seat};
use super::view::View;
use super::{Finding, Verdict};
use crate::primitive::{Point3, Pose, Vec3, unit};
use solve::{Bolted, Clamp, Mechanism, Motion, Play, Rest, Sitting};

/// What seats and bolts say together.
pub(super) struct Together {
    /// At most two: all seats, and all bolts; none where nothing is bolted onto a seat.
    pub(super) findings: Vec<Finding>,
    /// Least and largest air left on each seat (index among the features) with the part pressed down, mm.
    pub(super) pressed: Vec<(usize, f64, f64)>,
    /// Where the bolts have most room, if all go in there: moves the part from where it was designed.
    pub(super) bolted_from_designed: Option<Pose>,
}

/// Presses the part onto its seats and looks for the place where all bolts go in.
pub(super) fn check(view: &View<'_>, mounts: &[Mount], seats: &[Seat], holes: &[Pair]) -> Together {
    let mut together =
        Together { findings: Vec::new(), pressed: Vec::new(), bolted_from_designed: None };
    let mut seats: Vec<(usize, Cells)> =
        seats.iter().filter_map(|s| Some((s.feature, s.met.clone()?))).collect();
    level(&mut seats);
    let rests: Vec<Rest> = seats.iter().flat_map(|(_, cells)| rests_of(cells)).collect();
    let clamps: Vec<Clamp> =
        mounts.iter().zip(holes).filter_map(|(m, h)| clamp(m, h, &seats)).collect();
    let Some(mechanism) = Mechanism::new(&rests, &clamps) else { return together };
    let reach = seating::reach(view);
    let Some(sitting) = mechanism.sit(reach) else {
        together.findings.push(unsupported(reach));
        return together;
    };
    together.findings.push(seated(view, &seats, &rests, &sitting));
    together.pressed = seats.iter().map(|(f, cells)| pressed(*f, cells, &sitting)).collect();
    let bolts: Vec<Play> = holes.iter().filter_map(play).collect();
    if bolts.len() == holes.len() && bolts.len() > 1 {
        let bolted = bolted(view, &mechanism, &sitting, holes, &bolts, reach);
        if let Some((found, motion)) = bolted {
            let goes_in = found.verdict == Verdict::Pass;
            together.bolted_from_designed = goes_in.then(|| motion.as_pose());
            together.findings.push(found);
        }
    }
    together
}

/// Least and largest air left on a seat.
fn pressed(f: usize, cells: &Cells, sitting: &Sitting) -> (usize, f64, f64) {
    let left = |(place, gap): &(Point3, f64)| gap + sitting.motion.at(place).dot(&cells.normal);
    let all = cells.cells.iter().map(left);
    let (low, high) =
        all.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), g| (l.min(g), h.max(g)));
    (f, low, high)
}

/// Seats that differ in direction by less than friction holds get one normal: the part does not slide down them.
fn level(seats: &mut [(usize, Cells)]) {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for i in 0..seats.len() {
        let normal = seats[i].1.normal;
        let near = |g: &&mut Vec<usize>| normal.dot(&seats[g[0]].1.normal) > FRICTION.cos();
        match groups.iter_mut().find(near) {
            Some(group) => group.push(i),
            None => groups.push(vec![i]),
        }
    }
    for group in groups {
        let sum: Vec3 = group.iter().map(|&i| seats[i].1.normal.into_inner()).sum();
        let Some(normal) = unit(sum) else { continue };
        group.iter().for_each(|&i| seats[i].1.normal = normal);
    }
}

fn rests_of(cells: &Cells) -> Vec<Rest> {
    let rest =
        |(place, gap): &(Point3, f64)| Rest { place: *place, normal: cells.normal, gap: *gap };
    cells.cells.iter().map(rest).collect()
}

/// Pressed down at the part's hole against the seat under it, else against the nearest one.
fn clamp(mount: &Mount, hole: &Pair, seats: &[(usize, Cells)]) -> Option<Clamp> {
    let (place, _) = hole.at(0.0);
    let near =
        |c: &Cells| c.cells.iter().map(|(p, _)| (p - place).norm()).fold(f64::INFINITY, f64::min);
    let own = seats.iter().find(|(f, _)| Some(*f) == mount.seat);
    let seat = own.or_else(|| seats.iter().min_by(|a, b| near(&a.1).total_cmp(&near(&b.1))))?;
    Some(Clamp { place, normal: seat.1.normal })
}

fn play(hole: &Pair) -> Option<Play> {
    let ends = [hole.at(0.0), hole.at(hole.depth())];
    Some(Play { ends, axis: hole.axis(), play: hole.play()? })
}

fn unsupported(reach: f64) -> Finding {
    let mut found = Finding::new("seat", ALL_SEATS);
    found.verdict = Verdict::Undecided;
    found.detail =
        format!("pressed down by its bolts the part does not come to rest within {reach:.1} mm");
    found.remedy =
        "scan the seats all round the bolts, and name every face the part rests on".into();
    found
}

fn seated(view: &View<'_>, seats: &[(usize, Cells)], rests: &[Rest], sitting: &Sitting) -> Finding {
    let mut found = Finding::new("seat", ALL_SEATS);
    found.limit = Some(view.limits.seat_tolerance);
    let left = |r: &Rest| r.gap + sitting.motion.at(&r.place).dot(&r.normal);
    let Some(worst) = rests.iter().max_by(|a, b| left(a).total_cmp(&left(b))) else {
        return found;
    };
    let owner = rests_owner(seats, worst);
    let name = owner.map_or("", |(f, _)| view.scene.features[f].feature.name.as_str());
    let mut budget = Budget::default();
    // What carries is scanned as the gap is: the noise of both, and the join of the gap's own scan.
    let cell_noise = owner.map_or(0.0, |(_, cells)| cells.deviation);
    budget.add("scan noise", std::f64::consts::SQRT_2 * cell_noise);
    let scan = owner.and_then(|(f, _)| view.scene.features[f].scan);
    let join = scan.and_then(|s| view.scene.scans[s].join_covariance);
    let join = join.map_or(0.0, |c| deviation(c, &worst.place, Some(&worst.normal)));
    budget.add("join", join);
    budget.add("part mesh", view.part.chord_error / 3f64.sqrt());
    let value = left(worst);
    let uncertainty = budget.expanded();
    found.value = Some(value);
    found.spend(&budget);
    found.verdict = Verdict::at_most(value, view.limits.seat_tolerance, uncertainty);
    found.at = Some(worst.place + worst.normal.into_inner() * value);
    found.to = Some(worst.place);
    found.points = Some(sitting.contacts.len());
    let (down, tilt) = descent(sitting, rests);
    found.detail = format!(
        "pressed down it rests on {} places, {} by {:.3} mm at its middle and tilts by {:.3} degrees; \
         the largest gap left is {value:.3} mm, on \"{name}\"",
        sitting.contacts.len(),
        if down > 0.0 { "sinks" } else { "stands higher" },
        down.abs(),
        tilt.to_degrees(),
    );
    if found.verdict != Verdict::Pass {
        found.remedy = format!("shim of {value:.2} mm there, or level the seats");
    }
    found
}

fn rests_owner<'s>(seats: &'s [(usize, Cells)], rest: &Rest) -> Option<(usize, &'s Cells)> {
    let of = |c: &Cells| c.cells.iter().any(|(p, _)| *p == rest.place);
    seats.iter().find(|(_, c)| of(c)).map(|(f, c)| (*f, c))
}

/// How far the part goes down at the middle of its seats, mm, and by what angle it tilts, rad.
fn descent(sitting: &Sitting, rests: &[Rest]) -> (f64, f64) {
    let n = rests.len() as f64;
    let down: f64 = rests.iter().map(|r| -sitting.motion.at(&r.place).dot(&r.normal)).sum();
    let turn = sitting.motion.turn;
    let first = rests.first().map_or(Vec3::zeros(), |r| r.normal.into_inner());
    (down / n, (turn - first * turn.dot(&first)).norm())
}

fn bolted(
    view: &View<'_>,
    mechanism: &Mechanism<'_>,
    sitting: &Sitting,
    holes: &[Pair],
    bolts: &[Play],
    reach: f64,
) -> Option<(Finding, Motion)> {
    let best = mechanism.bolt(sitting, bolts, reach)?;
    let mut found = Finding::new("hole", ALL_BOLTS);
    found.limit = Some(0.0);
    found.value = Some(best.margin);
    let budget = budget(view, holes, bolts, &best);
    let uncertainty = budget.expanded();
    found.spend(&budget);
    found.verdict = Verdict::at_least(best.margin, 0.0, uncertainty);
    let deciding = deciding(&best);
    let tightest = *deciding.first()?;
    let (part, scanned) = bolts[tightest].ends[0];
    (found.at, found.to) = (Some(part + best.motion.at(&part)), Some(scanned));
    let shift = best.motion.at(&part);
    let names: Vec<&str> = deciding.iter().map(|&i| holes[i].name()).collect();
    found.detail = format!(
        "resting on its seats and moved by ({:.3}, {:.3}, {:.3}) mm at \"{}\", the part leaves {:.3} mm of \
         room to the tightest of {} bolts ({} decide)",
        shift.x,
        shift.y,
        shift.z,
        holes[tightest].name(),
        best.margin,
        bolts.len(),
        names.join(", "),
    );
    if found.verdict != Verdict::Pass {
        let need = uncertainty - best.margin;
        let asked = (&deciding[..], need, uncertainty);
        found.remedy = remedy(mechanism, sitting, holes, bolts, asked, reach);
    }
    Some((found, best.motion))
}

/// Bolts that decide the margin, the heaviest first.
fn deciding(best: &Bolted) -> Vec<usize> {
    let weight = |i: usize| best.weights[i].iter().map(|w| w.norm()).sum::<f64>();
    let mut deciding: Vec<usize> = (0..best.weights.len()).filter(|&i| weight(i) > 1e-3).collect();
    deciding.sort_by(|a, b| weight(*b).total_cmp(&weight(*a)).then(a.cmp(b)));
    deciding
}

/// The margin moves with each hole's axis by the program's own multipliers.
fn budget(view: &View<'_>, holes: &[Pair], bolts: &[Play], best: &Bolted) -> Budget {
    let mut budget = Budget::default();
    let first = holes.first().and_then(|h| view.scene.features[h.feature()].scan);
    for ((hole, bolt), weights) in holes.iter().zip(bolts).zip(&best.weights) {
        let feature = &view.scene.features[hole.feature()];
        // Both ends are of one axis: added, not squared.
        let (mut axis, mut join) = (0.0, 0.0);
        for (weight, (_, scanned)) in weights.iter().zip(&bolt.ends) {
            let Some(along) = unit(*weight) else { continue };
            let size = weight.norm();
            axis += size * deviation(&feature.feature.covariance, scanned, Some(&along));
            let other = feature.scan.filter(|_| feature.scan != first);
            let covariance = other.and_then(|s| view.scene.scans[s].join_covariance);
            join += size * covariance.map_or(0.0, |c| deviation(c, scanned, Some(&along)));
        }
        budget.add("hole axis", axis);
        budget.add("join", join);
    }
    budget
}

/// What would make all bolts go in: the deciding holes wider, or the one hole elsewhere without which the others
/// have most room.
fn remedy(
    mechanism: &Mechanism<'_>,
    sitting: &Sitting,
    holes: &[Pair],
    bolts: &[Play],
    (deciding, missing_room, uncertainty): (&[usize], f64, f64),
    reach: f64,
) -> String {
    let wider: Vec<String> = deciding
        .iter()
        .map(|&i| {
            let diameter = holes[i].part_diameter() + 2.0 * missing_room;
            format!("\"{}\" to {diameter:.2} mm", holes[i].name())
        })
        .collect();
    let mut text = format!("widen {}", wider.join(", "));
    let without = |i: usize| {
        let kept = bolts.iter().enumerate().filter(|(k, _)| *k != i);
        let others: Vec<Play> = kept.map(|(_, b)| *b).collect();
        mechanism.bolt(sitting, &others, reach).map(|best| (i, best))
    };
    let rest = deciding.iter().filter_map(|&i| without(i));
    let elsewhere = rest.max_by(|a, b| a.1.margin.total_cmp(&b.1.margin).then(b.0.cmp(&a.0)));
    if let Some((i, best)) = elsewhere.filter(|(_, best)| best.margin >= uncertainty) {
        let by = missing(&best.motion, &bolts[i]);
        text += &format!(
            ", or move \"{}\" in the part by ({:.2}, {:.2}, {:.2}) mm",
            holes[i].name(),
            by.x,
            by.y,
            by.z
        );
    }
    text
}

/// How far a hole of the moved part is from its bolt.
fn missing(motion: &Motion, bolt: &Play) -> Vec3 {
    let (part, scanned) = bolt.ends[0];
    let off = scanned - (part + motion.at(&part));
    off - bolt.axis.into_inner() * off.dot(&bolt.axis)
}

/// Angle of friction, rad: arc tangent of 0.1, the low end for steel on steel (common handbook value).
const FRICTION: f64 = 0.1;
const ALL_SEATS: &str = "all seats, pressed down";
pub(super) const ALL_BOLTS: &str = "all bolts together";
