//! Reading the designed part from any file that can hold it.

use std::path::Path;

use super::part::Part;
use super::step_in;
use crate::error::{Error, Result};
use crate::scan::{RawMesh, ReadOptions, read_mesh};
use crate::units::LengthUnit;

/// How a part is read.
#[derive(Debug, Clone, PartialEq)]
pub struct PartOptions {
    /// Unit of a mesh file's coordinates; STEP, GLB and 3MF name their own. Default: millimetre.
    pub unit: LengthUnit,
    /// Largest distance of a STEP part's mesh from its exact surfaces, mm, 1e-5 to 100. Default: 0.01.
    pub chord_error_mm: f64,
}

impl Default for PartOptions {
    fn default() -> Self {
        PartOptions { unit: LengthUnit::Millimetre, chord_error_mm: 0.01 }
    }
}

impl PartOptions {
    pub(super) fn validate(&self) -> Result<()> {
        let chord = self.chord_error_mm;
        if (1e-5..=100.0).contains(&chord) {
            return Ok(());
        }
        Err(Error::argument("chord_error_mm", chord, "1e-5 to 100 mm"))
    }
}

impl Part {
    /// Reads a part in machine coordinates; the extension tells the format (`step`, `stp`, `stl`,
    /// `ply`, `obj`, `glb`, `3mf`).
    ///
    /// The part may be open: [`Part::closed`] tells.
    ///
    /// # Errors
    /// [`Error::Argument`] for a chord error out of range, [`Error::UnknownFormat`] for another
    /// extension, [`Error::Io`], [`Error::Format`] naming entity and line, [`Error::Unsupported`]
    /// for an entity that cannot be read, [`Error::Limit`] for a part too large.
    pub fn read(path: impl AsRef<Path>, options: &PartOptions) -> Result<Part> {
        let path = path.as_ref();
        options.validate()?;
        let chord = options.chord_error_mm;
        let extension = path.extension().and_then(|e| e.to_str()).unwrap_or_default();
        match extension.to_ascii_lowercase().as_str() {
            "step" | "stp" | "p21" => step_in::read(path, &load(path)?, chord),
            "stl" | "ply" | "obj" | "glb" | "3mf" => {
                let raw = read_mesh(path, options.unit, &ReadOptions::default())?;
                mesh_part(raw, path)
            }
            _ => Err(Error::UnknownFormat {
                path: path.to_owned(),
                found: format!("\".{extension}\""),
                known: "step, stp, stl, ply, obj, glb, 3mf",
            }),
        }
    }
}

/// A part from a mesh file. Programs write STL corners that differ in their last bit: a mesh that
/// is open by exact bits is joined within the rounding of single precision if that closes it.
fn mesh_part(raw: RawMesh, path: &Path) -> Result<Part> {
    let format = raw.format_name;
    let build = |raw: RawMesh| {
        let mut part = Part::from_mesh(raw.points, raw.triangles, path, format)?;
        part.notes.extend(raw.notes);
        Ok(part)
    };
    let mut rounded = raw.clone();
    let part = build(raw)?;
    if part.closed().is_ok() {
        return Ok(part);
    }
    let joined = rounded.weld_within(rounded.single_precision());
    let mut closed = build(rounded)?;
    if closed.closed().is_err() {
        return Ok(part);
    }
    closed.notes.push(format!("{joined} corners joined within the file's rounding"));
    Ok(closed)
}

fn load(path: &Path) -> Result<Vec<u8>> {
    let size = std::fs::metadata(path).map_err(|e| Error::io(path, &e))?.len();
    if size > LARGEST_FILE {
        let what = format!("bytes of {}", path.display());
        return Err(Error::Limit { what, found: size, limit: LARGEST_FILE });
    }
    std::fs::read(path).map_err(|e| Error::io(path, &e))
}

/// 1 GiB: far over any part, far under the memory of a machine that shows it.
const LARGEST_FILE: u64 = 1 << 30;
