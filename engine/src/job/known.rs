//! `hold` and `[[group]]` of the job file: checked when read, turned into constraints when fitted.

use super::find::fitter_id;
use super::read::{CONSTRUCTIONS, known, unique, wrong};
use super::spec::{FeatureSpec, GroupSpec, HoldSpec, Job, RegionSpec, RelationSpec};
use crate::associate::{Constraint, Relation, fitter_by_id};
use crate::error::{Error, Result};
use crate::feature::Feature;
use crate::primitive::{Direction, Point3, Pose, Vec3, unit};

/// Units and poses that take what a job file says to a scan's own coordinates.
pub(super) struct Place {
    pub(super) mm: f64,
    pub(super) rad: f64,
    pub(super) own_from_frame: Pose,
    pub(super) own_from_first: Pose,
}

impl HoldSpec {
    /// The feature whose direction is taken over.
    pub(super) fn reference(&self) -> Option<&str> {
        self.parallel.as_deref().or(self.perpendicular.as_deref())
    }

    /// Constraints in a scan's own coordinates; `reference` in the first scan's.
    pub(super) fn constraints(
        &self,
        place: &Place,
        reference: Option<&Feature>,
    ) -> Result<Vec<Constraint>> {
        let mut out = Vec::new();
        out.extend(self.radius.map(|r| Constraint::Radius(r * place.mm)));
        out.extend(self.major_radius.map(|r| Constraint::MajorRadius(r * place.mm)));
        out.extend(self.minor_radius.map(|r| Constraint::MinorRadius(r * place.mm)));
        out.extend(self.half_angle.map(|a| Constraint::HalfAngle(a * place.rad)));
        let own = place.own_from_frame;
        let direction = self.direction.and_then(|d| unit(Vec3::from(d)));
        out.extend(direction.map(|d| Constraint::Parallel(own * d)));
        out.extend(self.through.map(|p| Constraint::Through(own * (Point3::from(p) * place.mm))));
        if let Some(reference) = reference {
            let direction = place.own_from_first * direction_of(reference)?;
            out.push(if self.parallel.is_some() {
                Constraint::Parallel(direction)
            } else {
                Constraint::Perpendicular(direction)
            });
        }
        Ok(out)
    }

    /// The same with its point and direction moved by a rigid motion; `mm` is the job's unit.
    pub(super) fn moved(&self, pose: &Pose, mm: f64) -> Self {
        let point = |p: [f64; 3]| (pose * (Point3::from(p) * mm) / mm).into();
        let direction = |d: [f64; 3]| (pose * Vec3::from(d)).into();
        HoldSpec {
            direction: self.direction.map(direction),
            through: self.through.map(point),
            ..self.clone()
        }
    }
}

impl RelationSpec {
    pub(super) fn relation(self) -> Relation {
        match self {
            RelationSpec::Coaxial => Relation::Coaxial,
            RelationSpec::Concentric => Relation::Concentric,
            RelationSpec::Coplanar => Relation::Coplanar,
            RelationSpec::Parallel => Relation::Parallel,
            RelationSpec::Perpendicular => Relation::Perpendicular,
        }
    }
}

impl Job {
    /// The group a feature is in.
    pub(super) fn group_of(&self, name: &str) -> Option<usize> {
        self.groups.iter().position(|g| g.features.iter().any(|f| f == name))
    }

    pub(super) fn validate_hold(
        &self,
        feature: &FeatureSpec,
        before: &[FeatureSpec],
    ) -> Result<()> {
        let Some(hold) = &feature.hold else { return Ok(()) };
        let place = format!("[[feature]] \"{}\" hold", feature.name);
        if feature.fit == "hole" || CONSTRUCTIONS.contains(&feature.fit.as_str()) {
            let reason = format!("belongs to fitted shapes, not to fit = \"{}\"", feature.fit);
            return Err(wrong(&place, &reason));
        }
        if *hold == HoldSpec::default() {
            return Err(wrong(
                &place,
                "holds nothing: give radius, direction, through, parallel, …",
            ));
        }
        let directions =
            [hold.direction.is_some(), hold.parallel.is_some(), hold.perpendicular.is_some()];
        if directions.iter().filter(|d| **d).count() > 1 {
            return Err(wrong(
                &place,
                "`direction`, `parallel` and `perpendicular` contradict each other: give one of them",
            ));
        }
        if hold.direction.is_some_and(|d| unit(Vec3::from(d)).is_none()) {
            return Err(wrong(&place, "`direction` must be three finite numbers, not all zero"));
        }
        if hold.through.is_some_and(|p| !p.iter().all(|c| c.is_finite())) {
            return Err(wrong(&place, "`through` must be three finite numbers"));
        }
        for (key, size) in [
            ("radius", hold.radius),
            ("major_radius", hold.major_radius),
            ("minor_radius", hold.minor_radius),
            ("half_angle", hold.half_angle),
        ] {
            if size.is_some_and(|s| !(s > 0.0 && s.is_finite())) {
                return Err(wrong(&place, &format!("`{key}` must be a number above zero")));
            }
        }
        if let Some(name) = hold.reference() {
            known("feature before this one", name, before.iter().map(|f| f.name.as_str()))?;
        }
        Ok(())
    }

