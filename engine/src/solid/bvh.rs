//! Tree of axis-aligned boxes over triangles.
//!
//! The triangles are brought into the order of a curve that fills space, and the tree follows the bits of
//! their places on it: each cell of space is halved across its longest side as long as it holds more
//! than a few (G. Morton 1966; C. Lauterbach et al. 2009, Fast BVH construction on GPUs). One sort in
//! the place of twenty passes over all triangles; for the even triangles of scans the tree is as
//! good. Boxes are kept in single precision about the mesh's middle, rounded outward, so that they
//! never lie.

use std::ops::Range;

use rayon::prelude::*;

use super::wide::{Family, Held, Part, Wide, families};
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

/// A triangle relative to the tree's middle in single precision, by coordinate; the last corner twice, for the
/// vector unit.
#[derive(Clone, Copy)]
pub(super) struct Flat(pub(super) [[f32; 4]; 3]);

/// The tree over a share of the triangles, root first, and how the tree of four children follows from it.
struct Subtree {
    nodes: Vec<Node>,
    families: Vec<Family>,
}

impl Bvh {
    /// Tree of the triangles; empty for none.
    pub(super) fn new(points: &[Point3], triangles: &[[u32; 3]]) -> Self {
        let (low, high) = bounds(points);
        let middle = Point3::from((low.coords + high.coords) * 0.5);
        let side = (high - low).amax();
        let items = items(points, triangles, &middle, side);
        let order: Vec<u32> = items.par_iter().with_min_len(CHUNK).map(|i| i.id).collect();
        let of = |t: &u32| triangles[*t as usize];
        let corners: Vec<[u32; 3]> = order.par_iter().with_min_len(CHUNK).map(of).collect();
        let flat = |t: &[u32; 3]| {
            let [a, b, c] = t.map(|i| points[i as usize] - middle);
            Flat([0, 1, 2].map(|k| [a[k] as f32, b[k] as f32, c[k] as f32, c[k] as f32]))
        };
        let flats: Vec<Flat> = corners.par_iter().with_min_len(CHUNK).map(flat).collect();
        let mut shares = Vec::new();
        if !items.is_empty() {
            share(&items, 0, &mut shares);
        }
        let subtree = |own: &Range<usize>| Subtree::new(&items, &flats, own.clone());
        let subtrees: Vec<Subtree> = shares.par_iter().map(subtree).collect();
        let (nodes, wide) = joined(&items, subtrees, &flats, side);
        Bvh { nodes, order, corners, wide, middle }
    }
}

impl Flat {
    /// Twice the area along the normal.
    #[inline]
    pub(super) fn normal(&self) -> [f32; 3] {
        let Flat([x, y, z]) = self;
        let side = |c: &[f32; 4], k: usize| c[k] - c[0];
        let (u, v) = ([side(x, 1), side(y, 1), side(z, 1)], [side(x, 2), side(y, 2), side(z, 2)]);
        [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]]
    }
}

impl Node {
    const EMPTY: Node =
        Node { low: [f32::INFINITY; 3], high: [f32::NEG_INFINITY; 3], first: 0, count: 0 };

    /// The same with the nodes below it moved along.
    fn moved(&self, by: u32) -> Node {
        Node { first: if self.is_leaf() { self.first } else { self.first + by }, ..*self }
    }

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
    pub(super) fn range(&self) -> Range<usize> {
        self.first as usize..(self.first + self.count) as usize
    }
}

/// Smallest and largest coordinates; the origin for no points.
pub(super) fn bounds(points: &[Point3]) -> (Point3, Point3) {
    let Some(first) = points.first() else { return (Point3::origin(), Point3::origin()) };
    points.iter().fold((*first, *first), |(l, h), p| (l.inf(p), h.sup(p)))
}

