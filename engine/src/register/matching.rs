//! Which targets of two lists are the same, from nothing but their distances.
//!
//! A pair of targets that agree has the same distances to the other targets in both lists: votes
//! of equal distances rank the possible pairs, triples of mutually consistent pairs give poses,
//! each pose is grown to all pairs that fit it. Every pose of nearly as many pairs as the best is
//! found as well, so that a symmetric layout shows. After Shapiro and Brady, "Feature-based
//! correspondence: an eigenvector approach" (1992) and Bolles and Cain, "Recognizing and locating
//! partially visible objects: the local-feature-focus method" (1982).

use rayon::prelude::*;

use super::rigid::{RigidFit, centroid, main_line};
use crate::primitive::{Point3, Pose};

/// Index in `to` and index in `from` of targets held to be the same.
pub(super) type Indices = (usize, usize);

/// A way to pair the targets.
#[derive(Debug, Clone)]
pub(super) struct Candidate {
    /// Index in `to` and in `from` of each pair, ascending in `from`.
    pub(super) pairs: Vec<(usize, usize)>,
    pub(super) fit: RigidFit,
}

/// What the search found.
#[derive(Debug, Default)]
pub(super) struct Found {
    /// Ways to pair, most pairs first, then smallest residuals; none has two pairs fewer than the best.
    pub(super) candidates: Vec<Candidate>,
    /// Chance that two unrelated pairs of targets have the same distance.
    pub(super) coincidence: f64,
    /// Whether the search ended before all ways were looked at.
    pub(super) exhausted: bool,
    /// Three targets of `to` that agree with the other list but lie in line.
    pub(super) in_line: Option<[Point3; 3]>,
    /// Whether any two targets have the same distance in both lists.
    pub(super) any_distance: bool,
}

/// Finds all ways to pair targets whose distances agree within `tolerance` (mm).
pub(super) fn find(to: &[Point3], from: &[Point3], tolerance: f64) -> Found {
    let mut search = Search::new(to, from, tolerance);
    for first in 0..search.order.len() {
        if search.votes_of(first) + 1 < search.wanted() {
            break;
        }
        search.grow_from(first);
        if search.work > MOST_WORK {
            search.found.exhausted = true;
            break;
        }
    }
    search.finish()
}

struct Search<'a> {
    to: &'a [Point3],
    from: &'a [Point3],
    tolerance: f64,
    votes: Vec<usize>,
    /// Possible pairs, most votes first.
    order: Vec<(usize, usize)>,
    found: Found,
    work: usize,
}

impl<'a> Search<'a> {
    fn new(to: &'a [Point3], from: &'a [Point3], tolerance: f64) -> Self {
        let (rows_to, rows_from) = (sorted_distances(to), sorted_distances(from));
        let votes_with = |row_a: &Vec<f64>| -> Vec<usize> {
            rows_to.iter().map(|row_i| equal_distances(row_i, row_a, tolerance)).collect()
        };
        let votes: Vec<usize> = rows_from.par_iter().map(votes_with).collect::<Vec<_>>().concat();
        let mut order: Vec<(usize, usize)> =
            (0..votes.len()).map(|n| (n % to.len(), n / to.len())).collect();
        order.sort_by_key(|&(i, a)| (usize::MAX - votes[a * to.len() + i], a, i));
        Search { to, from, tolerance, votes, order, found: Found::default(), work: 0 }
    }

    fn votes_of(&self, position: usize) -> usize {
        let (i, a) = self.order[position];
        self.votes[a * self.to.len() + i]
    }

    /// Pairs a way must have to be of interest.
    fn wanted(&self) -> usize {
        self.found.candidates.first().map_or(3, |best| best.pairs.len().saturating_sub(1).max(3))
    }

    /// All ways whose first pair in the order is this one.
    fn grow_from(&mut self, first: usize) {
        let start = self.order[first];
        let mut partners = Vec::new();
        for position in first + 1..self.order.len() {
            if self.votes_of(position) + 1 < self.wanted() {
                break;
            }
            if self.consistent(start, self.order[position]) {
                partners.push(self.order[position]);
            }
        }
        for (n, &second) in partners.iter().enumerate() {
            for &third in &partners[n + 1..] {
                self.work += 1;
                if self.work > MOST_WORK {
                    return;
                }
                if self.consistent(second, third) {
                    self.try_triple([start, second, third]);
                }
            }
        }
    }

    fn consistent(&self, p: (usize, usize), q: (usize, usize)) -> bool {
        let (to, from) =
            ((self.to[p.0] - self.to[q.0]).norm(), (self.from[p.1] - self.from[q.1]).norm());
        p.0 != q.0 && p.1 != q.1 && (to - from).abs() <= self.tolerance
    }

    fn try_triple(&mut self, triple: [(usize, usize); 3]) {
        let holds = |c: &Candidate| triple.iter().all(|t| c.pairs.contains(t));
        if self.found.candidates.iter().any(holds) {
            return;
        }
        let points = triple.map(|(i, _)| self.to[i]);
        if in_line(&points, self.tolerance) {
            self.found.in_line.get_or_insert(points);
            return;
        }
        self.work += self.from.len() * self.to.len();
        if let Some(candidate) = self.grown(triple.to_vec()) {
            self.keep(candidate);
        }
    }

