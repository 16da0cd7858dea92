//! Reading a mesh or point file: the format by extension and content, then what holds for every format.

use std::path::Path;

use rayon::prelude::*;

use super::source::{Source, valid};
use super::weld::{double, positions};
use super::{e57, glb, obj, ply, stl, text, threemf};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Vec3};
use crate::units::LengthUnit;

/// How a file is read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadOptions {
    /// Drop and count points whose coordinates are not finite, with the triangles that use them;
    /// otherwise they are an error. Default false.
    pub drop_invalid: bool,
    /// Most points a file may hold. Default 200 million.
    pub max_points: usize,
    /// Most triangles a file may hold. Default 400 million.
    pub max_triangles: usize,
}

impl Default for ReadOptions {
    fn default() -> Self {
        ReadOptions { drop_invalid: false, max_points: 200_000_000, max_triangles: 400_000_000 }
    }
}

/// Content of a mesh or point file.
#[derive(Debug, Clone, PartialEq)]
pub struct RawMesh {
    /// Positions, mm, each finite.
    pub points: Vec<Point3>,
    /// Triangles, three different ids each, all in range; empty for bare points.
    pub triangles: Vec<[u32; 3]>,
    /// Unit normals of the points if the file has them; zero where it has none.
    pub normals: Option<Vec<Vec3>>,
    /// `STL`, `PLY`, `OBJ`, `GLB`, `3MF`, `E57` or `text`.
    pub format_name: &'static str,
    /// What was dropped, ignored or healed, one sentence each.
    pub notes: Vec<String>,
}

/// Reads STL, PLY, OBJ, GLB, 3MF, or points from E57 or text; the format is chosen by extension and content.
///
/// `unit` is that of the coordinates where a format does not name its own: GLB and E57 are in metres, 3MF
/// says it.
///
/// # Errors
/// [`Error::Io`], [`Error::Format`] with line, byte or element, [`Error::UnknownFormat`],
/// [`Error::Unsupported`], [`Error::Limit`].
pub fn read_mesh(
    path: impl AsRef<Path>,
    unit: LengthUnit,
    options: &ReadOptions,
) -> Result<RawMesh> {
    read_file(path.as_ref(), unit, options, None)
}

/// As [`read_mesh`]; stops when the context is cancelled.
pub(super) fn read_file(
    path: &Path,
    unit: LengthUnit,
    options: &ReadOptions,
    context: Option<&Context>,
) -> Result<RawMesh> {
    let source = Source::open(path, unit, options, context)?;
    let draft = match format_of(&source)? {
        Format::Stl => stl::read(&source),
        Format::Ply => ply::read(&source),
        Format::Obj => obj::read(&source),
        Format::Glb => glb::read(&source),
        Format::ThreeMf => threemf::read(&source),
        Format::E57 => e57::read(&source),
        Format::Text => text::read(&source),
    }?;
    draft.finish(&source)
}

/// What a format's reader found; [`Draft::finish`] makes the mesh of it.
pub(super) struct Draft {
    pub(super) format_name: &'static str,
    pub(super) points: Vec<Point3>,
    pub(super) triangles: Vec<[u32; 3]>,
    pub(super) normals: Option<Vec<Vec3>>,
    pub(super) notes: Vec<String>,
    /// The file has faces, even if none was usable.
    pub(super) is_mesh: bool,
}

impl Draft {
    pub(super) fn mesh(
        format_name: &'static str,
        points: Vec<Point3>,
        triangles: Vec<[u32; 3]>,
    ) -> Self {
        Draft { format_name, points, triangles, normals: None, notes: Vec::new(), is_mesh: true }
    }

    fn finish(mut self, source: &Source) -> Result<RawMesh> {
        if source.options.drop_invalid {
            self.drop_invalid();
        }
        if self.points.is_empty() {
            return Err(source.bad("the whole file", "no points", "at least one"));
        }
        if self.is_mesh && self.points.len() > self.triangles.len() {
            self.weld();
        }
        self.drop_degenerate();
        if self.is_mesh && self.triangles.is_empty() {
            let found = format!("no usable triangle{}", remarks(&self.notes));
            return Err(source.bad("the whole file", found, "at least one"));
        }
        self.normalise();
        let Draft { format_name, points, triangles, normals, notes, .. } = self;
        Ok(RawMesh { points, triangles, normals, format_name, notes })
    }

