//! `same` of the job file: features that two scans show alike, fitted in both and joined by.

use schemars::JsonSchema;
use serde::Deserialize;

use super::find::fitter_id;
use super::read::{unique, wrong};
use super::spec::{JoinBy, JoinSpec};
use crate::associate::{Input, NoiseModel, Request, fitter_by_id};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::feature::{Feature, HoleSearch};
use crate::primitive::Point3;
use crate::region::{Grow, Region};
use crate::register::{FeatureJoin, FeatureOptions, SameFeature, by_features};
use crate::scan::Scan;
use crate::units::LengthUnit;

/// A feature that is the same in two scans.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SameSpec {
    /// Name, unique in the list.
    pub name: String,
    /// Shape: `plane`, `cylinder`, `cone`, `sphere`, `torus`, `hole`.
    pub fit: String,
    /// A point near its surface in this scan's own coordinates.
    pub here: [f64; 3],
    /// A point near its surface in the own coordinates of the scan joined to.
    pub there: [f64; 3],
    /// Face that a hole opens in: a plane before it in the list.
    pub on: Option<String>,
    /// Largest distance of its points from the shape; default from the scan's noise. Of a hole its
    /// largest radius.
    pub reach: Option<f64>,
}

impl JoinSpec {
    /// Whether `same` stands where it belongs and says nothing that contradicts itself.
    pub(super) fn validate_same(&self, place: &str) -> Result<()> {
        let by_features = self.by == JoinBy::Features;
        if !by_features && !self.same.is_empty() {
            return Err(wrong(place, "`same` goes with `by = \"features\"`: give one of both"));
        }
        if !by_features {
            return Ok(());
        }
        if self.same.is_empty() {
            return Err(wrong(
                place,
                "joining by features needs `same`, for example same = [ { name = \"deck\", fit = \
                 \"plane\", here = [x, y, z], there = [x, y, z] }, … ]: `here` in this scan's own \
                 coordinates, `there` in those of the scan joined to",
            ));
        }
        if self.targets.is_some() {
            return Err(wrong(place, "`targets` goes with `by = \"targets\"`: give one of both"));
        }
        unique("same feature", self.same.iter().map(|s| s.name.as_str()))?;
        for (k, same) in self.same.iter().enumerate() {
            same.validate(&self.same[..k], &format!("{place} same \"{}\"", same.name))?;
        }
        Ok(())
    }

    /// Fits the features in both scans and joins by them.
    pub(super) fn by_features(
        &self,
        to: &Scan,
        from: &Scan,
        unit: LengthUnit,
        context: &Context,
    ) -> Result<FeatureJoin> {
        let place = |e: Error| match e {
            Error::Cancelled | Error::Internal(_) => e,
            e => Error::Join { reason: e.to_string() },
        };
        let there = self.found(to, unit, context, |s| s.there).map_err(place)?;
        let here = self.found(from, unit, context, |s| s.here).map_err(place)?;
        // Normals of a mesh point out of the material, those of bare points have no sure side.
        let directed = to.is_mesh() && from.is_mesh();
        let pair = |(to, from): (Feature, Feature)| SameFeature {
            name: to.name,
            to: to.shape,
            to_covariance: to.covariance,
            from: from.shape,
            from_covariance: from.covariance,
            directed: directed && to.kind == crate::feature::FeatureKind::Plane,
        };
        let same: Vec<SameFeature> = there.into_iter().zip(here).map(pair).collect();
        by_features(&same, &FeatureOptions::default())
    }

    /// All of the list in one scan; a second time with what all of them showed of its noise.
    fn found(
        &self,
        scan: &Scan,
        unit: LengthUnit,
        context: &Context,
        pick: impl Fn(&SameSpec) -> [f64; 3],
    ) -> Result<Vec<Feature>> {
        let mut noise: Option<NoiseModel> = None;
        let mut found: Vec<(Feature, Region)> = Vec::new();
        for _ in 0..2 {
            found.clear();
            for same in &self.same {
                context.check()?;
                let at = Point3::from(pick(same)) * unit.to_mm();
                let one = same.fitted(scan, at, &found, noise.as_ref(), unit, context);
                found.push(one.map_err(|e| same.placed(e, pick(same)))?);
            }
            noise = NoiseModel::pooled(found.iter().filter_map(|f| f.0.noise.as_ref()));
        }
        for (k, (a, region)) in found.iter().enumerate() {
            if let Some((b, _)) = found[..k].iter().find(|(_, other)| mostly_same(region, other)) {
                return Err(Error::Construction {
                    what: format!("same \"{}\" and \"{}\"", b.name, a.name),
                    reason: "both picks lie on one surface, which would count twice; leave one \
                             out, or pick the other surface"
                        .into(),
                });
            }
        }
        Ok(found.into_iter().map(|f| f.0).collect())
    }
}

