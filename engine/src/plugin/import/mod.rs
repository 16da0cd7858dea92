//! Importers of plug-ins: parts read by kernels of others, taken with the same care as fits.

mod build;
mod check;
mod describe;
mod raw;

use std::path::Path;
use std::sync::Arc;

use fitwright_plugin_abi as abi;

pub(super) use self::build::{Building, Sink};
pub(super) use self::describe::{ImportEntry, read, same_importers};
pub(super) use self::raw::{ImporterDescription, RawPart};
use super::answer::Answer;
use super::fitter::{Place, Source};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::{Direction, Point3, Primitive};

/// An importer of a plug-in. Cheap to clone.
#[derive(Clone)]
pub struct Importer {
    pub(super) source: Arc<Source>,
    pub(super) index: usize,
    pub(super) described: ImporterDescription,
}

/// A part as an importer read it, checked; mm in the file's own coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct ImportedPart {
    /// Corners, mm.
    pub points: Vec<Point3>,
    /// Triangles, counter-clockwise seen from outside; their corners exist.
    pub triangles: Vec<[u32; 3]>,
    /// Face of each triangle; empty if the importer knows none.
    pub face_of_triangle: Vec<u32>,
    /// Faces.
    pub faces: Vec<ImportedFace>,
    /// Holes that the importer named.
    pub holes: Vec<ImportedHole>,
    /// Schema or format of the file; may be empty.
    pub schema: String,
    /// Number of solids.
    pub solids: usize,
    /// Largest distance of the mesh from the exact surfaces, mm: what was asked for, or more where the
    /// importer says so or where the engine sees it.
    pub chord_error: f64,
    /// What the importer says beside.
    pub notes: Vec<String>,
}

/// A face as an importer knows it.
#[derive(Debug, Clone, PartialEq)]
pub struct ImportedFace {
    /// The surface if it is one of the ideal shapes.
    pub shape: Option<Primitive>,
    /// Whether the outside of the material is against the surface's own normal.
    pub reversed: bool,
}

/// A round hole as an importer knows it.
#[derive(Debug, Clone, PartialEq)]
pub struct ImportedHole {
    /// Middle of the wall's axis, mm.
    pub point: Point3,
    /// Axis.
    pub axis: Direction,
    /// Radius, mm.
    pub radius: f64,
    /// Length of the wall, mm.
    pub depth: f64,
}

impl Importer {
    /// Unique id, `vendor.name`.
    #[must_use]
    pub fn id(&self) -> &str {
        &self.described.id
    }

    /// One line for people.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.described.title
    }

    /// Extensions of the files that it reads, lower case.
    #[must_use]
    pub fn extensions(&self) -> &[String] {
        &self.described.extensions
    }

    /// Reads a part, its mesh within `chord_error_mm` of the exact surfaces.
    ///
    /// # Errors
    /// [`Error::Argument`] for an extension that is not its own or a path that is no UTF-8; [`Error::Io`] if
    /// there is no such file; [`Error::Unsupported`] with the importer's words if it cannot read the file;
    /// [`Error::Cancelled`]; [`Error::Plugin`] if it fails, or hands over what cannot be.
    pub fn import(
        &self,
        path: &Path,
        chord_error_mm: f64,
        context: Option<&Context>,
    ) -> Result<ImportedPart> {
        let extension = path.extension().and_then(|e| e.to_str()).unwrap_or_default();
        if !self.extensions().contains(&extension.to_ascii_lowercase()) {
            let name = format!("extension of a file for {}", self.id());
            return Err(Error::argument(name, extension, self.extensions().join(", ")));
        }
        // The worker may be in another folder.
        let whole = path.canonicalize().map_err(|e| Error::io(path, &e))?;
        let Some(text) = whole.to_str() else {
            return Err(Error::argument("path", whole.display(), "a path in UTF-8"));
        };
        let (answer, raw) = match &self.source.place {
            Place::Here(library) => library.import(
                self.index,
                text,
                chord_error_mm,
                context.cloned(),
                self.source.memory,
                None,
            ),
            Place::Workers(workers) => {
                workers.import(self.id(), self.index, text, chord_error_mm, context)?
            }
        };
        self.believe(answer, raw, path, chord_error_mm)
    }

    fn believe(
        &self,
        answer: Answer,
        raw: RawPart,
        path: &Path,
        chord_error: f64,
    ) -> Result<ImportedPart> {
        let plugin = || self.id().to_owned();
        let nonsense = |(place, reason)| Error::Plugin { plugin: plugin(), place, reason };
        if let Some(fault) = answer.fault {
            return Err(nonsense(("import".into(), fault)));
        }
        let reason = Some(answer.reason).filter(|r| !r.is_empty());
        let reason = reason.unwrap_or_else(|| "it gives no reason".into());
        match answer.state {
            abi::FITW_PLUGIN_OK => {}
            abi::FITW_PLUGIN_E_CANCELLED => return Err(Error::Cancelled),
            abi::FITW_PLUGIN_E_INPUT => {
                let other = "export it anew, or as a mesh (STL, PLY or OBJ)";
                let (what, remedy) = reason.split_once("; ").unwrap_or((&reason, other));
                let (what, remedy) = (what.to_owned(), remedy.to_owned());
                return Err(Error::Unsupported {
                    path: path.into(),
                    place: plugin(),
                    what,
                    remedy,
                });
            }
            abi::FITW_PLUGIN_E_LIMIT => return Err(nonsense(("memory".into(), reason))),
            state => {
                return Err(nonsense((
                    "import".into(),
                    format!("failed with state {state}: {reason}"),
                )));
            }
        }
        if !answer.parameters.is_empty() || !answer.pieces.is_empty() {
            let reason = "it reports a fit; an importer builds a part".into();
            return Err(nonsense(("import".into(), reason)));
        }
        let mut part = check::part(raw, chord_error).map_err(nonsense)?;
        part.notes.extend(answer.notes);
        let warnings = answer.log.into_iter().filter(|l| l.0 >= abi::FITW_PLUGIN_LOG_WARNING);
        part.notes.extend(warnings.map(|(_, line)| line));
        Ok(part)
    }
}

impl std::fmt::Debug for Importer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Importer").field("id", &self.id()).finish_non_exhaustive()
    }
}
