//! Meshes out: PLY, STL, OBJ, GLB and 3MF, chosen by the extension; a file appears complete or not at all.
//!
//! Coordinates are millimetres as they are given. GLB alone has units and axes of its own: its bodies hang
//! under a node that takes them to metres with Y up, and programs that read GLB take them back.

mod glb;
mod obj;
mod single;
mod surface;
mod threemf;

use std::collections::BTreeSet;
use std::path::Path;

use crate::error::{Error, Result};
use crate::files::write_bytes;
use crate::primitive::Point3;

pub use surface::surface_of;

/// A named mesh, or bare points without triangles.
#[derive(Debug, Clone, Copy)]
pub struct MeshBody<'a> {
    /// Name, unique in the file.
    pub name: &'a str,
    /// Corners, mm.
    pub points: &'a [Point3],
    /// Triangles, counter-clockwise seen from outside.
    pub triangles: &'a [[u32; 3]],
    /// Colour, sRGB; none: the reader's own.
    pub colour: Option<[u8; 3]>,
}

/// Format of a mesh file.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MeshFormat {
    /// Binary, little-endian, double precision; all bodies as one mesh, colours on its points.
    Ply,
    /// Binary, single precision; all bodies as one mesh, without names and colours.
    Stl,
    /// Text; each body an object with its name, colours on its points.
    Obj,
    /// glTF 2.0 in one file; each body a node with its name and colour, single precision about its middle.
    Glb,
    /// 3D Manufacturing Format; each body an object with its name and colour. Triangles only.
    ThreeMf,
}

impl MeshFormat {
    /// `PLY`, `STL`, `OBJ`, `GLB` or `3MF`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            MeshFormat::Ply => "PLY",
            MeshFormat::Stl => "STL",
            MeshFormat::Obj => "OBJ",
            MeshFormat::Glb => "GLB",
            MeshFormat::ThreeMf => "3MF",
        }
    }

    /// Format by a path's extension: `ply`, `stl`, `obj`, `glb`, `3mf`.
    ///
    /// # Errors
    /// [`Error::UnknownFormat`] for another.
    pub fn of(path: &Path) -> Result<Self> {
        let extension = path.extension().and_then(|e| e.to_str()).unwrap_or_default();
        match extension.to_ascii_lowercase().as_str() {
            "ply" => Ok(MeshFormat::Ply),
            "stl" => Ok(MeshFormat::Stl),
            "obj" => Ok(MeshFormat::Obj),
            "glb" => Ok(MeshFormat::Glb),
            "3mf" => Ok(MeshFormat::ThreeMf),
            _ => Err(Error::UnknownFormat {
                path: path.to_owned(),
                found: format!("\".{extension}\""),
                known: "ply, stl, obj, glb, 3mf",
            }),
        }
    }
}

/// Writes bodies into one mesh file of the format that the extension names.
///
/// # Errors
/// [`Error::UnknownFormat`]; [`Error::Argument`] for no bodies, a name that is empty, too long or taken, a
/// coordinate that is not finite or that the format cannot hold, a corner out of range, bare points where the
/// format has triangles only; [`Error::Limit`] for more than a format can hold; [`Error::Io`].
pub fn write_meshes(path: impl AsRef<Path>, bodies: &[MeshBody<'_>]) -> Result<()> {
    let path = path.as_ref();
    let format = MeshFormat::of(path)?;
    check(bodies, format)?;
    match format {
        MeshFormat::Ply => single::ply(path, bodies),
        MeshFormat::Stl => single::stl(path, bodies),
        MeshFormat::Obj => obj::write(path, bodies),
        MeshFormat::Glb => write_bytes(path, &glb::bytes(bodies)?),
        MeshFormat::ThreeMf => write_bytes(path, &threemf::bytes(path, bodies)?),
    }
}

fn check(bodies: &[MeshBody<'_>], format: MeshFormat) -> Result<()> {
    if bodies.is_empty() {
        return Err(Error::argument("bodies", "none", "at least one"));
    }
    let mut names = BTreeSet::new();
    for (i, body) in bodies.iter().enumerate() {
        let name = body.name;
        if name.is_empty() || name.len() > LONGEST_NAME || name.contains('\0') {
            let found = format!("{} bytes", name.len());
            let allowed = format!("1 to {LONGEST_NAME} bytes, none zero");
            return Err(Error::argument(format!("name of body {}", i + 1), found, allowed));
        }
        if !names.insert(name) {
            return Err(Error::DuplicateName { kind: "body", name: name.into() });
        }
        let field = |what: &str| format!("body \"{name}\": {what}");
        if let Some(p) = body.points.iter().find(|p| !p.iter().all(|x| x.is_finite())) {
            return Err(Error::argument(field("point"), p, "finite coordinates"));
        }
        let count = body.points.len();
        if let Some(id) = body.triangles.as_flattened().iter().find(|id| **id as usize >= count) {
            return Err(Error::argument(field("triangles"), id, format!("corners below {count}")));
        }
        let needs_triangles = matches!(format, MeshFormat::Stl | MeshFormat::ThreeMf);
        if body.points.is_empty() || needs_triangles && body.triangles.is_empty() {
            let found = format!("{count} points, {} triangles", body.triangles.len());
            let allowed = match needs_triangles {
                true => "triangles; write bare points as PLY, OBJ or GLB",
                false => "at least one point",
            };
            return Err(Error::argument(field("content"), found, allowed));
        }
    }
    Ok(())
}

/// As long as a file name may be on most systems.
const LONGEST_NAME: usize = 255;
