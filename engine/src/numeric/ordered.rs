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

/// Points of one piece of parallel work: large enough to hide the hand-over, small enough for the cache.
pub(crate) const CHUNK: usize = 8192;
