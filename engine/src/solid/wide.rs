//! A tree of turned boxes, four children a node, over the leaves of the tree of upright boxes: for distances.
//!
//! An upright box round a slanted piece of surface is nearly as thick as it is wide; one laid along
//! the piece's mean normal is as thick as the piece is uneven, and a question for a distance goes down
//! to a few triangles instead of a hundred (S. Gottschalk, M. Lin, D. Manocha 1996, OBBTree; the
//! axes here are the mean normal and the long side of the upright box, found in one pass). Four boxes
//! lie side by side so that one instruction serves four (I. Wald, C. Benthin, S. Boulos 2008,
//! Getting rid of packets).
//!
//! Kept in single precision; every rounding is on the side of too large a box, so a bound never
//! exceeds the true distance, and what is found is exact.

use rayon::prelude::*;

use super::bvh::{Flat, Node, larger, smaller};
use crate::primitive::Vec3;

/// The tree; the first node is the root.
#[derive(Debug)]
pub(super) struct Wide {
    pub(super) nodes: Vec<Four>,
}

/// Four turned boxes, lane by lane: axes as rows, middles and half sides along the axes, and what they hold.
#[derive(Debug, Clone, Copy)]
#[repr(align(64))]
pub(super) struct Four {
    axes: [[[f32; 4]; 3]; 3],
    middle: [[f32; 4]; 3],
    half: [[f32; 4]; 3],
    pub(super) held: [Held; 4],
}

/// What a box holds, packed: an inner node, some triangles in the order of the leaves, or nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Held(u32);

/// Part of a tree of upright boxes, how this one follows from it, and the number of its first box of four.
pub(super) struct Part<'a> {
    pub(super) nodes: &'a [Node],
    pub(super) families: &'a [Family],
    pub(super) first: u32,
}

/// Up to four nodes of the tree of upright boxes that come to lie side by side.
pub(super) type Family = [Child; 4];

/// A node of the tree of upright boxes, what it holds in this one, and its triangles in the order of the leaves.
#[derive(Debug, Clone, Copy)]
pub(super) struct Child {
    pub(super) node: u32,
    pub(super) held: Held,
    first: u32,
    count: u32,
}

/// One box with what it holds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lane {
    axes: [[f32; 3]; 3],
    middle: [f32; 3],
    half: [f32; 3],
    pub(super) held: Held,
}

/// A point relative to the tree's middle in single precision, and what that may have cost.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rounded {
    at: [f32; 3],
    slack: f32,
}

impl Held {
    pub(super) const ROOT: Held = Held(0);
    /// No triangles.
    const NOTHING: Held = Held(LEAF);

    /// Triangles, if it is some.
    #[inline]
    pub(super) fn triangles(self) -> Option<std::ops::Range<usize>> {
        let first = (self.0 & !LEAF) as usize >> COUNT_BITS;
        (self.0 & LEAF != 0).then(|| first..first + (self.0 as usize & ((1 << COUNT_BITS) - 1)))
    }

    /// The inner node, where it is neither triangles nor nothing.
    #[inline]
    pub(super) fn node(self) -> usize {
        self.0 as usize
    }

    pub(super) fn leaf(n: &Node) -> Self {
        Held(LEAF | n.first << COUNT_BITS | n.count)
    }

    /// An inner node.
    pub(super) fn inner(node: u32) -> Self {
        Held(node)
    }

    /// The same where the boxes are moved along.
    fn moved(self, by: u32) -> Self {
        if self.0 & LEAF == 0 { Held(self.0 + by) } else { self }
    }
}

impl Rounded {
    pub(super) fn new(p: &Vec3) -> Self {
        Rounded { at: p.map(|x| x as f32).into(), slack: (p.amax() * ROUNDING) as f32 }
    }
}

