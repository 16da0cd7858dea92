//! Two meshes: least distance with witness points, and all touching triangle pairs.
//!
//! Both trees are descended together, the larger box first, nearer pairs before farther ones
//! (E. Larsen, S. Gottschalk, M. Lin, D. Manocha 2000, Fast distance queries with rectangular swept
//! sphere volumes; here with plain boxes).

use rayon::prelude::*;

use super::Mesh;
use super::bvh::Node;
use super::triangle::{touch, triangle_gap};
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
        let search = Search { a: self, b: other, shift: other.bvh.middle - self.bvh.middle };
        let mut best = (reach * reach, None);
        let mut stack = Vec::with_capacity(256);
        if let (Some(a), Some(b)) = (self.bvh.nodes.first(), other.bvh.nodes.first()) {
            stack.push((a.squared_gap(b, &search.shift), 0, 0));
        }
        while let Some((bound, i, j)) = stack.pop() {
            if bound >= best.0 {
                continue;
            }
            let (a, b) = search.nodes(i, j);
            if a.is_leaf() && b.is_leaf() {
                search.compare(a, b, &mut best);
                continue;
            }
            let mut children = search.children(i, j);
            // Boxes that overlap alike are told apart by their middles.
            let key = |c: &(f64, u32, u32)| (c.0, search.offset(c.1, c.2));
            if key(&children[0]) < key(&children[1]) {
                children.swap(0, 1);
            }
            stack.extend(children.into_iter().filter(|c| c.0 < best.0));
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

    fn offset(&self, i: u32, j: u32) -> f64 {
        let (a, b) = self.nodes(i, j);
        a.squared_offset(b, &self.shift)
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

    fn compare(&self, a: &Node, b: &Node, best: &mut (f64, Option<Witness>)) {
        for ka in a.range() {
            let ta = self.a.corners_in_order(ka);
            let (low, high) = extent(&ta);
            for kb in b.range() {
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
