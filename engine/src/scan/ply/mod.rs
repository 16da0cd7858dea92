//! PLY, binary of either byte order or ASCII: a mesh, or points, with any scalar types.
//!
//! Rows of fixed size are decoded in parallel from positioned reads; everything else passes through one
//! row-by-row reader (`rows`). Polygons are split into fans. Elements other than `vertex` and `face` are
//! passed over, range grids too: such a scan is read as points.

mod blocks;
mod header;
mod rows;

pub(super) use header::is_ply;

use super::lines::Lines;
use super::read::Draft;
use super::source::Source;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Vec3};
use header::{Element, Encoding, Header};

/// Reads a mesh, or bare points if there is no face.
pub(super) fn read(source: &Source) -> Result<Draft> {
    let header = header::parse(source)?;
    let mut content = Content::new(source, &header)?;
    match header.encoding {
        Encoding::Ascii => {
            let lines = Lines::new(source, source.stream(header.body)?, header.lines);
            rows::read(&mut content, &mut rows::Text::new(source, lines), &header.elements)?;
        }
        Encoding::Little | Encoding::Big => blocks::read(&mut content, &header)?,
    }
    content.draft()
}

/// What was read so far.
struct Content<'a> {
    source: &'a Source<'a>,
    /// Points promised and, by its length, possible in the file; ids must lie below.
    promised: u64,
    points: Vec<Point3>,
    normals: Option<Vec<Vec3>>,
    triangles: Vec<[u32; 3]>,
    faces: u64,
    /// Faces of fewer than three corners.
    slivers: u64,
    notes: Vec<String>,
}

impl<'a> Content<'a> {
    fn new(source: &'a Source<'a>, header: &Header) -> Result<Self> {
        let count =
            |name| header.elements.iter().find(|e| e.name == name).map(|e: &Element| e.count);
        let promised = count("vertex").ok_or_else(|| {
            source.bad("header", "no element vertex", "\"element vertex\" with its count")
        })?;
        let faces = count("face").unwrap_or(0);
        source.allow_points(promised)?;
        source.allow_triangles(faces)?;
        if faces == 0 && count("tristrips").is_some_and(|n| n > 0) {
            return Err(Error::Unsupported {
                path: source.path.to_owned(),
                place: "header".to_owned(),
                what: "element tristrips".to_owned(),
                remedy: "write the mesh with \"element face\"".to_owned(),
            });
        }
        let other = header.elements.iter().filter(|e| e.name != "vertex" && e.name != "face");
        let notes = other.map(|e| format!("element {} passed over", e.name)).collect();
        Ok(Content {
            source,
            promised,
            points: Vec::new(),
            normals: None,
            triangles: Vec::new(),
            faces,
            slivers: 0,
            notes,
        })
    }

    /// Checks a point id of a face.
    fn id(&self, value: f64, face: u64) -> Result<u32> {
        if value >= 0.0 && value < self.promised as f64 {
            return Ok(value as u32);
        }
        let allowed = match self.promised {
            0 => "no face without points".to_owned(),
            n => format!("a point from 0 to {}", n - 1),
        };
        Err(self.source.bad(format!("face {face}"), format!("point {value}"), allowed))
    }

    fn draft(mut self) -> Result<Draft> {
        if self.slivers > 0 {
            self.notes.push(format!("{} faces of fewer than 3 corners dropped", self.slivers));
        }
        Ok(Draft {
            format_name: "PLY",
            points: self.points,
            triangles: self.triangles,
            normals: self.normals,
            notes: self.notes,
            is_mesh: self.faces > 0,
        })
    }
}
