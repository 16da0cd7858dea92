//! Which scans overlap, and the pairs of points of each overlap.

use super::super::freedom::Freedom;
use super::super::pairing::{Equations, bounds};
use super::super::spread::invert_held;
use super::super::surface::{Fitted, Run, State};
use super::{AdjustOptions, AdjustedPair};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose};
use crate::scan::Scan;

/// Overlaps of all scans.
pub(super) struct Links<'a> {
    links: Vec<Link<'a>>,
    options: &'a AdjustOptions,
    held: usize,
    count: usize,
}

struct Link<'a> {
    to: usize,
    from: usize,
    run: Run<'a>,
    state: State,
    used: bool,
}

/// The matched points of a pair at the poses of the moment.
pub(super) struct Matched<'a> {
    pub(super) to: usize,
    pub(super) from: usize,
    pub(super) fitted: Fitted,
    /// Points of `from` that were looked at, and those that could have been.
    usable: usize,
    all_usable: usize,
    /// Edge of the patches that its scatter is judged by, mm.
    pub(super) edge: f64,
    /// Points of `to`.
    pub(super) places: &'a [Point3],
}

impl<'a> Links<'a> {
    /// Pairs of scans whose spheres come within reach of each other at the start, or those named.
    pub(super) fn new(
        scans: &[&'a Scan],
        start: &[Pose],
        options: &'a AdjustOptions,
        held: usize,
    ) -> Self {
        let spheres: Vec<(Point3, f64)> =
            scans.iter().zip(start).map(|(s, p)| sphere(s, p)).collect();
        let mut links = Vec::new();
        for from in 0..scans.len() {
            for to in 0..from {
                let named = |p: &[usize; 2]| *p == [to, from] || *p == [from, to];
                if !options.pairs.is_empty() && !options.pairs.iter().any(named) {
                    continue;
                }
                let (a, b) = (spheres[to], spheres[from]);
                let reach = options.surface.reach.unwrap_or(0.1 * b.1);
                if options.pairs.is_empty() && (a.0 - b.0).norm() > a.1 + b.1 + reach {
                    continue;
                }
                let run = Run::new(scans[to], scans[from], &options.surface);
                let state = State::new(Pose::identity(), run.reach);
                links.push(Link { to, from, run, state, used: false });
            }
        }
        Links { links, options, held, count: scans.len() }
    }

    /// Matches every pair, and keeps those that overlap enough; fails if they do not hold all scans.
    pub(super) fn select(
        &mut self,
        most: usize,
        poses: &[Pose],
        fine: bool,
        context: &Context,
    ) -> Result<Vec<Matched<'a>>> {
        let mut out = Vec::new();
        for link in &mut self.links {
            context.check()?;
            let matched = link.matched(most, poses, fine);
            let enough = |m: &Matched<'_>| m.share() >= self.options.surface.least_overlap;
            link.used = matched.as_ref().is_some_and(enough);
            out.extend(matched.filter(enough));
        }
        if let Some(l) = self.links.iter().find(|l| !l.used && !self.options.pairs.is_empty()) {
            return Err(Error::Join {
                reason: format!(
                    "scans {} and {} are named as a pair and do not overlap by {:.0} % within {:.3} mm with \
                     like normals; leave the pair out, or give nearer starts",
                    self.name(l.to),
                    self.name(l.from),
                    100.0 * self.options.surface.least_overlap,
                    l.state.gate
                ),
            });
        }
        self.refuse_loose()?;
        Ok(out)
    }

    /// The pairs in use at other poses, and whether a gate still moves.
    pub(super) fn matched(
        &mut self,
        most: usize,
        poses: &[Pose],
        fine: bool,
        context: &Context,
    ) -> Result<(Vec<Matched<'a>>, bool)> {
        let (mut out, mut narrowed) = (Vec::new(), false);
        for link in self.links.iter_mut().filter(|l| l.used) {
            context.check()?;
            if let Some(matched) = link.matched(most, poses, fine) {
                narrowed |= link.run.narrow(&matched.fitted, &mut link.state);
                out.push(matched);
            }
        }
        Ok((out, narrowed))
    }

