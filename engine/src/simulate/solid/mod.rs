//! Bodies as trees of signed distance functions: exact faces, bores and cylinders, rounded edges.
//!
//! Every leaf knows its exact distance; union is the minimum, subtraction the maximum with the
//! negated tool. A blend replaces the edge where two surfaces meet by an arc and changes nothing
//! farther from it than its radius. The distance is exact on and outside the surface of a leaf, a
//! lower bound near edges of a combination; its gradient never exceeds [`STEEPEST`].
//! Method: Ricci (1973), "A constructive geometry for computer graphics"; Hart (1996), "Sphere
//! tracing"; pruning by place after Duff (1992), "Interval arithmetic and recursive subdivision
//! for implicit functions and constructive solid geometry".

mod pipe;
mod profile;
mod shape;

use std::sync::Arc;

use crate::primitive::{Direction, Point3, Pose, Vec3, unit};
pub use pipe::Pipe;
use profile::Profile;
use shape::{Leaf, Shape};

/// A body; cheap to clone.
#[derive(Debug, Clone)]
pub struct Solid(Arc<Node>);

#[derive(Debug)]
enum Node {
    Leaf(Leaf),
    Union { parts: Vec<Solid>, fillet: f64 },
    Cut { from: Solid, tool: Solid, edge: f64 },
}

impl Solid {
    /// Box about `machine_from_local`'s origin with full lengths `size`, all edges rounded.
    #[must_use]
    pub fn cuboid(machine_from_local: &Pose, size: Vec3, edge: f64) -> Self {
        Solid::leaf(machine_from_local, Shape::Box { half: size / 2.0, edge })
    }

    /// Polygon (counter-clockwise, at least three corners, in local x and y) extruded from
    /// z = -height/2 to height/2; convex corners and both rims rounded with `edge`.
    #[must_use]
    pub fn extruded(
        machine_from_local: &Pose,
        corners: &[[f64; 2]],
        height: f64,
        edge: f64,
    ) -> Self {
        let profile = Profile::new(corners, edge);
        Solid::leaf(machine_from_local, Shape::Extruded { profile, half: height / 2.0 })
    }

    /// Body of revolution about local z: `outline` gives radius and z from the lower to the upper
    /// end; both ends are closed by flat discs; convex edges rounded with `edge`.
    #[must_use]
    pub fn turned(machine_from_local: &Pose, outline: &[[f64; 2]], edge: f64) -> Self {
        // Mirrored at the axis, so that the axis itself is no edge.
        let mirrored = outline.iter().rev().map(|c| [-c[0], c[1]]);
        let corners: Vec<[f64; 2]> = outline.iter().copied().chain(mirrored).collect();
        Solid::leaf(machine_from_local, Shape::Turned { profile: Profile::new(&corners, edge) })
    }

    /// Round bar along local z from `from` to `to`.
    #[must_use]
    pub fn cylinder(machine_from_local: &Pose, radius: f64, from: f64, to: f64, edge: f64) -> Self {
        Solid::turned(machine_from_local, &[[radius, from], [radius, to]], edge)
    }

    /// Rectangular hollow section along local z, `width` in x, `height` in y, with open ends.
    #[must_use]
    pub fn tube(
        machine_from_local: &Pose,
        [width, height]: [f64; 2],
        corner: f64,
        wall: f64,
        length: f64,
    ) -> Self {
        let half = [width / 2.0, height / 2.0];
        Solid::leaf(machine_from_local, Shape::Tube { half, corner, wall, length: length / 2.0 })
    }

    /// Ball.
    #[must_use]
    pub fn ball(centre: Point3, radius: f64) -> Self {
        Solid::leaf(&Pose::translation(centre.x, centre.y, centre.z), Shape::Ball { radius })
    }

    /// Bent pipe.
    #[must_use]
    pub fn pipe(pipe: &Pipe) -> Self {
        Solid::leaf(&Pose::identity(), Shape::Pipe(pipe.clone()))
    }

    /// All bodies together; concave edges between them filled with radius `fillet`.
    #[must_use]
    pub fn union(parts: Vec<Solid>, fillet: f64) -> Self {
        Solid(Arc::new(Node::Union { parts, fillet }))
    }

    /// The body without the tool; the edges so made are rounded with `edge`.
    #[must_use]
    pub fn cut(&self, tool: &Solid, edge: f64) -> Self {
        Solid(Arc::new(Node::Cut { from: self.clone(), tool: tool.clone(), edge }))
    }

