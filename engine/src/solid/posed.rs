//! A mesh at another place: least distance to a mesh that stays, and whether it meets one on a straight way.
//!
//! The moved mesh keeps its tree: a box turned by the pose is held by the upright box round it. What a
//! triangle sweeps on a straight way is a prism, the distance of which is that of its faces; a closed
//! body meets things with the triangles that face forward, its start aside. Nothing is sampled.

use super::bvh::Node;
use super::pairs::Witness;
use super::triangle::{Corners, triangle_gap};
use super::{Mesh, Solid, ray_triangle};
use crate::primitive::{Pose, Vec3, unit};

impl Solid {
    /// Least distance of the moved surface to a mesh below `reach` (mm).
    pub(crate) fn least_distance_at(
        &self,
        pose: &Pose,
        mesh: &Mesh,
        reach: f64,
    ) -> Option<Witness> {
        let mut best: Option<Witness> = None;
        for b in &self.bodies {
            let reach = best.map_or(reach, |w| w.distance);
            if let Some(w) = Posed::new(&b.mesh, mesh, pose).least_distance(reach) {
                best = Some(Witness { triangle_a: b.id(w.triangle_a), ..w });
            }
        }
        best
    }

    /// Whether the moved body comes within `gap` (mm) of a mesh on a straight way; not asked at its start.
    pub(crate) fn meets_on(&self, pose: &Pose, way: &Vec3, gap: f64, mesh: &Mesh) -> bool {
        self.bodies.iter().any(|b| Posed::new(&b.mesh, mesh, pose).meets_on(way, gap, b.inverted))
    }
}

struct Posed<'a> {
    a: &'a Mesh,
    b: &'a Mesh,
    pose: &'a Pose,
    /// Sizes of its matrix: half sides of an upright box round a turned one.
    spread: nalgebra::Matrix3<f64>,
    turn: nalgebra::Matrix3<f64>,
    /// Middle of the first tree at its place, seen from that of the second.
    shift: Vec3,
}

/// Box by its middle and half sides, relative to the second tree's middle.
#[derive(Clone, Copy)]
struct Box3 {
    middle: Vec3,
    half: Vec3,
}

impl<'a> Posed<'a> {
    fn new(a: &'a Mesh, b: &'a Mesh, pose: &'a Pose) -> Self {
        let turn = pose.rotation.to_rotation_matrix().into_inner();
        let shift = pose * a.bvh.middle - b.bvh.middle;
        Posed { a, b, pose, spread: turn.abs(), turn, shift }
    }

    fn least_distance(&self, reach: f64) -> Option<Witness> {
        let mut best = (reach * reach, None);
        let mut stack = Vec::with_capacity(256);
        if !self.a.bvh.nodes.is_empty() && !self.b.bvh.nodes.is_empty() {
            stack.push((self.squared_gap(0, 0).0, 0, 0));
        }
        while let Some((bound, i, j)) = stack.pop() {
            if bound >= best.0 {
                continue;
            }
            let (a, b) = self.nodes(i, j);
            if a.is_leaf() && b.is_leaf() {
                self.compare(a, b, &mut best);
                continue;
            }
            let mut children = self.children(i, j).map(|(i, j)| (self.squared_gap(i, j), i, j));
            // Boxes that overlap alike are told apart by their middles.
            if children[0].0 < children[1].0 {
                children.swap(0, 1);
            }
            let near = children.into_iter().map(|(key, i, j)| (key.0, i, j));
            stack.extend(near.filter(|c| c.0 < best.0));
        }
        best.1
    }