    /// Fails for a scan that no chain of pairs connects to the held one.
    fn refuse_loose(&self) -> Result<()> {
        let mut hangs = vec![false; self.count];
        hangs[self.held] = true;
        let used = self.links.iter().filter(|l| l.used).map(|l| (l.to, l.from));
        let ties: Vec<(usize, usize)> =
            used.chain(self.options.observed.iter().map(|o| (o.to, o.from))).collect();
        while let Some(&(a, b)) = ties.iter().find(|(a, b)| hangs[*a] != hangs[*b]) {
            (hangs[a], hangs[b]) = (true, true);
        }
        let loose: Vec<String> =
            (0..self.count).filter(|&k| !hangs[k]).map(|k| self.name(k)).collect();
        if loose.is_empty() {
            return Ok(());
        }
        Err(Error::Join {
            reason: format!(
                "nothing ties {} to the held scan {}: no overlap of {:.0} % or more, directly or over others; \
                 scan what lies between, give nearer starts, or tie them by targets or features",
                loose.join(", "),
                self.name(self.held),
                100.0 * self.options.surface.least_overlap
            ),
        })
    }

    pub(super) fn name(&self, scan: usize) -> String {
        match self.options.names.get(scan) {
            Some(name) => format!("\"{name}\""),
            None => scan.to_string(),
        }
    }

    /// Most points that a pair in use may match.
    pub(super) fn largest(&self) -> usize {
        self.used().map(|l| l.run.usable.len()).max().unwrap_or(0)
    }

    /// Finest of the spacings, mm; 0 without a pair.
    pub(super) fn spacing(&self) -> f64 {
        let finest = self.used().map(|l| l.run.spacing).fold(f64::INFINITY, f64::min);
        if finest.is_finite() { finest } else { 0.0 }
    }

    /// How far the starts may be off, mm.
    pub(super) fn reach(&self) -> f64 {
        self.used().map(|l| l.run.reach).fold(0.0, f64::max)
    }

    fn used(&self) -> impl Iterator<Item = &Link<'a>> {
        self.links.iter().filter(|l| l.used)
    }
}

impl<'a> Link<'a> {
    /// The pair's points under the poses; `None` if there are too few to say anything.
    fn matched(&mut self, most: usize, poses: &[Pose], fine: bool) -> Option<Matched<'a>> {
        self.state.to_from_this = poses[self.to].inverse() * poses[self.from];
        let ids = self.run.sample(most);
        let fitted = self.run.fitted(&ids, &self.state, fine).ok()?;
        Some(Matched {
            to: self.to,
            from: self.from,
            usable: ids.len(),
            all_usable: self.run.usable.len(),
            edge: self.run.patch_edge(&fitted.pairs, &fitted.scaling),
            places: self.run.to.points(),
            fitted,
        })
    }
}

impl Matched<'_> {
    /// Signed distances of the points that the loss counts.
    fn good(&self) -> impl Iterator<Item = f64> {
        let loss = self.fitted.loss;
        self.fitted.pairs.iter().map(|p| p.residual).filter(move |r| loss.weight(*r) > 0.0)
    }

    /// Share of the points of the scan that has more of them in the overlap.
    fn share(&self) -> f64 {
        let count = self.good().count() as f64;
        // A sample of `from` stands for more of its points.
        let all = count * (self.all_usable as f64 / self.usable.max(1) as f64);
        (count / self.usable.max(1) as f64).max((all / self.places.len().max(1) as f64).min(1.0))
    }

    pub(super) fn rms(&self) -> f64 {
        let (count, sum) = self.good().fold((0usize, 0.0), |(n, s), r| (n + 1, s + r * r));
        (sum / count.max(1) as f64).sqrt()
    }

    pub(super) fn described(&self, rms_before: f64) -> AdjustedPair {
        let (count, sum) = self.good().fold((0usize, 0.0), |(n, s), r| (n + 1, s + r));
        let Fitted { pairs, scaling, loss } = &self.fitted;
        // With the noise of the normals left in, so that what is held weakly is not blown up.
        let sums = Equations::new(pairs, scaling, |r| loss.weight(r));
        let step = invert_held(&sums.matrix, &Freedom::new(&sums).held) * sums.right;
        AdjustedPair {
            to: self.to,
            from: self.from,
            points: count,
            overlap: count as f64 / self.usable.max(1) as f64,
            rms_before,
            rms: self.rms(),
            offset: sum / count.max(1) as f64,
            misfit: step.fixed_rows::<3>(0).norm(),
            misfit_turn: step.fixed_rows::<3>(3).norm() / scaling.radius,
        }
    }
}

/// Sphere round a scan under its pose.
fn sphere(scan: &Scan, pose: &Pose) -> (Point3, f64) {
    let (low, high) = bounds(scan.points());
    (pose * nalgebra::center(&low, &high), 0.5 * (high - low).norm())
}
