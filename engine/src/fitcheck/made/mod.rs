//! The made part: its scan laid on the model, how far it is off, and every check again with the part as made.
//!
//! The scan is laid on the whole model, or on the faces that sit on the machine and the walls of its bolt holes
//! alone (that is where the part will be held). Deviations are taken to the model's surface along its normal and
//! judged as the median of a point and its neighbours, so that no spike decides.

mod align;
mod body;

use rayon::prelude::*;

use super::budget::{Budget, deviation, independent};
use super::local::median;
use super::scene::{Limits, Mount, Scene};
use super::{Checked, Finding, Measure, Verdict, all};
use crate::associate::{Covariance, Request};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::exchange::{Part, PartHole};
use crate::primitive::{Cylinder, Line, Point3, Pose, unit};
use crate::region::Region;
use crate::scan::Scan;
use crate::solid::Solid;
use align::Model;

pub use body::DeviationMap;

/// What the scan of a made part is laid on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LaidOn {
    /// The whole model.
    #[default]
    Model,
    /// The faces of the part that sit on the machine and the walls of its bolt holes.
    Seats,
}

/// The scan of a made part.
#[derive(Debug, Clone)]
pub struct Made<'a> {
    /// The scan, in coordinates of its own.
    pub scan: &'a Scan,
    /// What it is laid on.
    pub laid_on: LaidOn,
    /// Where it lies about, if known: takes its coordinates to the model's. Looked for from any pose if not.
    pub start: Option<Pose>,
    /// Largest deviation from the model that is admitted, mm.
    pub tolerance: Option<f64>,
}

/// The part as it was made.
#[derive(Debug, Clone)]
pub struct MadePart {
    /// Takes the coordinates of its scan to those of the model.
    pub part_from_scan: Pose,
    /// Distance of each point of the scan from the model, mm; negative: material is missing.
    pub deviation: Vec<f64>,
    /// The model with its surface moved to where it was seen.
    pub part: Part,
    /// How far each piece of the model's surface is off.
    pub map: DeviationMap,
    /// How far it is off, and what the checks say of it, the worst first.
    pub findings: Vec<Finding>,
}

/// Lays the scan of a made part on its model, says how far it is off, and makes every check with the part as made.
/// The names of those findings end in "as made".
///
/// # Errors
/// [`Error::Join`] if the scan does not lie on the model or does so in two ways, [`Error::Undetermined`] if the
/// faces it is laid on leave it free, [`Error::Argument`] for a tolerance that is no length; else as [`all`].
pub fn made(
    part: &Part,
    made: &Made<'_>,
    scene: &Scene<'_>,
    mounts: &[Mount],
    limits: &Limits,
    context: &Context,
) -> Result<MadePart> {
    if let Some(t) = made.tolerance.filter(|t| !(t.is_finite() && *t > 0.0)) {
        return Err(Error::argument("tolerance of the made part", t, "more than zero, mm"));
    }
    context.report("made part: laying it on its model", 0.0)?;
    let laid = context.run(|| Laid::new(part, made, scene, mounts, limits))?;
    context.report("made part: deviations", 0.4)?;
    let mut findings = context.run(|| laid.findings(made.tolerance));
    let (bores, bore_findings) = context.run(|| laid.bores(mounts, made.tolerance));
    findings.extend(bore_findings);
    context.report("made part: its body", 0.5)?;
    let (body, mounts, map) = context.run(|| laid.as_made(mounts, bores))?;
    let Checked { findings: again, .. } = all(&body, scene, &mounts, limits, context)?;
    let named = |f: Finding| Finding { name: format!("{}, as made", f.name), ..f };
    findings.extend(again.into_iter().map(named));
    findings.iter_mut().for_each(Finding::say_what_decides);
    findings.sort_by_key(|f| f.verdict.rank());
    Ok(MadePart {
        part_from_scan: laid.part_from_scan,
        deviation: laid.deviation,
        part: body,
        map,
        findings,
    })
}

/// A made part's scan on the model.
struct Laid<'a> {
    part: &'a Part,
    /// In the model's coordinates.
    scan: Scan,
    part_from_scan: Pose,
    covariance: Covariance,
    deviation: Vec<f64>,
    noise: f64,
}

