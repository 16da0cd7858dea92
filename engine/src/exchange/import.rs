//! A part by the importer of a plug-in; a part of the same form as by the built-in readers.

use std::collections::HashMap;
use std::path::Path;

use super::part::{FaceSurface, Part, PartHole};
use super::read::PartOptions;
use super::step_in::holes::{bore, hole, same, top};
use crate::context::Context;
use crate::error::Result;
use crate::plugin::{ImportedFace, ImportedHole, Importer};
use crate::primitive::Point3;

impl Part {
    /// Reads a part by the importer of a plug-in ([`crate::plugin::Registry::importer`]). The file has a
    /// unit of its own: `options.unit` is not used.
    ///
    /// Holes are those that the importer names, else those that its inward cylinders make. The part may be
    /// open: [`Part::closed`] tells.
    ///
    /// # Errors
    /// [`crate::Error::Argument`] for a chord error out of range; as [`Importer::import`].
    pub fn read_with(
        path: impl AsRef<Path>,
        options: &PartOptions,
        importer: &Importer,
        context: Option<&Context>,
    ) -> Result<Part> {
        let path = path.as_ref();
        options.validate()?;
        let read = importer.import(path, options.chord_error_mm, context)?;
        let face = |f: ImportedFace| FaceSurface { shape: f.shape, reversed: f.reversed };
        let mut part = Part {
            file: path.to_owned(),
            points: read.points,
            triangles: read.triangles,
            face_of_triangle: read.face_of_triangle,
            faces: read.faces.into_iter().map(face).collect(),
            holes: read.holes.iter().map(named).collect(),
            schema: read.schema,
            solids: read.solids,
            chord_error: read.chord_error,
            notes: read.notes,
        };
        drop_degenerate(&mut part);
        if part.holes.is_empty() {
            part.holes = holes(&part);
        }
        Ok(part)
    }
}

fn named(hole: &ImportedHole) -> PartHole {
    let ImportedHole { point, axis, radius, depth } = *hole;
    PartHole { point, axis, radius, depth }
}

fn drop_degenerate(part: &mut Part) {
    let before = part.triangles.len();
    let keep = |t: &[u32; 3]| t[0] != t[1] && t[1] != t[2] && t[2] != t[0];
    let mut kept = part.triangles.iter().map(keep);
    part.face_of_triangle.retain(|_| kept.next().unwrap_or(true));
    part.triangles.retain(keep);
    if part.triangles.len() < before {
        let count = before - part.triangles.len();
        part.notes.push(format!("{count} degenerate triangles left out"));
    }
}

/// Inward cylinder faces of one axis and radius that share points and together go all round.
fn holes(part: &Part) -> Vec<PartHole> {
    let faces = &part.faces;
    let mut group: Vec<usize> = (0..faces.len()).collect();
    let mut seen: HashMap<u32, Vec<usize>> = HashMap::new();
    for (triangle, face) in part.triangles.iter().zip(&part.face_of_triangle) {
        let face = *face as usize;
        let Some(cylinder) = bore(&faces[face]) else { continue };
        for corner in triangle {
            let here = seen.entry(*corner).or_default();
            if here.contains(&face) {
                continue;
            }
            for &other in
                here.iter().filter(|o| bore(&faces[**o]).is_some_and(|o| same(o, cylinder)))
            {
                let (a, b) = (top(&group, other), top(&group, face));
                group[a.max(b)] = a.min(b);
            }
            here.push(face);
        }
    }
    let mut corners: HashMap<usize, Vec<[Point3; 3]>> = HashMap::new();
    for (triangle, face) in part.triangles.iter().zip(&part.face_of_triangle) {
        if bore(&faces[*face as usize]).is_some() {
            let places = triangle.map(|p| part.points[p as usize]);
            corners.entry(top(&group, *face as usize)).or_default().push(places);
        }
    }
    (0..faces.len()).filter_map(|f| hole(bore(&faces[f])?, corners.get(&f)?)).collect()
}
