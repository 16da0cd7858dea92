//! Binary rows of one size, decoded in parallel in fixed blocks.

use rayon::prelude::*;

use super::Content;
use super::header::{Element, Encoding, Header, Scalar};
use super::rows::{self, Bytes};
use crate::error::Result;
use crate::primitive::{Point3, Vec3};
use crate::scan::source::Source;

/// Reads all elements of a binary file.
pub(super) fn read(content: &mut Content, header: &Header) -> Result<()> {
    let mut at = header.body;
    for element in &header.elements {
        at = match (element.name.as_str(), element.fixed_row()) {
            ("vertex", Some(size)) => read_vertices(content, header.encoding, element, at, size)?,
            ("face", _) => match read_triangles(content, header.encoding, element, at)? {
                Some(end) => end,
                None => read_rows(content, header.encoding, element, at)?,
            },
            ("vertex", None) | (_, None) => read_rows(content, header.encoding, element, at)?,
            (_, Some(size)) => end_of(content.source, element, at, size)?,
        };
    }
    if at < content.source.len {
        let rest = content.source.len - at;
        content.notes.push(format!("{rest} bytes after the last element ignored"));
    }
    Ok(())
}

fn read_rows(content: &mut Content, encoding: Encoding, element: &Element, at: u64) -> Result<u64> {
    let source = content.source;
    let mut rows = Bytes::new(source, source.stream(at)?, at, encoding);
    rows::read(content, &mut rows, std::slice::from_ref(element))?;
    Ok(rows.at)
}

/// End of an element of fixed rows, if the file goes that far.
fn end_of(source: &Source, element: &Element, at: u64, size: usize) -> Result<u64> {
    let end = u128::from(at) + u128::from(element.count) * size as u128;
    if end <= u128::from(source.len) {
        return Ok(end as u64);
    }
    let found = format!("{} rows of {size} bytes", element.count);
    let allowed = format!("as many as fit into the {} bytes left", source.len - at);
    Err(source.bad(format!("element {}", element.name), found, allowed))
}

/// A number inside a row.
#[derive(Clone, Copy)]
struct Field {
    offset: usize,
    scalar: Scalar,
}

impl Field {
    fn of(element: &Element, property: usize) -> Self {
        let offset = element.properties[..property].iter().map(|p| p.scalar.size()).sum();
        Field { offset, scalar: element.properties[property].scalar }
    }

    fn value(self, encoding: Encoding, row: &[u8]) -> f64 {
        self.scalar.decode(encoding, &row[self.offset..])
    }
}

fn read_vertices(
    content: &mut Content,
    encoding: Encoding,
    element: &Element,
    at: u64,
    size: usize,
) -> Result<u64> {
    let source = content.source;
    let end = end_of(source, element, at, size)?;
    let fields = element.find_three(["x", "y", "z"]).map(|t| t.map(|i| Field::of(element, i)));
    let fields = fields.ok_or_else(|| rows::no_position(source))?;
    let normal = element.find_three(["nx", "ny", "nz"]).map(|t| t.map(|i| Field::of(element, i)));
    let count = element.count as usize;
    // Arrays of numbers begin as untouched zero pages, which points would not.
    let points = blocks(source, at, size, count, [0.0; 3], |row, bytes| {
        let p = source.point(triple(fields, encoding, bytes), || format!("vertex {row}"))?;
        Ok([p.x, p.y, p.z])
    })?;
    content.points = points.into_iter().map(Point3::from).collect();
    if let Some(fields) = normal {
        let normals = blocks(source, at, size, count, [0.0; 3], |_, bytes| {
            Ok(triple(fields, encoding, bytes))
        })?;
        content.normals = Some(normals.into_iter().map(Vec3::from).collect());
    }
    Ok(end)
}

/// Three numbers of a row; the usual layout skips the general decoding.
#[inline]
fn triple(fields: [Field; 3], encoding: Encoding, row: &[u8]) -> [f64; 3] {
    fields.map(|f| match (f.scalar, encoding) {
        (Scalar::F32, Encoding::Little) => f64::from(f32::from_le_bytes(word(row, f.offset))),
        (Scalar::F64, Encoding::Little) => f64::from_le_bytes(word(row, f.offset)),
        _ => f.value(encoding, row),
    })
}

