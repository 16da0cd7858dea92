//! Boundary representation of one solid: vertices, edges and faces shared by their instance numbers.

use std::collections::HashMap;

use super::curve::Curve;
use super::file::StepFile;
use super::geometry::Geometry;
use super::record::{Attributes, Record};
use super::surface::Surface;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Vec3};

/// Vertices, edges and faces of one solid.
#[derive(Debug, Default)]
pub(super) struct Brep {
    pub vertices: Vec<Point3>,
    pub edges: Vec<Edge>,
    pub faces: Vec<Face>,
    /// First face of each shell, in the order of the solid: the outer one first.
    pub shells: Vec<usize>,
}

/// A piece of a curve from one vertex to another; `from` may be the larger parameter.
#[derive(Debug)]
pub(super) struct Edge {
    /// Instance it was read from.
    pub id: u64,
    pub curve: Curve,
    pub from: f64,
    pub to: f64,
    pub start: usize,
    pub end: usize,
}

/// A bounded surface.
#[derive(Debug)]
pub(super) struct Face {
    pub id: u64,
    pub name: &'static str,
    pub surface: Surface,
    /// Whether the material's outside is on the side of the surface's own normal.
    pub outward: bool,
    /// Bounds; walked along, the face is on the left seen against the surface's own normal.
    pub loops: Vec<Vec<Use>>,
}

/// One use of an edge in a loop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Use {
    pub edge: usize,
    pub forward: bool,
}

/// A solid's shells, each with whether it is used against its own orientation.
#[derive(Debug, Clone)]
pub(super) struct SolidShells {
    pub shells: Vec<(u64, bool)>,
}

/// What an edge is told apart by: its own instance, or the two points of a facet's side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum EdgeKey {
    Instance(u64),
    Between(u64, u64),
}

struct Builder<'f, 'a> {
    geometry: Geometry<'f, 'a>,
    brep: Brep,
    vertices: HashMap<u64, usize>,
    edges: HashMap<EdgeKey, usize>,
}

impl SolidShells {
    /// Shells of a solid or of a shell itself; none if the instance is neither.
    pub(super) fn read(file: &StepFile<'_>, id: u64) -> Result<Option<SolidShells>> {
        let record = file.record(id)?;
        let a = record.first(file)?;
        let mut shells = Vec::new();
        match a.name {
            "MANIFOLD_SOLID_BREP" | "FACETED_BREP" => {
                shells.push(oriented_shell(file, a.reference(1)?)?)
            }
            "BREP_WITH_VOIDS" => {
                shells.push(oriented_shell(file, a.reference(1)?)?);
                for void in a.references(2)? {
                    shells.push(oriented_shell(file, void)?);
                }
            }
            "SHELL_BASED_SURFACE_MODEL" | "FACE_BASED_SURFACE_MODEL" => {
                for shell in a.references(1)? {
                    shells.push(oriented_shell(file, shell)?);
                }
            }
            _ => return Ok(None),
        }
        Ok(Some(SolidShells { shells }))
    }
}

impl Brep {
    /// Reads all faces of a solid.
    pub(super) fn read(geometry: Geometry<'_, '_>, solid: &SolidShells) -> Result<Brep> {
        let mut builder = Builder {
            geometry,
            brep: Brep::default(),
            vertices: HashMap::new(),
            edges: HashMap::new(),
        };
        for (shell, reversed) in &solid.shells {
            builder.shell(*shell, *reversed)?;
        }
        Ok(builder.brep)
    }

    /// Turns the bounds of faces that run along each of their edges the same way as the neighbour
    /// does, which no face of a solid can; returns how many.
    pub(super) fn straighten(&mut self) -> usize {
        let mut ways: Vec<Vec<(usize, bool)>> = vec![Vec::new(); self.edges.len()];
        for (index, face) in self.faces.iter().enumerate() {
            for u in face.loops.iter().flatten() {
                ways[u.edge].push((index, u.forward == face.outward));
            }
        }
        let mut edges = vec![(0_usize, 0_usize); self.faces.len()];
        for way in &ways {
            let [(a, forward), (b, back)] = way[..] else { continue };
            if a != b {
                for face in [a, b] {
                    edges[face].0 += 1;
                    edges[face].1 += usize::from(forward == back);
                }
            }
        }
        let wrong = |(all, same): &(usize, usize)| *all > 0 && all == same;
        let mut turned = 0;
        for (face, counts) in self.faces.iter_mut().zip(&edges) {
            if wrong(counts) {
                face.loops.iter_mut().for_each(|uses| turn(uses));
                turned += 1;
            }
        }
        turned
    }

    /// Vertex a use starts at.
    pub(super) fn start(&self, u: Use) -> usize {
        let edge = &self.edges[u.edge];
        if u.forward { edge.start } else { edge.end }
    }

    /// Vertex a use ends at.
    pub(super) fn end(&self, u: Use) -> usize {
        self.start(Use { forward: !u.forward, ..u })
    }
}

