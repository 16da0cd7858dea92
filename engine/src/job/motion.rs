//! What moves, in the job file: `[check] motion`.
//!
//! Lengths and angles are in the job's units, coordinates and directions those of the machine.

use schemars::JsonSchema;
use serde::Deserialize;

use super::outcome::Outcome;
use super::read::known;
use super::run::by_name;
use super::spec::{CheckSpec, Job};
use crate::error::{Error, Result};
use crate::fitcheck::{Guide, Motion, Move, Moving, Within};
use crate::primitive::{Line, Point3, Vec3, unit};

/// Something that moves while the part stays: a feature, a scan or a region of one, or another part, by one movement
/// (`about` or `along`) or by several (`moves`).
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MotionSpec {
    /// Name for its finding; default that of what moves.
    pub name: Option<String>,
    /// The feature whose surface moves.
    pub feature: Option<String>,
    /// The scan that moves.
    pub scan: Option<String>,
    /// The other part that moves.
    pub other_part: Option<String>,
    /// The points that move, by where they are at rest, machine coordinates.
    pub region: Option<MotionRegionSpec>,
    /// Scan of `region`; default the first.
    pub r#in: Option<String>,
    /// Clearance it must keep; default the `keep_clear` of the feature or other part, else that of `[check]`.
    pub clearance: Option<f64>,
    /// Axis it turns about.
    pub about: Option<GuideSpec>,
    /// Direction it is shifted along.
    pub along: Option<GuideSpec>,
    /// How far, either way: an angle about an axis, a length along a direction.
    pub by: Option<f64>,
    /// Lower limit, instead of `by`; 0 is where it was scanned.
    pub from: Option<f64>,
    /// Upper limit.
    pub to: Option<f64>,
    /// Several movements, the first acting first, each anywhere in its limits; at most four. Their
    /// axes and directions stand still in the machine.
    pub moves: Option<Vec<MoveSpec>>,
}

/// One movement of several.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MoveSpec {
    /// Axis it turns about.
    pub about: Option<GuideSpec>,
    /// Direction it is shifted along.
    pub along: Option<GuideSpec>,
    /// How far, either way: an angle about an axis, a length along a direction.
    pub by: Option<f64>,
    /// Lower limit, instead of `by`; 0 is where it was scanned.
    pub from: Option<f64>,
    /// Upper limit.
    pub to: Option<f64>,
}

/// Axis or direction of a movement, machine coordinates.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "an axis is the name of a feature or { point = [x, y, z], direction = [x, y, z] }; a direction is the name of a feature or [x, y, z]"
)]
pub enum GuideSpec {
    /// Axis or direction of a feature, as the results state it.
    Feature(String),
    /// A direction, to be shifted along.
    Direction([f64; 3]),
    /// An axis, to be turned about by the right hand.
    Line(LineSpec),
}

/// A line.
#[derive(Debug, Clone, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LineSpec {
    /// A point on it.
    pub point: [f64; 3],
    /// Its direction, of any length.
    pub direction: [f64; 3],
}

/// Points of a scan, machine coordinates.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(
    untagged,
    expecting = "region must be { box = [[x, y, z], [x, y, z]] } or { sphere = [x, y, z, r] }"
)]
pub enum MotionRegionSpec {
    /// Points in a box between two corners.
    Box {
        /// Lower and upper corner.
        r#box: [[f64; 3]; 2],
    },
    /// Points in a sphere.
    Sphere {
        /// Centre and radius.
        sphere: [f64; 4],
    },
}

/// The motions of a job for the fit check.
pub(super) fn motions(job: &Job, outcome: &Outcome) -> Result<Vec<Motion>> {
    let all = job.check.as_ref().map_or(&[][..], |c: &CheckSpec| &c.motion);
    all.iter().map(|m| m.motion(job, outcome)).collect()
}

