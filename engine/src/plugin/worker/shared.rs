//! Points in memory that host and worker share: a file in memory where the system has one, mapped by both.

#![allow(unsafe_code)]

use std::path::{Path, PathBuf};

use memmap2::{Mmap, MmapMut};
use rayon::prelude::*;
use tempfile::NamedTempFile;

use crate::plugin::library::Points;

/// The host's side; grows with the points, and stays so that its pages need not be made anew.
pub(super) struct Shared {
    file: NamedTempFile,
    map: Option<MmapMut>,
}

impl Shared {
    pub(super) fn new() -> std::io::Result<Self> {
        let file = tempfile::Builder::new().prefix("fitwright-").tempfile_in(folder())?;
        Ok(Shared { file, map: None })
    }

    pub(super) fn path(&self) -> PathBuf {
        self.file.path().to_path_buf()
    }

    /// Copies the points in.
    pub(super) fn fill(&mut self, points: &Points<'_>) -> std::io::Result<()> {
        let first = points.points.len();
        let bytes = 8 * (first + points.normals.map_or(0, <[f64]>::len));
        if self.map.as_ref().is_none_or(|m| m.len() < bytes) {
            self.map = None;
            let room = bytes.next_multiple_of(PAGE).max(PAGE);
            self.file.as_file().set_len(room as u64)?;
            // SAFETY: the file is this process's own; the worker maps it for reading.
            self.map = Some(unsafe { MmapMut::map_mut(self.file.as_file())? });
        }
        if let Some(map) = &mut self.map {
            let (a, b) = map.split_at_mut(8 * first);
            copy(points.points, a);
            copy(points.normals.unwrap_or_default(), b);
        }
        Ok(())
    }
}

fn copy(from: &[f64], to: &mut [u8]) {
    to[..8 * from.len()].par_chunks_mut(8 * PIECE).zip(from.par_chunks(PIECE)).for_each(
        |(to, from)| {
            for (to, from) in to.chunks_exact_mut(8).zip(from) {
                to.copy_from_slice(&from.to_ne_bytes());
            }
        },
    );
}

/// The worker's side.
#[derive(Default)]
pub(super) struct Mapped {
    path: PathBuf,
    map: Option<Mmap>,
}

impl Mapped {
    /// Points and normals of a file.
    pub(super) fn points(
        &mut self,
        path: &Path,
        count: u64,
        normals: bool,
    ) -> std::io::Result<Points<'_>> {
        let numbers = usize::try_from(count).map_err(std::io::Error::other)?.saturating_mul(3);
        let needed = numbers.saturating_mul(if normals { 16 } else { 8 });
        if self.path != path || self.map.as_ref().is_none_or(|m| m.len() < needed) {
            let file = std::fs::File::open(path)?;
            // SAFETY: the host writes to it only between calls.
            let map = unsafe { Mmap::map(&file)? };
            (self.path, self.map) = (path.into(), Some(map));
        }
        let map = self.map.as_deref().filter(|m| m.len() >= needed);
        let map = map.ok_or_else(|| std::io::Error::other("the shared file is too short"))?;
        let part = |from: usize| {
            // SAFETY: within the map, which begins at a page.
            unsafe { std::slice::from_raw_parts(map.as_ptr().cast::<f64>().add(from), numbers) }
        };
        Ok(Points { points: part(0), normals: normals.then(|| part(numbers)) })
    }
}

/// Memory that looks like a folder, where there is one.
fn folder() -> PathBuf {
    let memory = Path::new("/dev/shm");
    if memory.is_dir() { memory.into() } else { std::env::temp_dir() }
}

const PAGE: usize = 1 << 16;
const PIECE: usize = 1 << 16;
