//! `[joining]` of the job file: all scans adjusted together, from where their joins put them.

use schemars::JsonSchema;
use serde::Deserialize;

use super::outcome::ScanOutcome;
use super::read::{known, wrong};
use super::spec::{Job, JoinBy};
use crate::context::Context;
use crate::error::Result;
use crate::primitive::Pose;
use crate::register::{AdjustOptions, Adjusted, ObservedJoin, adjust};

/// All scans adjusted together after their joins.
#[derive(Debug, Clone, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct JoiningSpec {
    /// Whether all scans are adjusted together over all their overlaps, so that a loop closes and errors do
    /// not pile up along a chain of joins; each scan's `join` gives the start.
    pub together: bool,
    /// Scan that all uncertainties are against, the one with the datums; default the first.
    pub held: Option<String>,
    /// Pairs of scans whose overlap is used; default all that overlap.
    #[serde(default)]
    pub pairs: Vec<[String; 2]>,
    /// Smallest share of the smaller scan of a pair that must overlap; default 0.1.
    pub least_overlap: Option<f64>,
}

impl Job {
    /// Whether `[joining]` names scans that there are, and says nothing that contradicts itself.
    pub(super) fn validate_joining(&self) -> Result<()> {
        let Some(joining) = &self.joining else { return Ok(()) };
        let names = || self.scans.iter().map(|s| s.name.as_str());
        if !joining.together {
            let alone = JoiningSpec { together: false, ..JoiningSpec::default() } == *joining;
            return match alone {
                true => Ok(()),
                false => Err(wrong(
                    "[joining]",
                    "`held`, `pairs` and `least_overlap` go with `together = true`",
                )),
            };
        }
        if self.scans.len() < 2 {
            return Err(wrong("[joining] together", "needs two scans or more"));
        }
        if let Some(held) = &joining.held {
            known("scan", held, names())?;
        }
        if joining.least_overlap.is_some_and(|o| !(o > 0.0 && o <= 1.0)) {
            return Err(wrong("[joining] least_overlap", "must be a share over 0 to 1"));
        }
        for (k, [a, b]) in joining.pairs.iter().enumerate() {
            known("scan", a, names())?;
            known("scan", b, names())?;
            if a == b {
                return Err(wrong("[joining] pairs", &format!("\"{a}\" is paired with itself")));
            }
            let again =
                |p: &[String; 2]| p == &[a.clone(), b.clone()] || p == &[b.clone(), a.clone()];
            if joining.pairs[..k].iter().any(again) {
                return Err(wrong(
                    "[joining] pairs",
                    &format!("\"{a}\" and \"{b}\" stand there twice"),
                ));
            }
        }
        Ok(())
    }

    /// Adjusts the scans together if the job says so, the first one's coordinates kept.
    pub(super) fn adjust(
        &self,
        scans: &mut [ScanOutcome],
        context: &Context,
    ) -> Result<Option<Adjusted>> {
        let Some(joining) = self.joining.as_ref().filter(|j| j.together) else { return Ok(None) };
        let index = |name: &String| scans.iter().position(|s| s.name == *name).unwrap_or(0);
        let held = joining.held.as_ref().map_or(0, index);
        let mut options = AdjustOptions {
            pairs: joining.pairs.iter().map(|[a, b]| [index(a), index(b)]).collect(),
            observed: self.observed(scans),
            names: scans.iter().map(|s| s.name.clone()).collect(),
            ..AdjustOptions::default()
        };
        if let Some(share) = joining.least_overlap {
            options.surface.least_overlap = share;
        }
        let start: Vec<_> = scans.iter().map(|s| s.first_from_this).collect();
        let data: Vec<_> = scans.iter().map(|s| &s.scan).collect();
        let mut adjusted = adjust(&data, &start, held, &options, context)?;
        let first_from_common = adjusted.common_from_scan[0].inverse();
        for pose in &mut adjusted.common_from_scan {
            *pose = first_from_common * *pose;
        }
        // Exactly, not to rounding: its coordinates are the job's.
        adjusted.common_from_scan[0] = Pose::identity();
        for covariance in &mut adjusted.covariances {
            *covariance = covariance.transformed(&first_from_common);
        }
        for (k, scan) in scans.iter_mut().enumerate() {
            scan.first_from_this = adjusted.common_from_scan[k];
            scan.spread = (k != held).then(|| adjusted.covariances[k].clone());
        }
        Ok(Some(adjusted))
    }

    /// Joins that no surface was asked for hold beside the surfaces.
    fn observed(&self, scans: &[ScanOutcome]) -> Vec<ObservedJoin> {
        let observe = |(from, spec): (usize, &super::spec::ScanSpec)| {
            let how = spec.join.as_ref()?;
            let asked = match how.by {
                JoinBy::Targets => how.refine == Some(false),
                JoinBy::Features => how.refine != Some(true),
                JoinBy::Surface | JoinBy::Nothing => false,
            };
            let join = scans[from].join.as_ref().filter(|_| asked)?;
            let to = scans.iter().position(|s| s.name == how.to)?;
            let covariance = join.covariance.clone();
            Some(ObservedJoin { to, from, to_from_this: join.to_from_this, covariance })
        };
        self.scans.iter().enumerate().filter_map(observe).collect()
    }
}
