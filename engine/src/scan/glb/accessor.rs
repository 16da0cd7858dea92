//! Numbers of a glTF buffer, read only after the bytes for them were found.

use super::super::source::Source;
use super::json::{Accessor, Gltf, View};
use crate::error::{Error, Result};

/// The file's buffer and what lies where in it.
pub(super) struct Accessors<'a> {
    source: &'a Source<'a>,
    accessors: Vec<Accessor>,
    views: Vec<View>,
    /// First byte and length of the binary chunk.
    binary: (u64, u64),
}

/// Rows of numbers: first byte in the file, bytes from row to row, rows.
struct Rows {
    start: u64,
    stride: u64,
    count: u64,
}

impl<'a> Accessors<'a> {
    /// Takes accessors and views; fails when the numbers lie in another file.
    pub(super) fn of(
        source: &'a Source<'a>,
        gltf: &mut Gltf,
        binary: Option<(u64, u64)>,
    ) -> Result<Self> {
        if let Some(i) = gltf.buffers.iter().position(|b| b.uri.is_some()) {
            return Err(Error::Unsupported {
                path: source.path.to_owned(),
                place: format!("buffers[{i}].uri"),
                what: "a buffer outside the file".into(),
                remedy: "export as one binary file (GLB)".into(),
            });
        }
        let binary = binary.unwrap_or((0, 0));
        if let Some(buffer) = gltf.buffers.first().filter(|b| b.length > binary.1) {
            let found = format!("{} bytes, the binary chunk has {}", buffer.length, binary.1);
            return Err(source.bad("buffers[0].byteLength", found, "no more than the chunk's"));
        }
        let accessors = std::mem::take(&mut gltf.accessors);
        Ok(Accessors { source, accessors, views: std::mem::take(&mut gltf.views), binary })
    }

    /// Three single-precision numbers a point; `already` points were read before.
    pub(super) fn positions(
        &self,
        index: usize,
        place: &str,
        already: u64,
    ) -> Result<Vec<[f64; 3]>> {
        let accessor = self.accessor(index, place)?;
        let place = format!("accessors[{index}]");
        if accessor.component != FLOAT || accessor.kind != "VEC3" {
            let found = format!("positions of {} {}", accessor.kind, accessor.component);
            return Err(self.source.bad(
                place,
                found,
                format!("VEC3 of {FLOAT} (single precision)"),
            ));
        }
        self.source.allow_points(already.saturating_add(accessor.count))?;
        let rows = self.rows(accessor, 12, &place)?;
        let mut points = Vec::with_capacity(rows.count as usize);
        self.each(&rows, 12, |b| {
            let number =
                |i: usize| f64::from(f32::from_le_bytes([b[i], b[i + 1], b[i + 2], b[i + 3]]));
            points.push([number(0), number(4), number(8)]);
            Ok(())
        })?;
        Ok(points)
    }

    /// Corner numbers, each below `corners`.
    pub(super) fn indices(&self, index: usize, place: &str, corners: usize) -> Result<Vec<u32>> {
        let accessor = self.accessor(index, place)?;
        let place = format!("accessors[{index}]");
        let width = match (accessor.component, accessor.kind.as_str()) {
            (UNSIGNED_BYTE, "SCALAR") => 1,
            (UNSIGNED_SHORT, "SCALAR") => 2,
            (UNSIGNED_INT, "SCALAR") => 4,
            (component, kind) => {
                let found = format!("corner numbers of {kind} {component}");
                let allowed = "SCALAR of 5121, 5123 or 5125 (unsigned whole numbers)";
                return Err(self.source.bad(place, found, allowed));
            }
        };
        self.source.allow_triangles(accessor.count / 3)?;
        let rows = self.rows(accessor, width, &place)?;
        let mut ids = Vec::with_capacity(rows.count as usize);
        self.each(&rows, width, |bytes| {
            let id = bytes.iter().rev().fold(0u32, |id, b| id << 8 | u32::from(*b));
            if id as usize >= corners {
                let at = format!("{place}, corner {}", ids.len());
                return Err(self.source.bad(at, id.to_string(), format!("below {corners}")));
            }
            ids.push(id);
            Ok(())
        })?;
        Ok(ids)
    }

    fn accessor(&self, index: usize, place: &str) -> Result<&Accessor> {
        self.accessors.get(index).ok_or_else(|| {
            let allowed = format!("below {}", self.accessors.len());
            self.source.bad(place, format!("accessor {index}"), allowed)
        })
    }

    /// Where an accessor's rows of `width` bytes are; all of them lie in the binary chunk.
    fn rows(&self, accessor: &Accessor, width: u64, place: &str) -> Result<Rows> {
        if accessor.sparse.is_some() {
            return Err(Error::Unsupported {
                path: self.source.path.to_owned(),
                place: place.into(),
                what: "a sparse accessor".into(),
                remedy: "export without sparse accessors, or as PLY, STL or OBJ".into(),
            });
        }
        let view = accessor.view.and_then(|v| self.views.get(v)).ok_or_else(|| {
            self.source.bad(place, "no such bufferView", format!("below {}", self.views.len()))
        })?;
        if view.buffer != 0 {
            return Err(self.source.bad(place, format!("buffer {}", view.buffer), "buffer 0"));
        }
        let stride = view.stride.unwrap_or(width);
        if stride < width || stride > 252 {
            return Err(self.source.bad(
                place,
                format!("a stride of {stride}"),
                format!("{width} to 252"),
            ));
        }
        let end = |count: u64| {
            let last = count.checked_sub(1)?.checked_mul(stride)?;
            last.checked_add(width)?.checked_add(accessor.offset)
        };
        let inside =
            accessor.count == 0 || end(accessor.count).is_some_and(|end| end <= view.length);
        let view_end = view.offset.checked_add(view.length);
        if !inside || view_end.is_none_or(|end| end > self.binary.1) {
            let found = format!("{} rows of {width} bytes", accessor.count);
            return Err(self.source.bad(place, found, "rows within the binary chunk"));
        }
        let start = self.binary.0 + view.offset + accessor.offset;
        Ok(Rows { start, stride, count: accessor.count })
    }

    /// Hands each row's bytes on, in their order.
    fn each(
        &self,
        rows: &Rows,
        width: u64,
        mut row: impl FnMut(&[u8]) -> Result<()>,
    ) -> Result<()> {
        let a_time = (CHUNK / rows.stride).max(1);
        let mut buffer = Vec::new();
        let mut done = 0;
        while done < rows.count {
            let count = a_time.min(rows.count - done);
            buffer.resize(((count - 1) * rows.stride + width) as usize, 0);
            self.source.read_at(rows.start + done * rows.stride, &mut buffer)?;
            for at in 0..count as usize {
                let start = at * rows.stride as usize;
                row(&buffer[start..start + width as usize])?;
            }
            done += count;
        }
        Ok(())
    }
}

const UNSIGNED_BYTE: u32 = 5121;
const UNSIGNED_SHORT: u32 = 5123;
const UNSIGNED_INT: u32 = 5125;
const FLOAT: u32 = 5126;
/// Bytes read at once.
const CHUNK: u64 = 1 << 20;
