//! Which solids a file holds and where: representations, their relationships and mapped items.
//!
//! ISO 10303-43: a shape representation holds items; a plain relationship says that two
//! representations are of one thing, one with a transformation places the first in the second, and
//! a mapped item places a representation in the one that holds it.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use nalgebra::{Matrix3, Rotation3, Translation3, UnitQuaternion};

use super::curve::Frame;
use super::file::StepFile;
use super::geometry::Geometry;
use super::record::{Attributes, Record};
use super::topology::SolidShells;
use super::units::Units;
use crate::error::{Error, Result};
use crate::primitive::{Pose, Vec3};

/// A solid's instance with its units and its place in the file's own coordinates.
#[derive(Debug, Clone)]
pub(super) struct Placed {
    pub solid: u64,
    pub units: Units,
    pub pose: Pose,
}

/// What the file holds.
#[derive(Debug, Default)]
pub(super) struct Contents {
    pub solids: Vec<Placed>,
    /// Surface models beside the solids; instead of them where there is no solid.
    pub surfaces: Vec<Placed>,
}

/// A shape representation.
struct Representation {
    solids: Vec<u64>,
    surfaces: Vec<u64>,
    mapped: Vec<u64>,
    units: Units,
}

/// A representation placed in another.
#[derive(Clone)]
struct Link {
    child: u64,
    pose: Pose,
}

/// The graph of representations; those of one thing are one node, named by one of them.
struct Graph<'f, 'a> {
    file: &'f StepFile<'a>,
    representations: BTreeMap<u64, Representation>,
    same: HashMap<u64, u64>,
    members: BTreeMap<u64, Vec<u64>>,
    links: BTreeMap<u64, Vec<Link>>,
    visited: usize,
}

/// Representations whose items are read.
const REPRESENTATIONS: [&str; 9] = [
    "SHAPE_REPRESENTATION",
    "ADVANCED_BREP_SHAPE_REPRESENTATION",
    "FACETED_BREP_SHAPE_REPRESENTATION",
    "MANIFOLD_SURFACE_SHAPE_REPRESENTATION",
    "NON_MANIFOLD_SURFACE_SHAPE_REPRESENTATION",
    "GEOMETRICALLY_BOUNDED_SURFACE_SHAPE_REPRESENTATION",
    "COMPOUND_SHAPE_REPRESENTATION",
    "CSG_SHAPE_REPRESENTATION",
    "TESSELLATED_SHAPE_REPRESENTATION",
];
const SOLIDS: [&str; 3] = ["MANIFOLD_SOLID_BREP", "BREP_WITH_VOIDS", "FACETED_BREP"];
const SURFACES: [&str; 2] = ["SHELL_BASED_SURFACE_MODEL", "FACE_BASED_SURFACE_MODEL"];
/// Solids and surfaces that another program must turn into one of those above.
const OTHERS: [&str; 14] = [
    "CSG_SOLID",
    "BOOLEAN_RESULT",
    "EXTRUDED_AREA_SOLID",
    "REVOLVED_AREA_SOLID",
    "EXTRUDED_FACE_SOLID",
    "REVOLVED_FACE_SOLID",
    "SURFACE_CURVE_SWEPT_AREA_SOLID",
    "SWEPT_DISK_SOLID",
    "SOLID_REPLICA",
    "BLOCK",
    "SPHERE",
    "TORUS",
    "RIGHT_CIRCULAR_CYLINDER",
    "RIGHT_CIRCULAR_CONE",
];
/// Meshes, which may be copies of solids beside them.
const TESSELLATED: [&str; 2] = ["TESSELLATED_SOLID", "TESSELLATED_SHELL"];
const RELATIONS: [&str; 4] = [
    "SHAPE_REPRESENTATION_RELATIONSHIP",
    "CONTEXT_DEPENDENT_SHAPE_REPRESENTATION",
    "SHAPE_DEFINITION_REPRESENTATION",
    "GLOBAL_UNIT_ASSIGNED_CONTEXT",
];

