//! Seams: how long they are, and how far one scan's surface stands off the other's there.
//!
//! A seam is where a scan's kept triangles end although its surface goes on. Its line is that of equal
//! shares of kept triangles about the points, which does not follow each triangle's sides; the step is measured
//! from there to the other scan's surface, which both still show.

use rayon::prelude::*;

use super::choose::Choice;
use super::layer::Layer;
use crate::primitive::{Point3, Vec3};

/// Where two scans meet.
#[derive(Debug, Clone, PartialEq)]
pub struct Seam {
    /// Place of the first scan in the order given.
    pub a: usize,
    /// Place of the second, which is after the first.
    pub b: usize,
    /// Length of all their common seams, mm; of bare points about, from their spacing.
    pub length: f64,
    /// Mean step across it, mm: positive where the second scan lies farther out of the material (of bare
    /// points, whose outside is not sure, perhaps the other way).
    pub mean: f64,
    /// Largest step, averaged over stretches of the seam, mm, signed as the mean.
    pub largest: f64,
    /// Where that is, mm.
    pub at: Point3,
    /// Expanded uncertainty (k = 2) of the mean step that the joins and the noise explain, mm.
    pub uncertainty: f64,
    /// The same of the largest step with k = 4: it is the largest of many.
    pub largest_uncertainty: f64,
    /// Whether one of the steps is more than its uncertainty: the join is worse than it says, or something
    /// moved between the scans.
    pub exceeds: bool,
}

/// A piece of a seam.
struct Piece {
    pair: (u32, u32),
    /// Whether it is told by the first of the pair.
    first: bool,
    at: Point3,
    length: f64,
    step: f64,
    /// Variance of the joins across the surface there, mm².
    join: f64,
}

pub(super) fn seams(layers: &[Layer<'_>], choice: &Choice) -> Vec<Seam> {
    let shares: Vec<Vec<f32>> =
        layers.iter().zip(&choice.kept).map(|(layer, kept)| shares(layer, kept)).collect();
    let mut pieces: Vec<Piece> = Vec::new();
    for k in 0..layers.len() {
        let seamer = Seamer { layers, choice, shares: &shares, k };
        let ids: Vec<u32> = (0..layers[k].count() as u32).collect();
        let chunk =
            |ids: &[u32]| -> Vec<Piece> { ids.iter().filter_map(|&e| seamer.piece(e)).collect() };
        pieces.extend(ids.par_chunks(CHUNK).flat_map_iter(chunk).collect::<Vec<_>>());
    }
    let mut pairs: Vec<(u32, u32)> = pieces.iter().map(|p| p.pair).collect();
    pairs.sort_unstable();
    pairs.dedup();
    pairs.iter().map(|&pair| seam(layers, pair, &pieces)).collect()
}

/// Share of the triangles at each point (of bare points: of it and its neighbours) that are kept.
fn shares(layer: &Layer<'_>, kept: &[bool]) -> Vec<f32> {
    let share = |ids: &mut dyn Iterator<Item = u32>| {
        let (mut all, mut those) = (0.0, 0.0);
        for e in ids {
            all += 1.0;
            those += if kept[e as usize] { 1.0 } else { 0.0 };
        }
        if all > 0.0 { those / all } else { 1.0 }
    };
    let of = |id: u32| match layer.mesh {
        true => share(&mut layer.fan(id).iter().copied()),
        false => share(&mut std::iter::once(id).chain(layer.scan.neighbours(id).iter().copied())),
    };
    (0..layer.scan.points().len() as u32).into_par_iter().map(of).collect()
}

struct Seamer<'a> {
    layers: &'a [Layer<'a>],
    choice: &'a Choice,
    shares: &'a [Vec<f32>],
    k: usize,
}

impl Seamer<'_> {
    /// The piece of a seam that crosses a triangle, if one does.
    fn piece(&self, element: u32) -> Option<Piece> {
        let layer = &self.layers[self.k];
        let (middle, length) = match layer.mesh {
            true => self.crossing(element)?,
            false => self.strip(element)?,
        };
        let at = layer.all_from_this * middle;
        // What is kept here the other scan may not show any more: what was left out beside it, it does.
        let beside = self.beside(element);
        beside.into_iter().find_map(|e| self.step(e, at, length))
    }

    /// A triangle or point and those around it.
    fn beside(&self, element: u32) -> Vec<u32> {
        let layer = &self.layers[self.k];
        let mut all = vec![element];
        if layer.mesh {
            let corners = layer.scan.triangles()[element as usize];
            corners.iter().for_each(|&id| all.extend(layer.fan(id)));
        } else {
            all.extend(layer.scan.neighbours(element));
        }
        all
    }

    /// The piece of a seam at `at`, with the step that is there at a triangle or point beside it.
    fn step(&self, element: u32, at: Point3, length: f64) -> Option<Piece> {
        let layer = &self.layers[self.k];
        let hits = self.choice.others[self.k].of(element);
        let (own, facing) = layer.place(element);
        let (own, normal) = (layer.all_from_this * own, layer.all_from_this * facing);
        // The scan that goes on from here.
        let goes_on = |&&(j, t): &&(u32, u32)| self.choice.kept[j as usize][t as usize];
        let &(j, _) = hits.iter().find(goes_on).or(hits.first())?;
        let j = j as usize;
        let found = self.choice.show(self.layers, self.k, j, &own, &normal)?;
        let there = self.layers[j].all_from_this * found.at;
        let step = (there - own).dot(&normal);
        let join = layer.join_variance(&own, &normal) + self.layers[j].join_variance(&own, &normal);
        let (pair, step) = if self.k < j { ((self.k, j), step) } else { ((j, self.k), -step) };
        let pair = (pair.0 as u32, pair.1 as u32);
        Some(Piece { pair, first: self.k < j, at, length, step, join })
    }

    /// Middle and length of the line of equal shares in a triangle, own coordinates.
    fn crossing(&self, triangle: u32) -> Option<(Point3, f64)> {
        let scan = self.layers[self.k].scan;
        let corners = scan.triangles()[triangle as usize];
        let corner = |k: usize| {
            let id = corners[k] as usize;
            (scan.points()[id], f64::from(self.shares[self.k][id]) - 0.5)
        };
        let mut ends = Vec::with_capacity(2);
        for k in 0..3 {
            let ((p, f), (q, g)) = (corner(k), corner((k + 1) % 3));
            if (f > 0.0) != (g > 0.0) {
                ends.push(p + (q - p) * (f / (f - g)));
            }
        }
        let [p, q] = ends[..] else { return None };
        Some((nalgebra::center(&p, &q), (q - p).norm()))
    }

    /// Of bare points: the point, if it is kept beside one that is not, and its part of the seam.
    fn strip(&self, point: u32) -> Option<(Point3, f64)> {
        let layer = &self.layers[self.k];
        let kept = self.choice.kept[self.k][point as usize];
        let ends = kept && self.shares[self.k][point as usize] < 1.0;
        let spacing = f64::from(layer.spacing[point as usize]);
        ends.then(|| (layer.scan.points()[point as usize], spacing / STRIP))
    }
}