    /// Drops points that are not finite and the triangles on them.
    fn drop_invalid(&mut self) {
        let keep: Vec<bool> = self.points.iter().map(valid).collect();
        let dropped = keep.iter().filter(|k| !**k).count();
        if dropped == 0 {
            return;
        }
        let mut ids = vec![u32::MAX; keep.len()];
        let kept = (0..keep.len()).filter(|&i| keep[i]);
        kept.enumerate().for_each(|(new, old)| ids[old] = new as u32);
        retain(&mut self.points, &keep);
        if let Some(normals) = &mut self.normals {
            retain(normals, &keep);
        }
        let before = self.triangles.len();
        self.triangles.retain(|t| t.iter().all(|&i| keep[i as usize]));
        self.triangles.iter_mut().flatten().for_each(|i| *i = ids[*i as usize]);
        let triangles = before - self.triangles.len();
        self.notes
            .push(format!("{dropped} invalid points dropped, and {triangles} triangles on them"));
    }

    /// Joins points of exactly equal position. A closed mesh has about two triangles a point, so
    /// more points than triangles means that faces do not share theirs.
    fn weld(&mut self) {
        let keys: Vec<_> = self.points.par_iter().map(double).collect();
        let (ids, firsts) = positions(&keys);
        let welded = self.points.len() - firsts.len();
        if welded == 0 {
            return;
        }
        self.points = firsts.into_iter().map(|i| self.points[i as usize]).collect();
        self.triangles.iter_mut().flatten().for_each(|i| *i = ids[*i as usize]);
        // Each copy had the normal of its own face: a shared point has none of them.
        self.normals = None;
        self.notes.push(format!("{welded} points of equal position welded to others"));
    }

    fn drop_degenerate(&mut self) {
        let before = self.triangles.len();
        let sound = |t: &[u32; 3]| t[0] != t[1] && t[1] != t[2] && t[2] != t[0];
        if self.triangles.par_chunks(CHUNK).all(|chunk| chunk.iter().all(sound)) {
            return;
        }
        self.triangles.retain(sound);
        let dropped = before - self.triangles.len();
        self.notes.push(format!("{dropped} degenerate triangles (a repeated point) dropped"));
    }

    fn normalise(&mut self) {
        let Some(normals) = &mut self.normals else { return };
        let mut without = 0;
        for n in normals.iter_mut() {
            *n = crate::primitive::unit(*n).map_or_else(Vec3::zeros, |d| d.into_inner());
            without += usize::from(*n == Vec3::zeros());
        }
        if without == normals.len() {
            self.normals = None;
            self.notes.push("normals without direction ignored".to_owned());
        } else if without > 0 {
            self.notes.push(format!("{without} normals without direction"));
        }
    }
}

enum Format {
    Stl,
    Ply,
    Obj,
    Glb,
    ThreeMf,
    E57,
    Text,
}

/// Content that cannot be mistaken wins over the extension; else the extension decides.
fn format_of(source: &Source) -> Result<Format> {
    let head = source.head(4096)?;
    let extension = source.path.extension().and_then(|e| e.to_str()).map(str::to_ascii_lowercase);
    if head.is_empty() {
        return Err(source.bad("byte 0", "an empty file", "points or triangles"));
    }
    if ply::is_ply(&head) {
        return Ok(Format::Ply);
    }
    if glb::is_glb(&head) {
        return Ok(Format::Glb);
    }
    if e57::is_e57(&head) {
        return Ok(Format::E57);
    }
    if threemf::is_archive(&head) && extension.as_deref() == Some("3mf") {
        return Ok(Format::ThreeMf);
    }
    let is_stl = stl::is_binary(source.len, &head);
    let binary = head.contains(&0);
    match extension.as_deref() {
        Some("stl") => Ok(Format::Stl),
        _ if is_stl => Ok(Format::Stl),
        Some("ply") => Ok(Format::Ply),
        Some("obj") => Ok(Format::Obj),
        Some("xyz" | "txt" | "csv" | "asc" | "pts") if !binary => Ok(Format::Text),
        None if stl::begins_solid(&head) => Ok(Format::Stl),
        other => Err(Error::UnknownFormat {
            path: source.path.to_owned(),
            found: match other {
                Some(extension) if binary => format!("binary data in .{extension}"),
                Some(extension) => format!(".{extension}"),
                None => format!("content {}", super::lines::shown(&head)),
            },
            known: KNOWN,
        }),
    }
}

fn retain<T>(items: &mut Vec<T>, keep: &[bool]) {
    let mut keep = keep.iter();
    items.retain(|_| keep.next().copied().unwrap_or(false));
}

fn remarks(notes: &[String]) -> String {
    if notes.is_empty() { String::new() } else { format!(" ({})", notes.join("; ")) }
}

const CHUNK: usize = 1 << 14;
const KNOWN: &str = "STL, PLY, OBJ, GLB, 3MF, and points as E57 or text (.xyz .txt .csv .asc .pts)";
