//! Regions of patches that lie on one ideal shape, grown from where the scan is smoothest.
//!
//! From a patch in the middle of a smooth surface each kind of shape is fitted to a disc of patches and
//! followed as far as the scan lies on it, fit and flood in turn; the simplest kind that
//! explains as many points as any wins. Growing with the shape in the place of a smoothness test
//! (Rabbani, van den Heuvel, Vosselman 2006, Segmentation of point clouds using smoothness
//! constraint), the rivalry of kinds as in R. Schnabel, R. Wahl, R. Klein 2007, Efficient RANSAC
//! for point-cloud shape detection, but without chance.

use rayon::prelude::*;

use super::patches::Patches;
use crate::associate::refit;
use crate::primitive::{Kind, Point3, Primitive, Vec3};
use crate::scan::Scan;

/// What belongs to a shape.
#[derive(Debug, Clone, Copy)]
pub(super) struct Limits {
    /// Largest distance of a patch's middle from the shape, mm.
    pub(super) distance: f64,
    /// Cosine of the largest angle between their normals.
    pub(super) cos: f64,
    /// Cosine of the angle between neighbouring patches that makes an edge.
    pub(super) edge: f64,
    /// Cosine of the largest angle between a point's own normal and the shape's.
    pub(super) facing: f64,
    /// Share of a region's patches that must lie inside it: strips along edges are no surfaces.
    pub(super) inner: f64,
    /// Fewest points of a region that is grown.
    pub(super) fewest: usize,
}

/// A shape with the patches on it, ascending; none where it was merged into another.
#[derive(Debug, Clone)]
pub(super) struct Grown {
    pub(super) shape: Primitive,
    pub(super) patches: Vec<u32>,
    /// Points in them.
    pub(super) points: usize,
}

/// The patches of a scan and what each was given to.
pub(super) struct Grower<'a> {
    pub(super) scan: &'a Scan,
    pub(super) patches: &'a Patches,
    pub(super) limits: Limits,
    /// Shape of each patch; [`NONE`] where there is none yet.
    pub(super) owner: Vec<u32>,
}

/// Which patches were met, a bit each.
struct Marks(Vec<u64>);

impl Marks {
    fn new(count: usize) -> Self {
        Marks(vec![0; count.div_ceil(64)])
    }

    /// Marks a patch; whether it was not marked yet.
    fn put(&mut self, k: u32) -> bool {
        let (word, bit) = (&mut self.0[k as usize / 64], 1u64 << (k % 64));
        let new = *word & bit == 0;
        *word |= bit;
        new
    }
}

/// No shape.
pub(super) const NONE: u32 = u32::MAX;
/// The kinds that are looked for, the simplest first.
pub(super) const KINDS: [Kind; 5] =
    [Kind::Plane, Kind::Cylinder, Kind::Sphere, Kind::Cone, Kind::Torus];

impl<'a> Grower<'a> {
    pub(super) fn new(scan: &'a Scan, patches: &'a Patches, limits: Limits) -> Self {
        Grower { scan, patches, limits, owner: vec![NONE; patches.len()] }
    }

    /// Patches in the order in which they are tried: farthest from edges and borders first.
    pub(super) fn order(&self) -> Vec<u32> {
        let count = self.patches.len() as u32;
        let at_edge = |k: u32| {
            let near = self.patches.near(k);
            // The border of a bare cloud is a guess, and a poor one where points are uneven.
            let border = || {
                let own = self.patches.points(k);
                self.scan.is_mesh() && own.iter().any(|&i| self.scan.is_border(i))
            };
            near.len() < 3 || near.iter().any(|&j| self.turns(k, j)) || border()
        };
        let edge: Vec<bool> = (0..count).into_par_iter().with_min_len(256).map(at_edge).collect();
        let depth = self.depth(count, |k| edge[k as usize]);
        let mut order: Vec<u32> = (0..count).collect();
        order.sort_by_key(|&k| std::cmp::Reverse(depth[k as usize]));
        order
    }

