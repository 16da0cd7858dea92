//! Pieces of one surface brought together: what one shape explains as well as two or more.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::grow::{Grower, Grown, KINDS, NONE};
use crate::primitive::{Kind, Primitive};

impl Grower<'_> {
    /// Merges until nothing is left to merge; what was merged away keeps no patches.
    pub(super) fn merge(&mut self, found: &mut [Grown]) {
        // What did not go together does not until one of it has grown.
        let mut apart = BTreeSet::new();
        loop {
            let touching = self.neighbours();
            let mut sets: Vec<Vec<u32>> = touching.iter().map(|&(a, b)| vec![a, b]).collect();
            sets.extend(self.pieces(found));
            let merged = self.merge_sets(found, sets, &mut apart);
            // Short pieces of a bend do not show its radius two by two.
            if !merged && !self.merge_sets(found, bends(found, &touching), &mut apart) {
                return;
            }
        }
    }

    /// Merges what it can of some sets, the largest first; whether there was any.
    fn merge_sets(
        &mut self,
        found: &mut [Grown],
        mut sets: Vec<Vec<u32>>,
        apart: &mut BTreeSet<Vec<u32>>,
    ) -> bool {
        sets.sort_unstable();
        sets.dedup();
        sets.retain(|set| !apart.contains(set));
        let join = |set: &Vec<u32>| {
            let members: Vec<&Grown> = set.iter().map(|&k| &found[k as usize]).collect();
            self.join(&members)
        };
        let tried: Vec<Option<Grown>> = sets.par_iter().map(join).collect();
        let mut joined: Vec<(Vec<u32>, Grown)> = Vec::new();
        for (set, grown) in sets.into_iter().zip(tried) {
            match grown {
                Some(grown) => joined.push((set, grown)),
                None => _ = apart.insert(set),
            }
        }
        joined.sort_by(|x, y| y.1.points.cmp(&x.1.points).then_with(|| x.0.cmp(&y.0)));
        let mut done = vec![false; found.len()];
        let any = !joined.is_empty();
        for (set, grown) in joined {
            if set.iter().any(|&k| done[k as usize]) {
                continue;
            }
            for &k in &set {
                done[k as usize] = true;
                found[k as usize].patches.clear();
                found[k as usize].points = 0;
            }
            grown.patches.iter().for_each(|&k| self.owner[k as usize] = set[0]);
            found[set[0] as usize] = grown;
            apart.retain(|other| !other.iter().any(|k| set.contains(k)));
        }
        any
    }

    /// Round shapes that may be pieces of one, as the halves of a bore of which a strip was not seen: they lie
    /// side by side along their axis, or nothing was seen between them. Two bores in line are two.
    fn pieces(&self, found: &[Grown]) -> Vec<Vec<u32>> {
        let there = |i: &usize| !found[*i].patches.is_empty();
        let all: Vec<usize> = (0..found.len()).filter(there).collect();
        let mut pairs = Vec::new();
        for (n, &a) in all.iter().enumerate() {
            for &b in &all[n + 1..] {
                if alike(&found[a].shape, &found[b].shape)
                    && self.side_by_side(&found[a], &found[b])
                {
                    pairs.push(vec![a as u32, b as u32]);
                }
            }
        }
        pairs
    }

    /// Whether two pieces have a good part of their length along the axis in common, or nothing was seen
    /// between them.
    fn side_by_side(&self, a: &Grown, b: &Grown) -> bool {
        let along = match &a.shape {
            Primitive::Cylinder(s) => s.axis,
            Primitive::Cone(s) => s.axis,
            _ => return true,
        };
        let place = |k: u32| along.dot(&self.patches.middle[k as usize].coords);
        let range = |g: &Grown| {
            let places = g.patches.iter().map(|&k| place(k));
            places.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), t| (l.min(t), h.max(t)))
        };
        let (of_a, of_b) = (range(a), range(b));
        let common = of_a.1.min(of_b.1) - of_a.0.max(of_b.0);
        if common > COMMON * (of_a.1 - of_a.0).min(of_b.1 - of_b.0) {
            return true;
        }
        // Where each ends towards the other it ends at the border of the scan, not at another surface.
        let unseen = |g: &Grown, (low, high): (f64, f64), up: bool| {
            let last = END * (high - low);
            let at_end = |k: &&u32| match up {
                true => place(**k) > high - last,
                false => place(**k) < low + last,
            };
            let is_border =
                |&&k: &&u32| self.patches.points(k).iter().any(|&i| self.scan.is_border(i));
            let end: Vec<&u32> = g.patches.iter().filter(at_end).collect();
            end.iter().filter(|k| is_border(k)).count() as f64 > BORDER * end.len() as f64
        };
        let a_first = of_a.0 < of_b.0;
        self.scan.is_mesh() && unseen(a, of_a, a_first) && unseen(b, of_b, !a_first)
    }

    /// Shapes whose patches touch, or have one free patch between them.
    pub(super) fn neighbours(&self) -> BTreeSet<(u32, u32)> {
        let pairs_of = |k: u32| {
            let own = self.owner[k as usize];
            let near = self.patches.near(k);
            let beyond = move |&j: &u32| match self.is_free(j) {
                true => self.patches.near(j),
                false => std::slice::from_ref(&near[near.partition_point(|&i| i < j)]),
            };
            let others = near.iter().filter(move |_| own != NONE).flat_map(beyond);
            let other = others.map(|&j| self.owner[j as usize]);
            other.filter(move |&o| o != NONE && o > own).map(move |o| (own, o)).collect::<Vec<_>>()
        };
        let all = (0..self.patches.len() as u32).into_par_iter().with_min_len(512);
        all.flat_map_iter(pairs_of).collect::<BTreeSet<_>>()
    }

    /// One shape for the patches of some.
    fn join(&self, members: &[&Grown]) -> Option<Grown> {
        if members.iter().any(|g| g.patches.is_empty()) {
            return None;
        }
        let mut all: Vec<u32> = members.iter().flat_map(|g| &g.patches).copied().collect();
        all.sort_unstable();
        let points: usize = members.iter().map(|g| g.points).sum();
        let large = members.iter().max_by_key(|g| g.points)?;
        let least = members.iter().map(|g| rank(g.shape.kind())).max()?;
        for kind in KINDS.into_iter().skip(least) {
            // A simpler shape of many points is not given up for a few more.
            if kind != large.shape.kind() && (points - large.points) * FEW < large.points {
                continue;
            }
            let Some(shape) = self.fit(&all, kind) else { continue };
            let lies = |g: &&Grown| {
                let share = |step: usize| {
                    let looked_at = g.patches.iter().step_by(step);
                    let all = looked_at.len() as f64;
                    looked_at.filter(|&&k| self.lies_on(k, &shape)).count() as f64 / all
                };
                // What is far off shows in a few.
                let step = (g.patches.len() / SEEN_AT_ONCE).max(1);
                share(step) > FAR_OFF && share(1) > NEARLY_ALL
            };
            if members.iter().all(lies) {
                return Some(Grown { shape, points, patches: all });
            }
        }
        None
    }
}