/// Instances the reading of contents lists by type.
pub(super) fn kinds() -> Vec<&'static str> {
    [&REPRESENTATIONS[..], &SOLIDS, &SURFACES, &OTHERS, &TESSELLATED, &RELATIONS].concat()
}

impl Contents {
    pub(super) fn read(file: &StepFile<'_>) -> Result<Contents> {
        let mut graph = Graph {
            file,
            representations: BTreeMap::new(),
            same: HashMap::new(),
            members: BTreeMap::new(),
            links: BTreeMap::new(),
            visited: 0,
        };
        refuse_others(file)?;
        let usual = usual_units(file)?;
        graph.read_representations(usual)?;
        graph.read_relationships()?;
        graph.read_mapped()?;
        let mut contents = Contents::default();
        for root in graph.roots()? {
            graph.place(root, Pose::identity(), &mut Vec::new(), &mut contents)?;
        }
        graph.add_loose(usual, &mut contents);
        let (found, limit) = (contents.solids.len() + contents.surfaces.len(), MOST_PLACED as u64);
        if found > MOST_PLACED {
            let (what, found) = ("solids placed in the file".into(), found as u64);
            return Err(Error::Limit { what, found, limit });
        }
        once(&mut contents.solids);
        once(&mut contents.surfaces);
        Ok(contents)
    }
}

impl Graph<'_, '_> {
    fn read_representations(&mut self, usual: Units) -> Result<()> {
        for kind in &REPRESENTATIONS {
            for id in self.file.of_kind(kind) {
                let record = self.file.record(*id)?;
                // A view shows what stands elsewhere.
                if record.is("DRAUGHTING_MODEL") {
                    continue;
                }
                let a = match record.part(self.file, "REPRESENTATION") {
                    Some(part) => part,
                    None => record.first(self.file)?,
                };
                let units = match a.optional_reference(2)? {
                    Some(context) => Units::of_context(self.file, context)?.unwrap_or(usual),
                    None => usual,
                };
                let mut representation =
                    Representation { solids: vec![], surfaces: vec![], mapped: vec![], units };
                for item in a.references(1)? {
                    let name = self.file.record(item)?.first(self.file)?.name;
                    if SOLIDS.contains(&name) {
                        representation.solids.push(item);
                    } else if SURFACES.contains(&name) {
                        representation.surfaces.push(item);
                    } else if name == "MAPPED_ITEM" {
                        representation.mapped.push(item);
                    }
                }
                self.representations.insert(*id, representation);
            }
        }
        Ok(())
    }

    fn read_relationships(&mut self) -> Result<()> {
        let mut placing = Vec::new();
        for id in self.file.of_kind("SHAPE_REPRESENTATION_RELATIONSHIP") {
            let record = self.file.record(*id)?;
            let a = match record.part(self.file, "REPRESENTATION_RELATIONSHIP") {
                Some(part) => part,
                None => record.first(self.file)?,
            };
            let pair = (a.reference(2)?, a.reference(3)?);
            match record.part(self.file, "REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION") {
                Some(part) => placing.push((*id, pair, part.reference(0)?)),
                None => self.join(pair.0, pair.1),
            }
        }
        self.flatten();
        let turned = self.turned_relationships()?;
        for (id, (first, second), operator) in placing {
            let swap = turned.get(&id).is_some_and(|(parent, child)| {
                let (a, b) = (self.node(first), self.node(second));
                a != b && a == self.node(*parent) && b == self.node(*child)
            });
            let (from, to) = self.operator(operator, first, second)?;
            // Items are placed in their own representation; the child's is carried onto the parent's.
            let (child, parent, pose) = if swap {
                (second, first, from * to.inverse())
            } else {
                (first, second, to * from.inverse())
            };
            self.link(parent, child, pose);
        }
        Ok(())
    }

