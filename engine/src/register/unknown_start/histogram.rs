//! How normals turn around a place, as histograms, and which places of two scans look alike.
//!
//! R. B. Rusu, N. Blodow, M. Beetz 2009, Fast point feature histograms (FPFH) for 3D registration;
//! compared by their square roots (Hellinger), which keeps large bins from ruling.

use rayon::prelude::*;

use super::thinned::Thinned;
use crate::primitive::Vec3;

/// Three histograms one after the other.
type Histogram = [f32; SIZE];

/// A place of `to` and one of `from` that look alike.
#[derive(Debug, Clone, Copy)]
pub(super) struct Alike {
    pub(super) to: u32,
    pub(super) from: u32,
}

/// What places are described by and how many are compared.
#[derive(Debug, Clone, Copy)]
pub(super) struct Looks {
    /// Radius of what is described, in edges of a cell.
    pub(super) radius: f64,
    /// Places of the smaller list at most.
    pub(super) places: usize,
    /// Partners of each place.
    pub(super) partners: usize,
}

/// Pairs of places: for each of the most unusual ones of `from` its nearest in looks among those of `to`.
pub(super) fn alike(to: &Thinned, from: &Thinned, looks: &Looks) -> Vec<Alike> {
    let (of_to, of_from) = (histograms(to, looks.radius), histograms(from, looks.radius));
    let mut mean = [0.0f64; SIZE];
    for h in of_to.iter().chain(&of_from) {
        for (m, x) in mean.iter_mut().zip(h) {
            *m += f64::from(*x) / (of_to.len() + of_from.len()) as f64;
        }
    }
    let mean = mean.map(|x| x as f32);
    let those_of_to = unusual(to, &of_to, &mean, 2 * looks.places);
    let nearest = |&i: &u32| {
        let mut best: Vec<(f32, u32)> = Vec::with_capacity(looks.partners + 1);
        for &j in &those_of_to {
            let gap = gap(&of_from[i as usize], &of_to[j as usize]);
            if best.len() < looks.partners || gap < best[best.len() - 1].0 {
                best.insert(best.partition_point(|b| b.0 <= gap), (gap, j));
                best.truncate(looks.partners);
            }
        }
        best.into_iter().map(move |(_, j)| Alike { to: j, from: i })
    };
    unusual(from, &of_from, &mean, looks.places).par_iter().flat_map_iter(nearest).collect()
}

/// Places that look least like the mean, none at the border, where half of the looks is missing.
fn unusual(t: &Thinned, all: &[Histogram], mean: &Histogram, most: usize) -> Vec<u32> {
    let mut ids: Vec<u32> = (0..all.len() as u32).filter(|&i| !t.border[i as usize]).collect();
    let gaps: Vec<f32> = all.iter().map(|h| gap(h, mean)).collect();
    ids.sort_by(|&a, &b| gaps[b as usize].total_cmp(&gaps[a as usize]).then(a.cmp(&b)));
    ids.truncate(most);
    ids.sort_unstable();
    ids
}

fn histograms(t: &Thinned, radius: f64) -> Vec<Histogram> {
    let radius = radius * t.edge;
    let near: Vec<Vec<u32>> = t.points.par_iter().map(|p| t.index.within(p, radius)).collect();
    let simple: Vec<Histogram> =
        (0..t.points.len()).into_par_iter().map(|i| simple(t, i, &near[i])).collect();
    let blurred = |i: usize| {
        let (mut sum, mut weights) = ([0.0f32; SIZE], 0.0f32);
        for &j in &near[i] {
            let distance = (t.points[j as usize] - t.points[i]).norm();
            let weight = (t.edge / distance.max(t.edge)) as f32;
            weights += weight;
            sum.iter_mut().zip(simple[j as usize]).for_each(|(s, x)| *s += weight * x);
        }
        // A place is its own neighbour: there is a weight.
        sum.iter_mut().zip(simple[i]).for_each(|(s, x)| *s = *s / weights + x);
        rooted(sum)
    };
    (0..t.points.len()).into_par_iter().map(blurred).collect()
}

/// Angles between a place's normal, its neighbours' and the ways to them.
fn simple(t: &Thinned, i: usize, near: &[u32]) -> Histogram {
    let (p, n) = (t.points[i], t.normals[i]);
    let mut counts = [0.0f32; SIZE];
    for &j in near {
        let Some(way) = (t.points[j as usize] - p).try_normalize(0.0) else { continue };
        let Some(v) = way.cross(&n).try_normalize(ALONG_NORMAL) else { continue };
        let (w, m): (Vec3, Vec3) = (n.cross(&v), t.normals[j as usize]);
        let turn = w.dot(&m).atan2(n.dot(&m)) / std::f64::consts::PI;
        for (k, x) in [v.dot(&m), n.dot(&way), turn].into_iter().enumerate() {
            // Shared by the two nearest bins, so that a little noise does not move a count.
            let at = (x + 1.0) / 2.0 * BINS as f64 - 0.5;
            let (low, part) = (at.floor(), (at - at.floor()) as f32);
            let bin = |b: f64| k * BINS + b.clamp(0.0, BINS as f64 - 1.0) as usize;
            counts[bin(low)] += 1.0 - part;
            counts[bin(low + 1.0)] += part;
        }
    }
    rooted(counts)
}

/// Square roots of the shares.
fn rooted(mut counts: Histogram) -> Histogram {
    for block in counts.chunks_mut(BINS) {
        let sum: f32 = block.iter().sum();
        if sum > 0.0 {
            block.iter_mut().for_each(|x| *x = (*x / sum).sqrt());
        }
    }
    counts
}

fn gap(a: &Histogram, b: &Histogram) -> f32 {
    a.iter().zip(b).map(|(x, y)| (x - y) * (x - y)).sum()
}

/// Bins of one histogram, and numbers of a description.
const BINS: usize = 11;
const SIZE: usize = 3 * BINS;
/// Sine of the angle to the normal below which a way to a neighbour gives no side.
const ALONG_NORMAL: f64 = 1e-9;
