//! Parallel work over fixed chunks whose results come back in order, so that sums do not depend on the number of threads.

use std::ops::Range;

use rayon::prelude::*;

/// Results of `work` on consecutive ranges of [`CHUNK`] indices covering `0..count`, in order.
pub(crate) fn map_chunks<T: Send>(count: usize, work: impl Fn(Range<usize>) -> T + Sync) -> Vec<T> {
    if count <= CHUNK {
        return vec![work(0..count)];
    }
    (0..count.div_ceil(CHUNK))
        .into_par_iter()
        .map(|i| work(i * CHUNK..((i + 1) * CHUNK).min(count)))
        .collect()
}

/// Results of `work` on `parts` consecutive ranges of nearly equal length covering `0..count`, in order.
pub(crate) fn map_parts<T: Send>(
    count: usize,
    parts: usize,
    work: impl Fn(Range<usize>) -> T + Sync,
) -> Vec<T> {
    let edge = |k: usize| (k as u128 * count as u128 / parts.max(1) as u128) as usize;
    (0..parts).into_par_iter().map(|k| work(edge(k)..edge(k + 1))).collect()
}

/// Points of one piece of parallel work: large enough to hide the hand-over, small enough for the cache.
pub(crate) const CHUNK: usize = 8192;
