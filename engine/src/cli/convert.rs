//! `fitwright convert`: a scan or part from one format into another, in the same coordinates.

use std::path::Path;

use super::print;
use crate::context::Context;
use crate::error::Result;
use crate::exchange::{MeshBody, MeshFormat, Part, PartOptions, write_meshes};
use crate::scan::{ReadOptions, Scan};
use crate::units::LengthUnit;

/// Reads one file and writes it as a mesh, mm.
pub(super) fn run(from: &Path, to: &Path, unit: &str, chord: f64, context: &Context) -> Result<u8> {
    // Before a long read: whether it can be written at all.
    let format = MeshFormat::of(to)?;
    let unit = LengthUnit::parse(unit)?;
    let name = to.file_stem().map_or_else(|| "mesh".into(), |s| s.to_string_lossy());
    let extension = from.extension().and_then(|e| e.to_str()).unwrap_or_default();
    let (mut text, notes) = match extension.to_ascii_lowercase().as_str() {
        "step" | "stp" | "p21" => {
            let options = PartOptions { unit, chord_error_mm: chord };
            let part = context.run(|| Part::read(from, &options))?;
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
