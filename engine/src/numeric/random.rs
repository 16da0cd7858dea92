//! Seeded choice: the SplitMix64 generator (Steele, Lea, Flood 2014, Fast splittable pseudorandom number generators).

/// Deterministic stream of numbers; the same seed gives the same choices on every machine.
#[derive(Debug, Clone)]
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Random(seed)
    }

    /// Next 64 bits.
    pub(crate) fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(STEP);
        mix(self.0)
    }

    /// Index below `count`, which must not be zero.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        ((u128::from(self.bits()) * count as u128) >> 64) as usize
    }

    /// Fills `out` with different indices below `count`; `count` must be at least its length.
    pub(crate) fn choose(&mut self, count: usize, out: &mut [usize]) {
        for i in 0..out.len() {
            loop {
                let candidate = self.below(count);
                if !out[..i].contains(&candidate) {
                    out[i] = candidate;
                    break;
                }
            }
        }
    }
}

/// The generator's mixer: takes a counter to its number.
pub(crate) fn mix(mut x: u64) -> u64 {
    x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    x ^ (x >> 31)
}

/// The counter's step: the odd constant nearest to 2^64 over the golden ratio.
pub(crate) const STEP: u64 = 0x9E37_79B9_7F4A_7C15;

/// Seed of every random choice in a fit.
pub(crate) const SEED: u64 = 0x5EED_F17D;
