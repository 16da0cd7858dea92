//! Tree of axis-aligned boxes over triangles.
//!
//! Built top-down, halving the longest side of the box of the centroids; boxes are kept in single
//! precision about the mesh's middle, rounded outward, so that they never lie (I. Wald 2007, On fast
//! construction of SAH-based bounding volume hierarchies; the split here is the plain middle, which
//! for the even triangles of scans is as good and twice as fast to build).

use crate::primitive::{Point3, Vec3};

/// Tree over the triangles of one mesh; children of a node are neighbours in memory.
#[derive(Debug)]
pub(super) struct Bvh {
    pub(super) nodes: Vec<Node>,
    /// Triangles in the order of the leaves.
    pub(super) order: Vec<u32>,
    /// Their corners, in the same order.
    pub(super) corners: Vec<[u32; 3]>,
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

#[derive(Clone, Copy)]
struct Item {
    low: [f32; 3],
    high: [f32; 3],
    id: u32,
}

impl Bvh {
    /// Tree of the triangles; empty for none.
    pub(super) fn new(points: &[Point3], triangles: &[[u32; 3]]) -> Self {
        let (low, high) = bounds(points);
        let middle = Point3::from((low.coords + high.coords) * 0.5);
        let mut items = items(points, triangles, &middle);
        let nodes = if items.is_empty() { Vec::new() } else { build(&mut items, 0) };
        let order: Vec<u32> = items.iter().map(|i| i.id).collect();
        let corners = order.iter().map(|&t| triangles[t as usize]).collect();
        Bvh { nodes, order, corners, middle }
    }
}

impl Node {
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

    /// Squared distance of the middles of two boxes, for telling apart boxes that overlap.
    #[inline]
    pub(super) fn squared_offset(&self, other: &Node, shift: &Vec3) -> f64 {
        let middle = |n: &Node, k: usize| 0.5 * (f64::from(n.low[k]) + f64::from(n.high[k]));
        (0..3).map(|k| (middle(other, k) + shift[k] - middle(self, k)).powi(2)).sum()
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

    /// The triangles of a leaf as a range of [`Bvh::order`].
    #[inline]
    pub(super) fn range(&self) -> std::ops::Range<usize> {
        self.first as usize..(self.first + self.count) as usize
    }
}

impl Item {
    /// Twice the middle of the box along an axis.
    #[inline]
    fn centre(&self, axis: usize) -> f32 {
        self.low[axis] + self.high[axis]
    }
}

/// Smallest and largest coordinates; the origin for no points.
pub(super) fn bounds(points: &[Point3]) -> (Point3, Point3) {
    let Some(first) = points.first() else { return (Point3::origin(), Point3::origin()) };
    points.iter().fold((*first, *first), |(l, h), p| (l.inf(p), h.sup(p)))
}

fn items(points: &[Point3], triangles: &[[u32; 3]], middle: &Point3) -> Vec<Item> {
    use rayon::prelude::*;
    let item = |(id, t): (usize, &[u32; 3])| {
        let c = t.map(|i| points[i as usize] - middle);
        let (l, h) = (c[0].inf(&c[1]).inf(&c[2]), c[0].sup(&c[1]).sup(&c[2]));
        Item { low: down(&l), high: up(&h), id: id as u32 }
    };
    triangles.par_iter().enumerate().with_min_len(CHUNK).map(item).collect()
}

/// Root first; `offset` is the position of the first item in the order of the leaves.
fn build(items: &mut [Item], offset: u32) -> Vec<Node> {
    let (mut node, axis, middle) = enclose(items, offset);
    if items.len() <= LEAF {
        return vec![node];
    }
    (node.first, node.count) = (1, 0);
    let cut = split(items, axis, middle);
    if items.len() <= CHUNK {
        let mut nodes = Vec::with_capacity(items.len());
        nodes.push(node);
        grow(&mut nodes, 0, items, cut, offset);
        return nodes;
    }
    let (a, b) = items.split_at_mut(cut);
    let (a, b) = rayon::join(|| build(a, offset), || build(b, offset + cut as u32));
    merge(node, &a, &b)
}

/// Fills in the subtree of an inner node whose items are already split at `cut`.
fn grow(nodes: &mut Vec<Node>, parent: usize, items: &mut [Item], cut: usize, offset: u32) {
    let at = nodes.len();
    nodes[parent].first = at as u32;
    nodes[parent].count = 0;
    let (a, b) = items.split_at_mut(cut);
    let (na, nb) = (enclose(a, offset), enclose(b, offset + cut as u32));
    nodes.extend([na.0, nb.0]);
    for (i, half, (_, axis, middle), start) in [(0, a, na, offset), (1, b, nb, offset + cut as u32)]
    {
        if half.len() > LEAF {
            let cut = split(half, axis, middle);
            grow(nodes, at + i, half, cut, start);
        }
    }
}

/// Root, then the two roots, then the rest of each half, with their links moved along.
fn merge(root: Node, a: &[Node], b: &[Node]) -> Vec<Node> {
    let moved =
        |n: &Node, by: u32| Node { first: if n.is_leaf() { n.first } else { n.first + by }, ..*n };
    let (by_a, by_b) = (2, a.len() as u32 + 1);
    let mut nodes = Vec::with_capacity(1 + a.len() + b.len());
    nodes.push(root);
    nodes.extend([moved(&a[0], by_a), moved(&b[0], by_b)]);
    nodes.extend(a[1..].iter().map(|n| moved(n, by_a)));
    nodes.extend(b[1..].iter().map(|n| moved(n, by_b)));
    nodes
}

/// Leaf over all items, the longest axis of their centres and its middle.
fn enclose(items: &[Item], offset: u32) -> (Node, usize, f32) {
    let mut node = Node {
        low: [f32::INFINITY; 3],
        high: [f32::NEG_INFINITY; 3],
        first: offset,
        count: items.len() as u32,
    };
    let (mut low, mut high) = ([f32::INFINITY; 3], [f32::NEG_INFINITY; 3]);
    for i in items {
        for k in 0..3 {
            node.low[k] = node.low[k].min(i.low[k]);
            node.high[k] = node.high[k].max(i.high[k]);
            low[k] = low[k].min(i.centre(k));
            high[k] = high[k].max(i.centre(k));
        }
    }
    let axis = (1..3).fold(0, |m, k| if high[k] - low[k] > high[m] - low[m] { k } else { m });
    (node, axis, 0.5 * (low[axis] + high[axis]))
}

/// Puts items before and after the middle; falls back to equal halves where that is lopsided.
fn split(items: &mut [Item], axis: usize, middle: f32) -> usize {
    let (mut i, mut j) = (0, items.len());
    while i < j {
        if items[i].centre(axis) < middle {
            i += 1;
        } else {
            j -= 1;
            items.swap(i, j);
        }
    }
    let n = items.len();
    if i.min(n - i) * LOPSIDED >= n {
        return i;
    }
    items.select_nth_unstable_by(n / 2, |a, b| {
        a.centre(axis).total_cmp(&b.centre(axis)).then(a.id.cmp(&b.id))
    });
    n / 2
}

fn down(v: &Vec3) -> [f32; 3] {
    [0, 1, 2].map(|k| (v[k] as f32).next_down())
}

fn up(v: &Vec3) -> [f32; 3] {
    [0, 1, 2].map(|k| (v[k] as f32).next_up())
}

/// Most triangles of a leaf.
const LEAF: usize = 4;
/// Items handled by one thread without sharing.
const CHUNK: usize = 16_384;
/// The smaller side of a split holds at least one in this many, so that depth stays bounded.
const LOPSIDED: usize = 16;
