//! Round straight tube: the host's robust cylinder, its ends, the standard sizes near it.

use std::f64::consts::{FRAC_PI_6, TAU};

use fitwright_plugin::{
    Answer, Call, Extent, Failure, Fitted, Fitter, Input, Piece, Shape, SolidShape,
};
use nalgebra::DMatrix;

use crate::cloud::{Cloud, spacing};
use crate::ends::{Ends, ends};
use crate::host::Host;
use crate::report::{Outcome, Report, Value, jacobian, propagated};
use crate::{V3, standard};

/// `fitwright.round-tube`. Parameters: `start`, `end` (places on the centre line), `axis` (from start to
/// end), `diameter`, `length`.
#[derive(Debug)]
pub struct RoundTube;

impl Fitter for RoundTube {
    const ID: &'static str = "fitwright.round-tube";
    const TITLE: &'static str = "Straight round tube with its ends";
    const SHAPE: Shape = Shape::Composite("round tube");
    const MINIMUM_POINTS: usize = 30;

    fn fit(input: &Input<'_>, call: &Call<'_>) -> Result<Answer, Failure> {
        fit(input, call).map(Outcome::into_answer)
    }
}

/// Fits a round tube.
///
/// # Errors
/// The host's; undetermined where less than 60 degrees of the tube are seen or the points are no cylinder.
pub fn fit(input: &Input<'_>, host: &dyn Host) -> Result<Outcome, Failure> {
    host.progress(0.0)?;
    let cloud = Cloud::new(input, RoundTube::MINIMUM_POINTS)?;
    let fitted = host.cylinder(input.points, input.normals)?;
    host.progress(0.8)?;
    let axis = V3::from(fitted.direction);
    let at = V3::from(fitted.at) - cloud.centre;
    let foot = V3::from(fitted.point) - cloud.centre;
    let middle = foot + axis * axis.dot(&(at - foot));
    let kept: Vec<V3> =
        cloud.points.iter().zip(&fitted.used).filter(|p| *p.1).map(|p| *p.0).collect();
    let arc = arc_seen(&kept, &middle, &axis);
    judged(&fitted, kept.len(), arc, input.noise.unwrap_or(0.0))?;
    let apart = input.resolution.unwrap_or_else(|| {
        spacing(&cloud.thinned(THIN, input.seed), input.seed) * thinning(cloud.points.len())
    });
    let places: Vec<f64> = kept.iter().map(|p| axis.dot(&(p - middle))).collect();
    let ends = ends(&places, apart).ok_or_else(|| Failure::undetermined(SHORT))?;

    let report = |step: &[f64]| {
        let turn = V3::new(step[3], step[4], step[5]);
        let moved = middle + V3::new(step[0], step[1], step[2]) + turn.cross(&(middle - at));
        let along = (axis + turn.cross(&axis)).normalize();
        let (from, to) = (ends.from + step[7], ends.to + step[8]);
        let mut r = Report::default();
        r.add("start", Value::Point((cloud.centre + moved + along * from).into()));
        r.add("end", Value::Point((cloud.centre + moved + along * to).into()));
        r.add("axis", Value::Direction(along.into()));
        r.length("diameter", 2.0 * (fitted.size_1 + step[6]));
        r.length("length", to - from);
        r
    };
    let jacobian = jacobian(report, &[1e-4, 1e-4, 1e-4, 1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4]);
    let covariance = propagated(&jacobian, &unknowns(&fitted, &ends));
    let outside = |i: &usize| !fitted.used[*i] || !within(&cloud.points[*i], &middle, &axis, &ends);
    let rejected = (0..cloud.points.len()).filter(outside).map(|i| i as u32).collect();
    let mut outcome = Outcome {
        report: report(&[0.0; 9]),
        covariance,
        pieces: pieces(&(cloud.centre + middle), &axis, fitted.size_1, &ends),
        rejected,
        notes: Vec::new(),
    };
    let u = outcome.uncertainty("diameter").unwrap_or(0.0);
    outcome.notes.push(standard::near_round(2.0 * fitted.size_1, u));
    if arc < WEAK_ARC {
        outcome.notes.push(format!(
            "Only {:.0} degrees round the tube are seen: the diameter rests on little; scan it from a \
             second side.",
            arc.to_degrees()
        ));
    }
    host.progress(1.0)?;
    Ok(outcome)
}