    /// Signed distance, mm, negative inside.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        match &*self.0 {
            Node::Leaf(leaf) => leaf.distance(p),
            Node::Union { parts, fillet } => parts
                .iter()
                .map(|s| s.distance(p))
                .fold(f64::INFINITY, |a, b| round_min(a, b, *fillet)),
            Node::Cut { from, tool, edge } => round_max(from.distance(p), -tool.distance(p), *edge),
        }
    }

    /// Direction of steepest growth of the distance and its slope; `None` where it is flat.
    #[must_use]
    pub fn gradient(&self, p: &Point3) -> Option<(Direction, f64)> {
        // Four corners of a tetrahedron give all three differences to second order.
        let corners = [
            Vec3::new(1.0, -1.0, -1.0),
            Vec3::new(-1.0, -1.0, 1.0),
            Vec3::new(-1.0, 1.0, -1.0),
            Vec3::new(1.0, 1.0, 1.0),
        ];
        let sum: Vec3 = corners.iter().map(|c| c * self.distance(&(p + c * PROBE))).sum();
        let slope = sum.norm() / (4.0 * PROBE);
        Some((unit(sum)?, slope))
    }

    /// Smallest and largest coordinates, mm; `None` without any body.
    #[must_use]
    pub fn bounds(&self) -> Option<(Point3, Point3)> {
        match &*self.0 {
            Node::Leaf(leaf) => Some(leaf.bounds()),
            Node::Cut { from, .. } => from.bounds(),
            Node::Union { parts, .. } => {
                parts.iter().filter_map(Solid::bounds).reduce(|a, b| (a.0.inf(&b.0), a.1.sup(&b.1)))
            }
        }
    }

    /// The distance at `centre` and the parts of the tree that matter within `radius` of it: there
    /// the smaller tree gives the same distance to the bit.
    #[must_use]
    pub fn near(&self, centre: &Point3, radius: f64) -> (f64, Solid) {
        let reach = radius * STEEPEST;
        match &*self.0 {
            Node::Leaf(leaf) => (leaf.distance(centre), self.clone()),
            Node::Union { parts, fillet } => near_union(parts, *fillet, centre, radius),
            Node::Cut { from, tool, edge } => {
                let (a, from) = from.near(centre, radius);
                let (b, tool) = tool.near(centre, radius);
                let value = round_max(a, -b, *edge);
                if -b + reach < (a - reach).min(-edge) {
                    return (value, from);
                }
                (value, from.cut(&tool, *edge))
            }
        }
    }

    fn leaf(machine_from_local: &Pose, shape: Shape) -> Self {
        Solid(Arc::new(Node::Leaf(Leaf::new(machine_from_local, shape))))
    }
}

/// Bound of the distance's slope: one for a leaf, more only where a blend joins surfaces at an
/// angle far from square.
pub const STEEPEST: f64 = 1.5;

fn near_union(parts: &[Solid], fillet: f64, centre: &Point3, radius: f64) -> (f64, Solid) {
    let reach = radius * STEEPEST;
    let close: Vec<(f64, Solid)> = parts.iter().map(|s| s.near(centre, radius)).collect();
    let value = close.iter().map(|(d, _)| *d).fold(f64::INFINITY, |a, b| round_min(a, b, fillet));
    let least = close.iter().map(|(d, _)| *d).fold(f64::INFINITY, f64::min);
    let limit = (least + reach).max(fillet) + reach;
    let mut kept: Vec<Solid> =
        close.into_iter().filter(|(d, _)| *d <= limit).map(|(_, s)| s).collect();
    match (kept.pop(), kept.is_empty()) {
        (Some(only), true) => (value, only),
        (Some(last), false) => {
            kept.push(last);
            (value, Solid::union(kept, fillet))
        }
        (None, _) => (value, Solid::union(Vec::new(), fillet)),
    }
}

/// Minimum whose concave edge is filled with an arc of radius `r`.
fn round_min(a: f64, b: f64, r: f64) -> f64 {
    -round_max(-a, -b, r)
}

/// Maximum whose convex edge is rounded with an arc of radius `r`; the plain maximum elsewhere,
/// to the bit.
fn round_max(a: f64, b: f64, r: f64) -> f64 {
    if a <= -r || b <= -r {
        return a.max(b);
    }
    length(a + r, b + r) - r
}

/// Plain length: lengths here are far from overflow, and the exact library function costs ten times as much.
fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

fn bounds_of(points: impl Iterator<Item = Point3>, margin: f64) -> (Point3, Point3) {
    let empty = (Point3::from(Vec3::repeat(f64::MAX)), Point3::from(Vec3::repeat(f64::MIN)));
    let (low, high) = points.fold(empty, |(l, h), p| (l.inf(&p), h.sup(&p)));
    (low.map(|x| x - margin), high.map(|x| x + margin))
}

/// Step of the numeric gradient, mm: rounding and curvature both stay under 1e-8 for radii over a
/// tenth of a millimetre.
const PROBE: f64 = 1e-4;