impl<'a> Laid<'a> {
    fn new(
        part: &'a Part,
        made: &Made<'_>,
        scene: &Scene<'_>,
        mounts: &[Mount],
        limits: &Limits,
    ) -> Result<Self> {
        let solid = Solid::new(&part.points, &part.triangles).map_err(|open| Error::OpenPart {
            path: part.file.clone(),
            open_edges: open.count,
            at: open.at.into(),
        })?;
        let model = Model { solid: &solid, points: &part.points, triangles: &part.triangles };
        let (points, noise) = (made.scan.points(), made.scan.noise());
        let start = match made.start {
            Some(start) => start,
            None => model.find(points, noise)?,
        };
        // Points of one patch share their errors; all of them are worth so many.
        let area = made.scan.resolution().powi(2) * points.len() as f64;
        let worth = independent((area / std::f64::consts::PI).sqrt(), points.len());
        let step = points.len().div_ceil(MOST_LAID).max(1);
        let some: Vec<Point3> = points.iter().copied().step_by(step).collect();
        let anywhere = |_: &Point3| true;
        let mut laid = model.refine(start, &some, noise, &anywhere, worth)?;
        if made.laid_on == LaidOn::Seats {
            // A part that is off elsewhere lies askew at first: its seats are looked for widely, then closely.
            for tolerances in [15.0, 5.0] {
                let within = tolerances * limits.seat_tolerance;
                let near = |p: &Point3| on_seats(p, scene, mounts, within);
                let there = some.iter().filter(|p| near(&(laid.part_from_scan * **p))).count();
                let share = there as f64 / some.len().max(1) as f64;
                let worth = (worth * share).max(1.0);
                laid = model.refine(laid.part_from_scan, &some, noise, &near, worth)?;
            }
        }
        let scan = made.scan.transformed(&laid.part_from_scan);
        let hits = solid.signed_all(scan.points(), f64::INFINITY);
        let deviation = hits.into_iter().map(|h| h.map_or(0.0, |h| h.distance)).collect();
        Ok(Laid {
            part,
            scan,
            part_from_scan: laid.part_from_scan,
            covariance: laid.covariance,
            deviation,
            noise,
        })
    }

    /// Deviation of a point as the median of itself and its neighbours.
    fn smooth(&self, i: u32) -> f64 {
        let ring = self.scan.neighbours(i).iter().chain([&i]);
        median(ring.map(|&k| self.deviation[k as usize]).collect())
    }

    fn findings(&self, tolerance: Option<f64>) -> Vec<Finding> {
        let count = self.scan.points().len() as u32;
        let smooth: Vec<f64> =
            (0..count).into_par_iter().with_min_len(4096).map(|i| self.smooth(i)).collect();
        let worst = (0..count).max_by(|&a, &b| {
            smooth[a as usize].abs().total_cmp(&smooth[b as usize].abs()).then(b.cmp(&a))
        });
        let mut found = Finding::new(KIND, "deviation from the model");
        let Some(worst) = worst else {
            found.verdict = Verdict::Undecided;
            found.detail = "its scan has no points".into();
            found.remedy = "scan the made part".into();
            return vec![found];
        };
        let (value, place) = (smooth[worst as usize], self.scan.points()[worst as usize]);
        let normal = unit(self.scan.normals()[worst as usize]);
        let mut budget = Budget::default();
        budget.add("pose", deviation(&self.covariance, &place, normal.as_ref()));
        let ring = self.scan.neighbours(worst).len() + 1;
        budget.add(
            "scan noise",
            1.2533 * self.noise / independent(self.scan.resolution(), ring).sqrt(),
        );
        budget.add("part mesh", self.part.chord_error / 3f64.sqrt());
        found.value = Some(value.abs());
        found.spend(&budget);
        found.to = Some(place);
        found.at = Some(place - normal.map_or_else(Default::default, |n| n.into_inner() * value));
        found.points = Some(count as usize);
        let squares: f64 = self.deviation.iter().map(|d| d * d).sum();
        let (low, high) = smooth.iter().fold((0.0f64, 0.0f64), |(l, h), d| (l.min(*d), h.max(*d)));
        found.number("rms", (squares / f64::from(count)).sqrt(), Measure::Length);
        found.number("largest_excess", high, Measure::Length);
        found.number("largest_missing", -low, Measure::Length);
        found.detail = format!(
            "laid on its model the made part has up to {high:.3} mm too much and {:.3} mm too little, {:.3} mm rms \
             with the scan's noise",
            -low,
            (squares / f64::from(count)).sqrt()
        );
        match tolerance {
            Some(limit) => {
                found.limit = Some(limit);
                found.verdict = Verdict::at_most(value.abs(), limit, budget.expanded());
                if found.verdict != Verdict::Pass {
                    found.remedy = "see the checks as made: they say whether it matters".into();
                }
            }
            None => found.detail += "; no tolerance was asked",
        }
        vec![found]
    }

