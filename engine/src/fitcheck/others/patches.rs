//! Pieces of both surfaces that come near each other, and which of them hang together.
//!
//! Large triangles are cut in half until a piece is no longer than the air asked for. Pieces in neighbouring
//! cells of a grid are of one place.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::Other;
use crate::fitcheck::view::View;
use crate::primitive::Point3;
use crate::solid::{Mesh, Sets, Solid};

/// Corners of a piece.
pub(super) type Corners = [Point3; 3];

/// Pieces of both surfaces that may be nearer to the other one than a reach.
pub(super) struct Pieces<'a> {
    view: &'a View<'a>,
    other: &'a Other<'a>,
    /// Of the part, then of the other one.
    pub(super) of_part: Vec<Corners>,
    pub(super) of_other: Vec<Corners>,
    /// Longest edge of a piece, mm.
    pub(super) size: f64,
}

/// Pieces of one place, by their numbers.
pub(super) struct Patch {
    pub(super) of_part: Vec<u32>,
    pub(super) of_other: Vec<u32>,
}

/// Both sides of a place as meshes, `None` without pieces.
pub(super) struct Surface {
    pub(super) part: Option<Mesh>,
    pub(super) other: Option<Mesh>,
}

impl<'a> Pieces<'a> {
    pub(super) fn new(view: &'a View<'a>, other: &'a Other<'a>, reach: f64) -> Self {
        let diagonal = |points: &mut dyn Iterator<Item = &Point3>| {
            let all = points.map(|p| (*p, *p)).reduce(|(l, h), (p, _)| (l.inf(&p), h.sup(&p)));
            all.map_or(0.0, |(l, h)| (h - l).norm())
        };
        let (part, mesh) = (view.part, &other.mesh);
        let smaller = diagonal(&mut part.points.iter()).min(diagonal(&mut mesh.used()));
        let usual = reach.clamp(smaller / FINEST, (smaller / COARSEST).max(smaller / FINEST));
        // Round a part that is small against the air asked for, and round none at all.
        let size = usual.max(reach / COARSEST).max(LEAST);
        let of = |points: &[Point3], triangles: &[[u32; 3]], solid: &Solid| -> Vec<Corners> {
            let near = |t: &[u32; 3]| {
                let mut pieces = Vec::new();
                cut(&t.map(|i| points[i as usize]), solid, reach, size, &mut pieces);
                pieces
            };
            let each: Vec<Vec<Corners>> = triangles.par_iter().with_min_len(16).map(near).collect();
            each.into_iter().flatten().collect()
        };
        let theirs = other.given.part;
        Pieces {
            view,
            other,
            of_part: of(&part.points, &part.triangles, &other.solid),
            of_other: of(&theirs.points, &theirs.triangles, &view.solid),
            size,
        }
    }

    /// Pieces that hang together.
    pub(super) fn patches(&self) -> Vec<Patch> {
        let mut cells: BTreeMap<[i64; 3], u32> = BTreeMap::new();
        let all = self.of_part.iter().chain(&self.of_other);
        let cell_of: Vec<u32> = all
            .map(|t| {
                let next = cells.len() as u32;
                *cells.entry(self.cell(&middle(t))).or_insert(next)
            })
            .collect();
        let mut sets = Sets::new(cells.len());
        for (at, &id) in &cells {
            for beside in neighbours(*at) {
                if let Some(&other) = cells.get(&beside) {
                    sets.join(id, other);
                }
            }
        }
        let mut patches: BTreeMap<u32, Patch> = BTreeMap::new();
        for (k, &cell) in cell_of.iter().enumerate() {
            let empty = || Patch { of_part: Vec::new(), of_other: Vec::new() };
            let patch = patches.entry(sets.root(cell)).or_insert_with(empty);
            match k.checked_sub(self.of_part.len()) {
                None => patch.of_part.push(k as u32),
                Some(k) => patch.of_other.push(k as u32),
            }
        }
        patches.into_values().collect()
    }

    /// Cells of the grid that a patch is in.
    pub(super) fn cells(&self, patch: &Patch) -> std::collections::BTreeSet<[i64; 3]> {
        self.corners(patch).map(|t| self.cell(&middle(t))).collect()
    }

    pub(super) fn cell(&self, p: &Point3) -> [i64; 3] {
        [p.x, p.y, p.z].map(|x| (x / (CELL * self.size)).floor() as i64)
    }

    fn corners<'s>(&'s self, patch: &'s Patch) -> impl Iterator<Item = &'s Corners> {
        let part = patch.of_part.iter().map(|&i| &self.of_part[i as usize]);
        part.chain(patch.of_other.iter().map(|&i| &self.of_other[i as usize]))
    }

