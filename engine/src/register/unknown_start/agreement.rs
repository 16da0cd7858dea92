//! Poses from pairs of like places that agree with one another.
//!
//! Two pairs agree if distance and angles between the two places with their normals are the same in
//! both scans; what two agreeing pairs agree with in common tells chance from truth (Z. Chen, K.
//! Sun, F. Yang, W. Tao 2022, SC²-PCR: a second order spatial compatibility for efficient and robust
//! point cloud registration).

use rayon::prelude::*;

use super::super::rigid::RigidFit;
use super::histogram::Alike;
use super::thinned::Thinned;
use crate::primitive::Pose;

/// Poses that most pairs agree on, the best first; some may be near one another.
pub(super) fn poses(to: &Thinned, from: &Thinned, pairs: &[Alike]) -> Vec<Pose> {
    let table = Table::new(to, from, pairs);
    let degree = |i: usize| -> u64 { table.ones(i).map(|j| u64::from(table.common(i, j))).sum() };
    let degrees: Vec<u64> = (0..pairs.len()).into_par_iter().map(degree).collect();
    let mut order: Vec<usize> = (0..pairs.len()).filter(|&i| degrees[i] > 0).collect();
    order.sort_by_key(|&i| (std::cmp::Reverse(degrees[i]), i));
    let mut seeds: Vec<usize> = Vec::new();
    for i in order {
        let apart = |a: u32, b: u32, t: &Thinned| {
            (t.points[a as usize] - t.points[b as usize]).norm() > SEED_SPACING * t.edge
        };
        let far = |&s: &usize| {
            apart(pairs[s].from, pairs[i].from, from) || apart(pairs[s].to, pairs[i].to, to)
        };
        if seeds.iter().all(far) {
            seeds.push(i);
        }
        if seeds.len() == MOST_SEEDS {
            break;
        }
    }
    let mut found: Vec<(usize, Pose)> =
        seeds.par_iter().map(|&s| grown(to, from, pairs, &table, s)).collect();
    found.sort_by_key(|f| std::cmp::Reverse(f.0));
    found.into_iter().map(|f| f.1).collect()
}

/// Pose of what a pair agrees with best, fitted again to all pairs that fit it, and how many places do.
fn grown(
    to: &Thinned,
    from: &Thinned,
    pairs: &[Alike],
    table: &Table,
    seed: usize,
) -> (usize, Pose) {
    let mut own: Vec<(u32, usize)> = table.ones(seed).map(|j| (table.common(seed, j), j)).collect();
    own.sort_by_key(|&(common, j)| (std::cmp::Reverse(common), j));
    own.truncate(MOST_AGREEING);
    own.push((0, seed));
    let mut set: Vec<Alike> = own.into_iter().map(|(_, j)| pairs[j]).collect();
    let mut best = (0, fitted(to, from, &set));
    for _ in 0..ROUNDS {
        let fits = |c: &&Alike| {
            let (p, n) = (from.points[c.from as usize], from.normals[c.from as usize]);
            let off = best.1 * p - to.points[c.to as usize];
            off.norm() < FITS * to.edge
                && (best.1 * n).dot(&to.normals[c.to as usize]) > FITS_COSINE
        };
        set = pairs.iter().filter(fits).copied().collect();
        // Pairs of one place follow one another.
        let places = set.chunk_by(|a, b| a.from == b.from).count();
        if places < 3 || places <= best.0 {
            break;
        }
        best = (places, fitted(to, from, &set));
    }
    best
}

/// Least squares over places and ends of their normals.
fn fitted(to: &Thinned, from: &Thinned, pairs: &[Alike]) -> Pose {
    let ends = |t: &Thinned, of: fn(&Alike) -> u32| -> Vec<_> {
        let both = |c: &Alike| {
            let (p, n) = (t.points[of(c) as usize], t.normals[of(c) as usize]);
            [p, p + n * (NORMAL_LENGTH * to.edge)]
        };
        pairs.iter().flat_map(both).collect()
    };
    RigidFit::new(&ends(to, |c| c.to), &ends(from, |c| c.from)).to_from_this
}

/// Which pairs agree, a bit each.
struct Table {
    words: usize,
    bits: Vec<u64>,
}

impl Table {
    fn new(to: &Thinned, from: &Thinned, pairs: &[Alike]) -> Self {
        let words = pairs.len().div_ceil(64);
        let row = |i: usize| {
            let mut row = vec![0u64; words];
            for (j, c) in pairs.iter().enumerate() {
                if agree(to, from, &pairs[i], c) {
                    row[j / 64] |= 1 << (j % 64);
                }
            }
            row
        };
        Table { words, bits: (0..pairs.len()).into_par_iter().flat_map_iter(row).collect() }
    }

    fn row(&self, i: usize) -> &[u64] {
        &self.bits[i * self.words..][..self.words]
    }

    /// Number of pairs that both agree with.
    fn common(&self, i: usize, j: usize) -> u32 {
        self.row(i).iter().zip(self.row(j)).map(|(a, b)| (a & b).count_ones()).sum()
    }

    /// The pairs that one agrees with, ascending.
    fn ones(&self, i: usize) -> impl Iterator<Item = usize> + '_ {
        self.row(i).iter().enumerate().flat_map(|(w, &word)| {
            let (mut left, first) = (word, 64 * w);
            std::iter::from_fn(move || {
                (left != 0).then(|| {
                    let bit = left.trailing_zeros() as usize;
                    left &= left - 1;
                    first + bit
                })
            })
        })
    }
}

fn agree(to: &Thinned, from: &Thinned, a: &Alike, b: &Alike) -> bool {
    let between = |t: &Thinned, a: u32, b: u32| t.points[b as usize] - t.points[a as usize];
    let (u, v) = (between(from, a.from, b.from), between(to, a.to, b.to));
    let (of_u, of_v) = (u.norm(), v.norm());
    if of_u.min(of_v) < LEAST_APART * to.edge || (of_u - of_v).abs() > LENGTH * to.edge {
        return false;
    }
    let (n, m) = (from.normals[a.from as usize], from.normals[b.from as usize]);
    let (o, q) = (to.normals[a.to as usize], to.normals[b.to as usize]);
    (n.dot(&m) - o.dot(&q)).abs() <= COSINE
        && (n.dot(&u) / of_u - o.dot(&v) / of_v).abs() <= COSINE
        && (m.dot(&u) / of_u - q.dot(&v) / of_v).abs() <= COSINE
}

/// Pairs whose poses are looked at.
const MOST_SEEDS: usize = 200;
/// Seeds are further apart than this in one of the scans, in edges of a cell.
const SEED_SPACING: f64 = 3.0;
/// Pairs that a first pose is of.
const MOST_AGREEING: usize = 30;
/// Rounds of fitting to what fits.
const ROUNDS: usize = 4;
/// What fits a pose: distance in edges of a cell, cosine between normals.
const FITS: f64 = 2.5;
const FITS_COSINE: f64 = 0.85;
/// Length that normals count with, in edges of a cell.
const NORMAL_LENGTH: f64 = 4.0;
/// Places nearer than this say little about a turn, in edges of a cell.
const LEAST_APART: f64 = 4.0;
/// How far distances (in edges of a cell) and cosines may differ.
const LENGTH: f64 = 1.5;
const COSINE: f64 = 0.2;