    /// By relationship: the representations of the assembly and of its component, as the product
    /// structure has them; some writers give the two the other way round.
    fn turned_relationships(&self) -> Result<HashMap<u64, (u64, u64)>> {
        let mut shape_of = HashMap::new();
        for id in self.file.of_kind("SHAPE_DEFINITION_REPRESENTATION") {
            let record = self.file.record(*id)?;
            let a = record.first(self.file)?;
            if let Some(product) = self.defined_by(a.reference(0)?)? {
                shape_of.insert(product, a.reference(1)?);
            }
        }
        let mut known = HashMap::new();
        for id in self.file.of_kind("CONTEXT_DEPENDENT_SHAPE_REPRESENTATION") {
            let record = self.file.record(*id)?;
            let a = record.first(self.file)?;
            let Some(usage) = self.defined_by(a.reference(1)?)? else { continue };
            let usage = self.file.record(usage)?;
            if let Some(u) = usage.part(self.file, "NEXT_ASSEMBLY_USAGE_OCCURRENCE") {
                let shapes = (shape_of.get(&u.reference(3)?), shape_of.get(&u.reference(4)?));
                if let (Some(parent), Some(child)) = shapes {
                    known.insert(a.reference(0)?, (*parent, *child));
                }
            }
        }
        Ok(known)
    }

    /// What a product definition shape is the shape of.
    fn defined_by(&self, shape: u64) -> Result<Option<u64>> {
        let record = self.file.record(shape)?;
        match record.part(self.file, "PRODUCT_DEFINITION_SHAPE") {
            Some(a) => a.optional_reference(2),
            None => Ok(None),
        }
    }

    fn read_mapped(&mut self) -> Result<()> {
        let mapped: Vec<(u64, u64)> = self
            .representations
            .iter()
            .flat_map(|(id, r)| r.mapped.iter().map(move |m| (*id, *m)))
            .collect();
        for (holder, item) in mapped {
            let record = self.file.record(item)?;
            let a = record.expect(self.file, "MAPPED_ITEM")?;
            let map = self.file.record(a.reference(1)?)?;
            let map = map.expect(self.file, "REPRESENTATION_MAP")?;
            let child = map.reference(1)?;
            if !self.representations.contains_key(&child) {
                continue;
            }
            let origin = self.placement(map.reference(0)?, child)?;
            let target = self.placement(a.reference(2)?, holder)?;
            self.link(holder, child, target * origin.inverse());
        }
        Ok(())
    }

    /// Places of both items of a transformation.
    fn operator(&self, id: u64, first: u64, second: u64) -> Result<(Pose, Pose)> {
        let record = self.file.record(id)?;
        match record.part(self.file, "ITEM_DEFINED_TRANSFORMATION") {
            Some(a) => Ok((
                self.placement(a.reference(2)?, first)?,
                self.placement(a.reference(3)?, second)?,
            )),
            None => Ok((Pose::identity(), self.placement(id, second)?)),
        }
    }

    /// Place given by a placement or an operator, in the units of a representation.
    fn placement(&self, id: u64, representation: u64) -> Result<Pose> {
        let units = self.representations.get(&representation).map(|r| r.units);
        let units = units.unwrap_or(Units { length: 1.0, angle: 1.0 });
        let geometry = Geometry { file: self.file, units };
        let record = self.file.record(id)?;
        let a = record.first(self.file)?;
        match a.name {
            "AXIS2_PLACEMENT_3D" => Ok(pose(&geometry.placement(id)?)),
            "CARTESIAN_TRANSFORMATION_OPERATOR_3D" => operator_3d(&geometry, &record, &a),
            _ => Err(record.unsupported(self.file, "a transformation of this type")),
        }
    }

    fn node(&self, id: u64) -> u64 {
        self.same.get(&id).copied().unwrap_or(id)
    }

    fn join(&mut self, a: u64, b: u64) {
        let (a, b) = (self.top(a), self.top(b));
        if a != b {
            self.same.insert(a.max(b), a.min(b));
        }
    }