/// Covariance of the seven freedoms of the fit and of the two ends.
fn unknowns(fitted: &Fitted, ends: &Ends) -> DMatrix<f64> {
    let mut out = DMatrix::zeros(9, 9);
    for (i, j) in (0..7).flat_map(|i| (0..7).map(move |j| (i, j))) {
        out[(i, j)] = fitted.covariance[i][j];
    }
    (out[(7, 7)], out[(8, 8)]) = (ends.u.powi(2), ends.u.powi(2));
    out
}

/// Refuses what is no tube, or too little of one.
fn judged(fitted: &Fitted, kept: usize, arc: f64, noise: f64) -> Result<(), Failure> {
    if kept < RoundTube::MINIMUM_POINTS {
        return Err(Failure::undetermined(format!(
            "only {kept} points lie on one cylinder: take a region with less beside the tube"
        )));
    }
    if arc < LEAST_ARC {
        return Err(Failure::undetermined(format!(
            "only {:.0} degrees round the tube are seen, too few for its diameter; scan 60 degrees or \
             more, better half of it",
            arc.to_degrees()
        )));
    }
    if fitted.sigma > (ROUGH * fitted.size_1).max(3.0 * noise) {
        return Err(Failure::undetermined(format!(
            "the points scatter by {:.3} mm about a cylinder of {:.2} mm diameter: they are no straight \
             round tube; choose the region again, or another fitter",
            fitted.sigma,
            2.0 * fitted.size_1
        )));
    }
    Ok(())
}

/// Angle round the axis under which points lie, gaps left out.
fn arc_seen(points: &[V3], middle: &V3, axis: &V3) -> f64 {
    let (e, f) = across(axis);
    let mut seen = [false; SECTORS];
    for p in points {
        let d = p - middle;
        let turn = f.dot(&d).atan2(e.dot(&d)).rem_euclid(TAU);
        seen[((turn / TAU * SECTORS as f64) as usize).min(SECTORS - 1)] = true;
    }
    seen.iter().filter(|s| **s).count() as f64 * TAU / SECTORS as f64
}

fn within(p: &V3, middle: &V3, axis: &V3, ends: &Ends) -> bool {
    let s = axis.dot(&(p - middle));
    ends.from <= s && s <= ends.to
}

fn pieces(middle: &V3, axis: &V3, radius: f64, ends: &Ends) -> Vec<Piece> {
    let (point, direction) = ((*middle).into(), (*axis).into());
    vec![
        Piece {
            shape: SolidShape::Cylinder { point, axis: direction, radius },
            extent: Extent::Patch {
                zero: across(axis).0.into(),
                u: (0.0, TAU),
                v: (ends.from, ends.to),
            },
        },
        Piece {
            shape: SolidShape::Line { point, direction },
            extent: Extent::Segment(ends.from, ends.to),
        },
    ]
}

/// Two directions across an axis, right-handed with it.
pub(crate) fn across(axis: &V3) -> (V3, V3) {
    let least = axis.iamin();
    let mut e = V3::zeros();
    e[least] = 1.0;
    let e = (e - axis * axis.dot(&e)).normalize();
    (e, axis.cross(&e))
}

/// How much closer the points are than those of a thinned choice.
pub(crate) fn thinning(count: usize) -> f64 {
    (THIN.min(count) as f64 / count.max(1) as f64).sqrt()
}

const SHORT: &str = "the points have no length along the axis: scan more of the tube";
/// Sectors round the axis: finer ones fall between the points of a thin tube.
const SECTORS: usize = 36;
/// Below this a diameter is refused.
const LEAST_ARC: f64 = 2.0 * FRAC_PI_6;
/// Below this it is doubtful.
const WEAK_ARC: f64 = 4.0 * FRAC_PI_6;
/// Scatter beyond this part of the radius is no tube.
const ROUGH: f64 = 0.03;
/// Points among which distances are measured.
const THIN: usize = 20_000;
