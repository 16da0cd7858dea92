//! Tells free-form surface from ideal shapes: any smooth surface lies on some cylinder, sphere or torus for a
//! while, and a casting's blend must not become a chain of them.
//!
//! A shape laid on a free-form surface is off in long waves, which show in the mean distances of patches, where
//! the noise is averaged out; and its region ends where the surface goes on smoothly.

use rayon::prelude::*;

use super::CLEAN;
use super::grow::{Grower, Grown, NONE};
use crate::primitive::Primitive;

impl Grower<'_> {
    /// Leaves without patches what turns out to be no ideal shape.
    pub(super) fn give_up(&mut self, found: &mut [Grown]) {
        let is_bad = |g: &Grown| !g.patches.is_empty() && self.is_free_form(g);
        let bad: Vec<bool> = found.par_iter().map(is_bad).collect();
        for grown in found.iter_mut().zip(bad).filter(|g| g.1).map(|g| g.0) {
            grown.patches.drain(..).for_each(|k| self.owner[k as usize] = NONE);
            grown.points = 0;
        }
    }

    /// Whether a shape only touches a surface that goes on beyond it.
    pub(super) fn is_free_form(&self, grown: &Grown) -> bool {
        let ids = &grown.patches;
        if !self.ends_smoothly(ids) {
            return false;
        }
        let inner: Vec<u32> = ids.iter().copied().filter(|&k| self.is_inner(k, ids)).collect();
        let core = if inner.len() >= CORE { &inner } else { ids };
        let shape = self.fit(core, grown.shape.kind());
        shape.is_none_or(|shape| self.is_wavy(&shape, core, GROWN, |_| true))
    }

    /// Whether the surface goes on smoothly nearly everywhere beyond some patches. Never where there is no noise: the
    /// distance alone tells there where a shape ends.
    pub(super) fn ends_smoothly(&self, ids: &[u32]) -> bool {
        let is_noisy = self.scan.noise() > CLEAN * self.scan.resolution();
        is_noisy && self.smooth_border(ids) >= OPEN
    }

    /// Whether the chosen points of some patches lie off a shape in long waves of more than a part of the noise.
    pub(super) fn is_wavy(
        &self,
        shape: &Primitive,
        ids: &[u32],
        part: f64,
        chosen: impl Fn(u32) -> bool,
    ) -> bool {
        let limit = part * (self.scan.noise() + OF_SPACING * self.scan.resolution());
        self.waves(shape, ids, chosen) > limit
    }

    /// Share of the border that is no edge.
    fn smooth_border(&self, ids: &[u32]) -> f64 {
        let (mut smooth, mut all) = (0usize, 0usize);
        for &k in ids {
            for &j in self.patches.near(k).iter().filter(|j| ids.binary_search(j).is_err()) {
                all += 1;
                smooth += usize::from(!self.turns(k, j));
            }
        }
        if all == 0 { 0.0 } else { smooth as f64 / all as f64 }
    }

    /// Root mean square of the distances of patches, by their chosen points, without what the noise of these
    /// gives, mm.
    fn waves(&self, shape: &Primitive, ids: &[u32], chosen: impl Fn(u32) -> bool) -> f64 {
        let noise = self.scan.noise();
        let reach = 4.0 * noise + 0.06 * self.scan.resolution();
        let (mut sum, mut count) = (0.0, 0usize);
        for &k in ids.iter().step_by(ids.len().div_ceil(LOOKED_AT)) {
            let (mut mean, mut points) = (0.0, 0usize);
            for &i in self.patches.points(k).iter().filter(|i| chosen(**i)) {
                let distance = shape.distance(&self.scan.points()[i as usize]);
                if distance.abs() < reach {
                    mean += distance;
                    points += 1;
                }
            }
            if points >= FEWEST {
                let points = points as f64;
                sum += (mean / points).powi(2) - noise.powi(2) / points;
                count += 1;
            }
        }
        (sum / count.max(1) as f64).max(0.0).sqrt()
    }
}

/// Share of smooth border from which on a region may have ended for its shape's sake.
const OPEN: f64 = 0.85;
/// Patches away from the border from which on the others are left out.
const CORE: usize = 20;
/// Largest waves of a shape as it is grown, as a part of the noise.
const GROWN: f64 = 0.6;
/// What a mesh without noise may lie off by, as a part of its spacing.
const OF_SPACING: f64 = 0.015;
/// Patches that are looked at.
const LOOKED_AT: usize = 400;
/// Points of a patch whose mean counts.
const FEWEST: usize = 4;