/// Faces as if all had three corners; `None` when one has not.
fn read_triangles(
    content: &mut Content,
    encoding: Encoding,
    element: &Element,
    at: u64,
) -> Result<Option<u64>> {
    let source = content.source;
    let Some(row) = element.corners().and_then(|list| Row::of(element, list)) else {
        return Ok(None);
    };
    let Ok(end) = end_of(source, element, at, row.size) else { return Ok(None) };
    let wanted = element.count as usize;
    let triangles = blocks(source, at, row.size, wanted, [0; 3], |face, bytes| {
        if row.count(encoding, bytes) != 3.0 {
            return Ok(OTHER);
        }
        let ids = row.ids(encoding, bytes);
        if ids.iter().all(|id| *id >= 0 && (*id as u64) < content.promised) {
            return Ok(ids.map(|id| id as u32));
        }
        // Only once all rows before are known to be triangles is this really an id.
        Ok([BAD, face as u32, 0])
    })?;
    let odd = triangles.par_chunks(CHUNK).find_map_first(|c| c.iter().find(|t| t[0] >= BAD));
    if let Some(odd) = odd {
        if *odd == OTHER {
            return Ok(None);
        }
        let mut bytes = vec![0; row.size];
        source.read_at(at + u64::from(odd[1]) * row.size as u64, &mut bytes)?;
        for id in row.ids(encoding, &bytes) {
            content.id(id as f64, u64::from(odd[1]))?;
        }
    }
    content.triangles = triangles;
    Ok(Some(end))
}

/// A face's row of three corners.
struct Row {
    count: Field,
    ids: Field,
    size: usize,
}

impl Row {
    /// `None` if there is a second list.
    fn of(element: &Element, list: usize) -> Option<Self> {
        let length = element.properties[list].list?;
        if element.properties.iter().filter(|p| p.list.is_some()).count() > 1 {
            return None;
        }
        let count = Field { offset: Field::of(element, list).offset, scalar: length };
        let scalar = element.properties[list].scalar;
        let ids = Field { offset: count.offset + length.size(), scalar };
        let after: usize = element.properties[list + 1..].iter().map(|p| p.scalar.size()).sum();
        Some(Row { count, ids, size: ids.offset + 3 * scalar.size() + after })
    }

    #[inline]
    fn count(&self, encoding: Encoding, row: &[u8]) -> f64 {
        match self.count.scalar {
            Scalar::U8 => f64::from(row[self.count.offset]),
            _ => self.count.value(encoding, row),
        }
    }

    #[inline]
    fn ids(&self, encoding: Encoding, row: &[u8]) -> [i64; 3] {
        let size = self.ids.scalar.size();
        [0, 1, 2].map(|i| {
            let offset = self.ids.offset + i * size;
            match (self.ids.scalar, encoding) {
                (Scalar::I32, Encoding::Little) => i32::from_le_bytes(word(row, offset)).into(),
                (Scalar::U32, Encoding::Little) => u32::from_le_bytes(word(row, offset)).into(),
                (scalar, _) => scalar.decode(encoding, &row[offset..]) as i64,
            }
        })
    }
}

/// Decodes `count` rows of `size` bytes from an offset on; an error is the first row's.
fn blocks<T: Copy + Send>(
    source: &Source,
    at: u64,
    size: usize,
    count: usize,
    empty: T,
    decode: impl Fn(usize, &[u8]) -> Result<T> + Sync,
) -> Result<Vec<T>> {
    let mut out = vec![empty; count];
    let rows = (BLOCK / size).max(1);
    let done: Vec<Result<()>> = out
        .par_chunks_mut(rows)
        .enumerate()
        .map_init(Vec::new, |bytes: &mut Vec<u8>, (i, out)| {
            bytes.resize(out.len() * size, 0);
            source.read_at(at + (i * rows * size) as u64, bytes)?;
            for (j, (row, out)) in bytes.chunks_exact(size).zip(out).enumerate() {
                *out = decode(i * rows + j, row)?;
            }
            Ok(())
        })
        .collect();
    done.into_iter().collect::<Result<()>>()?;
    Ok(out)
}

#[inline]
fn word<const N: usize>(row: &[u8], offset: usize) -> [u8; N] {
    let mut word = [0; N];
    word.copy_from_slice(&row[offset..offset + N]);
    word
}

const BLOCK: usize = 1 << 16;
const CHUNK: usize = 1 << 14;
/// First id of a face with an id out of range; no point has it, as at most `u32::MAX` points are read.
const BAD: u32 = u32::MAX - 1;
/// Stands for a face that is no triangle.
const OTHER: [u32; 3] = [u32::MAX; 3];
