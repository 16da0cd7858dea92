//! Least air between the part and what moves, over all of its motion.
//!
//! The least distance is found by branch and bound (see `solid::sweep`): nothing is sampled, and how
//! much nearer any pose may still be is known and added to the uncertainty. The search runs on the
//! surface as its neighbours say it is; where it comes nearest the clearance is judged as that of
//! what stands still. An axis that was fitted to the scan is uncertain: a point that a movement takes
//! far from where it was takes that uncertainty with it.

mod describe;
mod lever;
mod parts;
mod prepare;
mod smooth;

pub use describe::{Guide, Motion, Move, Moving, Within};

use super::budget::{Budget, deviation};
use super::clearance::{Place, detail, direction, judge, patch_of};
use super::finding::Measure;
use super::moved::Moved;
use super::view::View;
use super::{Finding, Verdict};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose};
use crate::solid::{Joint, Least, Movement, Witness, pose_at};
use prepare::Prepared;

/// One finding for each motion of the scene.
///
/// # Errors
/// [`Error::Argument`] for what cannot move or not like this, [`Error::Cancelled`].
pub(super) fn check(view: &View<'_>, context: &Context) -> Result<Vec<Finding>> {
    let motions = &view.scene.motions;
    // All that is asked is looked at before the first motion is followed.
    let ready: Vec<Ready> = motions.iter().map(|m| Ready::new(view, m)).collect::<Result<_>>()?;
    let one = |(motion, what): (&Motion, &Ready)| match what {
        Ready::Scanned(what) => context.run(|| finding(view, motion, what, context)),
        Ready::Part(what) => context.run(|| parts::finding(view, motion, what, context)),
    };
    motions.iter().zip(&ready).map(one).collect()
}

/// What moves, ready to be followed.
enum Ready<'a> {
    Scanned(Box<Prepared>),
    Part(parts::Moving<'a>),
}

impl<'a> Ready<'a> {
    fn new(view: &'a View<'_>, motion: &Motion) -> Result<Self> {
        match motion.moving {
            Moving::OtherPart(o) => parts::Moving::new(view, motion, o).map(Ready::Part),
            Moving::Feature(_) | Moving::Scan { .. } => {
                Prepared::new(view, motion).map(|p| Ready::Scanned(Box::new(p)))
            }
        }
    }
}

fn finding(
    view: &View<'_>,
    motion: &Motion,
    what: &Prepared,
    context: &Context,
) -> Result<Finding> {
    let go_on = || context.check();
    let raw = view.solid.least_over(&what.mesh, &what.movements, smooth::TOLERANCE, &go_on)?;
    let raw = raw.ok_or_else(|| Error::Internal("a motion of nothing".into()))?;
    let patch = patch_of(view, what.scan, what.feature);
    let found = if patch.noise > 0.0 || raw.distance <= smooth::TOLERANCE {
        smooth::least(view, what, &patch, &raw, &go_on)?
    } else {
        raw
    };
    let pose = pose_at(&what.movements, &found.values);
    let moved = Moved::new(view, &patch, &what.mesh, |p| pose * p);
    let there = moved.least(view, &patch, patch.shape.map(|s| s.transformed(&pose)).as_ref());
    let there = there.ok_or_else(|| Error::Internal("a motion of nothing".into()))?;
    Ok(judged(view, motion, what, (&raw, &found), &pose, &there))
}

fn judged(
    view: &View<'_>,
    motion: &Motion,
    what: &Prepared,
    (raw, found): (&Least, &Least),
    pose: &Pose,
    (place, there): &(Place, Witness),
) -> Finding {
    let mut finding = Finding::new("motion", motion.name.clone());
    finding.limit = Some(what.limit);
    // Where the scanner saw what comes nearest.
    let seen = pose.inverse_transform_point(&place.on_scan);
    let budget = budget(view, motion, what, found, pose, place, &seen);
    finding.spend(&budget);
    // The bound is no standard deviation: it is added as it is.
    let uncertainty = budget.expanded() + found.gap;
    finding.uncertainty = Some(uncertainty);
    finding.value = Some(place.distance);
    finding.verdict = Verdict::at_least(place.distance, what.limit, uncertainty);
    (finding.at, finding.to) = (Some(place.on_part), Some(place.on_scan));
    tell_values(&mut finding, &what.movements, found);
    finding.number("least_raw", raw.distance, Measure::Length);
    finding.number("bound", found.gap, Measure::Length);
    let shape = what.feature.is_some_and(|f| view.surface_shape(f).is_some());
    finding.detail = format!(
        "{}, {}; no pose of the motion is nearer by more than {:.4} mm; smallest raw distance of all \
         poses {:.3} mm",
        words(&what.movements, found),
        detail(place, there, shape, what.limit),
        found.gap,
        raw.distance
    );
    if what.left_out > 0 {
        finding.detail += &format!(
            "; {} points of seats and bolt holes, and beside them, were left out: the part would move \
             with them",
            what.left_out
        );
    }
    let seen_place = Place { on_scan: seen, ..place.clone() };
    judge(view, &seen_place, &budget, &mut finding, what.limit);
    finding
}

fn budget(
    view: &View<'_>,
    motion: &Motion,
    what: &Prepared,
    found: &Least,
    pose: &Pose,
    place: &Place,
    seen: &Point3,
) -> Budget {
    let along = direction(place);
    let chord_error = view.part.chord_error;
    let mut budget =
        Budget::of_place(view.scene, None, chord_error, &place.on_part, along.as_ref());
    // Join, scanner and feature belong to where it was scanned.
    let back = along.map(|d| pose.inverse() * d);
    let scan = &view.scene.scans[what.scan];
    let of = |c| deviation(c, seen, back.as_ref());
    budget.add("join", scan.join_covariance.map_or(0.0, of));
    budget.add("scanner", scan.length_error.map_or(0.0, |e| e.deviation(seen.coords.norm())));
    budget.add("scan noise", place.deviation);
    if let Some(along) = &along {
        if let Some(f) = what.feature {
            budget.add("feature", of(&view.scene.features[f].feature.covariance));
        }
        let carried = lever::Carried { movements: &what.movements, values: &found.values, seen };
        budget.add("axis", carried.deviation(view, motion, along));
    }
    budget
}

/// Adds where in the motion it is.
fn tell_values(finding: &mut Finding, movements: &[Movement], found: &Least) {
    for ((m, value), name) in movements.iter().zip(found.values).zip(NAMES) {
        let measure = match m.joint {
            Joint::Turn(_) => Measure::Angle,
            Joint::Shift(_) => Measure::Length,
        };
        finding.number(name, value, measure);
    }
}

/// Where in the motion it is: "turned by 1.20 degrees, then shifted by 3.000 mm".
fn words(movements: &[Movement], found: &Least) -> String {
    let one = |(m, value): (&Movement, &f64)| match m.joint {
        Joint::Turn(_) => format!("turned by {:.3} degrees", value.to_degrees()),
        Joint::Shift(_) => format!("shifted by {value:.3} mm"),
    };
    let all: Vec<String> = movements.iter().zip(&found.values).map(one).collect();
    all.join(", then ")
}

/// Value of each movement where it comes nearest.
const NAMES: [&str; 4] = ["movement_1", "movement_2", "movement_3", "movement_4"];