/// The triangles in the order of the curve through a cube of the given side; those of one place by number.
fn items(points: &[Point3], triangles: &[[u32; 3]], middle: &Point3, side: f64) -> Vec<Item> {
    let scale = if side > 0.0 { f64::from(CELLS) / side } else { 0.0 };
    let place = |t: &[u32; 3]| {
        let mut place = 0;
        for k in 0..3 {
            let [a, b, c] = [t[0], t[1], t[2]].map(|i| points[i as usize][k]);
            let twice = smaller(smaller(a, b), c) + larger(larger(a, b), c);
            let cell = (0.5 * twice - middle[k]) * scale + f64::from(CELLS) / 2.0;
            place |= spread(cell.clamp(0.0, f64::from(CELLS - 1)) as u64) << k;
        }
        place
    };
    let item = |(id, t): (usize, &[u32; 3])| Item { place: place(t), id: id as u32 };
    let mut items: Vec<Item> =
        triangles.par_iter().enumerate().with_min_len(CHUNK).map(item).collect();
    items.par_sort_unstable();
    items
}

/// Shares for one thread each, in order.
fn share(items: &[Item], offset: usize, shares: &mut Vec<Range<usize>>) {
    if items.len() <= CHUNK {
        shares.push(offset..offset + items.len());
        return;
    }
    let cut = split(items);
    share(&items[..cut], offset, shares);
    share(&items[cut..], offset + cut, shares);
}

impl Subtree {
    fn new(items: &[Item], flats: &[Flat], own: Range<usize>) -> Self {
        let mut nodes = Vec::with_capacity(own.len());
        nodes.push(Node::EMPTY);
        nodes[0] = grow(&mut nodes, &items[own.clone()], &flats[own.clone()], own.start as u32);
        let held = held(&nodes);
        let families =
            families(&nodes, |_, n| n.is_leaf().then(|| Held::leaf(n)), |id| held[id as usize]);
        Subtree { nodes, families }
    }

    fn part(&self, first: u32) -> Part<'_> {
        Part { nodes: &self.nodes, families: &self.families, first }
    }
}

/// First triangle in the order of the leaves and number of triangles, of each node.
fn held(nodes: &[Node]) -> Vec<(u32, u32)> {
    let mut held = vec![(0u32, 0u32); nodes.len()];
    // Children come after their parent, and their triangles follow one another.
    for (i, n) in nodes.iter().enumerate().rev() {
        held[i] = match n.is_leaf() {
            true => (n.first, n.count),
            false => {
                let (a, b) = (held[n.first as usize], held[n.first as usize + 1]);
                (a.0, a.1 + b.1)
            }
        };
    }
    held
}

/// Node over the items, its descendants appended.
fn grow(nodes: &mut Vec<Node>, items: &[Item], flats: &[Flat], offset: u32) -> Node {
    if items.len() <= LEAF {
        return leaf(flats, offset);
    }
    let at = nodes.len();
    nodes.extend([Node::EMPTY; 2]);
    let cut = split(items);
    nodes[at] = grow(nodes, &items[..cut], &flats[..cut], offset);
    nodes[at + 1] = grow(nodes, &items[cut..], &flats[cut..], offset + cut as u32);
    nodes[at].around(&nodes[at + 1], at as u32)
}

fn leaf(flats: &[Flat], offset: u32) -> Node {
    let mut node = Node { first: offset, count: flats.len() as u32, ..Node::EMPTY };
    for f in flats {
        for k in 0..3 {
            let [a, b, c, _] = f.0[k];
            node.low[k] = smaller(node.low[k], smaller(smaller(a, b), c));
            node.high[k] = larger(node.high[k], larger(larger(a, b), c));
        }
    }
    // Rounded to the nearest so far.
    node.low = node.low.map(f32::next_down);
    node.high = node.high.map(f32::next_up);
    node
}

