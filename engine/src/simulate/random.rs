//! Seeded random numbers that depend on nothing but the seed and the index, whatever the number of threads.
//!
//! Method: the 64-bit mixer of Steele, Lea, Flood (2014), "Fast splittable pseudorandom number
//! generators"; normal deviates by Box and Muller (1958), "A note on the generation of random
//! normal deviates"; a smooth field as a sum of random waves after Rahimi and Recht (2007),
//! "Random features for large-scale kernel machines".

use std::f64::consts::TAU;

use crate::numeric::random::{STEP, mix};
use crate::primitive::{Point3, Vec3};

/// Stream of random numbers.
#[derive(Debug, Clone)]
pub struct Random(u64);

impl Random {
    /// Stream of a seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Random(mix(seed ^ SALT))
    }

    /// Stream `index` of a family: independent of every other index of the same seed.
    #[must_use]
    pub fn stream(seed: u64, index: u64) -> Self {
        Random(mix(mix(seed ^ SALT).wrapping_add(index.wrapping_mul(STEP))))
    }

    /// Next 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(STEP);
        mix(self.0)
    }

    /// Uniform in [0, 1).
    pub fn uniform(&mut self) -> f64 {
        (self.bits() >> 11) as f64 * (1.0 / (1u64 << 53) as f64)
    }

    /// Standard normal deviate.
    pub fn normal(&mut self) -> f64 {
        // 1 - u lies in (0, 1], so the logarithm is finite.
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (TAU * self.uniform()).cos()
    }

    /// Vector of three standard normal deviates.
    pub fn normal_vector(&mut self) -> Vec3 {
        Vec3::new(self.normal(), self.normal(), self.normal())
    }
}

/// Smooth random field with zero mean, unit variance and Gaussian correlation over a length.
#[derive(Debug, Clone)]
pub struct SmoothField(Vec<(Vec3, f64)>);

impl SmoothField {
    /// Field whose correlation at distance d is exp(-d² / 2 length²), `length` in mm.
    #[must_use]
    pub fn new(seed: u64, length: f64) -> Self {
        let mut random = Random::new(seed);
        SmoothField(
            (0..WAVES).map(|_| (random.normal_vector() / length, TAU * random.uniform())).collect(),
        )
    }

    /// Value at a point.
    #[must_use]
    pub fn at(&self, p: &Point3) -> f64 {
        let sum: f64 = self.0.iter().map(|(wave, phase)| (wave.dot(&p.coords) + phase).cos()).sum();
        sum * (2.0 / self.0.len() as f64).sqrt()
    }
}

/// Keeps seed 0 from being the mixer's fixed point.
const SALT: u64 = 0x5851_f42d_4c95_7f2d;
/// Waves of a smooth field: enough that its values are normal to a few per cent.
const WAVES: usize = 160;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mixer_gives_the_published_sequence() {
        // splitmix64 from state 1234567: the reference output that accompanies the algorithm's
        // public-domain C source (S. Vigna, 2015).
        let mut random = Random(1_234_567);
        let expected = [6_457_827_717_110_365_317, 3_203_168_211_198_807_973];
        assert_eq!([random.bits(), random.bits()], expected);
    }

    #[test]
    fn normal_deviates_have_the_moments_of_the_normal_distribution() {
        let n = 200_000;
        let values: Vec<f64> = (0..n).map(|i| Random::stream(7, i).normal()).collect();
        let moment = |k: i32| values.iter().map(|v| v.powi(k)).sum::<f64>() / n as f64;
        // Five standard errors: sqrt(1/n), sqrt(2/n), sqrt(15/n), sqrt(96/n).
        let error = |variance: f64| 5.0 * (variance / n as f64).sqrt();
        assert!(moment(1).abs() < error(1.0));
        assert!((moment(2) - 1.0).abs() < error(2.0));
        assert!(moment(3).abs() < error(15.0));
        assert!((moment(4) - 3.0).abs() < error(96.0));
    }

    #[test]
    fn smooth_field_has_unit_variance_and_the_stated_correlation() {
        // Over the ensemble: the mean over 4000 seeds of products at two points, 5 mm apart.
        let (p, q) = (Point3::new(3.0, 4.0, 5.0), Point3::new(8.0, 4.0, 5.0));
        let n = 4000;
        let (mut square, mut product) = (0.0, 0.0);
        for seed in 0..n {
            let field = SmoothField::new(seed, 5.0);
            square += field.at(&p).powi(2) / n as f64;
            product += field.at(&p) * field.at(&q) / n as f64;
        }
        let error = 5.0 * (2.0 / n as f64).sqrt();
        assert!((square - 1.0).abs() < error, "{square}");
        assert!((product - (-0.5f64).exp()).abs() < error, "{product}");
    }
}
