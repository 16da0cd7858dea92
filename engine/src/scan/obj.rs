//! Wavefront OBJ: `v`, `vn` and `f`; groups, materials, textures, lines and points are passed over.
//!
//! No file named inside is ever opened. Polygons are split into fans.

use super::lines::{Lines, number, shown, three, words};
use super::read::Draft;
use super::source::Source;
use crate::error::Result;
use crate::primitive::{Point3, Vec3};

/// Reads a mesh, or bare points if there is no face.
pub(super) fn read(source: &Source) -> Result<Draft> {
    let mut content = Content::default();
    let mut lines = Lines::new(source, source.stream(0)?, 0);
    let mut joined = Vec::new();
    while lines.advance()? {
        let line = lines.line();
        if line.contains(&0) {
            return Err(source.bad(lines.place(), "a zero byte", "text in ASCII or UTF-8"));
        }
        // A backslash continues the statement on the next line.
        if let Some(start) = line.trim_ascii_end().strip_suffix(b"\\") {
            joined.extend_from_slice(start);
            joined.push(b' ');
        } else if joined.is_empty() {
            content.statement(source, line, lines.number())?;
        } else {
            joined.extend_from_slice(line);
            content.statement(source, &joined, lines.number())?;
            joined.clear();
        }
    }
    content.statement(source, &joined, lines.number())?;
    content.draft(source)
}

#[derive(Default)]
struct Content {
    points: Vec<Point3>,
    normals: Vec<Vec3>,
    triangles: Vec<[u32; 3]>,
    faces: u64,
    unknown: u64,
    first_unknown: String,
    /// Highest point named before it was defined, and the line.
    forward: (u64, u64),
}

impl Content {
    fn statement(&mut self, source: &Source, line: &[u8], at: u64) -> Result<()> {
        let mut words = words(line);
        match words.next() {
            Some(b"v") => self.point(source, &mut words, line, at),
            Some(b"vn") => {
                self.normals.extend(three(&mut words).map(Vec3::from));
                Ok(())
            }
            Some(b"f" | b"fo") => self.face(source, &mut words, line, at),
            None => Ok(()),
            Some(word) if word[0] == b'#' || PASSED.contains(&word) => Ok(()),
            Some(word) => {
                self.unknown += 1;
                if self.unknown == 1 {
                    self.first_unknown = format!("line {at}: {}", shown(word));
                }
                Ok(())
            }
        }
    }

    fn point<'w>(
        &mut self,
        source: &Source,
        words: &mut impl Iterator<Item = &'w [u8]>,
        line: &[u8],
        at: u64,
    ) -> Result<()> {
        let place = || format!("line {at}");
        let xyz = three(words).filter(|_| words.all(|w| number(w).is_some()));
        let Some(xyz) = xyz else {
            return Err(source.bad(place(), shown(line), "\"v x y z\" with numbers"));
        };
        self.points.push(source.point(xyz, place)?);
        source.allow_points(self.points.len() as u64)
    }

    fn face<'w>(
        &mut self,
        source: &Source,
        words: &mut impl Iterator<Item = &'w [u8]>,
        line: &[u8],
        at: u64,
    ) -> Result<()> {
        let mut corners = 0;
        let mut first = 0;
        let mut last = 0;
        for word in words.take_while(|w| w[0] != b'#') {
            let id = self.corner(source, word, at)?;
            corners += 1;
            match corners {
                1 => first = id,
                2 => {}
                _ => self.triangles.push([first, last, id]),
            }
            last = id;
        }
        self.faces += 1;
        source.allow_triangles(self.triangles.len() as u64)?;
        if corners >= 3 {
            return Ok(());
        }
        Err(source.bad(format!("line {at}"), shown(line), "a face of at least 3 corners"))
    }

    /// Point of a corner `v`, `v/vt`, `v//vn` or `v/vt/vn`; below zero it counts from the last point.
    fn corner(&mut self, source: &Source, word: &[u8], at: u64) -> Result<u32> {
        let count = self.points.len() as i64;
        let index = word.split(|b| *b == b'/').next().unwrap_or_default();
        let index = std::str::from_utf8(index).ok().and_then(|w| w.parse::<i64>().ok());
        let id = match index {
            Some(i) if i > 0 => Some(i - 1),
            Some(i) if i < 0 && i >= -count => Some(count + i),
            _ => None,
        };
        let Some(id) = id.and_then(|id| u32::try_from(id).ok()) else {
            let allowed = format!("a point from 1 to {count} or from -{count} to -1");
            return Err(source.bad(
                format!("line {at}"),
                format!("corner {}", shown(word)),
                allowed,
            ));
        };
        if i64::from(id) >= count && u64::from(id) >= self.forward.0 {
            self.forward = (u64::from(id) + 1, at);
        }
        Ok(id)
    }

    fn draft(self, source: &Source) -> Result<Draft> {
        let (index, line) = self.forward;
        if index > self.points.len() as u64 {
            let allowed = format!("a point from 1 to {}", self.points.len());
            return Err(source.bad(format!("line {line}"), format!("point {index}"), allowed));
        }
        if self.points.is_empty() {
            let found = if self.unknown > 0 { self.first_unknown } else { "no point".to_owned() };
            return Err(source.bad("the whole file", found, "\"v x y z\""));
        }
        let mut draft = Draft::mesh("OBJ", self.points, self.triangles);
        draft.is_mesh = self.faces > 0;
        // Without faces nothing ties normals to points but their order.
        if !draft.is_mesh && self.normals.len() == draft.points.len() {
            draft.normals = Some(self.normals);
        }
        if self.unknown > 0 {
            draft.notes.push(format!(
                "{} unknown statements passed over, the first in {}",
                self.unknown, self.first_unknown
            ));
        }
        Ok(draft)
    }
}

/// Statements of the format that say nothing about points or faces.
const PASSED: [&[u8]; 16] = [
    b"vt",
    b"vp",
    b"g",
    b"o",
    b"s",
    b"l",
    b"p",
    b"usemtl",
    b"mtllib",
    b"mg",
    b"maplib",
    b"usemap",
    b"bevel",
    b"c_interp",
    b"d_interp",
    b"lod",
];
