//! Spatial index of points: a balanced kd-tree in one array (Bentley 1975, Multidimensional binary
//! search trees used for associative searching). Equal distances go to the lower id, so that answers do
//! not depend on the tree.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use crate::primitive::Point3;

/// Nearest-point queries over a fixed set of points, mm. Safe to use from any thread.
pub struct PointIndex {
    /// In tree order: the middle of a range splits it, until [`LEAF`] are left.
    entries: Vec<Entry>,
    /// Axis along which the entry at the same place splits its range.
    axes: Vec<u8>,
}

#[derive(Clone, Copy)]
struct Entry {
    at: [f64; 3],
    id: u32,
}

impl PointIndex {
    /// Index of points; their ids are their places in the slice (at most `u32::MAX`).
    #[must_use]
    pub fn new(points: &[Point3]) -> Self {
        let mut entries: Vec<Entry> =
            (0..).zip(points).map(|(id, p)| Entry { at: [p.x, p.y, p.z], id }).collect();
        let mut axes = vec![0; entries.len()];
        build(&mut entries, &mut axes);
        PointIndex { entries, axes }
    }

    /// Nearest point and its distance, mm; `None` without points or for a query that is not finite.
    #[must_use]
    pub fn nearest(&self, p: &Point3) -> Option<(u32, f64)> {
        self.nearest_within(p, f64::INFINITY)
    }

    /// The same up to a distance (mm), with less to look at: far points have many that are about as far.
    #[must_use]
    pub fn nearest_within(&self, p: &Point3, distance: f64) -> Option<(u32, f64)> {
        let mut best = Found { square: distance * distance, id: u32::MAX };
        self.visit(0, self.entries.len(), p, &mut |found| {
            if found < best {
                best = found;
            }
            best.square
        });
        (best.id != u32::MAX).then(|| (best.id, best.square.sqrt()))
    }

    /// The nearest `count` points with their distances, mm, nearest first.
    #[must_use]
    pub fn k_nearest(&self, p: &Point3, count: usize) -> Vec<(u32, f64)> {
        let count = count.min(self.entries.len());
        if count == 0 {
            return Vec::new();
        }
        let mut heap = BinaryHeap::with_capacity(count + 1);
        self.visit(0, self.entries.len(), p, &mut |found| {
            if heap.len() < count {
                heap.push(found);
            } else if heap.peek().is_some_and(|worst| found < *worst) {
                heap.pop();
                heap.push(found);
            }
            let full = heap.len() == count;
            heap.peek().filter(|_| full).map_or(f64::INFINITY, |worst| worst.square)
        });
        heap.into_sorted_vec().into_iter().map(|f| (f.id, f.square.sqrt())).collect()
    }

    /// Ids of all points within a distance (mm), ascending.
    #[must_use]
    pub fn within(&self, p: &Point3, distance: f64) -> Vec<u32> {
        let mut ids = Vec::new();
        if distance.is_nan() || distance < 0.0 {
            return ids;
        }
        let limit = distance * distance;
        self.visit(0, self.entries.len(), p, &mut |found| {
            if found.square <= limit {
                ids.push(found.id);
            }
            limit
        });
        ids.sort_unstable();
        ids
    }

    /// Shows `take` every point that may lie within the squared distance it answered last.
    fn visit(
        &self,
        from: usize,
        to: usize,
        p: &Point3,
        take: &mut impl FnMut(Found) -> f64,
    ) -> f64 {
        if to - from <= LEAF {
            return self.entries[from..to].iter().fold(f64::INFINITY, |_, e| take(e.found(p)));
        }
        let middle = from.midpoint(to);
        let split = &self.entries[middle];
        let axis = self.axes[middle] as usize;
        let side = p[axis] - split.at[axis];
        let (near, far) = if side < 0.0 {
            ((from, middle), (middle + 1, to))
        } else {
            ((middle + 1, to), (from, middle))
        };
        self.visit(near.0, near.1, p, take);
        let limit = take(split.found(p));
        if side * side <= limit { self.visit(far.0, far.1, p, take) } else { limit }
    }
}

impl Entry {
    fn found(&self, p: &Point3) -> Found {
        let [x, y, z] = self.at;
        let (x, y, z) = (x - p.x, y - p.y, z - p.z);
        Found { square: x * x + y * y + z * z, id: self.id }
    }
}

