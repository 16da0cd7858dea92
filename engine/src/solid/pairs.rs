//! Two meshes: least distance with witness points, and all touching triangle pairs.
//!
//! Both trees are descended together, the larger box first, nearer pairs before farther ones
//! (E. Larsen, S. Gottschalk, M. Lin, D. Manocha 2000, Fast distance queries with rectangular swept
//! sphere volumes; here with plain boxes).

use std::ops::Range;

use rayon::prelude::*;

use super::Mesh;
use super::bvh::Node;
use super::triangle::{touch, triangle_gap};
use super::wide::Lane;
use crate::primitive::{Point3, Vec3};

/// Nearest places of two meshes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Witness {
    /// Least distance, mm; 0 where the meshes touch.
    pub(crate) distance: f64,
    /// On the first mesh, mm.
    pub(crate) on_a: Point3,
    /// On the second mesh, mm.
    pub(crate) on_b: Point3,
    /// Triangle of the first mesh.
    pub(crate) triangle_a: u32,
    /// Triangle of the second mesh.
    pub(crate) triangle_b: u32,
}

impl Mesh {
    /// Least distance to another mesh below `reach` (mm), with its witness points.
    pub(crate) fn least_distance(&self, other: &Mesh, reach: f64) -> Option<Witness> {
        let shift = other.bvh.middle - self.bvh.middle;
        let search = Search { a: self, b: other, shift };
        let mut best = (reach * reach, None);
        let mut stack: Vec<(f64, Lane, Lane)> = Vec::with_capacity(256);
        let (Some(a), Some(b)) = (self.bvh.wide.nodes.first(), other.bvh.wide.nodes.first()) else {
            return None;
        };
        for a in a.lanes() {
            stack.extend(b.lanes().map(|b| (a.squared_gap(&b, &shift), a, b)));
        }
        search.nearest_last(&mut stack);
        while let Some((bound, a, b)) = stack.pop() {
            if bound >= best.0 {
                continue;
            }
            let start = stack.len();
            let below = |mesh: &'_ Mesh, lane: &Lane| mesh.bvh.wide.nodes[lane.held.node()];
            match (a.held.triangles(), b.held.triangles()) {
                (Some(of_a), Some(of_b)) => search.compare(of_a, of_b, &mut best),
                (of_a, of_b) if of_a.is_none() && (of_b.is_some() || a.size() >= b.size()) => {
                    let four = below(self, &a);
                    stack.extend(four.lanes().map(|a| (a.squared_gap(&b, &shift), a, b)));
                }
                _ => {
                    let four = below(other, &b);
                    stack.extend(four.lanes().map(|b| (a.squared_gap(&b, &shift), a, b)));
                }
            }
            let mut own = stack.split_off(start);
            own.retain(|c| c.0 < best.0);
            search.nearest_last(&mut own);
            stack.append(&mut own);
        }
        best.1
    }

    /// All pairs of touching triangles, ascending.
    pub(crate) fn touching_pairs(&self, other: &Mesh) -> Vec<(u32, u32)> {
        let search = Search { a: self, b: other, shift: other.bvh.middle - self.bvh.middle };
        let mut front = vec![(0, 0)];
        if self.bvh.nodes.is_empty() || other.bvh.nodes.is_empty() {
            return Vec::new();
        }
        // Enough independent pieces for every thread; their number depends on the data alone.
        while front.len() < PIECES {
            let next: Vec<_> = front.iter().flat_map(|&(i, j)| search.overlapping(i, j)).collect();
            if next.len() <= front.len() && next == front || next.is_empty() {
                front = next;
                break;
            }
            front = next;
        }
        let mut pairs: Vec<(u32, u32)> =
            front.par_iter().flat_map_iter(|&(i, j)| search.touching(i, j)).collect();
        pairs.sort_unstable();
        pairs
    }
}

struct Search<'a> {
    a: &'a Mesh,
    b: &'a Mesh,
    /// From the middle of the first tree to the middle of the second.
    shift: Vec3,
}