    /// The simplest shape that explains the surroundings of a patch as well as any; the patches of the largest
    /// where all only touch a free-form surface.
    pub(super) fn best(&self, seed: u32) -> Option<Result<Grown, Vec<u32>>> {
        let discs = self.discs(seed);
        let plane = self.grow(seed, &discs, Kind::Plane);
        if let Some(p) = &plane
            && p.patches.len() >= MANY
            && self.open(&p.patches) < CLOSED
        {
            return plane.map(Ok);
        }
        let others: Vec<Option<Grown>> =
            KINDS[1..].par_iter().map(|kind| self.grow(seed, &discs, *kind)).collect();
        let mut all: Vec<Grown> = std::iter::once(plane).chain(others).flatten().collect();
        let largest = all.iter().max_by_key(|g| g.points).map(|g| g.patches.clone());
        all.retain(|g| !self.is_free_form(g));
        if all.is_empty() {
            return largest.map(Err);
        }
        let most = all.iter().map(|g| g.points).max()?;
        all.into_iter().find(|g| g.points as f64 >= AS_GOOD * most as f64).map(Ok)
    }

    /// Grows one kind of shape from the discs of patches about one.
    fn grow(&self, seed: u32, discs: &[Vec<u32>], kind: Kind) -> Option<Grown> {
        let mut best: Option<Grown> = None;
        for disc in discs {
            // What has grown well beyond the disc needs no larger start.
            if best.as_ref().is_some_and(|b| b.patches.len() > 2 * disc.len()) {
                break;
            }
            let Some(grown) = self.follow(seed, disc, kind) else { continue };
            if best.as_ref().is_none_or(|b| grown.points > b.points) {
                best = Some(grown);
            }
        }
        best
    }

    /// Fits and floods in turn until the region stands still.
    fn follow(&self, seed: u32, disc: &[u32], kind: Kind) -> Option<Grown> {
        let mut shape = self.fit(disc, kind)?;
        let mut patches = self.flood(seed, &shape);
        for _ in 1..ROUNDS {
            if patches.len() < FEWEST {
                return None;
            }
            let Some(next) = self.fit(&patches, kind) else { break };
            let flooded = self.flood(seed, &next);
            let still = flooded.len().abs_diff(patches.len()) * 50 <= patches.len();
            (shape, patches) = (next, flooded);
            if still {
                break;
            }
        }
        let points = self.count(&patches);
        (patches.len() >= FEWEST).then_some(Grown { shape, patches, points })
    }

    /// Shape of some points of the patches.
    pub(super) fn fit(&self, ids: &[u32], kind: Kind) -> Option<Primitive> {
        let (points, normals) = self.sample(ids);
        refit(kind, &points, &normals)
    }

    /// Points in some patches.
    pub(super) fn count(&self, ids: &[u32]) -> usize {
        ids.iter().map(|&k| self.patches.points(k).len()).sum()
    }

    /// Points spread over the patches, with their patches' normals.
    fn sample(&self, ids: &[u32]) -> (Vec<Point3>, Vec<Vec3>) {
        let step = (self.count(ids) as f64 / SAMPLE as f64).max(1.0);
        let (mut points, mut normals) = (Vec::new(), Vec::new());
        let (mut next, mut start) = (step / 2.0, 0);
        for &k in ids {
            let own = self.patches.points(k);
            while let Some(&i) = own.get(next as usize - start) {
                next += step;
                points.push(self.scan.points()[i as usize]);
                normals.push(self.patches.normal[k as usize]);
            }
            start += own.len();
        }
        (points, normals)
    }

    /// Smooth free patches up to some rings round one, from few to many.
    fn discs(&self, seed: u32) -> Vec<Vec<u32>> {
        let mut seen = Marks::new(self.patches.len());
        seen.put(seed);
        let mut found = vec![seed];
        let mut ring = 0..1;
        let mut discs: Vec<Vec<u32>> = Vec::new();
        for rings in 1..=DISCS[DISCS.len() - 1] {
            for at in ring.clone() {
                let k = found[at];
                for &j in self.patches.near(k) {
                    if self.is_free(j) && !self.turns(k, j) && seen.put(j) {
                        found.push(j);
                    }
                }
            }
            let ended = ring.end == found.len();
            ring = ring.end..found.len();
            let grew = discs.last().is_none_or(|d| d.len() < found.len());
            if (ended || DISCS.contains(&rings)) && found.len() >= FEWEST && grew {
                discs.push(found.clone());
            }
            if ended {
                break;
            }
        }
        discs
    }