impl<'f, 'a> Builder<'f, 'a> {
    fn shell(&mut self, id: u64, reversed: bool) -> Result<()> {
        let file = self.geometry.file;
        self.brep.shells.push(self.brep.faces.len());
        let record = file.record(id)?;
        for face in record.first(file)?.references(1)? {
            if self.brep.faces.len() >= MOST_FACES {
                let found = self.brep.faces.len() as u64 + 1;
                return Err(Error::Limit {
                    what: "faces of a solid".into(),
                    found,
                    limit: MOST_FACES as u64,
                });
            }
            self.face(face, reversed, 0)?;
        }
        Ok(())
    }

    fn face(&mut self, id: u64, reversed: bool, depth: usize) -> Result<()> {
        let file = self.geometry.file;
        let record = file.record(id)?;
        let a = record.first(file)?;
        match a.name {
            "ADVANCED_FACE" | "FACE_SURFACE" => (),
            "ORIENTED_FACE" if depth < DEEPEST => {
                return self.face(a.reference(2)?, reversed == a.flag(3)?, depth + 1);
            }
            "FACE" => return self.facet(&record, &a, reversed),
            _ => return Err(record.unsupported(file, "a face of this type")),
        }
        let (surface, with) = self.geometry.surface(a.reference(2)?)?;
        let same = a.flag(3)? == with;
        let mut loops = Vec::new();
        for bound in a.references(1)? {
            let mut uses = self.bound(bound)?;
            if !same {
                turn(&mut uses);
            }
            loops.push(uses);
        }
        loops.retain(|uses| !uses.is_empty());
        let edges = loops.iter().flatten().map(|u: &Use| {
            let Edge { curve, from, to, .. } = &self.brep.edges[u.edge];
            [0.1, 0.5, 0.9].map(|f| curve.at(from + f * (to - from)))
        });
        let surface = surface.halved(&edges.collect::<Vec<_>>());
        let name = "ADVANCED_FACE";
        self.brep.faces.push(Face { id, name, surface, outward: same != reversed, loops });
        Ok(())
    }

    /// Uses of one bound in its own direction; empty for a bound that is a single vertex.
    fn bound(&mut self, id: u64) -> Result<Vec<Use>> {
        let file = self.geometry.file;
        let record = file.record(id)?;
        let bound = record.first(file)?;
        if !bound.name.starts_with("FACE_") || !bound.name.ends_with("BOUND") {
            return Err(record.fault(file, record.name(), "FACE_BOUND or FACE_OUTER_BOUND"));
        }
        let loop_record = file.record(bound.reference(1)?)?;
        let a = loop_record.first(file)?;
        let mut uses = match a.name {
            "EDGE_LOOP" => {
                let mut uses = Vec::new();
                for oriented in a.references(1)? {
                    uses.extend(self.oriented_edge(oriented)?);
                }
                uses
            }
            "POLY_LOOP" => self.polygon(&a.references(1)?)?,
            "VERTEX_LOOP" => Vec::new(),
            _ => return Err(loop_record.unsupported(file, "a loop of this type")),
        };
        for (i, u) in uses.iter().enumerate() {
            if self.brep.end(*u) != self.brep.start(uses[(i + 1) % uses.len()]) {
                let found = format!("edge {} that does not lead to the next one", i + 1);
                return Err(loop_record.fault(file, found, "edges end to end"));
            }
        }
        if !bound.flag(2)? {
            turn(&mut uses);
        }
        Ok(uses)
    }

    fn oriented_edge(&mut self, id: u64) -> Result<Option<Use>> {
        let file = self.geometry.file;
        let record = file.record(id)?;
        if record.is("ORIENTED_EDGE") {
            let a = record.expect(file, "ORIENTED_EDGE")?;
            let forward = a.flag(4)?;
            return Ok(self.edge(a.reference(3)?)?.map(|edge| Use { edge, forward }));
        }
        Ok(self.edge(id)?.map(|edge| Use { edge, forward: true }))
    }

    /// The edge of an instance; none for one without length.
    fn edge(&mut self, id: u64) -> Result<Option<usize>> {
        let key = EdgeKey::Instance(id);
        if let Some(known) = self.edges.get(&key) {
            return Ok((*known != NO_EDGE).then_some(*known));
        }
        let file = self.geometry.file;
        let record = file.record(id)?;
        let a = record.expect(file, "EDGE_CURVE")?;
        let (start, end) = (self.vertex(a.reference(1)?)?, self.vertex(a.reference(2)?)?);
        let (curve, with) = self.geometry.curve(a.reference(3)?)?;
        let forward = a.flag(4)? == with;
        let index = match self.span(&curve, start, end, forward) {
            Some((from, to)) => {
                self.brep.edges.push(Edge { id, curve, from, to, start, end });
                self.brep.edges.len() - 1
            }
            None => NO_EDGE,
        };
        self.edges.insert(key, index);
        Ok((index != NO_EDGE).then_some(index))
    }

