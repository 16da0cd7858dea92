//! Work on chunks that is compiled a second time for the wider vectors of newer processors.
//!
//! Products are not fused with sums and sums have fixed lanes, so both give the same bits.

use std::ops::Range;

use super::ordered;

/// Work on ranges of indices. Its `run` and what that calls are `#[inline(always)]`, or nothing is gained.
pub(crate) trait Kernel: Sync {
    type Out: Send;

    fn run(&self, range: Range<usize>) -> Self::Out;
}

/// [`ordered::map_chunks`] of a kernel with the widest vectors there are.
pub(crate) fn map_chunks<K: Kernel>(count: usize, kernel: &K) -> Vec<K::Out> {
    ordered::map_chunks(count, |range| widest(kernel, range))
}

#[allow(unsafe_code)]
fn widest<K: Kernel>(kernel: &K, range: Range<usize>) -> K::Out {
    #[cfg(target_arch = "x86_64")]
    if std::arch::is_x86_feature_detected!("avx2") {
        // SAFETY: the processor has the instructions that the function is compiled for.
        return unsafe { with_avx2(kernel, range) };
    }
    kernel.run(range)
}

#[cfg(target_arch = "x86_64")]
#[target_feature(enable = "avx2")]
fn with_avx2<K: Kernel>(kernel: &K, range: Range<usize>) -> K::Out {
    kernel.run(range)
}
