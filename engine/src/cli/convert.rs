//! `fitwright convert`: a scan or part from one format into another, in the same coordinates.

use std::path::Path;

use super::{Plugins, plugins, print};
use crate::context::Context;
use crate::error::Result;
use crate::exchange::{MeshBody, MeshFormat, Part, PartOptions, write_meshes};
use crate::scan::{ReadOptions, Scan};
use crate::units::LengthUnit;

/// How a file is read.
pub(super) struct Reading<'a> {
    pub(super) unit: &'a str,
    pub(super) chord: f64,
    /// Importer of a plug-in.
    pub(super) reader: Option<&'a str>,
    pub(super) plugins: &'a Plugins,
}

/// Reads one file and writes it as a mesh, mm.
pub(super) fn run(from: &Path, to: &Path, how: &Reading<'_>, context: &Context) -> Result<u8> {
    let chord = how.chord;
    // Before a long read: whether it can be written at all.
    let format = MeshFormat::of(to)?;
    let unit = LengthUnit::parse(how.unit)?;
    let name = to.file_stem().map_or_else(|| "mesh".into(), |s| s.to_string_lossy());
    let extension = from.extension().and_then(|e| e.to_str()).unwrap_or_default();
    let options = PartOptions { unit, chord_error_mm: chord };
    let step = matches!(extension.to_ascii_lowercase().as_str(), "step" | "stp" | "p21");
    let (mut text, notes) = match how.reader {
        reader if reader.is_some() || step => {
            let part = match reader {
                Some(id) => {
                    let importer = plugins::registry(how.plugins)?.0.importer(id)?;
                    context.run(|| Part::read_with(from, &options, &importer, Some(context)))?
                }
                None => context.run(|| Part::read(from, &options))?,
            };
            write_meshes(to, &[body(&name, &part.points, &part.triangles)])?;
            let solids = format!("{}, {} solids, within {chord} mm", part.schema, part.solids);
            (summary(&solids, part.points.len(), part.triangles.len()), part.notes)
        }
        _ => {
            let scan = Scan::read_with(from, unit, &ReadOptions::default(), context)?;
            write_meshes(to, &[body(&name, scan.points(), scan.triangles())])?;
            let text = summary("scan", scan.points().len(), scan.triangles().len());
            (text, scan.notes().to_vec())
        }
    };
    for note in notes {
        text.push_str(&format!("  {note}\n"));
    }
    text.push_str(&format!("written as {}, mm: {}", format.name(), to.display()));
    print(&text)?;
    Ok(0)
}

fn body<'a>(
    name: &'a str,
    points: &'a [crate::primitive::Point3],
    triangles: &'a [[u32; 3]],
) -> MeshBody<'a> {
    MeshBody { name, points, triangles, colour: None }
}

fn summary(what: &str, points: usize, triangles: usize) -> String {
    format!("read {what}: {points} points, {triangles} triangles\n")
}