/// Both trees of the subtrees.
fn joined(
    items: &[Item],
    mut subtrees: Vec<Subtree>,
    flats: &[Flat],
    side: f64,
) -> (Vec<Node>, Wide) {
    if subtrees.len() < 2 {
        let Some(s) = subtrees.pop() else { return (Vec::new(), Wide::new(&[], flats, side)) };
        let wide = Wide::new(&[s.part(0)], flats, side);
        return (s.nodes, wide);
    }
    let (top, places) = above(items, &subtrees);
    let mut parts = vec![top.part(0)];
    parts.extend(subtrees.iter().zip(&places).map(|(s, place)| s.part(place.boxes)));
    let whole = || {
        let rest = subtrees.iter().map(|s| s.nodes.len() - 1).sum::<usize>();
        let mut nodes = Vec::with_capacity(top.nodes.len() + rest);
        nodes.extend(&top.nodes);
        for (s, place) in subtrees.iter().zip(&places) {
            nodes.extend(s.nodes[1..].iter().map(|n| n.moved(place.nodes)));
        }
        nodes
    };
    rayon::join(whole, || Wide::new(&parts, flats, side))
}

/// The nodes above the subtrees as a tree of their own, and where the rest of each subtree's nodes and its boxes lie
/// in the whole.
fn above(items: &[Item], subtrees: &[Subtree]) -> (Subtree, Vec<Place>) {
    let mut top = Top { nodes: vec![Node::EMPTY], subtree: vec![None] };
    top.grow(0, items, &mut subtrees.iter().zip(0..));
    let end = |id: u32, _: &Node| top.subtree[id as usize].map(Held::inner);
    // None above them is small enough to be asked for its triangles.
    let mut families = families(&top.nodes, end, |_| (0, u32::MAX));
    let mut next = Place { nodes: top.nodes.len() as u32 - 1, boxes: families.len() as u32 };
    let place = |s: &Subtree| {
        let own = next;
        next.nodes += s.nodes.len() as u32 - 1;
        next.boxes += s.families.len() as u32;
        own
    };
    let places: Vec<Place> = subtrees.iter().map(place).collect();
    for child in families.iter_mut().flatten() {
        if let Some(k) = top.subtree[child.node as usize] {
            child.held = Held::inner(places[k as usize].boxes);
        }
    }
    let mut nodes = top.nodes;
    for (n, k) in nodes.iter_mut().zip(&top.subtree) {
        if let Some(k) = k {
            *n = n.moved(places[*k as usize].nodes);
        }
    }
    (Subtree { nodes, families }, places)
}

/// Where a subtree lies in the whole: what is added to the numbers of its nodes below the root, and of its boxes.
#[derive(Clone, Copy)]
struct Place {
    nodes: u32,
    boxes: u32,
}

/// The nodes above the subtrees, and which of them are a subtree's root.
struct Top {
    nodes: Vec<Node>,
    subtree: Vec<Option<u32>>,
}

impl Top {
    /// The node at a place, over the items, its descendants appended down to the subtrees.
    fn grow<'a>(
        &mut self,
        at: usize,
        items: &[Item],
        subtrees: &mut impl Iterator<Item = (&'a Subtree, u32)>,
    ) {
        if items.len() <= CHUNK {
            if let Some((s, number)) = subtrees.next() {
                (self.nodes[at], self.subtree[at]) = (s.nodes[0], Some(number));
            }
            return;
        }
        let first = self.nodes.len();
        self.nodes.extend([Node::EMPTY; 2]);
        self.subtree.extend([None; 2]);
        let (a, b) = items.split_at(split(items));
        self.grow(first, a, subtrees);
        self.grow(first + 1, b, subtrees);
        self.nodes[at] = self.nodes[first].around(&self.nodes[first + 1], first as u32);
    }
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
const LEAF: usize = 2;
/// Cells of the curve along one side, as many as fit three times in a number.
const CELLS: u32 = 1 << 21;
/// Items handled by one thread without sharing.
const CHUNK: usize = 16_384;
/// The smaller side of a split holds at least one in this many, so that depth stays bounded.
const LOPSIDED: usize = 16;