/// Round pieces of about one radius that touch, each with all that it touches so.
fn bends(found: &[Grown], touching: &BTreeSet<(u32, u32)>) -> Vec<Vec<u32>> {
    let radius = |k: u32| match &found[k as usize].shape {
        Primitive::Cylinder(c) => Some((c.radius, c.axis)),
        _ => None,
    };
    let run_on = |a: u32, b: u32| match (radius(a), radius(b)) {
        (Some((r, u)), Some((s, v))) => (r - s).abs() < OFF * r.max(s) && u.dot(&v).abs() > BENT,
        _ => false,
    };
    let mut of: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for &(a, b) in touching.iter().filter(|(a, b)| run_on(*a, *b)) {
        of.entry(a).or_default().push(b);
        of.entry(b).or_default().push(a);
    }
    let set = |(k, mut others): (u32, Vec<u32>)| {
        others.push(k);
        others.sort_unstable();
        others
    };
    of.into_iter().filter(|(_, others)| others.len() > 1).map(set).collect()
}

/// Whether two round shapes are nearly one; the joint fit decides.
fn alike(a: &Primitive, b: &Primitive) -> bool {
    let near = |x: f64, y: f64| (x - y).abs() < ALIKE * x.max(y);
    let parallel = a.direction().zip(b.direction()).is_none_or(|(a, b)| a.dot(&b).abs() > PARALLEL);
    match (a, b) {
        (Primitive::Cylinder(a), Primitive::Cylinder(b)) => {
            let off = a.axis_line().distance(&b.point).min(b.axis_line().distance(&a.point));
            parallel && near(a.radius, b.radius) && off < OFF * a.radius
        }
        (Primitive::Sphere(a), Primitive::Sphere(b)) => {
            near(a.radius, b.radius) && (a.centre - b.centre).norm() < OFF * a.radius
        }
        (Primitive::Cone(a), Primitive::Cone(b)) => {
            let off = a.axis_line().distance(&b.point).min(b.axis_line().distance(&a.point));
            parallel && near(a.half_angle, b.half_angle) && off < OFF * a.radius
        }
        (Primitive::Torus(a), Primitive::Torus(b)) => {
            near(a.minor_radius, b.minor_radius)
                && near(a.major_radius, b.major_radius)
                && (a.centre - b.centre).norm() < OFF * a.major_radius
        }
        _ => false,
    }
}

fn rank(kind: Kind) -> usize {
    KINDS.iter().position(|k| *k == kind).unwrap_or(KINDS.len())
}

/// Relative difference of sizes up to which pieces are tried as one.
const ALIKE: f64 = 0.1;
/// Cosine of the angle between axes up to which they are.
const PARALLEL: f64 = 0.99;
/// Part of a piece's length that counts as its end, and share of patches there that lie at the scan's border.
const END: f64 = 0.15;
const BORDER: f64 = 0.25;
/// Share of the shorter's length that pieces have in common.
const COMMON: f64 = 0.3;
/// Part of the radius that their axes may lie apart.
const OFF: f64 = 0.3;
/// Cosine of the angle between the axes of pieces of a bend.
const BENT: f64 = 0.7;
/// Share of the patches of each piece that must lie on the joint shape.
const NEARLY_ALL: f64 = 0.9;
/// Patches that show whether a piece is far off, and the share of them that must not be.
const SEEN_AT_ONCE: usize = 100;
const FAR_OFF: f64 = 0.7;
/// A piece this many times smaller does not change the kind of the larger.
const FEW: usize = 8;
