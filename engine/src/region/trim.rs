//! Trimming a region back from where it ends: edges scan round, and borders of a scan curl.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::Region;

impl Region {
    /// The region without its points nearer than `distance` (mm, measured along the surface from
    /// neighbour to neighbour) to an edge of the region or of the scan.
    ///
    /// May come out empty: the caller decides what is too little.
    #[must_use]
    pub fn trimmed(&self, distance: f64) -> Self {
        let from_edge = self.distance_from_edge();
        let keep = self.ids.iter().zip(&from_edge).filter(|(_, d)| **d > distance);
        Region { scan: self.scan.clone(), ids: keep.map(|(&i, _)| i).collect(), pick: self.pick }
    }

    /// Trims by `distance`, or by less where that would leave under half of the points: a narrow
    /// ring of a face is worth more than a clean edge. Returns the distance really used.
    #[must_use]
    pub fn trimmed_at_most(&self, distance: f64) -> (Self, f64) {
        let mut from_edge = self.distance_from_edge();
        from_edge.sort_unstable_by(f64::total_cmp);
        let half = from_edge.get(from_edge.len() / 2).copied().unwrap_or(0.0);
        let used = distance.min(half * KEEP_HALF);
        (self.trimmed(used), used)
    }

    /// Distance of each point from the region's nearest edge, along the mesh, mm; edge points 0.
    fn distance_from_edge(&self) -> Vec<f64> {
        let points = self.scan.points();
        let place = |id: u32| self.ids.binary_search(&id).ok();
        let mut best = vec![f64::INFINITY; self.ids.len()];
        let mut queue = BinaryHeap::new();
        for (k, &id) in self.ids.iter().enumerate() {
            let ends = self.scan.is_border(id)
                || self.scan.neighbours(id).iter().any(|&n| place(n).is_none());
            if ends {
                best[k] = 0.0;
                queue.push(Reverse((Length(0.0), k)));
            }
        }
        while let Some(Reverse((Length(d), k))) = queue.pop() {
            if d > best[k] {
                continue;
            }
            let id = self.ids[k];
            for &n in self.scan.neighbours(id) {
                let Some(m) = place(n) else { continue };
                let next = d + (points[n as usize] - points[id as usize]).norm();
                if next < best[m] {
                    best[m] = next;
                    queue.push(Reverse((Length(next), m)));
                }
            }
        }
        best
    }
}

/// A length with the total order of its bits, for the queue.
#[derive(PartialEq)]
struct Length(f64);

impl Eq for Length {}

impl PartialOrd for Length {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Length {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

/// Just under the median distance, so that the points at the median stay.
const KEEP_HALF: f64 = 0.999;
