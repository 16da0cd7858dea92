//! STEP in, the built-in road: an own reader of Part 21 files and an own mesher of their solids.
//!
//! Instances are found in one pass and parsed when asked for ([`file`]); assemblies place solids
//! ([`assembly`]); a solid's edges are divided once and both faces take the same points ([`net`]),
//! so a solid that is closed in the file is closed as a mesh; each face is triangulated in the
//! plane of its parameters ([`face`], [`triangulate`]) and refined to the chord error. ISO
//! 10303-21, -42 and -43 say what the entities mean.

mod assembly;
mod chain;
mod curve;
mod cut;
mod face;
mod file;
mod geometry;
mod half;
pub(super) mod holes;
mod lexer;
mod loops;
mod mesh;
mod net;
mod offset;
mod plane;
mod project;
mod record;
mod segments;
mod spline;
mod steps;
mod surface;
mod topology;
mod triangulate;
mod units;

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::path::Path;

use assembly::{Contents, Placed};
use file::StepFile;
use geometry::Geometry;
use topology::Brep;

use super::part::{FaceSurface, Part, PartHole};
use crate::error::{Error, Result};

/// One solid read once, however often it is placed.
struct Solid {
    mesh: mesh::SolidMesh,
    faces: Vec<FaceSurface>,
    holes: Vec<PartHole>,
}

/// Reads the solids of a STEP file as closed meshes within `chord_error`, mm.
pub(super) fn read(path: &Path, bytes: &[u8], chord_error: f64) -> Result<Part> {
    let file = StepFile::index(path, bytes, &assembly::kinds())?;
    let contents = Contents::read(&file)?;
    let mut part = Part {
        file: path.to_owned(),
        points: Vec::new(),
        triangles: Vec::new(),
        face_of_triangle: Vec::new(),
        faces: Vec::new(),
        holes: Vec::new(),
        schema: schema(file.schema()),
        solids: 0,
        chord_error,
        notes: Vec::new(),
    };
    let placed = if contents.solids.is_empty() { &contents.surfaces } else { &contents.solids };
    if placed.is_empty() {
        return Err(Error::Unsupported {
            path: path.to_owned(),
            place: "DATA".into(),
            what: "a file without a solid".into(),
            remedy: "export the part as a solid body, or as a mesh (STL, PLY or OBJ)".into(),
        });
    }
    if !contents.solids.is_empty() && !contents.surfaces.is_empty() {
        let count = contents.surfaces.len();
        part.notes.push(format!("{count} surface models beside the solids are left out"));
    }
    let mut known: BTreeMap<(u64, [u64; 2]), Vec<Solid>> = BTreeMap::new();
    for instance in placed {
        let solids = match known.entry((instance.solid, instance.units.bits())) {
            Entry::Occupied(entry) => entry.into_mut(),
            Entry::Vacant(entry) => entry.insert(read_solids(&file, instance, chord_error)?),
        };
        for solid in solids.iter() {
            append(&mut part, solid, instance)?;
        }
    }
    for solid in known.values().flatten() {
        part.chord_error = part.chord_error.max(solid.mesh.worst);
        part.notes.extend(solid.mesh.notes.iter().cloned());
    }
    if part.chord_error > chord_error {
        part.notes.push(format!(
            "edges lie off their surfaces in the file: the mesh keeps to {:.2e} mm, not {chord_error}",
            part.chord_error
        ));
    }
    Ok(part)
}

fn read_solids(file: &StepFile<'_>, instance: &Placed, chord_error: f64) -> Result<Vec<Solid>> {
    let geometry = Geometry { file, units: instance.units };
    let mut solids = Vec::new();
    for shells in instance.shells(file)? {
        let mut brep = Brep::read(geometry, &shells)?;
        let turned = brep.straighten();
        let mut mesh = mesh::mesh(file, &brep, chord_error)?;
        if turned > 0 {
            mesh.notes.push(format!("bounds of {turned} faces ran the wrong way and were turned"));
        }
        let surface = |(face, outward): (&topology::Face, &bool)| FaceSurface {
            shape: face.surface.primitive(),
            reversed: !outward,
        };
        let faces: Vec<FaceSurface> = brep.faces.iter().zip(&mesh.outward).map(surface).collect();
        let holes = holes::find(&brep, &faces, &mesh);
        solids.push(Solid { mesh, faces, holes });
    }
    Ok(solids)
}

/// Adds a solid at its place.
fn append(part: &mut Part, solid: &Solid, instance: &Placed) -> Result<()> {
    let count = part.triangles.len() + solid.mesh.triangles.len();
    let (found, limit) = (count as u64, MOST_TRIANGLES as u64);
    if count > MOST_TRIANGLES {
        return Err(Error::Limit { what: "triangles of the part".into(), found, limit });
    }
    let (first_point, first_face) = (part.points.len() as u32, part.faces.len() as u32);
    let pose = &instance.pose;
    part.points.extend(solid.mesh.points.iter().map(|p| pose * p));
    part.triangles.extend(solid.mesh.triangles.iter().map(|t| t.map(|p| p + first_point)));
    part.face_of_triangle.extend(solid.mesh.face_of_triangle.iter().map(|f| f + first_face));
    part.faces.extend(solid.faces.iter().map(|face| FaceSurface {
        shape: face.shape.as_ref().map(|shape| shape.transformed(pose)),
        reversed: face.reversed,
    }));
    part.holes.extend(solid.holes.iter().map(|hole| PartHole {
        point: pose * hole.point,
        axis: pose * hole.axis,
        ..*hole
    }));
    part.solids += 1;
    Ok(())
}

/// `AP203`, `AP214` or `AP242`, else the schema's own name (ISO 10303-203, -214, -242).
fn schema(name: &str) -> String {
    let known = [
        ("CONFIG_CONTROL_DESIGN", "AP203"),
        ("AP203", "AP203"),
        ("AUTOMOTIVE_DESIGN", "AP214"),
        ("AP214", "AP214"),
        ("AP242", "AP242"),
    ];
    let upper = name.to_ascii_uppercase();
    let found = known.iter().find(|(start, _)| upper.starts_with(start));
    found.map_or_else(|| name.to_owned(), |(_, short)| (*short).to_owned())
}

const MOST_TRIANGLES: usize = 20_000_000;
