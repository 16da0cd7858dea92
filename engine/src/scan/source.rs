//! One open input file: positioned reads, limits, and errors that name the file.

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use super::read::ReadOptions;
use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::Point3;
use crate::units::LengthUnit;

/// A regular file opened for reading. Sizes come from the file system, never from its content.
pub(super) struct Source<'a> {
    pub(super) path: &'a Path,
    pub(super) options: &'a ReadOptions,
    /// Bytes in the file.
    pub(super) len: u64,
    /// Millimetres in one unit of the file.
    pub(super) factor: f64,
    context: Option<&'a Context>,
    file: File,
}

impl<'a> Source<'a> {
    pub(super) fn open(
        path: &'a Path,
        unit: LengthUnit,
        options: &'a ReadOptions,
        context: Option<&'a Context>,
    ) -> Result<Self> {
        let file = File::open(path).map_err(|e| Error::io(path, &e))?;
        let about = file.metadata().map_err(|e| Error::io(path, &e))?;
        if !about.is_file() {
            // A device or a pipe may never end.
            let reason = std::io::Error::other("not a regular file");
            return Err(Error::io(path, &reason));
        }
        Ok(Source { path, options, len: about.len(), factor: unit.to_mm(), context, file })
    }

    /// Fills `buffer` from a byte offset.
    pub(super) fn read_at(&self, offset: u64, buffer: &mut [u8]) -> Result<()> {
        self.check()?;
        read_exact_at(&self.file, offset, buffer).map_err(|e| Error::io(self.path, &e))
    }

    /// The first bytes of the file, at most `limit` of them.
    pub(super) fn head(&self, limit: u64) -> Result<Vec<u8>> {
        let mut bytes = vec![0; self.len.min(limit) as usize];
        self.read_at(0, &mut bytes)?;
        Ok(bytes)
    }

    /// The open file itself, from its start, for readers of archives.
    pub(super) fn file(&self) -> Result<BufReader<&File>> {
        let mut file = &self.file;
        file.seek(SeekFrom::Start(0)).map_err(|e| Error::io(self.path, &e))?;
        Ok(BufReader::with_capacity(STREAM_BUFFER, file))
    }

    /// Buffered reader from a byte offset on; one at a time.
    pub(super) fn stream(&self, offset: u64) -> Result<BufReader<impl Read + use<'_, 'a>>> {
        let mut file = &self.file;
        file.seek(SeekFrom::Start(offset)).map_err(|e| Error::io(self.path, &e))?;
        Ok(BufReader::with_capacity(STREAM_BUFFER, file))
    }

    /// Fails when the caller asked to stop.
    pub(super) fn check(&self) -> Result<()> {
        self.context.map_or(Ok(()), Context::check)
    }

    /// Scales a coordinate triple to mm; outside the limits it is an error, or is kept for the final
    /// count when the options say to drop it.
    pub(super) fn point(&self, xyz: [f64; 3], place: impl FnOnce() -> String) -> Result<Point3> {
        self.placed(Point3::from(xyz.map(|v| v * self.factor)), xyz, place)
    }

    /// As [`Source::point`] for a format that names its own unit.
    pub(super) fn point_mm(&self, p: Point3, place: impl FnOnce() -> String) -> Result<Point3> {
        self.placed(p, p.coords.into(), place)
    }

    fn placed(&self, p: Point3, xyz: [f64; 3], place: impl FnOnce() -> String) -> Result<Point3> {
        if valid(&p) || self.options.drop_invalid {
            return Ok(p);
        }
        Err(self.bad(
            place(),
            format!("coordinates {} {} {}", xyz[0], xyz[1], xyz[2]),
            format!("finite numbers up to {MAX_COORDINATE:e} mm"),
        ))
    }

    /// Fails when the file would hold more points than allowed.
    pub(super) fn allow_points(&self, count: u64) -> Result<()> {
        let limit = self.options.max_points.min(MAX_POINTS) as u64;
        self.allow("points", count, limit)
    }

    /// Fails when the file would hold more triangles than allowed.
    pub(super) fn allow_triangles(&self, count: u64) -> Result<()> {
        let limit = self.options.max_triangles.min(u32::MAX as usize / 3) as u64;
        self.allow("triangles", count, limit)
    }

    pub(super) fn bad(
        &self,
        place: impl Into<String>,
        found: impl Into<String>,
        allowed: impl Into<String>,
    ) -> Error {
        Error::format(self.path, place, found, allowed)
    }

    fn allow(&self, what: &str, found: u64, limit: u64) -> Result<()> {
        if found <= limit {
            return Ok(());
        }
        Err(Error::Limit { what: format!("{}: {what}", self.path.display()), found, limit })
    }
}

/// Whether a point is finite and within [`MAX_COORDINATE`].
pub(super) fn valid(p: &Point3) -> bool {
    p.iter().all(|v| v.abs() <= MAX_COORDINATE)
}

#[cfg(unix)]
fn read_exact_at(file: &File, offset: u64, buffer: &mut [u8]) -> std::io::Result<()> {
    std::os::unix::fs::FileExt::read_exact_at(file, buffer, offset)
}

/// Without positioned reads the cursor is shared, so the seek and the read are one locked step.
#[cfg(not(unix))]
fn read_exact_at(file: &File, offset: u64, buffer: &mut [u8]) -> std::io::Result<()> {
    static CURSOR: std::sync::Mutex<()> = std::sync::Mutex::new(());
    let _held = CURSOR.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let mut file = file;
    file.seek(SeekFrom::Start(offset))?;
    file.read_exact(buffer)
}

/// Largest coordinate that is taken for a measurement, mm (the size of the solar system): beyond it
/// stands uninitialised memory, and its powers would overflow.
pub(super) const MAX_COORDINATE: f64 = 1e15;

/// Two ids below `u32::MAX` stay free for marks.
const MAX_POINTS: usize = u32::MAX as usize - 2;
const STREAM_BUFFER: usize = 1 << 18;
