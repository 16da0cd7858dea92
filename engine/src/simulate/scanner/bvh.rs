//! Boxes round the triangles of a mesh, for the question whether anything stands in a line of sight.
//!
//! Method: triangles sorted along a Morton curve, a complete binary tree of boxes over runs of them,
//! after Lauterbach et al. (2009), "Fast BVH construction on GPUs"; ray and triangle after Möller
//! and Trumbore (1997), "Fast, minimum storage ray/triangle intersection".

use rayon::prelude::*;

use crate::primitive::{Point3, Vec3};

/// Tree of boxes over a mesh.
pub(super) struct Bvh {
    /// Node i has the children 2i and 2i + 1; the leaves are the last half.
    boxes: Vec<(Point3, Point3)>,
    /// Corner, and the two edges from it, in the tree's order.
    triangles: Vec<[Vec3; 3]>,
    leaves: usize,
}

impl Bvh {
    pub(super) fn new(points: &[Point3], triangles: &[[u32; 3]]) -> Self {
        let bounds = points.iter().fold(EMPTY, |(l, h), p| (l.inf(p), h.sup(p)));
        let corners = |t: &[u32; 3]| t.map(|i| points[i as usize]);
        let mut order: Vec<(u64, u32)> = triangles
            .par_iter()
            .enumerate()
            .map(|(i, t)| {
                let [a, b, c] = corners(t);
                (morton(&((a.coords + b.coords + c.coords) / 3.0), &bounds), i as u32)
            })
            .collect();
        order.par_sort_unstable();
        let sorted: Vec<[Point3; 3]> =
            order.par_iter().map(|&(_, i)| corners(&triangles[i as usize])).collect();
        let leaves = sorted.len().div_ceil(LEAF).max(1).next_power_of_two();
        let mut boxes = vec![EMPTY; 2 * leaves];
        for (leaf, chunk) in sorted.chunks(LEAF).enumerate() {
            boxes[leaves + leaf] =
                chunk.iter().flatten().fold(EMPTY, |(l, h), p| (l.inf(p), h.sup(p)));
        }
        for i in (1..leaves).rev() {
            let (a, b) = (boxes[2 * i], boxes[2 * i + 1]);
            boxes[i] = (a.0.inf(&b.0), a.1.sup(&b.1));
        }
        let triangles = sorted.iter().map(|[a, b, c]| [a.coords, b - a, c - a]).collect();
        Bvh { boxes, triangles, leaves }
    }

    /// Whether any triangle meets the open segment between two points.
    pub(super) fn blocked(&self, from: &Point3, to: &Point3) -> bool {
        let ray = to - from;
        let inverse = ray.map(f64::recip);
        let mut stack = vec![1usize];
        while let Some(node) = stack.pop() {
            if !meets(&self.boxes[node], from, &inverse) {
                continue;
            }
            if node < self.leaves {
                stack.extend([2 * node, 2 * node + 1]);
                continue;
            }
            let first = (node - self.leaves) * LEAF;
            let last = (first + LEAF).min(self.triangles.len());
            if self.triangles[first.min(last)..last].iter().any(|t| crosses(t, from, &ray)) {
                return true;
            }
        }
        false
    }
}

fn meets((low, high): &(Point3, Point3), from: &Point3, inverse: &Vec3) -> bool {
    if low.x > high.x {
        return false; // The tree is padded with empty leaves.
    }
    let (mut enter, mut leave) = (0.0f64, 1.0f64);
    for a in 0..3 {
        let (s, t) = ((low[a] - from[a]) * inverse[a], (high[a] - from[a]) * inverse[a]);
        enter = enter.max(s.min(t));
        leave = leave.min(s.max(t));
    }
    enter <= leave
}

fn crosses([a, e, f]: &[Vec3; 3], from: &Point3, ray: &Vec3) -> bool {
    let p = ray.cross(f);
    let det = e.dot(&p);
    if det == 0.0 {
        return false;
    }
    let s = from.coords - a;
    let u = s.dot(&p) / det;
    if !(0.0..=1.0).contains(&u) {
        return false;
    }
    let q = s.cross(e);
    let v = ray.dot(&q) / det;
    let t = f.dot(&q) / det;
    v >= 0.0 && u + v <= 1.0 && t > 0.0 && t < 1.0
}

/// Place along the Morton curve, 21 bits an axis.
fn morton(p: &Vec3, (low, high): &(Point3, Point3)) -> u64 {
    let size = (high - low).max().max(f64::MIN_POSITIVE);
    let spread = |x: f64| {
        let mut x = (x / size * 2_097_151.0) as u64;
        for (shift, mask) in SPREAD {
            x = (x | x << shift) & mask;
        }
        x
    };
    let v = p - low.coords;
    spread(v.x) | spread(v.y) << 1 | spread(v.z) << 2
}

const SPREAD: [(u32, u64); 5] = [
    (32, 0x001f_0000_0000_ffff),
    (16, 0x001f_0000_ff00_00ff),
    (8, 0x100f_00f0_0f00_f00f),
    (4, 0x10c3_0c30_c30c_30c3),
    (2, 0x1249_2492_4924_9249),
];
const EMPTY: (Point3, Point3) = (
    Point3::new(f64::INFINITY, f64::INFINITY, f64::INFINITY),
    Point3::new(f64::NEG_INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY),
);
/// Triangles a leaf.
const LEAF: usize = 4;
