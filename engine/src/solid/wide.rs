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

use nalgebra::Matrix3;
use rayon::prelude::*;

use super::bvh::{Node, larger, smaller};
use crate::primitive::{Point3, Vec3, any_perpendicular, unit};

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

    fn leaf(n: &Node) -> Self {
        Held(LEAF | n.first << COUNT_BITS | n.count)
    }
}

impl Rounded {
    pub(super) fn new(p: &Vec3) -> Self {
        Rounded { at: p.map(|x| x as f32).into(), slack: (p.amax() * ROUNDING) as f32 }
    }
}

impl Wide {
    /// Tree over the leaves of a tree of upright boxes. Empty for none.
    pub(super) fn new(
        nodes: &[Node],
        corners: &[[u32; 3]],
        points: &[Point3],
        middle: &Point3,
    ) -> Self {
        let families = families(nodes);
        let pieces = Pieces::new(nodes, corners, points, middle);
        let four = |family: &[(u32, Held); 4]| {
            let mut four = Four::EMPTY;
            for (k, &(id, held)) in family.iter().enumerate() {
                if held != Held::NOTHING {
                    four.put(k, &Lane { held, ..pieces.turned(id) });
                }
            }
            four
        };
        let nodes = families.par_iter().with_min_len(CHUNK).map(four).collect();
        Wide { nodes }
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

    /// Box along given axes (rows, unit and perpendicular but for rounding) with its two ends along them,
    /// which were measured along the rounded axes to `slack`.
    fn between(axes: [[f32; 3]; 3], low: [f32; 3], high: [f32; 3], slack: f64) -> Self {
        let exact = Matrix3::from_fn(|k, j| f64::from(axes[k][j]));
        let (low, high) = (Vec3::from(low.map(f64::from)), Vec3::from(high.map(f64::from)));
        let centre = (low + high) * 0.5;
        let middle = exact.tr_mul(&centre).map(|x| x as f32);
        // The middle is rounded, and the axes are not quite perpendicular any more.
        let moved = exact * middle.map(f64::from) - centre;
        let half = ((high - low) * 0.5 + moved.abs()).map(|x| (x + slack) as f32 * WIDER);
        Lane { axes, middle: middle.into(), half: half.into(), held: Held::NOTHING }
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

/// A triangle relative to the tree's middle, by coordinate; the last corner twice, for the vector unit.
#[derive(Clone, Copy)]
struct Corners {
    x: [f32; 4],
    y: [f32; 4],
    z: [f32; 4],
    /// Twice the area along the normal.
    normal: [f32; 3],
}

/// What the boxes are made from.
struct Pieces<'a> {
    nodes: &'a [Node],
    ranges: Vec<(u32, u32)>,
    /// In the order of the leaves.
    corners: Vec<Corners>,
    /// Rounding of what is measured along an axis, mm.
    slack: f64,
}

impl<'a> Pieces<'a> {
    fn new(nodes: &'a [Node], corners: &[[u32; 3]], points: &[Point3], middle: &Point3) -> Self {
        let one = |t: &[u32; 3]| {
            let [a, b, c] = [t[0], t[1], t[2]].map(|i| points[i as usize] - middle);
            let along = |k: usize| [a[k] as f32, b[k] as f32, c[k] as f32, c[k] as f32];
            let normal = (b - a).cross(&(c - a));
            let normal = [normal.x as f32, normal.y as f32, normal.z as f32];
            Corners { x: along(0), y: along(1), z: along(2), normal }
        };
        let corners = corners.par_iter().with_min_len(MANY).map(one).collect();
        let reach = nodes.first().map_or(0.0, |n| {
            (0..3).map(|k| n.high[k].abs().max(n.low[k].abs())).fold(0.0, f32::max)
        });
        Pieces { nodes, ranges: ranges(nodes), corners, slack: f64::from(reach) * ROUNDING }
    }

    /// Box round a node's triangles, turned if they are few; upright else.
    fn turned(&self, id: u32) -> Lane {
        let (n, (first, count)) = (&self.nodes[id as usize], self.ranges[id as usize]);
        if count > TURNED {
            let upright = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
            return Lane::between(upright, n.low, n.high, 0.0);
        }
        let own = &self.corners[first as usize..(first + count) as usize];
        let sum = own
            .iter()
            .fold([0.0f32; 3], |s, c| [s[0] + c.normal[0], s[1] + c.normal[1], s[2] + c.normal[2]]);
        let normal = unit(Vec3::from(sum.map(f64::from))).unwrap_or_else(Vec3::z_axis);
        let long = Vec3::ith(n.longest(), 1.0);
        let across = unit(normal.cross(&long)).unwrap_or_else(|| any_perpendicular(&normal));
        let rows = [across.cross(&normal), across.into_inner(), normal.into_inner()];
        let axes: [[f32; 3]; 3] = rows.map(|a| a.map(|x| x as f32).into());
        let (low, high) = ends(&axes, own);
        Lane::between(axes, low, high, self.slack)
    }
}

/// Smallest and largest coordinates along three axes.
fn ends(axes: &[[f32; 3]; 3], triangles: &[Corners]) -> ([f32; 3], [f32; 3]) {
    let (mut low, mut high) = ([[f32::INFINITY; 4]; 3], [[f32::NEG_INFINITY; 4]; 3]);
    for c in triangles {
        for k in 0..3 {
            let [ax, ay, az] = axes[k];
            let along = each(c.x, c.y, |x, y| ax * x + ay * y);
            let along = each(along, c.z, |xy, z| xy + az * z);
            low[k] = each(low[k], along, smaller);
            high[k] = each(high[k], along, larger);
        }
    }
    let least = |v: [f32; 4]| v.into_iter().fold(f32::INFINITY, smaller);
    let most = |v: [f32; 4]| v.into_iter().fold(f32::NEG_INFINITY, larger);
    (low.map(least), high.map(most))
}

/// First triangle in the order of the leaves and number of triangles, of each node.
fn ranges(nodes: &[Node]) -> Vec<(u32, u32)> {
    let mut ranges = vec![(0u32, 0u32); nodes.len()];
    // Children come after their parent, and their triangles follow one another.
    for (i, n) in nodes.iter().enumerate().rev() {
        ranges[i] = match n.is_leaf() {
            true => (n.first, n.count),
            false => {
                let (a, b) = (ranges[n.first as usize], ranges[n.first as usize + 1]);
                (a.0, a.1 + b.1)
            }
        };
    }
    ranges
}

/// The grandchildren of every other generation, with what they hold in the new tree; depth first.
fn families(nodes: &[Node]) -> Vec<[(u32, Held); 4]> {
    if nodes.is_empty() {
        return Vec::new();
    }
    let none = [(0, Held::NOTHING); 4];
    if nodes[0].is_leaf() {
        let mut family = none;
        family[0] = (0, Held::leaf(&nodes[0]));
        return vec![family];
    }
    let mut families = vec![none];
    let mut open = vec![(0u32, 0usize)];
    while let Some((id, at)) = open.pop() {
        let mut lane = 0;
        let first = nodes[id as usize].first;
        for child in [first, first + 1] {
            let n = &nodes[child as usize];
            let grandchildren = if n.is_leaf() { child..child + 1 } else { n.first..n.first + 2 };
            for own in grandchildren {
                let n = &nodes[own as usize];
                let held = if n.is_leaf() {
                    Held::leaf(n)
                } else {
                    open.push((own, families.len()));
                    families.push(none);
                    Held(families.len() as u32 - 1)
                };
                families[at][lane] = (own, held);
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
/// Triangles handled by one thread in one go.
const MANY: usize = 16_384;
/// Where the boxes are that are none; its square is a number still.
const FAR: f32 = 1e18;
/// Relative error of a difference of single precision numbers and its products, with room.
const ROUNDING: f64 = 1e-6;
/// What half sides are widened by for the axes' own rounding.
const WIDER: f32 = 1.0 + 1e-6;
/// What squared distances are lessened by for rounded axes and sums.
const CAUTIOUS: f32 = 1.0 - 4e-6;
