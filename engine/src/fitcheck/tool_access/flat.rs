//! The flat of the part that a bolt's head sits on, and how far its edges are from the bolt.

use std::collections::{BTreeMap, BTreeSet};

use crate::exchange::Part;
use crate::primitive::{Direction, Line, Point3, Vec3, unit};
use crate::solid::Sets;

/// Connected coplanar triangles of the part round a hole.
pub(super) struct Flat {
    /// The part's triangles without the flat's.
    others: Vec<[u32; 3]>,
    /// Plane of the flat; `None` if there is none square to the hole.
    pub(super) plane: Option<(Point3, Direction)>,
    /// Edges of the flat but for the rim of the hole.
    edges: Vec<[Point3; 2]>,
    /// Radius of the hole's rim, with its chamfer.
    pub(super) rim: f64,
}

impl Flat {
    /// Flat at the outer end of a hole: `axis` starts there and points out of the part.
    pub(super) fn of(part: &Part, axis: &Line, hole_radius: f64, washer_radius: f64) -> Self {
        let none = || Flat {
            others: part.triangles.clone(),
            plane: None,
            edges: vec![],
            rim: hole_radius,
        };
        let normals: Vec<Option<Direction>> =
            (0..part.triangles.len()).map(|t| normal(part, t)).collect();
        let square = |t: &usize| normals[*t].is_some_and(|n| n.dot(&axis.direction) > SQUARE.cos());
        // Nearest to the end of the hole's wall; a chamfer may lie between.
        let off = |t: usize| {
            let [a, b, c] = corners(part, t);
            let height = (a - axis.point).dot(&axis.direction).abs();
            let near = [(a, b), (b, c), (c, a)].map(|(p, q)| to_segment(&axis.point, &p, &q));
            let near = near.into_iter().fold(f64::INFINITY, f64::min);
            (height <= DEEPEST_CHAMFER * hole_radius && near <= washer_radius.hypot(height))
                .then_some((height, near))
        };
        let candidates =
            (0..part.triangles.len()).filter(square).filter_map(|t| Some((off(t)?, t)));
        let first = candidates
            .min_by(|(a, i), (b, j)| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)).then(i.cmp(j)));
        let Some((normal, seed)) = first.and_then(|(_, t)| Some((normals[t]?, t))) else {
            return none();
        };
        let at = corners(part, seed)[0];
        let flat_enough = SAME_PLANE.max(part.chord_error);
        let in_plane = |t: &usize| {
            corners(part, *t).iter().all(|p| (p - at).dot(&normal).abs() <= flat_enough)
                && normals[*t].is_none_or(|n| n.dot(&normal) > SQUARE.cos())
        };
        let members = connected(part, seed, &(0..part.triangles.len()).filter(in_plane).collect());
        let others = part.triangles.iter().enumerate();
        let others = others.filter(|(t, _)| !members.contains(t)).map(|(_, t)| *t).collect();
        let (edges, rim) = outer_edges(part, &members, axis, washer_radius);
        Flat { others, plane: Some((at, normal)), edges, rim: rim.unwrap_or(0.0) }
    }

    /// Triangles of the part that are not of the flat.
    pub(super) fn others(&self) -> &[[u32; 3]] {
        &self.others
    }

    /// Least distance of a point of the flat from its edges, mm, and the place; none if it has none.
    pub(super) fn edge_near(&self, p: &Point3) -> Option<(f64, Point3)> {
        let near = self.edges.iter().map(|[a, b]| {
            let at = on_segment(p, a, b);
            ((at - p).norm(), at)
        });
        near.min_by(|a, b| a.0.total_cmp(&b.0))
    }
}

/// Members that hang together with the first over common edges.
fn connected(part: &Part, first: usize, members: &BTreeSet<usize>) -> BTreeSet<usize> {
    let mut by_edge: BTreeMap<(u32, u32), Vec<usize>> = BTreeMap::new();
    for &t in members {
        for (a, b) in edges_of(part.triangles[t]) {
            by_edge.entry((a.min(b), a.max(b))).or_default().push(t);
        }
    }
    let mut found = BTreeSet::new();
    found.insert(first);
    let mut open = vec![first];
    while let Some(t) = open.pop() {
        for (a, b) in edges_of(part.triangles[t]) {
            for &n in by_edge.get(&(a.min(b), a.max(b))).into_iter().flatten() {
                if found.insert(n) {
                    open.push(n);
                }
            }
        }
    }
    found
}

/// Edges of the flat without those of the hole's rim, and the rim's largest radius if it has its own.
fn outer_edges(
    part: &Part,
    members: &BTreeSet<usize>,
    axis: &Line,
    washer_radius: f64,
) -> (Vec<[Point3; 2]>, Option<f64>) {
    let mut once: BTreeMap<(u32, u32), bool> = BTreeMap::new();
    for &t in members {
        for (a, b) in edges_of(part.triangles[t]) {
            once.entry((a.min(b), a.max(b))).and_modify(|o| *o = false).or_insert(true);
        }
    }
    let edges: Vec<(u32, u32)> = once.into_iter().filter(|e| e.1).map(|e| e.0).collect();
    let mut loops = Sets::new(part.points.len());
    edges.iter().for_each(|&(a, b)| loops.join(a, b));
    let mut largest: BTreeMap<u32, f64> = BTreeMap::new();
    for &(a, b) in &edges {
        for v in [a, b] {
            let radius = axis.distance(&part.points[v as usize]);
            let of_loop = largest.entry(loops.root(v)).or_insert(0.0);
            *of_loop = of_loop.max(radius);
        }
    }
    // The loop that stays closest to the axis is the rim, unless it runs out from under the washer:
    // then the hole is open to the side.
    let rim = largest.iter().min_by(|a, b| a.1.total_cmp(b.1)).filter(|r| *r.1 < washer_radius);
    let rim = rim.map(|(set, radius)| (*set, *radius));
    let mut outer = edges;
    outer.retain(|e| Some(loops.root(e.0)) != rim.map(|r| r.0));
    let ends = |e: &(u32, u32)| [part.points[e.0 as usize], part.points[e.1 as usize]];
    (outer.iter().map(ends).collect(), rim.map(|r| r.1))
}

fn corners(part: &Part, t: usize) -> [Point3; 3] {
    part.triangles[t].map(|i| part.points[i as usize])
}

fn normal(part: &Part, t: usize) -> Option<Direction> {
    let [a, b, c] = corners(part, t);
    unit((b - a).cross(&(c - a)))
}

fn edges_of([a, b, c]: [u32; 3]) -> [(u32, u32); 3] {
    [(a, b), (b, c), (c, a)]
}

fn on_segment(p: &Point3, a: &Point3, b: &Point3) -> Point3 {
    let along: Vec3 = b - a;
    let l = along.norm_squared();
    let t = if l > 0.0 { ((p - a).dot(&along) / l).clamp(0.0, 1.0) } else { 0.0 };
    a + along * t
}

fn to_segment(p: &Point3, a: &Point3, b: &Point3) -> f64 {
    (on_segment(p, a, b) - p).norm()
}

/// Angle to the hole's axis up to which a face counts as square to it, rad (2 degrees: more bends a bolt).
const SQUARE: f64 = 0.035;
/// Heights over a plane within which triangles are of one flat, mm: single precision files are no better.
const SAME_PLANE: f64 = 0.01;
/// Deepest chamfer between the wall of a hole and the flat, in radii of the hole.
const DEEPEST_CHAMFER: f64 = 0.6;
