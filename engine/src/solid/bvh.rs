//! Tree of axis-aligned boxes over triangles.
//!
//! The triangles are brought into the order of a curve that fills space, and the tree follows the bits of
//! their places on it: each cell of space is halved across its longest side as long as it holds more
//! than a few (G. Morton 1966; C. Lauterbach et al. 2009, Fast BVH construction on GPUs). One sort in
//! the place of twenty passes over all triangles; for the even triangles of scans the tree is as
//! good. Boxes are kept in single precision about the mesh's middle, rounded outward, so that they
//! never lie.

use rayon::prelude::*;

use super::wide::Wide;
use crate::primitive::{Point3, Vec3};

/// Tree over the triangles of one mesh; children of a node are neighbours in memory.
#[derive(Debug)]
pub(super) struct Bvh {
    pub(super) nodes: Vec<Node>,
    /// Triangles in the order of the leaves.
    pub(super) order: Vec<u32>,
    /// Their corners, in the same order.
    pub(super) corners: Vec<[u32; 3]>,
    /// The same leaves under closer boxes, for distances.
    pub(super) wide: Wide,
    /// Point that the boxes are relative to, mm.
    pub(super) middle: Point3,
}

/// Box with either two children at `first`, `first + 1` (count 0) or `count` triangles from `first`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Node {
    pub(super) low: [f32; 3],
    pub(super) high: [f32; 3],
    pub(super) first: u32,
    pub(super) count: u32,
}

/// A triangle by its place on the curve.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Item {
    place: u64,
    id: u32,
}

/// What the boxes are made from.
struct Shapes<'a> {
    points: &'a [Point3],
    triangles: &'a [[u32; 3]],
    middle: Point3,
}

impl Bvh {
    /// Tree of the triangles; empty for none.
    pub(super) fn new(points: &[Point3], triangles: &[[u32; 3]]) -> Self {
        let (low, high) = bounds(points);
        let middle = Point3::from((low.coords + high.coords) * 0.5);
        let shapes = Shapes { points, triangles, middle };
        let items = shapes.items((high - low).amax());
        let nodes = if items.is_empty() { Vec::new() } else { shapes.build(&items, 0) };
        let order: Vec<u32> = items.iter().map(|i| i.id).collect();
        let corners: Vec<[u32; 3]> = order.iter().map(|&t| triangles[t as usize]).collect();
        let wide = Wide::new(&nodes, &corners, points, &middle);
        Bvh { nodes, order, corners, wide, middle }
    }
}

impl Node {
    const EMPTY: Node =
        Node { low: [f32::INFINITY; 3], high: [f32::NEG_INFINITY; 3], first: 0, count: 0 };

    /// Inner node over this and another, which lie at `first`.
    fn around(&self, other: &Node, first: u32) -> Node {
        let mut node = Node { first, count: 0, ..*self };
        for k in 0..3 {
            node.low[k] = smaller(node.low[k], other.low[k]);
            node.high[k] = larger(node.high[k], other.high[k]);
        }
        node
    }

    /// Squared distance of a point (relative to the tree's middle) from the box.
    #[inline]
    pub(super) fn squared_distance(&self, p: &Vec3) -> f64 {
        let mut sum = 0.0;
        for k in 0..3 {
            let d = (f64::from(self.low[k]) - p[k]).max(p[k] - f64::from(self.high[k])).max(0.0);
            sum += d * d;
        }
        sum
    }

    /// Squared distance from another box whose tree's middle lies at `shift` from this one's.
    #[inline]
    pub(super) fn squared_gap(&self, other: &Node, shift: &Vec3) -> f64 {
        let mut sum = 0.0;
        for k in 0..3 {
            let below = f64::from(other.low[k]) + shift[k] - f64::from(self.high[k]);
            let above = f64::from(self.low[k]) - f64::from(other.high[k]) - shift[k];
            let d = below.max(above).max(0.0);
            sum += d * d;
        }
        sum
    }

    #[inline]
    pub(super) fn is_leaf(&self) -> bool {
        self.count > 0
    }

    /// Longest side, mm.
    #[inline]
    pub(super) fn size(&self) -> f32 {
        (0..3).map(|k| self.high[k] - self.low[k]).fold(0.0, f32::max)
    }

    /// Axis of the longest side.
    #[inline]
    pub(super) fn longest(&self) -> usize {
        let side = |k: usize| self.high[k] - self.low[k];
        (1..3).fold(0, |m, k| if side(k) > side(m) { k } else { m })
    }

    /// The triangles of a leaf as a range of [`Bvh::order`].
    #[inline]
    pub(super) fn range(&self) -> std::ops::Range<usize> {
        self.first as usize..(self.first + self.count) as usize
    }
}

/// Smallest and largest coordinates; the origin for no points.
pub(super) fn bounds(points: &[Point3]) -> (Point3, Point3) {
    let Some(first) = points.first() else { return (Point3::origin(), Point3::origin()) };
    points.iter().fold((*first, *first), |(l, h), p| (l.inf(p), h.sup(p)))
}

