//! How much memory a context's scans and parts may take.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use crate::error::Fault;

/// What is left of a context's limit.
#[derive(Clone)]
pub(crate) struct Memory {
    used: Arc<AtomicU64>,
    limit: u64,
}

/// Memory in use until dropped.
pub(crate) struct Held {
    used: Arc<AtomicU64>,
    bytes: u64,
}

impl Held {
    /// Gives back what is over `bytes`.
    pub(crate) fn shrink(&mut self, bytes: u64) {
        let over = self.bytes.saturating_sub(bytes);
        self.used.fetch_sub(over, Ordering::Relaxed);
        self.bytes -= over;
    }
}

impl Memory {
    /// 0: no limit.
    pub(crate) fn new(limit: u64) -> Self {
        let limit = if limit == 0 { u64::MAX } else { limit };
        Memory { used: Arc::default(), limit }
    }

    /// Bytes that may still be taken.
    pub(crate) fn left(&self) -> u64 {
        self.limit.saturating_sub(self.used.load(Ordering::Relaxed))
    }

    pub(crate) fn used(&self) -> u64 {
        self.used.load(Ordering::Relaxed)
    }

    /// Takes bytes, if they are left.
    pub(crate) fn hold(&self, bytes: u64) -> Result<Held, Fault> {
        let take = |used: u64| used.checked_add(bytes).filter(|sum| *sum <= self.limit);
        match self.used.fetch_update(Ordering::Relaxed, Ordering::Relaxed, take) {
            Ok(_) => Ok(Held { used: Arc::clone(&self.used), bytes }),
            Err(used) => {
                let found = used.saturating_add(bytes);
                Err(Fault::limit(
                    "memory of the context's scans and parts, bytes",
                    found,
                    self.limit,
                ))
            }
        }
    }
}

impl Drop for Held {
    fn drop(&mut self) {
        self.used.fetch_sub(self.bytes, Ordering::Relaxed);
    }
}

/// Bytes of a scan's or part's positions, triangles and normals.
pub(crate) fn bytes_of(points: usize, triangles: usize, normals: usize) -> u64 {
    24 * (points as u64 + normals as u64) + 12 * triangles as u64
}