impl Wide {
    /// Tree over the leaves of a tree of upright boxes, given by its parts in order, that fits into a cube of a given
    /// side (mm). Empty for none.
    pub(super) fn new(parts: &[Part<'_>], flats: &[Flat], side: f64) -> Self {
        let slack = (0.5 * side * MEASURED) as f32;
        let four = |number: usize| {
            let part = &parts[parts.partition_point(|p| p.first as usize <= number) - 1];
            let mut four = Four::EMPTY;
            for (k, child) in part.families[number - part.first as usize].iter().enumerate() {
                if child.held != Held::NOTHING {
                    let lane = turned(&part.nodes[child.node as usize], child, flats, slack);
                    four.put(k, &Lane { held: child.held.moved(part.first), ..lane });
                }
            }
            four
        };
        let count: usize = parts.iter().map(|p| p.families.len()).sum();
        Wide { nodes: (0..count).into_par_iter().with_min_len(CHUNK).map(four).collect() }
    }
}

impl Four {
    const EMPTY: Four = Four {
        axes: [
            [[1.0; 4], [0.0; 4], [0.0; 4]],
            [[0.0; 4], [1.0; 4], [0.0; 4]],
            [[0.0; 4], [0.0; 4], [1.0; 4]],
        ],
        middle: [[FAR; 4]; 3],
        half: [[0.0; 4]; 3],
        held: [Held::NOTHING; 4],
    };

    /// Squared distances of a point from the boxes, rather too small than too large; huge for none.
    #[inline(always)]
    pub(super) fn squared_distances(&self, p: &Rounded) -> [f32; 4] {
        let of = |k: usize| each([p.at[k]; 4], self.middle[k], |a, b| a - b);
        let (x, y, z) = (of(0), of(1), of(2));
        let excess = |k: usize| {
            let [ax, ay, az] = self.axes[k];
            let along = each(each(ax, x, times), each(ay, y, times), plus);
            let along = each(along, each(az, z, times), plus);
            // Not `max`, which takes care of numbers that these are not.
            let out = each(along, self.half[k], |d, half| {
                let out = d.abs() - half - p.slack;
                if out > 0.0 { out } else { 0.0 }
            });
            each(out, out, times)
        };
        each(each(excess(0), excess(1), plus), excess(2), |a, b| (a + b) * CAUTIOUS)
    }

    pub(super) fn lane(&self, l: usize) -> Lane {
        Lane {
            axes: self.axes.map(|row| row.map(|c| c[l])),
            middle: self.middle.map(|c| c[l]),
            half: self.half.map(|c| c[l]),
            held: self.held[l],
        }
    }

    /// The boxes that hold something.
    pub(super) fn lanes(&self) -> impl Iterator<Item = Lane> + '_ {
        (0..4).filter(|&l| self.held[l] != Held::NOTHING).map(|l| self.lane(l))
    }

    fn put(&mut self, l: usize, lane: &Lane) {
        for k in 0..3 {
            (0..3).for_each(|j| self.axes[k][j][l] = lane.axes[k][j]);
            self.middle[k][l] = lane.middle[k];
            self.half[k][l] = lane.half[k];
        }
        self.held[l] = lane.held;
    }
}