    /// The last of the chain of names, which is halved on the way.
    fn top(&mut self, mut id: u64) -> u64 {
        while let Some(next) = self.same.get(&id).copied() {
            if let Some(after) = self.same.get(&next).copied() {
                self.same.insert(id, after);
            }
            id = next;
        }
        id
    }

    /// Names each representation's node directly and lists each node's representations.
    fn flatten(&mut self) {
        let joined: Vec<u64> = self.same.keys().copied().collect();
        for id in joined {
            let top = self.top(id);
            self.same.insert(id, top);
        }
        for id in self.representations.keys() {
            let node = self.same.get(id).copied().unwrap_or(*id);
            self.members.entry(node).or_default().push(*id);
        }
    }

    fn link(&mut self, parent: u64, child: u64, pose: Pose) {
        let (parent, child) = (self.node(parent), self.node(child));
        self.links.entry(parent).or_default().push(Link { child, pose });
    }

    /// Nodes that nothing places elsewhere.
    fn roots(&self) -> Result<Vec<u64>> {
        let nodes: BTreeSet<u64> = self.representations.keys().map(|id| self.node(*id)).collect();
        let placed: BTreeSet<u64> = self.links.values().flatten().map(|link| link.child).collect();
        let roots: Vec<u64> = nodes.difference(&placed).copied().collect();
        match nodes.first() {
            Some(first) if roots.is_empty() => Err(self.cyclic(*first)),
            _ => Ok(roots),
        }
    }

    fn place(
        &mut self,
        node: u64,
        pose: Pose,
        path: &mut Vec<u64>,
        contents: &mut Contents,
    ) -> Result<()> {
        self.visited += 1;
        if self.visited > MOST_PLACED {
            let what = "representations placed in the assembly".into();
            return Err(Error::Limit {
                what,
                found: self.visited as u64,
                limit: MOST_PLACED as u64,
            });
        }
        if path.contains(&node) || path.len() >= DEEPEST {
            return Err(self.cyclic(node));
        }
        let mut seen = BTreeSet::new();
        let members = self.members.get(&node).map_or(&[][..], Vec::as_slice);
        for representation in members.iter().filter_map(|id| self.representations.get(id)) {
            let placed = |solid: &u64| Placed { solid: *solid, units: representation.units, pose };
            let new = |solid: &&u64| seen.insert(**solid);
            contents.solids.extend(representation.solids.iter().filter(new).map(placed));
            let new = |solid: &&u64| seen.insert(**solid);
            contents.surfaces.extend(representation.surfaces.iter().filter(new).map(placed));
        }
        path.push(node);
        for link in self.links.get(&node).cloned().unwrap_or_default() {
            self.place(link.child, pose * link.pose, path, contents)?;
        }
        path.pop();
        Ok(())
    }

    /// Solids that no representation holds stand where their coordinates say.
    fn add_loose(&self, units: Units, contents: &mut Contents) {
        let held: BTreeSet<u64> = self
            .representations
            .values()
            .flat_map(|r| r.solids.iter().chain(&r.surfaces))
            .copied()
            .collect();
        let loose = |kinds: &[&str]| -> Vec<Placed> {
            kinds
                .iter()
                .flat_map(|kind| self.file.of_kind(kind))
                .filter(|id| !held.contains(id))
                .map(|id| Placed { solid: *id, units, pose: Pose::identity() })
                .collect()
        };
        contents.solids.extend(loose(&SOLIDS));
        contents.surfaces.extend(loose(&SURFACES));
    }

    fn cyclic(&self, id: u64) -> Error {
        let name = self.file.record(id).map(|r| r.name()).unwrap_or_default();
        Error::format(
            self.file.path(),
            self.file.place(id, &name),
            "an assembly that contains itself or is nested more than 64 deep",
            "a tree of parts",
        )
    }
}