    pub(super) fn mesh(&self, patch: &Patch) -> Surface {
        let mesh = |all: &[Corners], ids: &[u32]| {
            let points: Vec<Point3> = ids.iter().flat_map(|&i| all[i as usize]).collect();
            let own = (0..ids.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
            (!ids.is_empty()).then(|| Mesh::new(points, own))
        };
        Surface {
            part: mesh(&self.of_part, &patch.of_part),
            other: mesh(&self.of_other, &patch.of_other),
        }
    }

    /// Area of the other part's surface in a patch that is nearer to the part than a distance, mm².
    pub(super) fn area(&self, patch: &Patch, below: f64) -> f64 {
        let all = patch.of_other.par_iter().map(|&i| self.of_other[i as usize]);
        let near = |t: &Corners| area_within(t, &self.view.solid, below, self.size / FINER);
        let each: Vec<f64> = all.map(|t| near(&t)).collect();
        each.iter().sum()
    }

    /// Area of the other part's surface in a patch that lies inside the part, mm².
    pub(super) fn area_inside(&self, patch: &Patch) -> f64 {
        self.area(patch, -super::ROUNDING)
    }

    /// Longest side of the box round what of a patch is of the other part, mm; else of the part.
    pub(super) fn extent(&self, patch: &Patch) -> f64 {
        let (ids, all) = if patch.of_other.is_empty() {
            (&patch.of_part, &self.of_part)
        } else {
            (&patch.of_other, &self.of_other)
        };
        let points = ids.iter().flat_map(|&i| all[i as usize]);
        let grown = points.map(|p| (p, p)).reduce(|(l, h), (p, _)| (l.inf(&p), h.sup(&p)));
        grown.map_or(0.0, |(low, high)| (high - low).max())
    }

    /// Box of a patch's pieces.
    pub(super) fn bounds(&self, patch: &Patch) -> Option<(Point3, Point3)> {
        let points = self.corners(patch).flatten().map(|p| (*p, *p));
        points.reduce(|(l, h), (p, _)| (l.inf(&p), h.sup(&p)))
    }

    /// The solid that pieces of one side are held against.
    pub(super) fn against(&self, of_part: bool) -> &Solid {
        if of_part { &self.other.solid } else { &self.view.solid }
    }
}

/// Cuts a triangle into pieces no longer than `size`, those that may be nearer to a solid than `reach`.
fn cut(t: &Corners, solid: &Solid, reach: f64, size: f64, pieces: &mut Vec<Corners>) {
    let (at, radius) = ball(t);
    let hit = solid.signed(&at, (reach + radius).max(f64::MIN_POSITIVE));
    if hit.is_none_or(|h| h.distance - radius > reach) {
        return;
    }
    match halves(t, size) {
        None => pieces.push(*t),
        Some(both) => both.iter().for_each(|half| cut(half, solid, reach, size, pieces)),
    }
}

/// Area of a triangle within a signed distance of a solid, pieces on the border to within `size`, mm².
fn area_within(t: &Corners, solid: &Solid, below: f64, size: f64) -> f64 {
    let (at, radius) = ball(t);
    let distance = solid.signed(&at, f64::INFINITY).map_or(f64::INFINITY, |h| h.distance);
    let area = 0.5 * (t[1] - t[0]).cross(&(t[2] - t[0])).norm();
    if distance - radius >= below {
        return 0.0;
    }
    if distance + radius < below {
        return area;
    }
    match halves(t, size) {
        None if distance < below => area,
        None => 0.0,
        Some(both) => both.iter().map(|half| area_within(half, solid, below, size)).sum(),
    }
}

/// The halves of a triangle by its longest edge; `None` if that is no longer than `size`.
pub(super) fn halves(t: &Corners, size: f64) -> Option<[Corners; 2]> {
    let edge = |k: usize| (t[(k + 1) % 3] - t[k]).norm();
    let longest = (0..3).fold(0, |best, k| if edge(k) > edge(best) { k } else { best });
    if edge(longest) <= size {
        return None;
    }
    let [a, b, c] = [0, 1, 2].map(|k| t[(longest + k) % 3]);
    let half = nalgebra::center(&a, &b);
    Some([[a, half, c], [half, b, c]])
}

/// Distance of a point from a triangle, mm.
pub(super) fn distance(p: &Point3, t: &Corners) -> f64 {
    crate::solid::triangle_distance(p, t)
}

fn middle(t: &Corners) -> Point3 {
    Point3::from((t[0].coords + t[1].coords + t[2].coords) / 3.0)
}

/// Middle and radius of a ball round a triangle.
fn ball(t: &Corners) -> (Point3, f64) {
    let at = middle(t);
    (at, t.iter().map(|p| (p - at).norm()).fold(0.0, f64::max))
}

/// A cell and the 26 round it.
pub(super) fn neighbours([x, y, z]: [i64; 3]) -> impl Iterator<Item = [i64; 3]> {
    let step = || -1..=1i64;
    step().flat_map(move |i| step().flat_map(move |j| step().map(move |k| [x + i, y + j, z + k])))
}

/// The smaller part's diagonal over the longest edge of a piece, at most and at least.
const FINEST: f64 = 60.0;
const COARSEST: f64 = 12.0;
/// No piece is cut finer, mm.
const LEAST: f64 = 0.01;
/// Pieces on the border of an area are finer by so much.
const FINER: f64 = 8.0;
/// Side of a cell in sizes: two pieces a size apart are in one cell or in neighbouring ones.
const CELL: f64 = 2.5;
