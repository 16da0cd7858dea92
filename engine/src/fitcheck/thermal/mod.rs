//! Bolts, seats and clearances at temperature, beside those at the temperature of the scan.
//!
//! Part and machine each grow by their coefficient from one fixed point (dL = α L dT); only their
//! difference matters, so the scan is scaled against the part. What is not known of coefficients and
//! temperatures enters the uncertainty by the distance from the fixed point. Places are told where
//! they are at the temperature of the scan.

mod describe;
mod seats;
#[cfg(test)]
mod tests;

pub use describe::{Material, Temperature, Warming};

use super::clearance::{belongs, budget_of, direction, groups, judge, name, patch_of};
use super::finding::Measure;
use super::holes::Pair;
use super::moved::Moved;
use super::scene::Mount;
use super::view::View;
use super::{Finding, Verdict};
use crate::error::{Error, Result};
use crate::primitive::{Point3, Primitive};

/// One finding per bolt, seat and clearance, and of all bolts and all seats; none without temperatures. `cold` are the
/// findings at the temperature of the scan.
///
/// # Errors
/// [`Error::Argument`] for numbers out of range, or where nothing says what stays in place.
pub(super) fn check(
    view: &View<'_>,
    mounts: &[Mount],
    holes: &[Pair],
    cold: &[Finding],
) -> Result<Vec<Finding>> {
    let Some(temperature) = view.scene.temperature else { return Ok(Vec::new()) };
    let growth = Growth::new(&temperature, holes)?;
    let seated = seats::check(view, mounts, holes, &growth, &temperature, cold)?;
    let bolts = holes.iter().map(|h| bolt(view, h, &growth, &temperature, (cold, seated.room)));
    let mut findings: Vec<Finding> = bolts.collect();
    findings.extend(seated.findings);
    for s in 0..view.scans.len() {
        let here = groups(view, s).into_iter();
        findings.extend(here.filter_map(|f| clearance(view, s, f, &growth, &temperature, cold)));
    }
    Ok(findings)
}

/// Both bodies grown from one point.
struct Growth {
    fixed: Point3,
    machine: f64,
    part: f64,
    deviations: [f64; 2],
}

impl Growth {
    fn new(temperature: &Temperature, holes: &[Pair]) -> Result<Self> {
        for (name, body) in [("machine", &temperature.machine), ("part", &temperature.part)] {
            let numbers = [
                ("expansion", body.expansion, -1e-3..1e-3),
                ("deviation of the expansion", body.expansion_deviation, 0.0..1e-3),
                ("temperature before", body.from, COLDEST..HOTTEST),
                ("temperature", body.to, COLDEST..HOTTEST),
                ("deviation of the temperature", body.deviation, 0.0..1e3),
            ];
            for (what, value, allowed) in numbers {
                if !allowed.contains(&value) {
                    let allowed = format!("{} to {}", allowed.start, allowed.end);
                    return Err(Error::argument(format!("{what} of the {name}"), value, allowed));
                }
            }
        }
        let first = || holes.first().map(|h| h.at(0.0).0);
        let fixed = temperature.fixed.or_else(first).ok_or_else(|| {
            let allowed = "a point, since no mount says where the part is held";
            Error::argument("fixed point of the temperatures", "none", allowed)
        })?;
        if !fixed.iter().all(|x| x.is_finite()) {
            return Err(Error::argument(
                "fixed point of the temperatures",
                fixed,
                "finite numbers",
            ));
        }
        let Temperature { machine, part, .. } = temperature;
        Ok(Growth {
            fixed,
            machine: 1.0 + machine.growth(),
            part: 1.0 + part.growth(),
            deviations: [machine.growth_deviation(), part.growth_deviation()],
        })
    }

    /// A point of a body scaled from the fixed point.
    fn grown(&self, p: &Point3, by: f64) -> Point3 {
        self.fixed + (p - self.fixed) * by
    }

    /// Standard deviation from growth, of levers of machine and part, mm.
    fn deviation(&self, machine: f64, part: f64) -> f64 {
        (self.deviations[0] * machine).hypot(self.deviations[1] * part)
    }
}