    /// Each bolt hole as made, where enough of its wall was seen, and how far it is off.
    fn bores(&self, mounts: &[Mount], tolerance: Option<f64>) -> (Vec<PartHole>, Vec<Finding>) {
        let mut findings = Vec::new();
        let holes = mounts.iter().enumerate().map(|(k, m)| {
            let hole = &m.part_hole;
            let line = Line { point: hole.point, direction: hole.axis };
            let on_wall = |i: &u32| {
                let p = self.scan.points()[*i as usize];
                let reach = WALL * hole.radius;
                let across = (line.distance(&p) - hole.radius).abs();
                across < reach.min(0.5 * hole.radius) && line.parameter(&p).abs() < 0.5 * hole.depth
            };
            let facing = |i: &u32| {
                let (p, n) = (self.scan.points()[*i as usize], self.scan.normals()[*i as usize]);
                n.dot(&hole.axis).abs() < 0.3 && n.dot(&(p - line.project(&p))) < 0.0
            };
            let ids = (0..self.scan.points().len() as u32).filter(|i| on_wall(i) && facing(i));
            let region = Region::new(&self.scan, ids.collect(), None);
            let fit = Cylinder::fit(&region, &Request::default());
            let name =
                format!("hole {} at ({:.1}, {:.1}, {:.1})", k + 1, m.near.x, m.near.y, m.near.z);
            let mut found = Finding::new(KIND, name);
            let Ok(fit) = fit else {
                found.verdict = Verdict::Undecided;
                found.at = Some(hole.point);
                found.detail =
                    "too little of its wall was seen to say where it is: taken as designed".into();
                found.remedy = "scan the hole's wall along two slants".into();
                findings.push(found);
                return hole.clone();
            };
            let made = Line { point: fit.shape.point, direction: fit.shape.axis };
            let ends = [-0.5, 0.5].map(|s| hole.point + hole.axis.into_inner() * (s * hole.depth));
            let off = ends.map(|e| (made.project(&e) - e).norm());
            let worst = if off[1] > off[0] { 1 } else { 0 };
            let at = ends[worst];
            let along = unit(made.project(&at) - at);
            let mut budget = Budget::default();
            budget.add("hole axis", deviation(&fit.covariance, &at, along.as_ref()));
            budget.add("pose", deviation(&self.covariance, &at, along.as_ref()));
            found.value = Some(off[worst]);
            found.spend(&budget);
            (found.at, found.to) = (Some(at), Some(made.project(&at)));
            found.points = Some(region.ids().len());
            found.number("diameter", 2.0 * fit.shape.radius, Measure::Length);
            found.number("designed_diameter", 2.0 * hole.radius, Measure::Length);
            found.detail = format!(
                "its axis is {:.3} mm off, its diameter {:.3} mm instead of {:.3} mm",
                off[worst],
                2.0 * fit.shape.radius,
                2.0 * hole.radius
            );
            if let Some(limit) = tolerance {
                found.limit = Some(limit);
                found.verdict = Verdict::at_most(off[worst], limit, budget.expanded());
            }
            findings.push(found);
            let axis =
                if fit.shape.axis.dot(&hole.axis) < 0.0 { -fit.shape.axis } else { fit.shape.axis };
            PartHole {
                point: made.project(&hole.point),
                axis,
                radius: fit.shape.radius,
                depth: hole.depth,
            }
        });
        let holes = holes.collect();
        (holes, findings)
    }

    /// The part as made, its mounts, and how far each piece of its surface is off.
    fn as_made(
        &self,
        mounts: &[Mount],
        holes: Vec<PartHole>,
    ) -> Result<(Part, Vec<Mount>, DeviationMap)> {
        let (low, high) = self.part.bounding_box().unwrap_or((Point3::origin(), Point3::origin()));
        let diagonal = (high - low).norm();
        let size = (3.0 * self.scan.resolution()).clamp(diagonal / 300.0, diagonal / 20.0);
        let reach = 0.02 * diagonal + 6.0 * self.noise;
        let body = body::as_made(self.part, self.scan.points(), size, reach);
        let mut part = Part::from_mesh(
            body.points,
            body.triangles,
            self.part.file.clone(),
            &self.part.schema,
        )?;
        let pose = self.covariance.deviation_at(&nalgebra::center(&low, &high));
        let seen = self.noise.hypot(pose);
        // The made surface is known no better than its scan lies on the model; the budgets take it as a bound.
        part.chord_error = self.part.chord_error.hypot(3f64.sqrt() * seen);
        part.solids = self.part.solids;
        part.notes.push(format!("as made: {:.0} % of its surface was seen", 100.0 * body.seen));
        part.holes = holes.clone();
        let mounts =
            mounts.iter().zip(holes).map(|(m, part_hole)| Mount { part_hole, ..m.clone() });
        Ok((part, mounts.collect(), body.map))
    }
}

/// Whether a place of the model lies on a seat or in the wall of a bolt hole.
fn on_seats(p: &Point3, scene: &Scene<'_>, mounts: &[Mount], within: f64) -> bool {
    let seats = mounts
        .iter()
        .filter_map(|m| m.seat)
        .chain(scene.features.iter().enumerate().filter(|(_, f)| f.is_seat).map(|(k, _)| k));
    let on_seat = |f: usize| scene.features[f].feature.shape.distance(p).abs() < within;
    let in_hole = |m: &Mount| {
        let hole = &m.part_hole;
        let line = Line { point: hole.point, direction: hole.axis };
        (line.distance(p) - hole.radius).abs() < within
            && line.parameter(p).abs() < 0.5 * hole.depth + within
    };
    seats.into_iter().any(on_seat) || mounts.iter().any(in_hole)
}

const KIND: &str = "made part";
/// Most points the scan is laid on the model by.
const MOST_LAID: usize = 40_000;
/// Share of a hole's radius within which scan points are of its wall.
const WALL: f64 = 0.25;
