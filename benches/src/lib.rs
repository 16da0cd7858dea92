//! Shared fixtures of the benchmarks.

/// Seeded numbers: SplitMix64 (Steele, Lea, Flood 2014), normal ones by Box and Muller (1958).
#[derive(Debug, Clone)]
pub struct Numbers(u64);

impl Numbers {
    /// The same seed gives the same numbers.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Numbers(seed)
    }

    /// In [0, 1).
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}