impl Search<'_> {
    fn nodes(&self, i: u32, j: u32) -> (&Node, &Node) {
        (&self.a.bvh.nodes[i as usize], &self.b.bvh.nodes[j as usize])
    }

    fn gap(&self, i: u32, j: u32) -> f64 {
        let (a, b) = self.nodes(i, j);
        a.squared_gap(b, &self.shift)
    }

    /// Puts the nearest pair last; boxes that overlap alike are told apart by their middles.
    fn nearest_last(&self, pairs: &mut [(f64, Lane, Lane)]) {
        let offset = |c: &(f64, Lane, Lane)| c.1.squared_offset(&c.2, &self.shift);
        pairs.sort_by(|x, y| y.0.total_cmp(&x.0).then_with(|| offset(y).total_cmp(&offset(x))));
    }

    /// The two pairs below a pair that is not two leaves.
    fn children(&self, i: u32, j: u32) -> [(f64, u32, u32); 2] {
        let (a, b) = self.nodes(i, j);
        let open_a = !a.is_leaf() && (b.is_leaf() || a.size() >= b.size());
        let pairs = if open_a {
            [(a.first, j), (a.first + 1, j)]
        } else {
            [(i, b.first), (i, b.first + 1)]
        };
        pairs.map(|(i, j)| (self.gap(i, j), i, j))
    }

    fn compare(&self, a: Range<usize>, b: Range<usize>, best: &mut (f64, Option<Witness>)) {
        for ka in a {
            let ta = self.a.corners_in_order(ka);
            let (low, high) = extent(&ta);
            for kb in b.clone() {
                let tb = self.b.corners_in_order(kb);
                let (l, h) = extent(&tb);
                let apart = (l - high).sup(&(low - h)).sup(&Vec3::zeros());
                if apart.norm_squared() >= best.0 {
                    continue;
                }
                let gap = triangle_gap(&ta, &tb);
                if gap.squared < best.0 {
                    let witness = Witness {
                        distance: gap.squared.sqrt(),
                        on_a: gap.on_a,
                        on_b: gap.on_b,
                        triangle_a: self.a.bvh.order[ka],
                        triangle_b: self.b.bvh.order[kb],
                    };
                    *best = (gap.squared, Some(witness));
                }
            }
        }
    }

    fn overlapping(&self, i: u32, j: u32) -> Vec<(u32, u32)> {
        let (a, b) = self.nodes(i, j);
        if a.is_leaf() && b.is_leaf() {
            return vec![(i, j)];
        }
        self.children(i, j).iter().filter(|c| c.0 <= 0.0).map(|&(_, i, j)| (i, j)).collect()
    }

    fn touching(&self, i: u32, j: u32) -> Vec<(u32, u32)> {
        let mut pairs = Vec::new();
        let mut stack = vec![(i, j)];
        while let Some((i, j)) = stack.pop() {
            let (a, b) = self.nodes(i, j);
            if !(a.is_leaf() && b.is_leaf()) {
                stack.extend(
                    self.children(i, j).iter().filter(|c| c.0 <= 0.0).map(|&(_, i, j)| (i, j)),
                );
                continue;
            }
            for ka in a.range() {
                let ta = self.a.corners_in_order(ka);
                let (low, high) = extent(&ta);
                for kb in b.range() {
                    let tb = self.b.corners_in_order(kb);
                    let (l, h) = extent(&tb);
                    if (l - high).max() <= 0.0 && (low - h).max() <= 0.0 && touch(&ta, &tb) {
                        pairs.push((self.a.bvh.order[ka], self.b.bvh.order[kb]));
                    }
                }
            }
        }
        pairs
    }
}

fn extent(t: &[Point3; 3]) -> (Point3, Point3) {
    (t[0].inf(&t[1]).inf(&t[2]), t[0].sup(&t[1]).sup(&t[2]))
}

/// Independent pieces the search for touching pairs is divided into.
const PIECES: usize = 64;
