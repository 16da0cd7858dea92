//! 3MF (core specification 1.4): a ZIP package with one model, in millimetres.

use std::fmt::Write as _;
use std::io::{Cursor, Write as _};
use std::path::Path;

use quick_xml::escape::escape;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use super::MeshBody;
use crate::error::{Error, Result};

pub(super) fn bytes(path: &Path, bodies: &[MeshBody<'_>]) -> Result<Vec<u8>> {
    let failed = |e: std::io::Error| Error::io(path, &e);
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    // No time stamp: equal bodies give equal files.
    let options = SimpleFileOptions::default().last_modified_time(zip::DateTime::default());
    for (name, text) in [("[Content_Types].xml", TYPES), ("_rels/.rels", RELATIONSHIPS)] {
        zip.start_file(name, options).map_err(|e| failed(e.into()))?;
        zip.write_all(text.as_bytes()).map_err(failed)?;
    }
    // The longer form of the archive only where it may be needed: not every reader knows it.
    let text: u64 = bodies.iter().map(|b| 90 * (b.points.len() + b.triangles.len()) as u64).sum();
    let options = options.large_file(text > u64::from(u32::MAX));
    zip.start_file("3D/3dmodel.model", options).map_err(|e| failed(e.into()))?;
    model(bodies, &mut |text| zip.write_all(text.as_bytes()).map_err(failed))?;
    Ok(zip.finish().map_err(|e| failed(e.into()))?.into_inner())
}

/// The model part, handed on in pieces.
fn model(bodies: &[MeshBody<'_>], put: &mut dyn FnMut(&str) -> Result<()>) -> Result<()> {
    put(HEAD)?;
    let colours: Vec<[u8; 3]> = bodies.iter().filter_map(|b| b.colour).collect();
    if !colours.is_empty() {
        put("<basematerials id=\"1\">")?;
        for body in bodies.iter().filter(|b| b.colour.is_some()) {
            let [r, g, b] = body.colour.unwrap_or_default();
            let name = text(body.name);
            put(&format!("<base name=\"{name}\" displaycolor=\"#{r:02X}{g:02X}{b:02X}\"/>"))?;
        }
        put("</basematerials>\n")?;
    }
    let mut coloured = 0;
    for (i, body) in bodies.iter().enumerate() {
        let kind = if closed(body.triangles) { "model" } else { "surface" };
        let mut head =
            format!("<object id=\"{}\" type=\"{kind}\" name=\"{}\"", i + 2, text(body.name));
        if body.colour.is_some() {
            head += &format!(" pid=\"1\" pindex=\"{coloured}\"");
            coloured += 1;
        }
        put(&(head + "><mesh><vertices>\n"))?;
        let mut piece = String::new();
        for points in body.points.chunks(CHUNK) {
            piece.clear();
            for p in points {
                // Writing into a string does not fail.
                let _ = writeln!(piece, "<vertex x=\"{}\" y=\"{}\" z=\"{}\"/>", p.x, p.y, p.z);
            }
            put(&piece)?;
        }
        put("</vertices><triangles>\n")?;
        for triangles in body.triangles.chunks(CHUNK) {
            piece.clear();
            for [a, b, c] in triangles {
                let _ = writeln!(piece, "<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\"/>");
            }
            put(&piece)?;
        }
        put("</triangles></mesh></object>\n")?;
    }
    put("</resources><build>")?;
    for i in 0..bodies.len() {
        put(&format!("<item objectid=\"{}\"/>", i + 2))?;
    }
    put("</build></model>\n")
}

/// Whether each edge is run along once either way: only then may an object be called a model.
fn closed(triangles: &[[u32; 3]]) -> bool {
    let sides = |[a, b, c]: [u32; 3]| [(a, b), (b, c), (c, a)];
    let mut edges: Vec<(u32, u32, bool)> = triangles
        .iter()
        .flat_map(|t| sides(*t))
        .map(|(from, to)| (from.min(to), from.max(to), from < to))
        .collect();
    edges.sort_unstable();
    edges
        .chunk_by(|a, b| (a.0, a.1) == (b.0, b.1))
        .all(|uses| uses.len() == 2 && uses[0].2 != uses[1].2)
}

/// A name as XML; characters that XML cannot hold become the replacement character.
fn text(name: &str) -> String {
    let allowed = |c: char| {
        if (c as u32) < 0x20 || c == '\u{fffe}' || c == '\u{ffff}' { '\u{fffd}' } else { c }
    };
    escape(name.chars().map(allowed).collect::<String>()).into_owned()
}

const CHUNK: usize = 4096;
const HEAD: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"millimeter\" xml:lang=\"en\" \
    xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\"><resources>\n";
const TYPES: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
    <Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\">\
    <Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/>\
    <Default Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/></Types>\n";
const RELATIONSHIPS: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
    <Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">\
    <Relationship Target=\"/3D/3dmodel.model\" Id=\"rel0\" \
    Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>\n";
