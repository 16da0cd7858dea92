//! Joining scans: by targets, by features, by surface from a near start or from none, and all together; joined scans
//! as one.
//!
//! All give a [`Join`]: the pose, its covariance as a motion about the middle of what was matched
//! (so that a place outside it pays the lever), and in words what the data leave free.

mod adjustment;
mod again;
mod features;
mod freedom;
mod joined;
mod matching;
mod pairing;
mod rigid;
mod spread;
mod surface;
mod target_list;
mod targets;
#[cfg(test)]
mod targets_tests;
mod unknown_start;

pub use adjustment::{AdjustOptions, Adjusted, AdjustedPair, ObservedJoin, adjust};
pub use again::{
    AgainOptions, Change, Changes, FoundAgain, Landmark, Moved, SavedDatum, SavedFeature, SavedRule,
};
pub(crate) use again::{LOOKED_FOR_WITHIN, size_of};
pub use features::{FeatureJoin, FeatureOptions, FeatureResidual, SameFeature, by_features};
pub use joined::{MergeOptions, Merged, Placed, Seam, merge};
pub use rigid::of_pairs;
pub use surface::{SurfaceOptions, by_surface};
pub use target_list::read_targets;
pub use targets::{TargetOptions, TargetPair, by_targets};
pub use unknown_start::{Candidate, Support, UnknownStartOptions, from_unknown_start};

use crate::associate::Covariance;
use crate::primitive::Pose;

/// How one scan was joined to another.
#[derive(Debug, Clone)]
pub struct Join {
    /// Takes coordinates of this scan to those of the scan it is joined to.
    pub to_from_this: Pose,
    /// Root mean square of the residuals (targets: point to point; surface: point to surface), mm.
    pub rms: f64,
    /// Share of this scan's points that overlap the other (surface), or of its targets that found a partner.
    pub overlap: f64,
    /// Covariance of the pose as a motion about the middle of what was matched, coordinates of the other scan.
    pub covariance: Covariance,
    /// Whether the iteration reached its answer; always for targets, whose fit is direct.
    pub converged: bool,
    /// Targets held to be the same in both lists, in the order of this scan's; empty for a join by surface.
    pub pairs: Vec<TargetPair>,
    /// Directions that the data leave free, what was left out, for people.
    pub notes: Vec<String>,
}