    /// Free patches on a shape that hang together with one, ascending; one patch that is off is stepped over
    /// at the start only.
    fn flood(&self, seed: u32, shape: &Primitive) -> Vec<u32> {
        let mut front = vec![seed];
        front.extend_from_slice(self.patches.near(seed));
        let mut seen = Marks::new(self.patches.len());
        front.iter().for_each(|&k| _ = seen.put(k));
        let mut found = Vec::new();
        while let Some(k) = front.pop() {
            if !self.is_free(k) || !self.lies_on(k, shape) {
                continue;
            }
            found.push(k);
            front.extend(self.patches.near(k).iter().filter(|&&j| seen.put(j)));
        }
        found.sort_unstable();
        found
    }

    pub(super) fn is_free(&self, k: u32) -> bool {
        self.owner[k as usize] == NONE
    }

    /// Whether there is an edge between two patches.
    pub(super) fn turns(&self, k: u32, j: u32) -> bool {
        let n = &self.patches.normal;
        n[k as usize].dot(&n[j as usize]) < self.limits.edge
    }

    /// Whether a patch lies on a shape and faces as it does, or the other way.
    pub(super) fn lies_on(&self, k: u32, shape: &Primitive) -> bool {
        let p = &self.patches.middle[k as usize];
        let near = shape.distance(p).abs() <= self.limits.distance;
        near && shape
            .normal_at(p)
            .is_some_and(|n| n.dot(&self.patches.normal[k as usize]).abs() >= self.limits.cos)
    }

    /// Share of the border towards which the surface goes on smoothly over free patches.
    fn open(&self, ids: &[u32]) -> f64 {
        let (mut smooth, mut all) = (0usize, 0usize);
        for &k in ids {
            for &j in self.patches.near(k) {
                if ids.binary_search(&j).is_err() {
                    all += 1;
                    smooth += usize::from(!self.turns(k, j) && self.is_free(j));
                }
            }
        }
        if all == 0 { 0.0 } else { smooth as f64 / all as f64 }
    }

    /// Share of the patches that have none but their own kind round them.
    pub(super) fn inner(&self, ids: &[u32]) -> f64 {
        ids.iter().filter(|&&k| self.is_inner(k, ids)).count() as f64 / ids.len() as f64
    }

    pub(super) fn is_inner(&self, k: u32, ids: &[u32]) -> bool {
        self.patches.near(k).iter().all(|j| ids.binary_search(j).is_ok())
    }

    /// The patch of a region that is farthest from its border.
    pub(super) fn deepest(&self, ids: &[u32]) -> u32 {
        let own = |j: u32| ids.binary_search(&j).ok();
        let mut depth = vec![u32::MAX; ids.len()];
        let mut front: Vec<usize> =
            (0..ids.len()).filter(|&i| !self.is_inner(ids[i], ids)).collect();
        front.iter().for_each(|&i| depth[i] = 0);
        let mut last = front.first().copied().unwrap_or(0);
        while !front.is_empty() {
            let mut next = Vec::new();
            for i in front {
                for j in self.patches.near(ids[i]).iter().filter_map(|&j| own(j)) {
                    if depth[j] == u32::MAX {
                        depth[j] = depth[i] + 1;
                        next.push(j);
                    }
                }
            }
            last = next.first().copied().unwrap_or(last);
            front = next;
        }
        ids[last]
    }

    /// Rings between each patch and the nearest of some; `u32::MAX` where there is none.
    fn depth(&self, count: u32, is_start: impl Fn(u32) -> bool) -> Vec<u32> {
        let mut depth = vec![u32::MAX; count as usize];
        let mut front: Vec<u32> = (0..count).filter(|&k| is_start(k)).collect();
        front.iter().for_each(|&k| depth[k as usize] = 0);
        while !front.is_empty() {
            let mut next = Vec::new();
            for k in front {
                for &j in self.patches.near(k) {
                    if depth[j as usize] == u32::MAX {
                        depth[j as usize] = depth[k as usize] + 1;
                        next.push(j);
                    }
                }
            }
            front = next;
        }
        depth
    }
}

/// Rings of patches that a shape is first fitted to.
const DISCS: [usize; 3] = [2, 5, 10];
/// Fewest patches of a region.
const FEWEST: usize = 6;
/// Patches from which on a plane that ends at edges all round needs no rivals.
const MANY: usize = 30;
/// Share of smooth border up to which a region counts as ended by edges.
const CLOSED: f64 = 0.3;
/// Share of the best rival's points that a simpler shape must have.
const AS_GOOD: f64 = 0.93;
/// Fits and floods from one disc.
const ROUNDS: usize = 8;
/// Points that a fit looks at.
const SAMPLE: usize = 360;
