//! Can the part be brought in from outside to its seat.
//!
//! All straight directions are mapped first, each proven along its whole length; if none is free, a way with
//! turns is looked for. Outside is where the part's box is clear of the box of all that was scanned and of other parts:
//! what stands beyond that box nobody has seen. Nor does a scan hold what lies beyond its borders: a direction
//! that surface going on by the unseen reach would close is taken only if there is no other, and is undecided.

mod course;
mod directions;
mod limits;
mod path;
mod plan;

pub use limits::{InsertionLimits, PathPose};

use super::holes::Pair;
use super::view::View;
use super::{Finding, Measure, Verdict};
use crate::context::Context;
use crate::error::Result;
use crate::primitive::{Direction, Point3, Pose, Vec3};
use course::{Course, Stuck};
use directions::Straight;
use path::Move;
use plan::Plan;

/// One finding, with the path if there is a way in.
pub(super) fn check(
    view: &View<'_>,
    holes: &[Pair],
    limits: &InsertionLimits,
    context: &Context,
) -> Result<Finding> {
    context.report("fit check: way in", 0.97)?;
    let course = match Course::new(view, limits) {
        Ok(course) => course,
        Err(stuck) => return Ok(seated_in(&stuck)),
    };
    let axes = built_axes(&course, holes);
    let map = directions::map(&course, limits.directions, &axes, context)?;
    let mut found = Finding::new("insertion", "part");
    found.spend(&course.budget);
    found.limit = Some(limits.clearance.min(course.air));
    found.number("free_directions", map.free as f64 / map.tried.max(1) as f64, Measure::Ratio);
    found.detail = format!(
        "{} of {} straight directions lead out with {:.2} mm of air",
        map.free, map.tried, course.air
    );
    if let Some(best) = &map.best {
        straight(&course, best, &mut found);
        return Ok(found);
    }
    let centres: Vec<Point3> =
        std::iter::once(course.middle).chain(holes.iter().map(|h| h.part_axis().point)).collect();
    let asked = (limits.tries, limits.seed);
    match plan::search(&course, asked, &axes, &centres, context)? {
        Some(plan) => with_turns(&course, &plan, &mut found),
        None => {
            found.verdict = Verdict::Undecided;
            found.detail += &format!(
                "; no way with turns was found in {} moves, which is no proof that there is none",
                limits.tries
            );
            found.remedy = "find a way on the machine, name what can be taken off for it, ask for less air, or \
                            allow more tries"
                .into();
        }
    }
    Ok(found)
}

/// The seated part touches what is no seat: every way begins there.
fn seated_in(stuck: &Stuck) -> Finding {
    let mut found = Finding::new("insertion", "part");
    found.verdict = Verdict::Undecided;
    found.value = Some(stuck.seated.min(0.0));
    if let Some((on_part, on_scan)) = stuck.at {
        (found.at, found.to) = (Some(on_part), Some(on_scan));
    }
    found.detail =
        "seated, the part already meets something that it is not meant to touch: no way in can be judged".into();
    found.remedy = "mend the interference first, or name what is met as taken off for it".into();
    found
}

/// Directions that things are built in, in the order they are preferred: out of the seats, along the bolts, the
/// machine's.
fn built_axes(course: &Course<'_>, holes: &[Pair]) -> Vec<Direction> {
    let mut all: Vec<Direction> = Vec::new();
    let bolts = holes.iter().map(|h| h.part_axis().direction);
    let machine = [Vec3::z_axis(), Vec3::x_axis(), Vec3::y_axis()];
    let machine = machine.into_iter().flat_map(|d| [d, -d]);
    for d in course.outward().chain(bolts).chain(machine) {
        if all.iter().all(|a| (a.into_inner() - d.into_inner()).norm() > SAME) {
            all.push(d);
        }
    }
    all
}