    /// Parameters of both ends along the curve's direction of travel.
    fn span(&self, curve: &Curve, start: usize, end: usize, forward: bool) -> Option<(f64, f64)> {
        let (p, q) = (self.brep.vertices[start], self.brep.vertices[end]);
        let (from, mut to) = (curve.parameter(&p), curve.parameter(&q));
        if let Some(period) = curve.period() {
            let period = if forward { period } else { -period };
            if start == end {
                return Some((from, from + period));
            }
            // Two vertices in one place are a sliver of an edge, not a whole turn.
            let sliver = (p - q).norm() <= SLIVER;
            if !sliver && (to - from) * period.signum() <= 0.0 {
                to += period;
            }
            return Some((from, to));
        }
        match curve.range() {
            Some((low, high)) if start == end => {
                Some(if forward { (low, high) } else { (high, low) })
            }
            _ => (start != end).then_some((from, to)),
        }
    }

    fn vertex(&mut self, id: u64) -> Result<usize> {
        let file = self.geometry.file;
        let record = file.record(id)?;
        let point = if record.is("CARTESIAN_POINT") {
            id
        } else {
            record.expect(file, "VERTEX_POINT")?.reference(1)?
        };
        if let Some(known) = self.vertices.get(&id) {
            return Ok(*known);
        }
        self.brep.vertices.push(self.geometry.point(point)?);
        self.vertices.insert(id, self.brep.vertices.len() - 1);
        Ok(self.brep.vertices.len() - 1)
    }

    /// Straight sides between the points of a facet.
    fn polygon(&mut self, points: &[u64]) -> Result<Vec<Use>> {
        let mut uses = Vec::new();
        for (i, a) in points.iter().enumerate() {
            let b = points[(i + 1) % points.len()];
            let (start, end) = (self.vertex(*a)?, self.vertex(b)?);
            if start == end {
                continue;
            }
            let key = EdgeKey::Between((*a).min(b), (*a).max(b));
            let next = self.brep.edges.len();
            let edge = *self.edges.entry(key).or_insert(next);
            if edge == next {
                let (p, q) = (self.brep.vertices[start], self.brep.vertices[end]);
                let length = (q - p).norm();
                let direction = if length > 0.0 { (q - p) / length } else { Vec3::x() };
                let curve = Curve::Line { point: p, direction };
                self.brep.edges.push(Edge { id: *a, curve, from: 0.0, to: length, start, end });
            }
            uses.push(Use { edge, forward: self.brep.edges[edge].start == start });
        }
        Ok(uses)
    }

    /// A face without a surface of its own: a flat polygon of a faceted solid.
    fn facet(&mut self, record: &Record<'a>, a: &Attributes<'_, 'a>, reversed: bool) -> Result<()> {
        let mut loops = Vec::new();
        for bound in a.references(1)? {
            loops.push(self.bound(bound)?);
        }
        let Some(plane) = loops.first().and_then(|uses| self.plane_of(uses)) else {
            let file = self.geometry.file;
            return Err(record.fault(
                file,
                "a polygon without area",
                "at least 3 points not in line",
            ));
        };
        let face = Face { id: record.id, name: "FACE", surface: plane, outward: !reversed, loops };
        self.brep.faces.push(face);
        Ok(())
    }

    /// Plane through a polygon, its normal by Newell's sum.
    fn plane_of(&self, uses: &[Use]) -> Option<Surface> {
        let corner = |u: &Use| self.brep.vertices[self.brep.start(*u)];
        let origin = corner(uses.first()?);
        let mut normal = Vec3::zeros();
        for (i, u) in uses.iter().enumerate() {
            let next = &uses[(i + 1) % uses.len()];
            normal += (corner(u) - origin).cross(&(corner(next) - origin));
        }
        let normal = crate::primitive::unit(normal)?;
        Some(Surface::Plane(super::curve::Frame::new(origin, normal, None)))
    }
}

/// A closed or open shell under a possible orientation.
fn oriented_shell(file: &StepFile<'_>, id: u64) -> Result<(u64, bool)> {
    let record = file.record(id)?;
    let a = record.first(file)?;
    match a.name {
        "CLOSED_SHELL" | "OPEN_SHELL" | "CONNECTED_FACE_SET" => Ok((id, false)),
        "ORIENTED_CLOSED_SHELL" | "ORIENTED_OPEN_SHELL" => {
            let inner = a.reference(2)?;
            let record = file.record(inner)?;
            match record.first(file)?.name {
                "CLOSED_SHELL" | "OPEN_SHELL" => Ok((inner, !a.flag(3)?)),
                _ => Err(record.fault(file, record.name(), "CLOSED_SHELL")),
            }
        }
        _ => Err(record.fault(file, record.name(), "CLOSED_SHELL or ORIENTED_CLOSED_SHELL")),
    }
}

fn turn(uses: &mut [Use]) {
    uses.reverse();
    for u in uses {
        u.forward = !u.forward;
    }
}

const NO_EDGE: usize = usize::MAX;
const DEEPEST: usize = 4;
const MOST_FACES: usize = 200_000;
/// Vertices nearer than this, mm, are in one place: ten times the finest tolerance CAD files carry.
const SLIVER: f64 = 1e-6;
