//! `surveyed` of the job file: a feature that names a primitive of its scan's survey by a place and a size.

use super::read::wrong;
use super::spec::{FeatureSpec, SurveyedSpec};
use crate::error::{Error, Result};
use crate::primitive::{Kind, Point3};
use crate::survey::{Survey, Surveyed};
use crate::units::LengthUnit;

impl SurveyedSpec {
    /// Whether the feature that names it can be of a survey.
    pub(super) fn validate(&self, feature: &FeatureSpec, place: &str) -> Result<()> {
        let kind = SURVEYED.iter().find(|k| feature.fit.trim_start_matches("builtin.") == k.name());
        let Some(kind) = kind else {
            let reason = format!(
                "`surveyed` goes with fit = \"plane\", \"cylinder\", \"cone\", \"sphere\" or \"torus\", \
                 not with \"{}\"; give `at` or `region`",
                feature.fit
            );
            return Err(wrong(place, &reason));
        };
        if feature.at.is_some() || feature.region.is_some() {
            let reason =
                "`surveyed`, `at` and `region` contradict each other: give one of them alone";
            return Err(wrong(place, reason));
        }
        if feature.reach.is_some() {
            let reason =
                "`reach` is for growing from `at`; `surveyed` has the points of the survey";
            return Err(wrong(place, reason));
        }
        if !self.near.iter().all(|c| c.is_finite()) {
            return Err(wrong(&format!("{place} surveyed near"), "must be three finite numbers"));
        }
        match self.size {
            Some(_) if *kind == Kind::Plane => Err(wrong(
                &format!("{place} surveyed size"),
                "is a diameter, which a plane has not; name a plane by `near` alone",
            )),
            Some(size) if !(size > 0.0 && size.is_finite()) => {
                Err(wrong(&format!("{place} surveyed size"), "must be a diameter over 0"))
            }
            _ => Ok(()),
        }
    }

    /// The primitive that is meant; `at` is its place in the scan's own coordinates, mm.
    pub(super) fn find<'a>(
        &self,
        survey: &'a Survey,
        kind: Kind,
        at: &Point3,
        unit: LengthUnit,
    ) -> Result<&'a Surveyed> {
        let size = self.size.map(|s| s * unit.to_mm());
        let ranked = survey.by_distance(at, Some(kind), size);
        let near = |&&(k, distance): &&(usize, f64)| distance <= reach(&survey.primitives[k]);
        let mut within = ranked.iter().filter(near);
        let Some(&(first, distance)) = within.next() else {
            return Err(Error::Construction {
                what: self.what(kind, unit),
                reason: nothing(survey, kind, at, unit),
            });
        };
        // The distance of a surface is known to the spacing of its points.
        let tie = distance + TIE * survey.scan.resolution();
        if let Some(&(second, _)) = within.find(|&&(_, d)| d <= tie) {
            let [a, b] = [first, second].map(|k| described(&survey.primitives[k], unit));
            return Err(Error::Undetermined {
                what: self.what(kind, unit),
                reason: format!("{a} and {b} are equally near"),
                remedy: "give a place nearer to the one that is meant".into(),
            });
        }
        Ok(&survey.primitives[first])
    }

    /// In the words of the job file.
    fn what(&self, kind: Kind, unit: LengthUnit) -> String {
        let size = self.size.map_or(String::new(), |s| format!(" of about {s} {}", unit.symbol()));
        let [x, y, z] = self.near;
        format!("surveyed {}{size} near [{x}, {y}, {z}]", kind.name())
    }
}

/// Why there is none, and what there is instead.
fn nothing(survey: &Survey, kind: Kind, at: &Point3, unit: LengthUnit) -> String {
    match survey.by_distance(at, Some(kind), None).first() {
        None => {
            format!("the survey of the scan has no {} at all; give `at` or `region`", kind.name())
        }
        Some(&(k, distance)) => format!(
            "none within reach; the nearest {} is {}, {:.3} {} away: correct `near` or `size`, or \
             look it up with `fitwright survey`",
            kind.name(),
            described(&survey.primitives[k], unit),
            distance / unit.to_mm(),
            unit.symbol()
        ),
    }
}

fn described(p: &Surveyed, unit: LengthUnit) -> String {
    let (mm, symbol) = (unit.to_mm(), unit.symbol());
    let size = match p.diameter() {
        Some(d) => format!("{:.3} {symbol} in diameter", d / mm),
        None => format!("{:.0} {symbol}² large", p.area / (mm * mm)),
    };
    format!("{} ({size})", p.id)
}

/// How far a place may be from a primitive to be near it: as far as the primitive is large.
fn reach(p: &Surveyed) -> f64 {
    p.diameter().unwrap_or(0.0).max(p.area.sqrt())
}

/// What a survey finds.
const SURVEYED: [Kind; 5] = [Kind::Plane, Kind::Cylinder, Kind::Cone, Kind::Sphere, Kind::Torus];
/// Distances that differ by less are equal, in spacings of the scan.
const TIE: f64 = 2.0;