    fn compare(&self, a: &Node, b: &Node, best: &mut (f64, Option<Witness>)) {
        for ka in a.range() {
            let ta = self.corners(ka);
            for kb in b.range() {
                let gap = triangle_gap(&ta, &self.b.corners_in_order(kb));
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

    fn meets_on(&self, way: &Vec3, gap: f64, inverted: bool) -> bool {
        let mut stack = Vec::with_capacity(256);
        if !self.a.bvh.nodes.is_empty() && !self.b.bvh.nodes.is_empty() {
            stack.push((0.0, 0, 0));
        }
        while let Some((_, i, j)) = stack.pop() {
            let (a, b) = self.nodes(i, j);
            if a.is_leaf() && b.is_leaf() {
                if self.leaves_meet(a, b, way, gap, inverted) {
                    return true;
                }
                continue;
            }
            let entry = |(i, j): (u32, u32)| {
                let (a, b) = self.nodes(i, j);
                Some((entry(&self.moved(a), &box_of(b), way, gap)?, i, j))
            };
            let mut next: Vec<(f64, u32, u32)> =
                self.children(i, j).into_iter().filter_map(entry).collect();
            // What is met first is looked at first.
            next.sort_by(|x, y| y.0.total_cmp(&x.0));
            stack.extend(next);
        }
        false
    }

    fn leaves_meet(&self, a: &Node, b: &Node, way: &Vec3, gap: f64, inverted: bool) -> bool {
        for ka in a.range() {
            let ta = self.corners(ka);
            let forward = (ta[1] - ta[0]).cross(&(ta[2] - ta[0])).dot(way);
            if (if inverted { -forward } else { forward }) < 0.0 {
                continue;
            }
            let around = |t: &Corners| {
                let (low, high) = (t[0].inf(&t[1]).inf(&t[2]), t[0].sup(&t[1]).sup(&t[2]));
                Box3 { middle: 0.5 * (low.coords + high.coords), half: 0.5 * (high - low) }
            };
            let mine = around(&ta);
            for kb in b.range() {
                let tb = self.b.corners_in_order(kb);
                if entry(&mine, &around(&tb), way, gap).is_some() && prism_meets(&ta, way, &tb, gap)
                {
                    return true;
                }
            }
        }
        false
    }

    fn nodes(&self, i: u32, j: u32) -> (&Node, &Node) {
        (&self.a.bvh.nodes[i as usize], &self.b.bvh.nodes[j as usize])
    }

    /// The two pairs below a pair that is not two leaves.
    fn children(&self, i: u32, j: u32) -> [(u32, u32); 2] {
        let (a, b) = self.nodes(i, j);
        if !a.is_leaf() && (b.is_leaf() || a.size() >= b.size()) {
            [(a.first, j), (a.first + 1, j)]
        } else {
            [(i, b.first), (i, b.first + 1)]
        }
    }

    /// Squared gap of two boxes and squared distance of their middles.
    fn squared_gap(&self, i: u32, j: u32) -> (f64, f64) {
        let (a, b) = self.nodes(i, j);
        let (a, b) = (self.moved(a), box_of(b));
        let off = a.middle - b.middle;
        let apart = (off.abs() - a.half - b.half).sup(&Vec3::zeros());
        (apart.norm_squared(), off.norm_squared())
    }

    fn moved(&self, n: &Node) -> Box3 {
        let own = box_of(n);
        Box3 { middle: self.turn * own.middle + self.shift, half: self.spread * own.half }
    }

    fn corners(&self, k: usize) -> Corners {
        self.a.corners_in_order(k).map(|p| self.pose * p)
    }
}

fn box_of(n: &Node) -> Box3 {
    let (low, high) = (Vec3::from(n.low.map(f64::from)), Vec3::from(n.high.map(f64::from)));
    Box3 { middle: 0.5 * (low + high), half: 0.5 * (high - low) }
}

/// Part of a way, 0 to 1, at which a moving box comes within `gap` of another along every axis.
fn entry(a: &Box3, b: &Box3, way: &Vec3, gap: f64) -> Option<f64> {
    let (mut enter, mut leave) = (0.0f64, 1.0f64);
    for k in 0..3 {
        let (off, room) = (b.middle[k] - a.middle[k], a.half[k] + b.half[k] + gap);
        if way[k] == 0.0 {
            if off.abs() > room {
                return None;
            }
            continue;
        }
        let (s, t) = ((off - room) / way[k], (off + room) / way[k]);
        enter = enter.max(s.min(t));
        leave = leave.min(s.max(t));
    }
    (enter <= leave).then_some(enter)
}

/// Whether what a triangle sweeps comes within `gap` of another triangle, its own start aside.
fn prism_meets(a: &Corners, way: &Vec3, b: &Corners, gap: f64) -> bool {
    let end = a.map(|p| p + way);
    let near = |t: Corners| triangle_gap(&t, b).squared <= gap * gap;
    if near(end) {
        return true;
    }
    for i in 0..3 {
        let j = (i + 1) % 3;
        if near([a[i], a[j], end[j]]) || near([a[i], end[j], end[i]]) {
            return true;
        }
    }
    // All of it inside, clear of the faces.
    let Some(back) = unit(-way) else { return false };
    ray_triangle(&b[0], &back, a).is_some_and(|d| d <= way.norm())
}
