//! Rows one after the other: ASCII, and binary rows whose size differs.

use std::io::{BufRead, Read};

use super::Content;
use super::header::{Element, Encoding, Scalar};
use crate::error::{Error, Result};
use crate::primitive::Vec3;
use crate::scan::lines::{Lines, is_blank, number, shown};
use crate::scan::source::Source;

/// Source of the numbers of rows.
pub(super) trait Rows {
    /// Steps to the next row.
    fn begin(&mut self) -> Result<()>;
    /// Next number of the row.
    fn value(&mut self, scalar: Scalar) -> Result<f64>;
    /// Ends the row.
    fn end(&mut self) -> Result<()>;
    /// Most bytes that may still come, so that no list is believed to be longer.
    fn left(&self) -> u64;
}

/// Reads elements in their order.
pub(super) fn read(
    content: &mut Content,
    rows: &mut impl Rows,
    elements: &[Element],
) -> Result<()> {
    for element in elements {
        match element.name.as_str() {
            "vertex" => read_vertices(content, rows, element)?,
            "face" => read_faces(content, rows, element)?,
            _ => {
                let mut values = Vec::new();
                (0..element.count)
                    .try_for_each(|row| read_row(content, rows, element, row, None, &mut values))?;
            }
        }
    }
    Ok(())
}

fn read_vertices(content: &mut Content, rows: &mut impl Rows, element: &Element) -> Result<()> {
    let at = element.find_three(["x", "y", "z"]).ok_or_else(|| no_position(content.source))?;
    let normal = element.find_three(["nx", "ny", "nz"]);
    let mut normals = Vec::new();
    let mut values = Vec::new();
    for row in 0..element.count {
        read_row(content, rows, element, row, None, &mut values)?;
        let xyz = at.map(|i| values[i]);
        content.points.push(content.source.point(xyz, || format!("vertex {row}"))?);
        normals.extend(normal.map(|n| Vec3::from(n.map(|i| values[i]))));
    }
    content.normals = normal.map(|_| normals);
    Ok(())
}

fn read_faces(content: &mut Content, rows: &mut impl Rows, element: &Element) -> Result<()> {
    if element.count == 0 {
        return Ok(());
    }
    let corners = element.corners().ok_or_else(|| no_corners(content.source))?;
    let mut values = Vec::new();
    for row in 0..element.count {
        read_row(content, rows, element, row, Some(corners), &mut values)?;
        let mut last = 0;
        let mut first = 0;
        for (i, &value) in values.iter().enumerate() {
            let id = content.id(value, row)?;
            match i {
                0 => first = id,
                1 => {}
                _ => content.triangles.push([first, last, id]),
            }
            last = id;
        }
        content.slivers += u64::from(values.len() < 3);
        content.source.allow_triangles(content.triangles.len() as u64)?;
    }
    Ok(())
}

/// Reads one row: the numbers of its list `list`, or one number a property (0 for a list).
fn read_row(
    content: &Content,
    rows: &mut impl Rows,
    element: &Element,
    row: u64,
    list: Option<usize>,
    values: &mut Vec<f64>,
) -> Result<()> {
    values.clear();
    rows.begin()?;
    for (i, property) in element.properties.iter().enumerate() {
        let Some(length) = property.list else {
            let value = rows.value(property.scalar)?;
            if list.is_none() {
                values.push(value);
            }
            continue;
        };
        let length = rows.value(length)?;
        let allowed = rows.left() / property.scalar.size().min(2) as u64;
        if !(length >= 0.0 && length <= allowed as f64) {
            return Err(content.source.bad(
                format!("{} {row}", element.name),
                format!("a list of {length} numbers"),
                format!("0 to {allowed}, as the file ends"),
            ));
        }
        for _ in 0..length as u64 {
            let value = rows.value(property.scalar)?;
            if list == Some(i) {
                values.push(value);
            }
        }
        if list.is_none() {
            values.push(0.0);
        }
    }
    rows.end()
}

pub(super) fn no_position(source: &Source) -> Error {
    source.bad("element vertex", "no position", "properties x, y and z")
}

pub(super) fn no_corners(source: &Source) -> Error {
    source.bad(
        "element face",
        "no list of corners",
        "\"property list\" vertex_indices or vertex_index of an integer type",
    )
}

/// Rows of text, one a line; blank lines are passed over.
pub(super) struct Text<'a, R> {
    source: &'a Source<'a>,
    lines: Lines<'a, R>,
    at: usize,
}

impl<'a, R: BufRead> Text<'a, R> {
    pub(super) fn new(source: &'a Source<'a>, lines: Lines<'a, R>) -> Self {
        Text { source, lines, at: 0 }
    }

    fn word(&mut self) -> Option<(usize, usize)> {
        let line = self.lines.line();
        let start = line.get(self.at..)?.iter().position(|b| !is_blank(*b))? + self.at;
        let end = line[start..].iter().position(|b| is_blank(*b)).map_or(line.len(), |i| start + i);
        self.at = end;
        Some((start, end))
    }
}

impl<R: BufRead> Rows for Text<'_, R> {
    fn begin(&mut self) -> Result<()> {
        self.at = 0;
        if self.lines.advance_to_words()? {
            return Ok(());
        }
        let place = format!("line {}", self.lines.number() + 1);
        Err(self.source.bad(place, "the end of the file", "as many rows as the header says"))
    }

    fn value(&mut self, scalar: Scalar) -> Result<f64> {
        let Some((start, end)) = self.word() else {
            let found = format!("too few numbers in {}", shown(self.lines.line()));
            return Err(self.source.bad(self.lines.place(), found, "one for each property"));
        };
        let word = &self.lines.line()[start..end];
        let value = number(word).filter(|v| !scalar.is_integer() || v.fract() == 0.0);
        value.ok_or_else(|| {
            let kind = if scalar.is_integer() { "a whole number" } else { "a number" };
            self.source.bad(self.lines.place(), shown(word), kind)
        })
    }

    fn end(&mut self) -> Result<()> {
        match self.word() {
            None => Ok(()),
            Some(_) => {
                let found = format!("too many numbers in {}", shown(self.lines.line()));
                Err(self.source.bad(self.lines.place(), found, "one for each property"))
            }
        }
    }

    fn left(&self) -> u64 {
        (self.lines.line().len() - self.at.min(self.lines.line().len())) as u64
    }
}

/// Binary rows.
pub(super) struct Bytes<'a, R> {
    source: &'a Source<'a>,
    reader: R,
    /// Offset of the next byte.
    pub(super) at: u64,
    encoding: Encoding,
}

impl<'a, R: Read> Bytes<'a, R> {
    /// Rows of a reader that stands at the offset `at`.
    pub(super) fn new(source: &'a Source<'a>, reader: R, at: u64, encoding: Encoding) -> Self {
        Bytes { source, reader, at, encoding }
    }
}

impl<R: Read> Rows for Bytes<'_, R> {
    fn begin(&mut self) -> Result<()> {
        Ok(())
    }

    fn value(&mut self, scalar: Scalar) -> Result<f64> {
        let mut word = [0; 8];
        let size = scalar.size();
        if self.left() < size as u64 {
            let place = format!("byte {}", self.at);
            return Err(self.source.bad(place, "the end of the file", "all rows of the header"));
        }
        self.reader.read_exact(&mut word[..size]).map_err(|e| Error::io(self.source.path, &e))?;
        self.at += size as u64;
        Ok(scalar.decode(self.encoding, &word))
    }

    fn end(&mut self) -> Result<()> {
        Ok(())
    }

    fn left(&self) -> u64 {
        self.source.len.saturating_sub(self.at)
    }
}