fn seam(layers: &[Layer<'_>], pair: (u32, u32), pieces: &[Piece]) -> Seam {
    let (a, b) = (pair.0 as usize, pair.1 as usize);
    let mine: Vec<&Piece> = pieces.iter().filter(|p| p.pair == pair).collect();
    let side = STRETCH * layers[a].resolution.max(layers[b].resolution).max(f64::MIN_POSITIVE);
    let cell = |p: &Piece| [p.at.x, p.at.y, p.at.z].map(|c| (c / side).floor() as i64);
    let mut order: Vec<(usize, [i64; 3])> = mine.iter().map(|p| cell(p)).enumerate().collect();
    order.sort_unstable_by_key(|&(k, c)| (c, k));
    let stretches: Vec<Stretch> = order
        .chunk_by(|p, q| p.1 == q.1)
        .map(|ids| Stretch::new(ids.iter().map(|&(k, _)| mine[k])))
        .collect();
    let length: f64 = stretches.iter().map(|s| s.length).sum();
    let weight = length.max(f64::MIN_POSITIVE);
    let mean = stretches.iter().map(|s| s.step * s.length).sum::<f64>() / weight;
    let join = stretches.iter().map(|s| s.join * s.length).sum::<f64>() / weight;
    let noise = layers[a].noise.hypot(layers[b].noise).powi(2);
    // What the stretches differ by tells how far their mean may be off, whatever the noise is like.
    let scatter: f64 =
        stretches.iter().map(|s| ((s.step - mean) * s.length / weight).powi(2)).sum();
    let count = stretches.len().max(1) as f64;
    let uncertainty = 2.0 * (join + scatter + noise / (count * FEWEST as f64)).sqrt();
    let long = stretches.iter().filter(|s| s.pieces >= FEWEST);
    let largest = long
        .max_by(|s, t| s.step.abs().total_cmp(&t.step.abs()))
        .or_else(|| stretches.iter().max_by(|s, t| s.pieces.cmp(&t.pieces)));
    let (step, at, largest_uncertainty) = match largest {
        Some(s) => {
            let own = noise * SHARED / s.pieces.max(1) as f64;
            (s.step, s.at, 4.0 * (s.join + own).sqrt())
        }
        None => (0.0, Point3::origin(), 0.0),
    };
    let exceeds = mean.abs() > uncertainty || step.abs() > largest_uncertainty;
    Seam { a, b, length, mean, largest: step, at, uncertainty, largest_uncertainty, exceeds }
}

/// The pieces of a seam in one cell.
struct Stretch {
    pieces: usize,
    length: f64,
    step: f64,
    join: f64,
    at: Point3,
}

impl Stretch {
    fn new<'a>(pieces: impl Iterator<Item = &'a Piece>) -> Self {
        let (mut count, mut step, mut join) = (0, 0.0, 0.0);
        let mut lengths = [0.0; 2];
        let mut at = Vec3::zeros();
        for p in pieces {
            count += 1;
            lengths[usize::from(p.first)] += p.length;
            step += p.step;
            join += p.join;
            at += p.at.coords;
        }
        // Where both scans go on beyond the seam, both tell of it.
        let length = lengths[0].max(lengths[1]);
        let n = f64::from(count);
        let at = Point3::from(at / n);
        Stretch { pieces: count as usize, length, step: step / n, join: join / n, at }
    }
}

/// Side of the cells that steps are averaged in, in spacings of the coarser scan.
const STRETCH: f64 = 12.0;
/// Pieces of a stretch that its mean is worth something from.
const FEWEST: usize = 6;
/// Pieces beside each other share corners, and with them noise.
const SHARED: f64 = 3.0;
/// Width, in spacings, of the strip of bare points that have one of the other side among their nearest twelve.
const STRIP: f64 = 1.7;
/// Triangles in one piece of parallel work.
const CHUNK: usize = 4096;