    /// Fit and pairing in turn until the pairs stand still.
    fn grown(&self, mut pairs: Vec<(usize, usize)>) -> Option<Candidate> {
        for _ in 0..ROUNDS {
            let fit = fit_pairs(self.to, self.from, &pairs);
            let next = self.pairs_at(&fit.to_from_this);
            if next == pairs {
                return Some(Candidate { pairs, fit });
            }
            if next.len() < 3
                || in_line(&next.iter().map(|p| self.to[p.0]).collect::<Vec<_>>(), self.tolerance)
            {
                return None;
            }
            pairs = next;
        }
        Some(Candidate { fit: fit_pairs(self.to, self.from, &pairs), pairs })
    }

    /// Pairs of mutually nearest targets within the tolerance at a pose.
    fn pairs_at(&self, to_from_this: &Pose) -> Vec<(usize, usize)> {
        let moved: Vec<Point3> = self.from.iter().map(|p| to_from_this * p).collect();
        let mut pairs = Vec::new();
        for (a, p) in moved.iter().enumerate() {
            let Some((i, distance)) = nearest(self.to, p) else { continue };
            if distance <= self.tolerance && nearest(&moved, &self.to[i]).is_some_and(|n| n.0 == a)
            {
                pairs.push((i, a));
            }
        }
        pairs
    }

    fn keep(&mut self, candidate: Candidate) {
        let candidates = &mut self.found.candidates;
        if candidates.iter().any(|c| c.pairs == candidate.pairs) {
            return;
        }
        candidates.push(candidate);
        candidates.sort_by(|p, q| {
            q.pairs.len().cmp(&p.pairs.len()).then(p.fit.rss.total_cmp(&q.fit.rss))
        });
        candidates.truncate(MOST_CANDIDATES);
    }

    fn finish(self) -> Found {
        let wanted = self.wanted();
        let coincidence = self.coincidence();
        let mut found = self.found;
        found.candidates.retain(|c| c.pairs.len() >= wanted);
        let any_distance = self.votes.iter().any(|&v| v > 0);
        Found { coincidence, any_distance, ..found }
    }

    /// Share of equal distances among all pairs of distances, those of the best way left out; at
    /// least what distances spread evenly over the layout would give.
    fn coincidence(&self) -> f64 {
        let (n, m) = (self.to.len() as f64, self.from.len() as f64);
        let paired = self.found.candidates.first().map_or(0.0, |c| c.pairs.len() as f64);
        let equal = self.votes.iter().sum::<usize>() as f64 - paired * (paired - 1.0);
        let possible = n * (n - 1.0) * m * (m - 1.0);
        let middle = centroid(self.from);
        let radius = self.from.iter().map(|p| (p - middle).norm()).fold(0.0, f64::max);
        (equal / possible).max(self.tolerance / radius.max(self.tolerance)).min(1.0)
    }
}

/// Fit of the paired targets.
pub(super) fn fit_pairs(to: &[Point3], from: &[Point3], pairs: &[(usize, usize)]) -> RigidFit {
    let t: Vec<Point3> = pairs.iter().map(|p| to[p.0]).collect();
    let f: Vec<Point3> = pairs.iter().map(|p| from[p.1]).collect();
    RigidFit::new(&t, &f)
}

/// Whether the points' distance across their line is within what their centres may be off.
pub(super) fn in_line(points: &[Point3], tolerance: f64) -> bool {
    main_line(points).3 < 2.0 * tolerance
}

/// Index and distance of the nearest of few points; none for an empty list.
pub(super) fn nearest(points: &[Point3], p: &Point3) -> Option<(usize, f64)> {
    points.iter().map(|q| (q - p).norm()).enumerate().min_by(|a, b| a.1.total_cmp(&b.1))
}

/// Distances of each point to the others, ascending.
fn sorted_distances(points: &[Point3]) -> Vec<Vec<f64>> {
    let row = |i: usize| {
        let others = points.iter().enumerate().filter(|&(j, _)| j != i);
        let mut distances: Vec<f64> = others.map(|(_, q)| (q - points[i]).norm()).collect();
        distances.sort_by(f64::total_cmp);
        distances
    };
    (0..points.len()).map(row).collect()
}

/// Largest number of entries of two ascending lists that can be paired within the tolerance.
fn equal_distances(p: &[f64], q: &[f64], tolerance: f64) -> usize {
    let (mut i, mut j, mut equal) = (0, 0, 0);
    while i < p.len() && j < q.len() {
        let difference = p[i] - q[j];
        if difference.abs() <= tolerance {
            equal += 1;
        }
        if difference <= tolerance {
            i += 1;
        }
        if difference >= -tolerance {
            j += 1;
        }
    }
    equal
}

/// Rounds of fit and pairing from one triple.
const ROUNDS: usize = 8;
/// Triples looked at, weighted by their cost, before a layout counts as too regular: some seconds.
const MOST_WORK: usize = 200_000_000;
/// Ways kept; more than two of the best are ambiguous anyway.
const MOST_CANDIDATES: usize = 64;
