//! A motion against the scene: its movements with their axes, and the points and triangles that move.

use super::super::clearance::belongs;
use super::super::view::{Owner, View};
use super::{Guide, Motion, Move, Moving, Within};
use crate::error::{Error, Result};
use crate::feature::axis_of;
use crate::primitive::{Line, Primitive};
use crate::solid::{Joint, MOST_MOVEMENTS, Mesh, Movement};

/// A motion ready to be followed.
pub(super) struct Prepared {
    pub(super) scan: usize,
    pub(super) feature: Option<usize>,
    pub(super) movements: Vec<Movement>,
    /// What moves, as scanned.
    pub(super) mesh: Mesh,
    /// Points that were asked for but hold the part.
    pub(super) left_out: usize,
    pub(super) limit: f64,
}

impl Prepared {
    /// # Errors
    /// [`Error::Argument`] for what cannot move or not like this.
    pub(super) fn new(view: &View<'_>, motion: &Motion) -> Result<Self> {
        let wrong = |what: &str, got: String, allowed: &str| {
            Error::argument(format!("{what} of motion \"{}\"", motion.name), got, allowed)
        };
        let movements = movements(view, motion)?;
        let (scan, feature) = match motion.moving {
            Moving::Scan { scan, .. } => (scan, None),
            Moving::OtherPart(o) => {
                return Err(wrong("other part", o.to_string(), "a feature or a scan"));
            }
            Moving::Feature(f) => match view.scene.features.get(f) {
                None => {
                    let allowed = format!("below {}", view.scene.features.len());
                    return Err(wrong("feature", f.to_string(), &allowed));
                }
                Some(found) => match found.scan {
                    Some(scan) => (scan, Some(f)),
                    None => {
                        let allowed = "a feature with a scanned surface, not a construction";
                        return Err(wrong("feature", found.feature.name.clone(), allowed));
                    }
                },
            },
        };
        if scan >= view.scans.len() {
            let allowed = format!("below {}", view.scans.len());
            return Err(wrong("scan", scan.to_string(), &allowed));
        }
        let (mesh, left_out) = match &motion.moving {
            Moving::Feature(f) => (view.mesh(scan, |owners| belongs(owners, Some(*f))), 0),
            Moving::Scan { within, .. } => in_region(view, scan, within),
            Moving::OtherPart(_) => (Mesh::new(Vec::new(), Vec::new()), 0),
        };
        if mesh.triangles().is_empty() {
            return Err(match feature {
                Some(f) => wrong(
                    "feature",
                    view.scene.features[f].feature.name.clone(),
                    "a feature with a surface of its own that the part is not mounted on",
                ),
                None if left_out > 0 => wrong(
                    "region",
                    "seats and mounting holes only".into(),
                    "points that the part is not mounted on: it would move with them",
                ),
                None => wrong(
                    "region",
                    "no points of the scan".into(),
                    "a region of machine coordinates with points of the scan in it",
                ),
            });
        }
        let limit = motion.clearance.unwrap_or_else(|| view.limit_of(feature));
        Ok(Prepared { scan, feature, movements, mesh, left_out, limit })
    }
}

/// The movements of a motion with their axes.
///
/// # Errors
/// [`Error::Argument`] for too few or too many, or for limits or axes that are none.
pub(super) fn movements(view: &View<'_>, motion: &Motion) -> Result<Vec<Movement>> {
    let wrong = |what: &str, got: String, allowed: &str| {
        Error::argument(format!("{what} of motion \"{}\"", motion.name), got, allowed)
    };
    let count = motion.moves.len();
    if !(1..=MOST_MOVEMENTS).contains(&count) {
        return Err(wrong("movements", count.to_string(), "1 to 4"));
    }
    if let Some(c) = motion.clearance.filter(|c| !(c.is_finite() && *c >= 0.0)) {
        return Err(wrong("clearance", c.to_string(), "zero or more, mm"));
    }
    motion.moves.iter().map(|m| movement(view, motion, m)).collect()
}

/// Triangles (points of a cloud) with all corners in a region, and how many points there hold the part.
fn in_region(view: &View<'_>, scan: usize, within: &Within) -> (Mesh, usize) {
    let scanned = &view.scans[scan];
    let holds_part = |i: usize| matches!(scanned.owner[i], Owner::Seat(_) | Owner::Beside);
    let inside: Vec<bool> = scanned.points.iter().map(|p| within.holds(p)).collect();
    let left_out = (0..inside.len()).filter(|&i| inside[i] && holds_part(i)).count();
    let moves = |i: &u32| inside[*i as usize] && !holds_part(*i as usize);
    (view.mesh_by_corners(scan, |ids| ids.iter().all(moves)), left_out)
}

fn movement(view: &View<'_>, motion: &Motion, asked: &Move) -> Result<Movement> {
    let wrong = |what: &str, got: String, allowed: &str| {
        Error::argument(format!("{what} of motion \"{}\"", motion.name), got, allowed)
    };
    let (from, to) = asked.limits();
    if !(from.is_finite() && to.is_finite() && from <= to) {
        return Err(wrong("limits", format!("{from} to {to}"), "finite, the lower one first"));
    }
    if matches!(asked, Move::Turn { .. }) && to - from > 4.0 * std::f64::consts::PI {
        return Err(wrong("limits", format!("{from} to {to} rad"), "at most two full turns"));
    }
    let line = match asked.guide() {
        Guide::Line(line) => {
            let numbers = line.point.iter().chain(line.direction.iter());
            if !numbers.clone().all(|x| x.is_finite()) {
                return Err(wrong("axis", "numbers that are not finite".into(), "finite numbers"));
            }
            *line
        }
        Guide::Feature(f) => {
            let Some(found) = view.scene.features.get(*f) else {
                let allowed = format!("below {}", view.scene.features.len());
                return Err(wrong("axis feature", f.to_string(), &allowed));
            };
            let turns = matches!(asked, Move::Turn { .. });
            line_of(&found.feature.shape, turns).ok_or_else(|| {
                let got = format!("\"{}\", a {}", found.feature.name, found.feature.kind.name());
                let allowed =
                    if turns { "a feature with an axis" } else { "a feature with a direction" };
                wrong("axis feature", got, allowed)
            })?
        }
    };
    let joint = match asked {
        Move::Turn { .. } => Joint::Turn(line),
        Move::Shift { .. } => Joint::Shift(line.direction),
    };
    Ok(Movement { joint, from, to })
}

/// Axis of a shape; to shift along, a plane's normal too.
fn line_of(shape: &Primitive, turns: bool) -> Option<Line> {
    let normal = || match shape {
        Primitive::Plane(p) if !turns => Some(Line { point: p.point, direction: p.normal }),
        _ => None,
    };
    axis_of(shape).or_else(normal)
}