/// Refuses a file whose solids would be read only in part.
fn refuse_others(file: &StepFile<'_>) -> Result<()> {
    let first = |kinds: &[&str]| kinds.iter().flat_map(|kind| file.of_kind(kind)).min().copied();
    if let Some(id) = first(&OTHERS) {
        return Err(file
            .record(id)?
            .unsupported(file, "a body that is no boundary representation"));
    }
    for id in TESSELLATED.iter().flat_map(|kind| file.of_kind(kind)) {
        let record = file.record(*id)?;
        // Name, items, and the exact shape that this is a mesh of.
        if record.first(file)?.optional_reference(2)?.is_none() {
            return Err(record.unsupported(file, "a mesh without its exact shape"));
        }
    }
    Ok(())
}

/// Drops a solid that two representations hold in one place, as the shapes of product and aspect do.
fn once(placed: &mut Vec<Placed>) {
    let mut seen = HashSet::new();
    placed.retain(|p| {
        let (r, t) = (p.pose.rotation.coords, p.pose.translation.vector);
        // Adding zero makes one of the two zeros.
        let place = [r.x, r.y, r.z, r.w, t.x, t.y, t.z].map(|x| (x + 0.0).to_bits());
        seen.insert((p.solid, place))
    });
}

/// Units of the first context that assigns any; millimetre and radian if none does.
fn usual_units(file: &StepFile<'_>) -> Result<Units> {
    for context in file.of_kind("GLOBAL_UNIT_ASSIGNED_CONTEXT") {
        if let Some(units) = Units::of_context(file, *context)? {
            return Ok(units);
        }
    }
    Ok(Units { length: 1.0, angle: 1.0 })
}

fn pose(frame: &Frame) -> Pose {
    let columns = Matrix3::from_columns(&[frame.x, frame.y, frame.z]);
    let rotation = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(columns));
    Pose::from_parts(Translation3::from(frame.origin.coords), rotation)
}

/// Rigid operator: axes, origin, scale and third axis are the last five attributes.
fn operator_3d(
    geometry: &Geometry<'_, '_>,
    record: &Record<'_>,
    a: &Attributes<'_, '_>,
) -> Result<Pose> {
    let file = geometry.file;
    let Some(at) = a.len().checked_sub(5) else {
        return Err(record.fault(file, format!("{} attributes", a.len()), "at least 5"));
    };
    let axis = |i: usize| match a.optional_reference(at + i)? {
        Some(id) => geometry.direction(id).map(Some),
        None => Ok(None),
    };
    let (x, y, z) = (axis(0)?, axis(1)?, axis(4)?);
    let scaled = !a.is_missing(at + 3) && (a.number(at + 3)? - 1.0).abs() > 1e-12;
    // ISO 10303-42, base_axis: missing axes are those of the space, as far as the others allow.
    let z = z.unwrap_or(Vec3::z_axis());
    let towards = match x {
        Some(x) => x,
        None if z.x.abs() > 1.0 - 1e-9 => Vec3::y_axis(),
        None => Vec3::x_axis(),
    };
    let frame = Frame::new(geometry.point(a.reference(at + 2)?)?, z, Some(towards.into_inner()));
    let mirrored = y.unwrap_or(Vec3::y_axis()).dot(&frame.y) < 0.0;
    if scaled || mirrored {
        return Err(record.unsupported(file, "a part placed mirrored or scaled"));
    }
    Ok(pose(&frame))
}

impl Placed {
    /// The shells of the instance, each solid with its own.
    pub(super) fn shells(&self, file: &StepFile<'_>) -> Result<Vec<SolidShells>> {
        let record = file.record(self.solid)?;
        let shells = SolidShells::read(file, self.solid)?
            .ok_or_else(|| record.unsupported(file, "a solid of this type"))?;
        if SURFACES.iter().any(|kind| record.is(kind)) {
            let alone = |shell: &(u64, bool)| SolidShells { shells: vec![*shell] };
            return Ok(shells.shells.iter().map(alone).collect());
        }
        Ok(vec![shells])
    }
}

const MOST_PLACED: usize = 100_000;
const DEEPEST: usize = 64;
