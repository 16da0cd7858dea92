//! Constrained Delaunay triangulation of a plane figure, refined until the surface is met.
//!
//! Chew (1989), Constrained Delaunay Triangulations; points are added at the middle of the edge or
//! triangle that is farthest off, one batch a pass, as long as anything is off by more than asked.

use std::collections::HashSet;

use spade::handles::{FixedFaceHandle, FixedVertexHandle, InnerTag};
use spade::{
    ConstrainedDelaunayTriangulation, HasPosition, Point2, PositionInTriangulation, Triangulation,
};

use super::plane::Plane;
use super::project;
use super::steps::Steps;
use super::surface::Surface;
use crate::primitive::{Point3, Primitive};

/// Triangles of one face.
#[derive(Debug, Default)]
pub(super) struct FaceMesh {
    /// Points of this face alone; their numbers follow those of the net.
    pub own: Vec<Point3>,
    /// Counter-clockwise against the surface's own normal.
    pub triangles: Vec<[u32; 3]>,
    /// Largest distance found from the surface, mm.
    pub worst: f64,
}

/// Why a face could not be triangulated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Trouble {
    /// The polygons of its bounds cross: finer ones may not.
    Crossing,
    /// The bounds do not enclose a face.
    Shape(&'static str),
    /// It takes more points than allowed.
    TooMany(u64),
}

#[derive(Clone, Copy)]
struct Vertex {
    at: Point2<f64>,
    place: usize,
}

impl HasPosition for Vertex {
    type Scalar = f64;
    fn position(&self) -> Point2<f64> {
        self.at
    }
}

type Mesh = ConstrainedDelaunayTriangulation<Vertex>;

/// One face on its way to triangles.
struct Work<'a> {
    surface: &'a Surface,
    shape: Option<Primitive>,
    steps: &'a Steps,
    /// Points in space and numbers of the places, in order.
    space: Vec<Point3>,
    points: Vec<u32>,
    /// How far each place is off the surface in the file itself, mm: no refinement can mend it.
    given: Vec<f64>,
    own: Vec<Point3>,
    shared: usize,
    mesh: Mesh,
    /// Vertices of each side; the face is on the left.
    sides: HashSet<(usize, usize)>,
    limit: usize,
}

/// Triangulates a figure; `shared` are the points of the net, `error` is in mm.
pub(super) fn triangulate(
    surface: &Surface,
    plane: Plane<'_>,
    shared: &[Point3],
    error: f64,
    limit: usize,
) -> Result<FaceMesh, Trouble> {
    let space: Option<Vec<Point3>> = plane
        .nodes
        .iter()
        .map(|n| {
            shared.get(n.point as usize).or_else(|| plane.own.get(n.point as usize - shared.len()))
        })
        .map(|p| p.copied())
        .collect();
    let mut work = Work {
        surface,
        shape: surface.primitive(),
        steps: plane.steps,
        space: space.ok_or(Trouble::Shape("a point without a place"))?,
        points: plane.nodes.iter().map(|n| n.point).collect(),
        shared: shared.len(),
        mesh: Mesh::new(),
        sides: HashSet::new(),
        limit,
        given: Vec::new(),
        own: Vec::new(),
    };
    work.given =
        plane.nodes.iter().zip(&work.space).map(|(n, p)| work.off_at(n.xy, p, 0.0)).collect();
    work.outline(&plane)?;
    work.own = plane.own;
    let mut worst = 0.0;
    if !matches!(surface, Surface::Plane(_)) {
        let inside = work.inside()?;
        work.seed(&inside)?;
        worst = work.refine(error)?;
    }
    let inside = work.inside()?;
    let mut triangles = Vec::new();
    for face in work.mesh.inner_faces().filter(|f| inside[f.fix().index()]) {
        let t = face.vertices().map(|v| work.points[v.data().place]);
        worst = f64::max(worst, work.measured(face.vertices().map(|v| v.data().place)));
        // At a pole two places are one point; such a triangle is a line.
        if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
            triangles.push(t);
        }
    }
    Ok(FaceMesh { own: work.own, triangles, worst })
}

