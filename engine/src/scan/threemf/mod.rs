//! 3MF (core specification 1.4): the meshes of the build, in their places and in the file's own unit.
//!
//! The archive is unpacked as a stream and never beyond what a mesh's text can be packed to; components are
//! counted before they are placed, so that objects built of objects cannot multiply without end.

mod model;
mod package;

use std::collections::BTreeMap;

use nalgebra::Matrix3x4;

use self::model::{Body, Model, Object};
use super::read::Draft;
use super::source::Source;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Vec3};

/// Whether a file begins as a ZIP archive does.
pub(super) fn is_archive(head: &[u8]) -> bool {
    head.starts_with(b"PK\x03\x04")
}

/// Reads all items of the build as one mesh.
pub(super) fn read(source: &Source) -> Result<Draft> {
    let model = package::model(source, |name, text| Model::read(source, name, text))?;
    if model.items.is_empty() {
        return Err(source.bad("<build>", "no item", "at least one object to build"));
    }
    let mut sizes = BTreeMap::new();
    let (mut points, mut triangles) = (0u64, 0u64);
    for item in &model.items {
        let (p, t) = size(source, &model, item.object, &mut sizes, 0)?;
        (points, triangles) = (points.saturating_add(p), triangles.saturating_add(t));
    }
    source.allow_points(points)?;
    source.allow_triangles(triangles)?;
    let mut draft = Draft::mesh("3MF", Vec::new(), Vec::new());
    let unit = model.unit;
    for item in &model.items {
        place(source, &model, item.object, &item.placed, &mut draft)?;
    }
    draft.points.iter_mut().for_each(|p| p.coords *= unit);
    if unit != 1.0 {
        draft.notes.push(format!("the file's own unit of {unit} mm"));
    }
    if model.items.len() > 1 {
        draft.notes.push(format!("{} items of the build as one mesh", model.items.len()));
    }
    Ok(draft)
}

/// Points and triangles of an object with all its components.
fn size(
    source: &Source,
    model: &Model,
    id: u64,
    known: &mut BTreeMap<u64, (u64, u64)>,
    depth: usize,
) -> Result<(u64, u64)> {
    if let Some(size) = known.get(&id) {
        return Ok(*size);
    }
    if depth > DEEPEST {
        let found = format!("objects more than {DEEPEST} deep in each other");
        return Err(source.bad(format!("object {id}"), found, "no object that contains itself"));
    }
    let found = match &object(source, model, id)?.body {
        Body::Mesh { points, triangles } => (points.len() as u64, triangles.len() as u64),
        Body::Components(parts) => {
            let mut sum = (0u64, 0u64);
            for part in parts {
                let (p, t) = size(source, model, part.object, known, depth + 1)?;
                sum = (sum.0.saturating_add(p), sum.1.saturating_add(t));
            }
            sum
        }
    };
    known.insert(id, found);
    Ok(found)
}

/// Adds an object where it is placed; [`size`] has said that it ends.
fn place(
    source: &Source,
    model: &Model,
    id: u64,
    placed: &Matrix3x4<f64>,
    draft: &mut Draft,
) -> Result<()> {
    match &object(source, model, id)?.body {
        Body::Mesh { points, triangles } => {
            let first = draft.points.len() as u32;
            let (turn, shift) = (placed.fixed_columns::<3>(0), placed.column(3));
            for (i, p) in points.iter().enumerate() {
                let moved = Point3::from(turn * p.coords + shift);
                let check = |p: &Point3| source.point_mm(*p, || format!("object {id}, vertex {i}"));
                draft.points.push(check(&moved)?);
            }
            // A mirroring place turns the triangles inside out.
            let flipped = turn.into_owned().determinant() < 0.0;
            draft.triangles.extend(triangles.iter().map(|[a, b, c]| {
                let t = if flipped { [*a, *c, *b] } else { [*a, *b, *c] };
                t.map(|corner| corner + first)
            }));
        }
        Body::Components(parts) => {
            for part in parts {
                place(source, model, part.object, &after(placed, &part.placed), draft)?;
            }
        }
    }
    Ok(())
}

fn object<'a>(source: &Source, model: &'a Model, id: u64) -> Result<&'a Object> {
    model.objects.get(&id).ok_or_else(|| {
        source.bad(format!("objectid {id}"), "no such object", "the id of an object of the file")
    })
}

/// First `inner`, then `outer`.
fn after(outer: &Matrix3x4<f64>, inner: &Matrix3x4<f64>) -> Matrix3x4<f64> {
    let turn = outer.fixed_columns::<3>(0).into_owned();
    let mut both = turn * inner;
    let shift: Vec3 = outer.column(3).into_owned();
    both.set_column(3, &(both.column(3) + shift));
    both
}

/// Objects in objects, as assemblies are nested; far over any, far under what a stack holds.
const DEEPEST: usize = 64;

/// Reads the mesh of a 3MF file but for what cannot be told.
fn unsupported(source: &Source, place: String, what: &str, remedy: &str) -> Error {
    Error::Unsupported {
        path: source.path.to_owned(),
        place,
        what: what.into(),
        remedy: remedy.into(),
    }
}