impl Lane {
    /// Squared distance from another box whose tree's middle lies at `shift` from this one's, rather too
    /// small than too large: of one box from the box round the other along its own axes.
    #[inline]
    pub(super) fn squared_gap(&self, other: &Lane, shift: &Vec3) -> f64 {
        let to: [f32; 3] = [0, 1, 2]
            .map(|k| (f64::from(other.middle[k]) - f64::from(self.middle[k]) + shift[k]) as f32);
        let slack = ROUNDING as f32 * to.iter().fold(0.0f32, |m, x| m.max(x.abs()));
        let dot = |a: &[f32; 3], b: &[f32; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
        let cosine = |k: usize, j: usize| dot(&self.axes[k], &other.axes[j]).abs();
        let excess = |axis: &[f32; 3], room: f32| {
            (dot(axis, &to).abs() - room * WIDER - slack).max(0.0).powi(2)
        };
        let (mut mine, mut others) = (0.0f32, 0.0f32);
        for k in 0..3 {
            let of_other: f32 = (0..3).map(|j| cosine(k, j) * other.half[j]).sum();
            mine += excess(&self.axes[k], of_other + self.half[k]);
            let of_self: f32 = (0..3).map(|j| cosine(j, k) * self.half[j]).sum();
            others += excess(&other.axes[k], of_self + other.half[k]);
        }
        f64::from(mine.max(others) * CAUTIOUS)
    }

    /// Squared distance of the middles of two boxes, for telling apart boxes that overlap.
    #[inline]
    pub(super) fn squared_offset(&self, other: &Lane, shift: &Vec3) -> f64 {
        let along = |k: usize| f64::from(other.middle[k]) - f64::from(self.middle[k]) + shift[k];
        (0..3).map(|k| along(k).powi(2)).sum()
    }

    /// Longest half side, mm.
    #[inline]
    pub(super) fn size(&self) -> f32 {
        self.half[0].max(self.half[1]).max(self.half[2])
    }

    /// Box along given axes (rows, unit and perpendicular but for rounding) with its two ends along them; all but
    /// `slack` of what single precision may have cost.
    fn between(axes: [[f32; 3]; 3], low: [f32; 3], high: [f32; 3], slack: f32) -> Self {
        let centre = [0, 1, 2].map(|k| 0.5 * (low[k] + high[k]));
        let middle = [0, 1, 2]
            .map(|j| axes[0][j] * centre[0] + axes[1][j] * centre[1] + axes[2][j] * centre[2]);
        // The axes are not quite perpendicular.
        let half = [0, 1, 2].map(|k| {
            let a = &axes[k];
            let moved = a[0] * middle[0] + a[1] * middle[1] + a[2] * middle[2] - centre[k];
            (0.5 * (high[k] - low[k]) + moved.abs() + slack) * WIDER
        });
        Lane { axes, middle, half, held: Held::NOTHING }
    }
}

/// One operation on four lanes.
#[inline(always)]
fn each(a: [f32; 4], b: [f32; 4], operation: impl Fn(f32, f32) -> f32) -> [f32; 4] {
    [operation(a[0], b[0]), operation(a[1], b[1]), operation(a[2], b[2]), operation(a[3], b[3])]
}

#[inline(always)]
fn times(a: f32, b: f32) -> f32 {
    a * b
}

#[inline(always)]
fn plus(a: f32, b: f32) -> f32 {
    a + b
}

/// Box round a node's triangles, turned if they are few; upright else.
fn turned(n: &Node, child: &Child, flats: &[Flat], slack: f32) -> Lane {
    if child.count > TURNED {
        let upright = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
        return Lane::between(upright, n.low, n.high, slack);
    }
    let own = &flats[child.first as usize..(child.first + child.count) as usize];
    let sum = own.iter().fold([0.0; 3], |s: [f32; 3], f| {
        let normal = f.normal();
        [s[0] + normal[0], s[1] + normal[1], s[2] + normal[2]]
    });
    let axes = axes(sum, n.longest());
    let (low, high) = ends(&axes, own);
    Lane::between(axes, low, high, slack)
}

/// Axes as rows: the last along a normal of any length, the first as near a coordinate axis as can be.
fn axes(normal: [f32; 3], long: usize) -> [[f32; 3]; 3] {
    let normal = unit(normal).unwrap_or([0.0, 0.0, 1.0]);
    // Where the normal lies along that axis, another does.
    let upon = |k: usize| unit(cross(&normal, &[0, 1, 2].map(|j| f32::from(u8::from(j == k)))));
    let across = if normal[long].abs() < 0.999 { upon(long) } else { upon((long + 1) % 3) };
    let across = across.unwrap_or([1.0, 0.0, 0.0]);
    [cross(&across, &normal), across, normal]
}

#[inline(always)]
fn unit(v: [f32; 3]) -> Option<[f32; 3]> {
    let largest = v[0].abs().max(v[1].abs()).max(v[2].abs());
    if !(largest > 0.0 && largest.is_finite()) {
        return None;
    }
    let v = v.map(|x| x / largest);
    let by = 1.0 / (v[0] * v[0] + v[1] * v[1] + v[2] * v[2]).sqrt();
    Some(v.map(|x| x * by))
}

#[inline(always)]
fn cross(a: &[f32; 3], b: &[f32; 3]) -> [f32; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// Smallest and largest coordinates along three axes.
fn ends(axes: &[[f32; 3]; 3], triangles: &[Flat]) -> ([f32; 3], [f32; 3]) {
    let (mut low, mut high) = ([[f32::INFINITY; 4]; 3], [[f32::NEG_INFINITY; 4]; 3]);
    for Flat([x, y, z]) in triangles {
        for k in 0..3 {
            let [ax, ay, az] = axes[k];
            let along = each(*x, *y, |x, y| ax * x + ay * y);
            let along = each(along, *z, |xy, z| xy + az * z);
            low[k] = each(low[k], along, smaller);
            high[k] = each(high[k], along, larger);
        }
    }
    let least = |v: [f32; 4]| v.into_iter().fold(f32::INFINITY, smaller);
    let most = |v: [f32; 4]| v.into_iter().fold(f32::NEG_INFINITY, larger);
    (low.map(least), high.map(most))
}

/// The grandchildren of every other generation, with what they hold in the new tree; depth first. `end` tells what a
/// node below which nothing is opened holds, `triangles` the first of its triangles and their number.
pub(super) fn families(
    nodes: &[Node],
    end: impl Fn(u32, &Node) -> Option<Held>,
    triangles: impl Fn(u32) -> (u32, u32),
) -> Vec<Family> {
    let none = [Child { node: 0, held: Held::NOTHING, first: 0, count: 0 }; 4];
    let child = |node: u32, held: Held| {
        let (first, count) = triangles(node);
        Child { node, held, first, count }
    };
    let mut families = vec![none];
    if let Some(held) = end(0, &nodes[0]) {
        families[0][0] = child(0, held);
        return families;
    }
    let mut open = vec![(0u32, 0usize)];
    while let Some((id, at)) = open.pop() {
        let mut lane = 0;
        let first = nodes[id as usize].first;
        for below in [first, first + 1] {
            let n = &nodes[below as usize];
            let is_end = end(below, n).is_some();
            let grandchildren = if is_end { below..below + 1 } else { n.first..n.first + 2 };
            for own in grandchildren {
                let held = end(own, &nodes[own as usize]).unwrap_or_else(|| {
                    open.push((own, families.len()));
                    families.push(none);
                    Held::inner(families.len() as u32 - 1)
                });
                families[at][lane] = child(own, held);
                lane += 1;
            }
        }
    }
    families
}

/// Mark of what holds triangles.
const LEAF: u32 = 1 << 31;
/// Bits for the number of triangles of a leaf.
const COUNT_BITS: u32 = 3;
/// Most triangles that a box is turned for: larger pieces are bent all ways.
const TURNED: u32 = 64;
/// Nodes handled by one thread in one go.
const CHUNK: usize = 256;
/// Where the boxes are that are none; its square is a number still.
const FAR: f32 = 1e18;
/// Relative error of a difference of single precision numbers and its products, with room.
const ROUNDING: f64 = 1e-6;
/// Relative error of what is measured along an axis in single precision, with room.
const MEASURED: f64 = 2e-6;
/// What half sides are widened by for the axes' own rounding.
const WIDER: f32 = 1.0 + 1e-6;
/// What squared distances are lessened by for rounded axes and sums.
const CAUTIOUS: f32 = 1.0 - 8e-6;
