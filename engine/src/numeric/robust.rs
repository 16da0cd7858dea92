//! Robust scale and the cut between what belongs and what does not.
//!
//! Scale: median of the distances (Rousseeuw, Leroy 1987, Robust Regression and Outlier Detection).
//! Cut: only the part of the tail that is heavier than a normal one is removed (Gervini, Yohai 2002,
//! A class of robust and fully efficient regression estimators), and only where the excess is beyond
//! what chance explains, so that clean data lose nothing.

/// Counts of distances in standard deviations, for the tail without sorting.
#[derive(Debug, Clone)]
pub(crate) struct Histogram {
    bins: Vec<u32>,
    count: usize,
}

impl Histogram {
    pub(crate) fn new() -> Self {
        Histogram { bins: vec![0; BINS + 1], count: 0 }
    }

    /// Counts one distance, in standard deviations.
    #[inline(always)]
    pub(crate) fn add(&mut self, t: f64) {
        // The cast saturates, so anything far or infinite lands in the last bin.
        self.bins[((t / WIDTH) as usize).min(BINS)] += 1;
        self.count += 1;
    }

    /// Adds the counts of another histogram.
    pub(crate) fn merge(&mut self, other: &Histogram) {
        for (a, b) in self.bins.iter_mut().zip(&other.bins) {
            *a += b;
        }
        self.count += other.count;
    }

    /// Distance, in standard deviations, beyond which points do not belong; infinite if all do.
    pub(crate) fn cut(&self, dimensions: usize) -> f64 {
        let n = self.count as f64;
        let first = (TAIL / WIDTH) as usize;
        let mut beyond = vec![0.0; BINS + 2];
        for i in (0..=BINS).rev() {
            beyond[i] = beyond[i + 1] + f64::from(self.bins[i]);
        }
        let excess = (first..=BINS).map(|i| {
            let expected = n * tail(i as f64 * WIDTH, dimensions);
            beyond[i] - expected - CHANCE * expected.sqrt()
        });
        let remove = excess.fold(0.0, f64::max);
        if remove < LEAST {
            return f64::INFINITY;
        }
        // The edge whose tail holds as many points as are too many.
        let edge = (first..=BINS).find(|&i| beyond[i] <= remove + 0.5).unwrap_or(BINS);
        edge as f64 * WIDTH
    }
}

/// Median of values, which are reordered; zero for none.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Standard deviation over the median of the distance, for normal errors in one or two dimensions.
pub(crate) fn deviation_per_median(dimensions: usize) -> f64 {
    if dimensions == 1 { 1.482_602_218_505_602 } else { 0.849_321_800_288_019_2 }
}

/// Share of normal errors whose distance is beyond `t` standard deviations.
pub(crate) fn tail(t: f64, dimensions: usize) -> f64 {
    if dimensions == 1 { erfc(t * std::f64::consts::FRAC_1_SQRT_2) } else { (-0.5 * t * t).exp() }
}

/// Standard deviation of normal errors whose part within the distance `cut` has the standard
/// deviation `inside`; infinite if that part is spread as evenly as if no tail began there.
pub(crate) fn untruncated(inside: f64, cut: f64, dimensions: usize) -> f64 {
    if !cut.is_finite() {
        return inside;
    }
    let kept = |t: f64| kept_deviation(t, dimensions) / t;
    let ratio = inside / cut;
    let (mut low, mut high) = (EVEN, 40.0);
    if ratio >= kept(low) {
        return f64::INFINITY;
    }
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if kept(middle) > ratio { low = middle } else { high = middle }
    }
    cut / high
}

/// Standard deviation of the part within `t` of standard normal errors, per dimension.
fn kept_deviation(t: f64, dimensions: usize) -> f64 {
    let inside = 1.0 - tail(t, dimensions);
    let density = (-0.5 * t * t).exp();
    let lost = if dimensions == 1 {
        t * density * (2.0 / std::f64::consts::PI).sqrt()
    } else {
        0.5 * t * t * density
    };
    (1.0 - lost / inside).max(0.0).sqrt()
}

/// Complementary error function for x ≥ 0, within 1.5e-7 (Abramowitz, Stegun 1964, 7.1.26).
fn erfc(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x);
    let poly = t
        * (0.254_829_592
            + t * (-0.284_496_736
                + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    poly * (-x * x).exp()
}

/// Width of a bin in standard deviations.
const WIDTH: f64 = 0.02;
/// Bins up to ten standard deviations.
const BINS: usize = 500;
/// Where the tail begins, in standard deviations: the usual cut of a reweighted fit.
const TAIL: f64 = 2.5;
/// How many standard deviations of its own count a tail must be too heavy by.
const CHANCE: f64 = 3.0;
/// Smallest excess that is acted on, in points: with it good data lose a point in one of some 200 fits.
const LEAST: f64 = 0.8;
/// Cut, in standard deviations, inside which normal errors look evenly spread.
const EVEN: f64 = 0.8;

#[cfg(test)]
mod tests {
    use super::*;

    /// Values of the normal distribution from Abramowitz, Stegun 1964, table 26.1.
    #[test]
    fn tails_are_those_of_the_tables() {
        for (t, both_tails) in [(1.0, 0.317_310_5), (2.0, 0.045_500_3), (3.0, 0.002_699_8)] {
            assert!((tail(t, 1) - both_tails).abs() < 2e-7);
        }
    }

    #[test]
    fn the_untruncated_deviation_undoes_the_truncation() {
        for dimensions in [1, 2] {
            for cut in [1.5, 2.5, 4.0] {
                let found =
                    untruncated(7.0 * kept_deviation(cut, dimensions), 7.0 * cut, dimensions);
                assert!((found - 7.0).abs() < 1e-6);
            }
            assert!(untruncated(0.577, 1.0, dimensions).is_infinite());
        }
    }

    /// Normal quantiles: a perfect sample without outliers, then with some.
    #[test]
    fn only_what_is_too_much_is_cut() {
        let mut counts = Histogram::new();
        let mut t = 0.0;
        for i in 0..1000 {
            while tail(t, 1) > 1.0 - (f64::from(i) + 0.5) / 1000.0 {
                t += 1e-4;
            }
            counts.add(t);
        }
        assert!(counts.cut(1).is_infinite());
        (0..200).for_each(|i| counts.add(6.0 + f64::from(i)));
        let cut = counts.cut(1);
        assert!((2.5..6.0).contains(&cut), "{cut}");
    }
}