    pub(super) fn validate_groups(&self) -> Result<()> {
        unique("group", self.groups.iter().map(|g| g.name.as_str()))?;
        for group in &self.groups {
            self.validate_group(group)?;
        }
        for (k, feature) in self.features.iter().enumerate() {
            for name in references(feature) {
                let Some(group) = self.group_of(name) else { continue };
                let rest = &self.features[k..];
                if rest.iter().any(|f| self.group_of(&f.name) == Some(group)) {
                    return Err(wrong(
                        &format!("[[feature]] \"{}\"", feature.name),
                        &format!(
                            "builds on \"{name}\" of [[group]] \"{}\", so it must stand after \
                             the last feature of that group",
                            self.groups[group].name
                        ),
                    ));
                }
            }
        }
        Ok(())
    }

    fn validate_group(&self, group: &GroupSpec) -> Result<()> {
        let place = format!("[[group]] \"{}\"", group.name);
        let relation = group.relation.relation();
        if group.features.len() < 2 {
            return Err(wrong(&place, "needs two features or more"));
        }
        if relation == Relation::Perpendicular && group.features.len() > 2 {
            return Err(wrong(&place, "two features can be square to each other, not more"));
        }
        unique("feature of a group", group.features.iter().map(String::as_str))?;
        let mut first: Option<&FeatureSpec> = None;
        for name in &group.features {
            known("feature", name, self.features.iter().map(|f| f.name.as_str()))?;
            let Some(feature) = self.feature(name) else { continue };
            let kind = fitter_by_id(&fitter_id(&feature.fit)).map(|f| f.kind());
            if !kind.is_some_and(|k| relation.takes(k)) {
                let reason =
                    format!("\"{name}\" is a {}, which cannot be {}", feature.fit, relation.name());
                return Err(wrong(&place, &reason));
            }
            if feature.hold.is_some() {
                let reason = format!("\"{name}\" has a `hold` of its own: leave out one of both");
                return Err(wrong(&place, &reason));
            }
            if self.groups.iter().filter(|g| g.features.contains(name)).count() > 1 {
                return Err(wrong(&place, &format!("\"{name}\" is in another group too")));
            }
            let first = first.get_or_insert(feature);
            let same = (first.frame, self.scan_of(first)) == (feature.frame, self.scan_of(feature));
            if !same {
                let reason =
                    format!("\"{}\" and \"{name}\" must be of one scan and one frame", first.name);
                return Err(wrong(&place, &reason));
            }
        }
        Ok(())
    }

    fn scan_of<'a>(&'a self, feature: &'a FeatureSpec) -> Option<&'a str> {
        feature.scan.as_deref().or(self.scans.first().map(|s| s.name.as_str()))
    }
}

/// Names of the features that a feature builds on.
pub(super) fn references(spec: &FeatureSpec) -> impl Iterator<Item = &str> {
    let near = match &spec.region {
        Some(RegionSpec::Near { near, .. }) => Some(near),
        _ => None,
    };
    let held = spec.hold.as_ref().and_then(HoldSpec::reference);
    spec.of.iter().flatten().chain(&spec.on).chain(near).map(String::as_str).chain(held)
}

/// The direction that others are held to.
pub(super) fn direction_of(reference: &Feature) -> Result<Direction> {
    reference.shape.direction().ok_or_else(|| Error::Construction {
        what: format!("direction of \"{}\"", reference.name),
        reason: "it has none; name a plane, an axis or a line".into(),
    })
}