impl MotionSpec {
    /// Refuses keys that contradict each other and names that are not known.
    pub(super) fn validate(&self, job: &Job) -> Result<()> {
        let features = || job.features.iter().map(|f| f.name.as_str());
        let scans = || job.scans.iter().map(|s| s.name.as_str());
        if let Some(feature) = &self.feature {
            known("feature", feature, features())?;
        }
        for scan in self.scan.iter().chain(&self.r#in) {
            known("scan", scan, scans())?;
        }
        if let Some(other) = &self.other_part {
            known("other part", other, job.other_parts.iter().map(|o| o.name.as_str()))?;
        }
        let moving = [
            self.feature.is_some(),
            self.scan.is_some(),
            self.region.is_some(),
            self.other_part.is_some(),
        ];
        if moving.iter().filter(|m| **m).count() != 1 {
            return Err(self.wrong(
                "needs one of `feature`, `scan`, `region` and `other_part`, to say what moves",
            ));
        }
        if self.r#in.is_some() && self.region.is_none() {
            return Err(
                self.wrong("`in` is the scan of a `region`; leave it out, or give `region`")
            );
        }
        if self.clearance.is_some_and(|c| !(c.is_finite() && c >= 0.0)) {
            return Err(self.wrong("`clearance` must be zero or more"));
        }
        if let Some(MotionRegionSpec::Box { r#box: [low, high] }) = &self.region
            && !(0..3).all(|k| low[k] <= high[k])
        {
            return Err(self.wrong("the lower corner of `box` comes first, in every coordinate"));
        }
        for one in self.moves()? {
            for guide in one.about.iter().chain(&one.along) {
                if let GuideSpec::Feature(name) = guide {
                    known("feature", name, features())?;
                }
            }
            one.limits().map_err(|reason| self.wrong(reason))?;
            one.guide().map_err(|reason| self.wrong(reason))?;
        }
        Ok(())
    }

    /// Its movements, written as one or as several.
    fn moves(&self) -> Result<Vec<MoveSpec>> {
        let one = MoveSpec {
            about: self.about.clone(),
            along: self.along.clone(),
            by: self.by,
            from: self.from,
            to: self.to,
        };
        let single = one.about.is_some()
            || one.along.is_some()
            || [one.by, one.from, one.to].iter().any(Option::is_some);
        match &self.moves {
            Some(_) if single => Err(self.wrong(
                "`moves` and a movement beside it (`about`, `along`, `by`, `from`, `to`): put all of \
                 them into `moves`",
            )),
            Some(moves) if moves.is_empty() => {
                Err(self.wrong("`moves` is empty: give at least one movement"))
            }
            Some(moves) if moves.len() > 4 => Err(self.wrong("`moves` has more than four movements")),
            Some(moves) => Ok(moves.clone()),
            None => Ok(vec![one]),
        }
    }

    fn motion(&self, job: &Job, outcome: &Outcome) -> Result<Motion> {
        let mm = job.length_unit()?.to_mm();
        let rad = job.angle_unit()?.to_rad();
        let scan = |name: &Option<String>| {
            let place = |n: &String| outcome.scans.iter().position(|s| s.name == *n);
            name.as_ref().and_then(place).unwrap_or(0)
        };
        let point = |p: [f64; 3]| Point3::from(p) * mm;
        let place = |name: &String| job.other_parts.iter().position(|o| o.name == *name);
        let moving = match (&self.feature, &self.region) {
            _ if self.other_part.is_some() => {
                Moving::OtherPart(self.other_part.as_ref().and_then(place).unwrap_or(0))
            }
            (Some(name), _) => Moving::Feature(by_name(&outcome.features, name)?.0),
            (None, None) => Moving::Scan { scan: scan(&self.scan), within: Within::All },
            (None, Some(MotionRegionSpec::Box { r#box: [low, high] })) => Moving::Scan {
                scan: scan(&self.r#in),
                within: Within::Box { low: point(*low), high: point(*high) },
            },
            (None, Some(MotionRegionSpec::Sphere { sphere: [x, y, z, r] })) => Moving::Scan {
                scan: scan(&self.r#in),
                within: Within::Sphere { centre: point([*x, *y, *z]), radius: r * mm },
            },
        };
        let guide = |g: &GuideSpec| -> Result<Guide> {
            let line = |p: [f64; 3], d: [f64; 3]| {
                let direction = unit(Vec3::from(d)).ok_or_else(|| self.wrong(NO_DIRECTION))?;
                Ok(Guide::Line(Line { point: point(p), direction }))
            };
            match g {
                GuideSpec::Feature(name) => Ok(Guide::Feature(by_name(&outcome.features, name)?.0)),
                GuideSpec::Direction(d) => line([0.0; 3], *d),
                GuideSpec::Line(l) => line(l.point, l.direction),
            }
        };
        let one = |m: &MoveSpec| {
            let (from, to) = m.limits().map_err(|reason| self.wrong(reason))?;
            match (&m.about, &m.along) {
                (Some(about), _) => {
                    let (from, to) = (from * rad, to * rad);
                    Ok(Move::Turn { about: guide(about)?, from, to })
                }
                (None, Some(along)) => {
                    let (from, to) = (from * mm, to * mm);
                    Ok(Move::Shift { along: guide(along)?, from, to })
                }
                (None, None) => Err(self.wrong(NO_GUIDE)),
            }
        };
        let moves = self.moves()?.iter().map(one).collect::<Result<_>>()?;
        let clearance = self.clearance.map(|c| c * mm);
        Ok(Motion { name: self.title(job), moving, moves, clearance })
    }

    fn title(&self, job: &Job) -> String {
        let first = || job.scans.first().map_or_else(String::new, |s| s.name.clone());
        self.name
            .clone()
            .or_else(|| self.feature.clone())
            .or_else(|| self.scan.clone())
            .or_else(|| self.other_part.clone())
            .unwrap_or_else(|| format!("region of {}", self.r#in.clone().unwrap_or_else(first)))
    }

    fn wrong(&self, reason: &str) -> Error {
        let name = self.name.as_ref().or(self.feature.as_ref()).or(self.scan.as_ref());
        let name = name.or(self.other_part.as_ref());
        let place =
            name.map_or_else(|| "[check] motion".into(), |n| format!("[check] motion \"{n}\""));
        Error::Job { place, reason: reason.into() }
    }
}

impl MoveSpec {
    /// Limits in the job's units.
    fn limits(&self) -> std::result::Result<(f64, f64), &'static str> {
        match (self.by, self.from, self.to) {
            (Some(by), None, None) if by.is_finite() && by >= 0.0 => Ok((-by, by)),
            (Some(_), None, None) => Err("`by` is how far either way: zero or more"),
            (None, Some(from), Some(to)) if from.is_finite() && to.is_finite() && from <= to => {
                Ok((from, to))
            }
            (None, Some(_), Some(_)) => Err("`from` must be below `to`: exchange them"),
            (None, None, None) => Err("a movement needs `by`, or `from` and `to`"),
            (None, ..) => Err("a movement needs both `from` and `to`"),
            (Some(_), ..) => {
                Err("`by` and `from` or `to` contradict each other: give one or the other")
            }
        }
    }

    fn guide(&self) -> std::result::Result<(), &'static str> {
        match (&self.about, &self.along) {
            (None, None) => Err(NO_GUIDE),
            (Some(_), Some(_)) => Err(
                "`about` and `along` are two movements: put each into `moves`, in the order they act",
            ),
            (Some(GuideSpec::Direction(_)), None) => Err(
                "`about` needs an axis: the name of a feature or { point = [x, y, z], direction = [x, y, z] }",
            ),
            (Some(GuideSpec::Line(LineSpec { direction, .. })), None)
            | (
                None,
                Some(GuideSpec::Direction(direction) | GuideSpec::Line(LineSpec { direction, .. })),
            ) if unit(Vec3::from(*direction)).is_none() => Err(NO_DIRECTION),
            _ => Ok(()),
        }
    }
}

const NO_GUIDE: &str = "a movement needs `about` (an axis it turns about) or `along` (a direction)";
const NO_DIRECTION: &str = "a direction must not be zero";
