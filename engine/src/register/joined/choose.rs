//! Which scan keeps which triangles (of bare points: which points).

use rayon::prelude::*;

use super::MergeOptions;
use super::cover::{Hit, hit};
use super::layer::Layer;
use crate::context::Context;
use crate::error::Result;
use crate::primitive::{Point3, Vec3};

/// What each scan keeps.
pub(super) struct Choice {
    /// By scan and triangle.
    pub(super) kept: Vec<Vec<bool>>,
    /// By scan: where the others show its triangles.
    pub(super) others: Vec<Others>,
    reach: Option<f64>,
}

/// Where other scans show the triangles of one.
pub(super) struct Others {
    starts: Vec<u32>,
    /// Scan and triangle there, in the order of the scans.
    hits: Vec<(u32, u32)>,
}

/// What one piece of parallel work found.
#[derive(Default)]
struct Part {
    hits: Vec<(u32, u32)>,
    /// End of each triangle's hits.
    ends: Vec<u32>,
    wins: Vec<bool>,
}

impl Others {
    pub(super) fn of(&self, element: u32) -> &[(u32, u32)] {
        let e = element as usize;
        &self.hits[self.starts[e] as usize..self.starts[e + 1] as usize]
    }
}

impl Choice {
    pub(super) fn new(
        layers: &[Layer<'_>],
        options: &MergeOptions,
        context: &Context,
    ) -> Result<Self> {
        let mut choice = Choice { kept: Vec::new(), others: Vec::new(), reach: options.reach };
        let mut wins = Vec::new();
        for k in 0..layers.len() {
            let done = 0.2 + 0.6 * k as f64 / layers.len() as f64;
            context.report("one surface: overlaps", done)?;
            let (others, win) = choice.look_up(layers, k, options.margin, context)?;
            choice.others.push(others);
            wins.push(win);
        }
        choice.settle(&wins);
        Ok(choice)
    }

    /// Where the others show each triangle of scan `k`, and whether `k` knows its place best.
    fn look_up(
        &self,
        layers: &[Layer<'_>],
        k: usize,
        margin: f64,
        context: &Context,
    ) -> Result<(Others, Vec<bool>)> {
        let layer = &layers[k];
        let ids: Vec<u32> = (0..layer.count() as u32).collect();
        let chunk = |ids: &[u32]| -> Result<Part> {
            context.check()?;
            let mut part = Part::default();
            for &e in ids {
                part.wins.push(self.judge(layers, k, e, margin, &mut part.hits));
                part.ends.push(part.hits.len() as u32);
            }
            Ok(part)
        };
        let parts: Result<Vec<Part>> = ids.par_chunks(CHUNK).map(chunk).collect();
        let mut others = Others { starts: vec![0], hits: Vec::new() };
        let mut wins = Vec::with_capacity(ids.len());
        for part in parts? {
            let before = others.hits.len() as u32;
            others.starts.extend(part.ends.iter().map(|e| e + before));
            others.hits.extend(part.hits);
            wins.extend(part.wins);
        }
        Ok((others, wins))
    }

    /// Adds where the others show a triangle; whether `k` knows its place best.
    fn judge(
        &self,
        layers: &[Layer<'_>],
        k: usize,
        element: u32,
        margin: f64,
        hits: &mut Vec<(u32, u32)>,
    ) -> bool {
        let layer = &layers[k];
        let (own, facing) = layer.place(element);
        let (at, normal) = (layer.all_from_this * own, layer.all_from_this * facing);
        let mut best: Option<(usize, f64)> = None;
        for j in 0..layers.len() {
            let variance = if j == k {
                layer.variance(element, &at, &normal)
            } else {
                let Some(found) = self.show(layers, k, j, &at, &normal) else { continue };
                hits.push((j as u32, found.element));
                layers[j].variance(found.element, &at, &normal)
            };
            if best.is_none_or(|(_, b)| variance * margin * margin < b) {
                best = Some((j, variance));
            }
        }
        best.is_some_and(|(winner, _)| winner == k)
    }

    /// Where scan `j` shows a place of scan `k` (coordinates of all).
    pub(super) fn show(
        &self,
        layers: &[Layer<'_>],
        k: usize,
        j: usize,
        at: &Point3,
        normal: &Vec3,
    ) -> Option<Hit> {
        let (a, b) = (&layers[k], &layers[j]);
        let reach = self.reach.unwrap_or_else(|| {
            let join = a.join_variance(at, normal) + b.join_variance(at, normal);
            let spacing = a.resolution.max(b.resolution);
            // What the joins leave free has a deviation as wide as the scan: that is no reach.
            let join = join.sqrt().min(spacing);
            spacing + 4.0 * (a.noise.hypot(b.noise).hypot(join))
        });
        hit(b, &(b.this_from_all * at), &(b.this_from_all * normal), reach)
    }

    /// Makes of what each scan thinks, which may differ by a triangle where they meet, a surface
    /// that shows every place once.
    fn settle(&mut self, wins: &[Vec<bool>]) {
        for (k, own) in wins.iter().enumerate() {
            let mut keeps = vec![false; own.len()];
            for (e, keep) in keeps.iter_mut().enumerate() {
                let hits = self.others[k].of(e as u32);
                let earlier = hits.iter().take_while(|h| (h.0 as usize) < k);
                let later = &hits[earlier.clone().count()..];
                let shown = earlier.clone().any(|&(j, t)| self.kept[j as usize][t as usize]);
                let will = later.iter().any(|&(j, t)| wins[j as usize][t as usize]);
                *keep = !shown && (own[e] || !will);
            }
            self.kept.push(keeps);
        }
    }
}

/// Triangles in one piece of parallel work.
const CHUNK: usize = 4096;