/// A candidate, ordered by distance, then id.
#[derive(Clone, Copy)]
struct Found {
    square: f64,
    id: u32,
}

impl Ord for Found {
    fn cmp(&self, other: &Self) -> Ordering {
        self.square.total_cmp(&other.square).then(self.id.cmp(&other.id))
    }
}

impl PartialOrd for Found {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Found {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Found {}

fn build(entries: &mut [Entry], axes: &mut [u8]) {
    if entries.len() <= LEAF {
        return;
    }
    let middle = entries.len() / 2;
    let axis = widest(entries);
    axes[middle] = axis as u8;
    entries.select_nth_unstable_by(middle, |a, b| {
        a.at[axis].total_cmp(&b.at[axis]).then(a.id.cmp(&b.id))
    });
    let (low, high) = entries.split_at_mut(middle);
    let (low_axes, high_axes) = axes.split_at_mut(middle);
    let (high, high_axes) = (&mut high[1..], &mut high_axes[1..]);
    if middle < ALONE {
        build(low, low_axes);
        build(high, high_axes);
    } else {
        rayon::join(|| build(low, low_axes), || build(high, high_axes));
    }
}

/// Axis of the largest extent.
fn widest(entries: &[Entry]) -> usize {
    let mut low = entries[0].at;
    let mut high = low;
    for e in entries {
        for axis in 0..3 {
            low[axis] = low[axis].min(e.at[axis]);
            high[axis] = high[axis].max(e.at[axis]);
        }
    }
    let extent = |axis: &usize| high[*axis] - low[*axis];
    (0..3).rev().max_by(|a, b| extent(a).total_cmp(&extent(b))).unwrap_or(0)
}

const LEAF: usize = 12;
/// Ranges below this are not worth another task.
const ALONE: usize = 1 << 13;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::testing::Random;

    fn square(a: &Point3, b: &Point3) -> f64 {
        Entry { at: [a.x, a.y, a.z], id: 0 }.found(b).square
    }

    /// Every query against a plain search over all points, on points with many equal coordinates.
    #[test]
    fn queries_agree_with_plain_search() {
        let mut random = Random::new(1);
        let mut coarse = || (random.uniform() * 6.0).floor();
        let points: Vec<Point3> =
            (0..900).map(|_| Point3::new(coarse(), coarse(), coarse())).collect();
        let index = PointIndex::new(&points);
        let mut random = Random::new(2);
        for _ in 0..200 {
            let mut any = || random.uniform() * 7.0 - 0.5;
            let p = Point3::new(any(), any().round(), any());
            let mut all: Vec<Found> =
                (0..).zip(&points).map(|(id, q)| Found { square: square(q, &p), id }).collect();
            all.sort_unstable();
            let expected: Vec<(u32, f64)> =
                all[..17].iter().map(|f| (f.id, f.square.sqrt())).collect();
            assert_eq!(index.k_nearest(&p, 17), expected);
            assert_eq!(index.nearest(&p), Some(expected[0]));
            let mut near: Vec<u32> =
                all.iter().filter(|f| f.square <= 2.25).map(|f| f.id).collect();
            near.sort_unstable();
            assert_eq!(index.within(&p, 1.5), near);
        }
    }

    #[test]
    fn ten_thousand_equal_points_are_one_place() {
        let points = vec![Point3::new(1.0, 2.0, 3.0); 10_000];
        let index = PointIndex::new(&points);
        assert_eq!(index.nearest(&Point3::origin()), Some((0, 14f64.sqrt())));
        let ids: Vec<u32> = index.k_nearest(&points[0], 5).into_iter().map(|f| f.0).collect();
        assert_eq!(ids, [0, 1, 2, 3, 4]);
        assert_eq!(index.within(&points[0], 0.0).len(), 10_000);
    }

    #[test]
    fn odd_queries_do_not_panic() {
        let index = PointIndex::new(&[Point3::origin()]);
        assert_eq!(index.nearest(&Point3::new(f64::NAN, 0.0, 0.0)), None);
        assert!(index.within(&Point3::origin(), f64::NAN).is_empty());
        assert!(PointIndex::new(&[]).nearest(&Point3::origin()).is_none());
        assert!(PointIndex::new(&[]).k_nearest(&Point3::origin(), 3).is_empty());
    }
}