impl Shapes<'_> {
    /// The triangles in the order of the curve through a cube of the given side; those of one
    /// place by number.
    fn items(&self, side: f64) -> Vec<Item> {
        let scale = if side > 0.0 { f64::from(CELLS) / side } else { 0.0 };
        let place = |t: &[u32; 3]| {
            let mut place = 0;
            for k in 0..3 {
                let [a, b, c] = [t[0], t[1], t[2]].map(|i| self.points[i as usize][k]);
                let twice = smaller(smaller(a, b), c) + larger(larger(a, b), c);
                let cell = (0.5 * twice - self.middle[k]) * scale + f64::from(CELLS) / 2.0;
                place |= spread(cell.clamp(0.0, f64::from(CELLS - 1)) as u64) << k;
            }
            place
        };
        let item = |(id, t): (usize, &[u32; 3])| Item { place: place(t), id: id as u32 };
        let mut items: Vec<Item> =
            self.triangles.par_iter().enumerate().with_min_len(CHUNK).map(item).collect();
        items.par_sort_unstable();
        items
    }

    /// Root first; `offset` is the position of the first item in the order of the leaves.
    fn build(&self, items: &[Item], offset: u32) -> Vec<Node> {
        if items.len() <= CHUNK {
            let mut nodes = Vec::with_capacity(items.len());
            nodes.push(Node::EMPTY);
            nodes[0] = self.grow(&mut nodes, items, offset);
            return nodes;
        }
        let cut = split(items);
        let (a, b) = items.split_at(cut);
        let (a, b) = rayon::join(|| self.build(a, offset), || self.build(b, offset + cut as u32));
        merge(&a, &b)
    }

    /// Node over the items, its descendants appended.
    fn grow(&self, nodes: &mut Vec<Node>, items: &[Item], offset: u32) -> Node {
        if items.len() <= LEAF {
            return self.leaf(items, offset);
        }
        let at = nodes.len();
        nodes.extend([Node::EMPTY; 2]);
        let cut = split(items);
        let (a, b) = items.split_at(cut);
        nodes[at] = self.grow(nodes, a, offset);
        nodes[at + 1] = self.grow(nodes, b, offset + cut as u32);
        nodes[at].around(&nodes[at + 1], at as u32)
    }

    fn leaf(&self, items: &[Item], offset: u32) -> Node {
        let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
        for i in items {
            for c in self.triangles[i.id as usize] {
                let p = &self.points[c as usize];
                for k in 0..3 {
                    low[k] = smaller(low[k], p[k]);
                    high[k] = larger(high[k], p[k]);
                }
            }
        }
        let mut node = Node { first: offset, count: items.len() as u32, ..Node::EMPTY };
        for k in 0..3 {
            node.low[k] = ((low[k] - self.middle[k]) as f32).next_down();
            node.high[k] = ((high[k] - self.middle[k]) as f32).next_up();
        }
        node
    }
}

/// Root, then the two roots, then the rest of each half, with their links moved along.
fn merge(a: &[Node], b: &[Node]) -> Vec<Node> {
    let moved =
        |n: &Node, by: u32| Node { first: if n.is_leaf() { n.first } else { n.first + by }, ..*n };
    let (by_a, by_b) = (2, a.len() as u32 + 1);
    let mut nodes = Vec::with_capacity(1 + a.len() + b.len());
    nodes.push(a[0].around(&b[0], 1));
    nodes.extend([moved(&a[0], by_a), moved(&b[0], by_b)]);
    nodes.extend(a[1..].iter().map(|n| moved(n, by_a)));
    nodes.extend(b[1..].iter().map(|n| moved(n, by_b)));
    nodes
}

/// Where the highest bit in which the places differ changes; half way where all are one, or where
/// so few lie on one side that the tree would grow deep.
fn split(items: &[Item]) -> usize {
    let n = items.len();
    let (first, last) = (items[0].place, items[n - 1].place);
    if first == last {
        return n / 2;
    }
    let bit = 63 - (first ^ last).leading_zeros();
    let border = (last >> bit) << bit;
    let cut = items.partition_point(|i| i.place < border);
    if cut.min(n - cut) * LOPSIDED >= n { cut } else { n / 2 }
}

/// Puts two empty bits after each of the lowest 21.
fn spread(cell: u64) -> u64 {
    let mut x = cell & 0x1f_ffff;
    x = (x | x << 32) & 0x001f_0000_0000_ffff;
    x = (x | x << 16) & 0x001f_0000_ff00_00ff;
    x = (x | x << 8) & 0x100f_00f0_0f00_f00f;
    x = (x | x << 4) & 0x10c3_0c30_c30c_30c3;
    (x | x << 2) & 0x1249_2492_4924_9249
}

/// The smaller of two numbers; `min` takes care of what is no number, which costs several instructions.
#[inline(always)]
pub(super) fn smaller<T: PartialOrd>(a: T, b: T) -> T {
    if b < a { b } else { a }
}

/// The larger of two numbers.
#[inline(always)]
pub(super) fn larger<T: PartialOrd>(a: T, b: T) -> T {
    if b > a { b } else { a }
}

/// Most triangles of a leaf.
const LEAF: usize = 4;
/// Cells of the curve along one side, as many as fit three times in a number.
const CELLS: u32 = 1 << 21;
/// Items handled by one thread without sharing.
const CHUNK: usize = 16_384;
/// The smaller side of a split holds at least one in this many, so that depth stays bounded.
const LOPSIDED: usize = 16;