fn bolt(
    view: &View<'_>,
    hole: &Pair,
    growth: &Growth,
    temperature: &Temperature,
    (cold, room): (&[Finding], Option<f64>),
) -> Finding {
    let (p, q) = hole.at(0.0);
    let (p_lever, q_lever) = (p - growth.fixed, q - growth.fixed);
    let shift = (q_lever * (growth.machine - 1.0) - p_lever * (growth.part - 1.0)).norm();
    let grown = hole.grown(
        |p| growth.grown(p, growth.part),
        |q| growth.grown(q, growth.machine),
        [growth.part, growth.machine],
    );
    let deviation = growth.deviation(q_lever.norm(), p_lever.norm());
    let mut found = grown.finding(view, Some(("expansion", deviation)));
    found.kind = "thermal";
    (found.at, found.to) = (Some(p), Some(q));
    found.number("growth", shift, Measure::Length);
    beside(&mut found, "hole", cold);
    found.detail = format!("{}: bolt moved by {shift:.3} mm; {}", state(temperature), found.detail);
    if let Some(room) = room.filter(|_| found.verdict == Verdict::Fail) {
        // Whether a clamped part slides as it grows is no question of geometry.
        found.verdict = Verdict::Undecided;
        found.detail += &format!(
            "; with the part moved within its play all bolts go in, with {room:.3} mm of room: see \"{}\"",
            super::mechanism::ALL_BOLTS
        );
    }
    found
}

fn clearance(
    view: &View<'_>,
    s: usize,
    feature: Option<usize>,
    growth: &Growth,
    temperature: &Temperature,
    cold: &[Finding],
) -> Option<Finding> {
    let mesh = view.mesh(s, |owners| belongs(owners, feature));
    if mesh.triangles().is_empty() {
        return None;
    }
    let patch = patch_of(view, s, feature);
    let by = growth.machine / growth.part;
    let moved = Moved::new(view, &patch, &mesh, |p| growth.grown(p, by));
    let shape = patch.shape.and_then(|s| scaled(s, &growth.fixed, by));
    let (mut place, raw) = moved.least(view, &patch, shape.as_ref())?;
    let along = direction(&place);
    let limit = view.limit_of(feature);
    // From the part's size before to that at temperature, and the scan back to where it was seen.
    place.distance *= growth.part;
    place.on_scan = growth.grown(&place.on_scan, 1.0 / by);
    let mut budget = budget_of(view, s, feature, &place, along.as_ref());
    let lever = |p: &Point3| {
        let from_fixed = p - growth.fixed;
        along.map_or(from_fixed.norm(), |d| from_fixed.dot(&d).abs())
    };
    budget.add("expansion", growth.deviation(lever(&place.on_scan), lever(&place.on_part)));
    let mut found = Finding::new("thermal", name(view, s, feature));
    found.limit = Some(limit);
    found.value = Some(place.distance);
    found.spend(&budget);
    found.verdict = Verdict::at_least(place.distance, limit, budget.expanded());
    (found.at, found.to) = (Some(place.on_part), Some(place.on_scan));
    beside(&mut found, "clearance", cold);
    found.detail = format!(
        "{}: least air {:.3} mm; smallest raw distance {:.3} mm",
        state(temperature),
        place.distance,
        raw.distance * growth.part
    );
    judge(view, &place, &budget, &mut found, limit);
    Some(found)
}

/// Adds what was found at the temperature of the scan.
fn beside(found: &mut Finding, kind: &str, cold: &[Finding]) {
    let before = cold.iter().find(|f| f.kind == kind && f.name == found.name);
    if let Some(value) = before.and_then(|f| f.value) {
        found.number("at_scan_temperature", value, Measure::Length);
    }
}

fn state(temperature: &Temperature) -> String {
    format!("machine at {} °C, part at {} °C", temperature.machine.to, temperature.part.to)
}

/// A shape scaled from a point; `None` for what has no scaled form of its own.
fn scaled(shape: &Primitive, from: &Point3, by: f64) -> Option<Primitive> {
    let at = |p: &Point3| from + (p - from) * by;
    Some(match shape.clone() {
        Primitive::Plane(mut s) => {
            s.point = at(&s.point);
            s.into()
        }
        Primitive::Line(mut s) => {
            s.point = at(&s.point);
            s.into()
        }
        Primitive::Circle(mut s) => {
            (s.centre, s.radius) = (at(&s.centre), s.radius * by);
            s.into()
        }
        Primitive::Sphere(mut s) => {
            (s.centre, s.radius) = (at(&s.centre), s.radius * by);
            s.into()
        }
        Primitive::Cylinder(mut s) => {
            (s.point, s.radius) = (at(&s.point), s.radius * by);
            s.into()
        }
        Primitive::Cone(mut s) => {
            (s.point, s.radius) = (at(&s.point), s.radius * by);
            s.into()
        }
        Primitive::Torus(mut s) => {
            s.centre = at(&s.centre);
            (s.major_radius, s.minor_radius) = (s.major_radius * by, s.minor_radius * by);
            s.into()
        }
        Primitive::Composite(_) => return None,
    })
}

/// Temperatures that are taken, °C.
const COLDEST: f64 = -273.15;
const HOTTEST: f64 = 2000.0;
