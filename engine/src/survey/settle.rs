//! Borders where the surfaces meet: each patch goes to the nearest of the shapes beside it, and each shape
//! is fitted again to what is then its own, as a simpler kind where that does as well.

use rayon::prelude::*;

use super::grow::{Grower, Grown, KINDS, NONE};
use crate::primitive::Primitive;

impl Grower<'_> {
    /// Moves borders and fits in turn.
    pub(super) fn settle(&mut self, found: &mut [Grown]) {
        for _ in 0..ROUNDS {
            for _ in 0..SWEEPS {
                let moves = self.moves(found);
                moves.iter().for_each(|&(k, owner)| self.owner[k as usize] = owner);
                if moves.len() * FEW < self.patches.len() {
                    break;
                }
            }
            let mut own = vec![Vec::new(); found.len()];
            for (k, &owner) in self.owner.iter().enumerate().filter(|o| *o.1 != NONE) {
                own[owner as usize].push(k as u32);
            }
            let this = &*self;
            found.par_iter_mut().zip(own).for_each(|(g, patches)| {
                g.points = this.count(&patches);
                g.patches = patches;
                if let Some(shape) = this.improved(g) {
                    g.shape = shape;
                }
            });
        }
    }

    /// Patches that lie nearer to a shape beside them than to their own.
    fn moves(&self, found: &[Grown]) -> Vec<(u32, u32)> {
        let better = |k: u32| {
            let own = self.owner[k as usize];
            let is_rival = |j: &u32| ![NONE, own].contains(&self.owner[*j as usize]);
            if !self.patches.near(k).iter().any(is_rival) {
                return None;
            }
            let shape = |o: u32| &found[o as usize].shape;
            let mut best = match own {
                NONE => (f64::INFINITY, NONE),
                o => (self.misfit(k, shape(o)), o),
            };
            for &j in self.patches.near(k) {
                let o = self.owner[j as usize];
                if o == NONE || o == own || !self.lies_on(k, shape(o)) {
                    continue;
                }
                let rival = (self.misfit(k, shape(o)), o);
                if rival < best {
                    best = rival;
                }
            }
            (best.1 != own).then_some((k, best.1))
        };
        (0..self.patches.len() as u32)
            .into_par_iter()
            .with_min_len(256)
            .filter_map(better)
            .collect()
    }

    /// Mean distance of a few of a patch's points from a shape, mm.
    fn misfit(&self, k: u32, shape: &Primitive) -> f64 {
        let ids = self.patches.points(k);
        let step = ids.len().div_ceil(LOOKED_AT);
        let points = ids.iter().step_by(step).map(|&i| &self.scan.points()[i as usize]);
        let count = points.len() as f64;
        points.map(|p| shape.distance(p).abs()).sum::<f64>() / count
    }

    /// The simplest kind that fits the patches away from the border about as well as the shape's own.
    fn improved(&self, grown: &Grown) -> Option<Primitive> {
        let all = &grown.patches;
        let inner: Vec<u32> = all.iter().copied().filter(|&k| self.is_inner(k, all)).collect();
        let core = if inner.len() >= CORE { &inner } else { all };
        if core.is_empty() {
            return None;
        }
        let spread = |shape: &Primitive| {
            let squares: f64 = core.iter().map(|&k| self.misfit(k, shape).powi(2)).sum();
            (squares / core.len() as f64).sqrt()
        };
        let kind = grown.shape.kind();
        let now = spread(&grown.shape);
        let own = self.fit(core, kind).map(|s| (spread(&s), s)).filter(|s| s.0 <= AS_GOOD * now);
        let limit = SIMPLER * own.as_ref().map_or(now, |s| s.0);
        let simpler = KINDS.into_iter().take_while(|k| *k != kind);
        let simpler = simpler.filter_map(|k| self.fit(core, k)).find(|s| spread(s) <= limit);
        simpler.or(own.map(|s| s.1))
    }
}

/// Times that borders and shapes are brought into line.
const ROUNDS: usize = 2;
/// Most times that borders move by a patch before the next fit.
const SWEEPS: usize = 12;
/// Borders stand still when fewer than one patch in so many moves.
const FEW: usize = 1000;
/// Points of a patch that are looked at.
const LOOKED_AT: usize = 6;
/// Patches away from the border from which on the others are left out.
const CORE: usize = 10;
/// How much worse a new fit may be, being of other points.
const AS_GOOD: f64 = 1.01;
/// How much worse a simpler kind may be.
const SIMPLER: f64 = 1.03;