impl Work<'_> {
    /// Places and sides.
    fn outline(&mut self, plane: &Plane<'_>) -> Result<(), Trouble> {
        let mut handles: Vec<FixedVertexHandle> = Vec::with_capacity(plane.nodes.len());
        for (place, node) in plane.nodes.iter().enumerate() {
            let vertex = Vertex { at: Point2::new(flush(node.xy[0]), flush(node.xy[1])), place };
            let before = self.mesh.num_vertices();
            let handle = match handles.last() {
                Some(hint) => self.mesh.insert_with_hint(vertex, *hint),
                None => self.mesh.insert(vertex),
            };
            let handle = handle.map_err(|_| Trouble::Shape("bounds with absurd coordinates"))?;
            if self.mesh.num_vertices() == before {
                // Two places in one: fine only for one and the same point.
                let earlier = handles.iter().position(|h| *h == handle);
                if earlier.is_none_or(|e| plane.nodes[e].point != node.point) {
                    return Err(Trouble::Crossing);
                }
            }
            handles.push(handle);
        }
        for [from, to] in &plane.sides {
            let (from, to) = (handles[*from], handles[*to]);
            if from != to
                && self.mesh.try_add_constraint(from, to).len() != 1
                && !self.mesh.exists_constraint(from, to)
            {
                return Err(Trouble::Crossing);
            }
            self.sides.insert((from.index(), to.index()));
        }
        Ok(())
    }

    /// Which triangles are inside: those reached from the left of a side without crossing one.
    fn inside(&self) -> Result<Vec<bool>, Trouble> {
        let mut inside = vec![false; self.mesh.num_all_faces()];
        let mut stack: Vec<FixedFaceHandle<InnerTag>> = Vec::new();
        for edge in self.mesh.directed_edges().filter(|e| e.is_constraint_edge()) {
            let key = (edge.from().fix().index(), edge.to().fix().index());
            if self.sides.contains(&key) {
                let face = edge.face().as_inner().ok_or(Trouble::Shape(WRONG_WAY))?;
                if !std::mem::replace(&mut inside[face.fix().index()], true) {
                    stack.push(face.fix());
                }
            }
        }
        while let Some(face) = stack.pop() {
            for edge in self.mesh.face(face).adjacent_edges() {
                let rev = edge.rev();
                if edge.is_constraint_edge() {
                    let key = (edge.from().fix().index(), edge.to().fix().index());
                    if !self.sides.contains(&key) {
                        return Err(Trouble::Shape(WRONG_WAY));
                    }
                    continue;
                }
                let next = rev.face().as_inner().ok_or(Trouble::Shape(WRONG_WAY))?;
                if !std::mem::replace(&mut inside[next.fix().index()], true) {
                    stack.push(next.fix());
                }
            }
        }
        Ok(inside)
    }

    /// Points spread evenly over the inside, so that refinement starts near its end.
    fn seed(&mut self, inside: &[bool]) -> Result<(), Trouble> {
        let mut hint = match self.mesh.fixed_vertices().next() {
            Some(vertex) => vertex,
            None => return Ok(()),
        };
        let mut accepted = Vec::new();
        for xy in self.lattice()? {
            let at = Point2::new(flush(xy[0]), flush(xy[1]));
            let PositionInTriangulation::OnFace(face) = self.mesh.locate_with_hint(at, hint) else {
                continue;
            };
            let corners = self.mesh.face(face).vertices();
            hint = corners[0].fix();
            if !inside[face.index()] {
                continue;
            }
            let uv = self.steps.parameters([at.x, at.y]);
            let point = self.surface.at(uv);
            let clear = corners.iter().all(|c| {
                let corner = self.steps.parameters([c.position().x, c.position().y]);
                self.steps.length((uv, &point), (corner, &self.space[c.data().place])) > CLEARANCE
            });
            let edges = self.mesh.face(face).adjacent_edges();
            let off_sides = self.steps.spacing.is_finite()
                || edges.iter().all(|e| {
                    !e.is_constraint_edge()
                        || e.as_undirected().distance_2(at) > CLEARANCE * CLEARANCE
                });
            if clear && off_sides {
                accepted.push((at, point));
            }
        }
        for (at, point) in accepted {
            self.add(at, point)?;
        }
        Ok(())
    }

    /// Even places one step apart within the box of the face.
    fn lattice(&self) -> Result<Vec<[f64; 2]>, Trouble> {
        if let Surface::Stereographic { radius, .. } = self.surface {
            return self.spread_on_sphere(*radius);
        }
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for at in self.mesh.vertices().map(|v| v.position()) {
            low = [low[0].min(at.x), low[1].min(at.y)];
            high = [high[0].max(at.x), high[1].max(at.y)];
        }
        let count = [0, 1].map(|axis| (high[axis] - low[axis] - 0.5).max(0.0).ceil());
        self.check_count(count[0] * count[1])?;
        let mut places = Vec::new();
        // The box's own lines are left to its sides.
        for row in 1..count[1] as usize {
            let y = low[1] + (high[1] - low[1]) * row as f64 / count[1];
            let offset = if row % 2 == 0 { 0.25 } else { 0.75 };
            for column in 0..count[0] as usize {
                places.push([low[0] + (high[0] - low[0]) * (column as f64 + offset) / count[0], y]);
            }
        }
        Ok(places)
    }

    /// Golden-angle spiral (Gonzalez 2010, Measurement of areas on a sphere using Fibonacci lattices).
    fn spread_on_sphere(&self, radius: f64) -> Result<Vec<[f64; 2]>, Trouble> {
        let ratio = radius / self.steps.spacing;
        let count = 4.0 * std::f64::consts::PI * ratio * ratio / 0.9;
        self.check_count(count)?;
        let turn = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
        Ok((0..count as usize)
            .map(|i| {
                let z = 1.0 - (2.0 * i as f64 + 1.0) / count.floor();
                let (sin, cos) = (turn * i as f64).sin_cos();
                let across = (1.0 - z * z).max(0.0).sqrt();
                [across * cos / (1.0 - z), across * sin / (1.0 - z)]
            })
            .collect())
    }

    fn check_count(&self, count: f64) -> Result<(), Trouble> {
        if count <= self.limit as f64 { Ok(()) } else { Err(Trouble::TooMany(count as u64)) }
    }

    /// Adds points until nothing is off by more than `error`; returns what is left.
    fn refine(&mut self, error: f64) -> Result<f64, Trouble> {
        let mut settled = HashSet::new();
        let mut worst = 0.0;
        for pass in 0..=MOST_PASSES {
            let inside = self.inside()?;
            let mut wanted: Vec<Point2<f64>> = Vec::new();
            worst = 0.0;
            for face in self.mesh.inner_faces().filter(|f| inside[f.fix().index()]) {
                let mut farthest = (0.0, None);
                let mut look = |at: Point2<f64>, places: [usize; 3]| {
                    let over = self.over_unless_settled(at, places, error, &mut settled);
                    worst = f64::max(worst, error + over);
                    if over > farthest.0 {
                        farthest = (over, Some(at));
                    }
                };
                let corners = face.vertices().map(|v| v.data().place);
                look(face.center(), corners);
                for edge in face.adjacent_edges().iter().filter(|e| !e.is_constraint_edge()) {
                    let [a, b] = edge.vertices().map(|v| v.data().place);
                    look(edge.as_undirected().center(), [a, b, NO_PLACE]);
                }
                wanted.extend(farthest.1);
            }
            if wanted.is_empty() || pass == MOST_PASSES {
                break;
            }
            for at in wanted {
                let point = self.surface.at(self.steps.parameters([at.x, at.y]));
                self.add(at, point)?;
            }
        }
        Ok(worst)
    }

    /// By how much the middle of a triangle, or of two places and [`NO_PLACE`], is farther off
    /// than it may be; what is good once stays so and counts as zero.
    fn over_unless_settled(
        &self,
        at: Point2<f64>,
        mut places: [usize; 3],
        error: f64,
        settled: &mut HashSet<[usize; 3]>,
    ) -> f64 {
        places.sort_unstable();
        if settled.contains(&places) {
            return 0.0;
        }
        let used = if places[2] == NO_PLACE { &places[..2] } else { &places[..] };
        let given = used.iter().map(|p| self.given[*p]).fold(0.0, f64::max);
        let over = self.off(at, used, error + given) - (error + given);
        if over > 0.0 {
            return over;
        }
        settled.insert(places);
        0.0
    }

    /// Largest distance from an ideal shape, mm, of the corners, the middle and the middles of the
    /// sides of a triangle: sides on the bounds too, which may lie off the surface in the file.
    fn measured(&self, places: [usize; 3]) -> f64 {
        let Some(shape) = &self.shape else { return 0.0 };
        let [a, b, c] = places.map(|p| self.space[p].coords);
        let samples = [a, b, c, (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0, (a + b + c) / 3.0];
        samples.iter().map(|p| shape.distance(&Point3::from(*p)).abs()).fold(0.0, f64::max)
    }

    /// Distance from the surface, mm, of the middle of two or three places; `at` is their middle
    /// in the plane. Below `good` an upper bound is enough.
    fn off(&self, at: Point2<f64>, places: &[usize], good: f64) -> f64 {
        let sum = places.iter().fold(Point3::origin().coords, |s, p| s + self.space[*p].coords);
        let middle = Point3::from(sum / places.len() as f64);
        self.off_at([at.x, at.y], &middle, good)
    }

    /// Distance of a point from the surface, mm, near a place in the plane.
    fn off_at(&self, xy: [f64; 2], point: &Point3, good: f64) -> f64 {
        match &self.shape {
            Some(shape) => shape.distance(point).abs(),
            None => project::distance_near(self.surface, point, self.steps.parameters(xy), good),
        }
    }

    /// Adds a point of the surface; one that falls onto a side or another point is left out.
    fn add(&mut self, at: Point2<f64>, point: Point3) -> Result<(), Trouble> {
        match self.mesh.locate(at) {
            PositionInTriangulation::OnFace(_) => (),
            PositionInTriangulation::OnEdge(edge)
                if !self.mesh.directed_edge(edge).is_constraint_edge() => {}
            _ => return Ok(()),
        }
        if self.own.len() >= self.limit {
            return Err(Trouble::TooMany(self.own.len() as u64 + 1));
        }
        let place = self.points.len();
        if self.mesh.insert(Vertex { at, place }).is_err() {
            return Ok(());
        }
        self.points.push((self.shared + self.own.len()) as u32);
        self.own.push(point);
        self.space.push(point);
        self.given.push(0.0);
        Ok(())
    }
}

/// Numbers too small for the triangulation are zero.
fn flush(x: f64) -> f64 {
    if x.abs() < 1e-40 { 0.0 } else { x }
}

const WRONG_WAY: &str = "its bounds do not enclose it on their left";
/// A spread point nearer to another than this, in steps, makes only slivers.
const CLEARANCE: f64 = 0.45;
const MOST_PASSES: usize = 40;
const NO_PLACE: usize = usize::MAX;