impl SameSpec {
    fn validate(&self, before: &[SameSpec], place: &str) -> Result<()> {
        if !FITS.contains(&self.fit.as_str()) {
            let reason = format!("no fit = \"{}\" here; known are {}", self.fit, FITS.join(", "));
            return Err(wrong(place, &reason));
        }
        for (key, at) in [("here", self.here), ("there", self.there)] {
            if !at.iter().all(|x| x.is_finite()) {
                return Err(wrong(&format!("{place} {key}"), "must be three finite numbers"));
            }
        }
        if self.reach.is_some_and(|r| !(r > 0.0 && r.is_finite())) {
            return Err(wrong(&format!("{place} reach"), "must be a length over 0"));
        }
        let twice = before.iter().find(|b| b.fit == self.fit && b.here == self.here);
        if let Some(twice) = twice {
            let reason = format!("is picked where \"{}\" is; leave one of both out", twice.name);
            return Err(wrong(&format!("{place} here"), &reason));
        }
        match (&self.on, self.fit.as_str()) {
            (None, "hole") => Err(wrong(
                place,
                "a hole needs `on`, the face that it opens in: a plane before it in the list",
            )),
            (Some(face), "hole") => {
                if before.iter().any(|b| b.name == *face && b.fit == "plane") {
                    return Ok(());
                }
                let reason = format!("\"{face}\" is no plane before it in the list");
                Err(wrong(&format!("{place} on"), &reason))
            }
            (Some(_), _) => Err(wrong(place, "`on` belongs to holes")),
            (None, _) => Ok(()),
        }
    }

    fn fitted(
        &self,
        scan: &Scan,
        at: Point3,
        before: &[(Feature, Region)],
        noise_model: Option<&NoiseModel>,
        unit: LengthUnit,
        context: &Context,
    ) -> Result<(Feature, Region)> {
        let request = Request { context: Some(context.clone()), ..Request::default() };
        let reach = self.reach.map(|r| r * unit.to_mm());
        if let Some(on) = &self.on {
            let (face, face_region) = before
                .iter()
                .find(|f| f.0.name == *on)
                .ok_or_else(|| Error::Internal(format!("face {on} is not fitted yet")))?;
            let search = HoleSearch {
                name: &self.name,
                face,
                face_region,
                pick: at,
                largest_radius: reach,
                noise_model,
            };
            return search.find(&request);
        }
        let id = fitter_id(&self.fit);
        let fitter = fitter_by_id(&id)
            .ok_or_else(|| Error::Internal(format!("no fitter for {}", self.fit)))?;
        let mut grow = Grow::along(scan, fitter.kind())?;
        grow.distance = reach.unwrap_or(grow.distance);
        let whole = scan.grow_untrimmed(at, &grow)?;
        let used = whole.trimmed_at_most(grow.trim).0;
        let (points, normals) = (used.points(), used.normals());
        let input = Input {
            normals: Some(&normals),
            pick: used.pick(),
            noise: Some(scan.noise()),
            noise_model,
            resolution: Some(scan.resolution()),
            ..Input::new(&points)
        };
        let fit = fitter.fit(&input, &request)?;
        Ok((Feature::associated(&self.name, &id, fit, &whole)?, whole))
    }

    /// An error with the name and the pick in front.
    fn placed(&self, error: Error, at: [f64; 3]) -> Error {
        match error {
            Error::Cancelled | Error::Internal(_) => error,
            e => Error::Construction {
                what: format!("same \"{}\" at [{}, {}, {}]", self.name, at[0], at[1], at[2]),
                reason: e.to_string(),
            },
        }
    }
}

/// Whether two regions share more than half of the smaller one.
fn mostly_same(a: &Region, b: &Region) -> bool {
    let (few, many) = if a.ids().len() < b.ids().len() { (a, b) } else { (b, a) };
    let shared = few.ids().iter().filter(|id| many.contains(**id)).count();
    2 * shared > few.ids().len()
}

/// Shapes that can be joined by.
const FITS: [&str; 6] = ["plane", "cylinder", "cone", "sphere", "torus", "hole"];