fn straight(course: &Course<'_>, best: &Straight, found: &mut Finding) {
    let d = best.along;
    found.value = Some(best.air);
    judge(course, best.air, found);
    for (name, value) in [("direction_x", d.x), ("direction_y", d.y), ("direction_z", d.z)] {
        found.number(name, value, Measure::Ratio);
    }
    found.detail += &format!(
        "; out along ({:.3}, {:.3}, {:.3}) the part keeps {:.2} mm",
        d.x, d.y, d.z, best.air
    );
    if !best.seen && found.verdict == Verdict::Pass {
        found.verdict = Verdict::Undecided;
        found.detail += &format!(
            ", but every free way passes where a scan ends and surface may go on unseen by {:.1} mm",
            course.view.limits.unseen_reach
        );
        found.remedy = "scan beyond the borders along the way".into();
    }
    let way = course.way_out(&Pose::identity(), &d);
    found.path = poses(course, &[Move::straight(way)]);
}

fn with_turns(course: &Course<'_>, plan: &Plan, found: &mut Finding) {
    found.value = Some(course.air);
    judge(course, course.air, found);
    let turned: f64 = plan.moves.iter().map(|m| m.angle.abs()).sum();
    found.number("moves", plan.moves.len() as f64, Measure::Ratio);
    found.number("turned", turned, Measure::Angle);
    found.detail += &format!(
        "; a way of {} moves, turning by {:.0} degrees in all, keeps it (found after {} tried)",
        plan.moves.len(),
        turned.to_degrees(),
        plan.tried
    );
    found.path = poses(course, &plan.moves);
    if found.verdict == Verdict::Pass && !is_seen(course, &plan.moves) {
        found.verdict = Verdict::Undecided;
        found.detail += &format!(
            ", but passes where a scan ends and surface may go on unseen by {:.1} mm",
            course.view.limits.unseen_reach
        );
        found.remedy = "scan beyond the borders along the way".into();
    }
}

/// The air kept against what was asked; where the seated part has less, that decides nothing about the way.
fn judge(course: &Course<'_>, air: f64, found: &mut Finding) {
    let limit = found.limit.unwrap_or(0.0);
    let uncertainty = course.budget.expanded();
    found.verdict = Verdict::at_least(air, limit, uncertainty);
    if found.verdict != Verdict::Pass {
        // What was found keeps it, by the scans as they are: never failed.
        found.verdict = Verdict::Undecided;
        found.remedy = format!(
            "seated it has {:.2} mm of air; the uncertainty is mostly from {}",
            course.seated,
            course.budget.largest()
        );
    }
}

/// Whether a way with turns stays clear of what may go on unseen, by its straight moves and the places between.
fn is_seen(course: &Course<'_>, moves: &[Move]) -> bool {
    let mut pose = Pose::identity();
    for m in moves {
        let steps = if m.angle == 0.0 { 1 } else { STEPS };
        for k in 0..steps {
            let (from, to) = (f64::from(k) / f64::from(steps), f64::from(k + 1) / f64::from(steps));
            let at = m.at(&pose, from);
            if !course.is_seen(&at, &(m.shift * (to - from))) {
                return false;
            }
        }
        pose = m.at(&pose, 1.0);
    }
    true
}

/// Places from outside to the seat, each with the air measured there.
fn poses(course: &Course<'_>, moves: &[Move]) -> Vec<PathPose> {
    let reach = course.size();
    let of = |pose: Pose| PathPose {
        machine_from_part: pose,
        clearance: course.distance(&pose, reach).unwrap_or(reach),
    };
    let mut pose = Pose::identity();
    let mut all = vec![of(pose)];
    for m in moves {
        let steps = if m.angle == 0.0 { 4 } else { STEPS };
        all.extend((1..=steps).map(|k| of(m.at(&pose, f64::from(k) / f64::from(steps)))));
        pose = m.at(&pose, 1.0);
    }
    all.reverse();
    all
}

/// Places shown of a move that turns.
const STEPS: u32 = 12;
/// Directions nearer than this are one.
const SAME: f64 = 1e-6;
