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
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
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

/// Seed of every random choice in a fit.
pub(crate) const SEED: u64 = 0x5EED_F17D;
