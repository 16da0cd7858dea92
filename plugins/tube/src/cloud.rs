//! Points as the fits see them: checked, centred, thinned, and found by place.

use std::collections::HashMap;

use fitwright_plugin::{Failure, Input, abi};

use crate::V3;

/// Checked points, relative to their mean: far coordinates lose nothing.
pub(crate) struct Cloud {
    pub(crate) centre: V3,
    pub(crate) points: Vec<V3>,
}

/// Points by cells of a grid, for neighbours within one cell's width.
pub(crate) struct Grid<'a> {
    points: &'a [V3],
    width: f64,
    cells: HashMap<[i32; 3], Vec<u32>>,
}

/// Deterministic stream of numbers: SplitMix64 (Steele, Lea, Flood 2014).
pub(crate) struct Random(u64);

impl Cloud {
    pub(crate) fn new(input: &Input<'_>, minimum: usize) -> Result<Self, Failure> {
        let points = input.points;
        if points.len() < minimum {
            return Err(Failure {
                state: abi::FITW_PLUGIN_E_TOO_FEW_POINTS,
                reason: format!(
                    "{} points, at least {minimum} needed: take a larger region or scan finer",
                    points.len()
                ),
            });
        }
        if let Some(i) = points.iter().position(|p| !V3::from(*p).norm_squared().is_finite()) {
            return Err(Failure {
                state: abi::FITW_PLUGIN_E_INPUT,
                reason: format!("point {i} is not finite: {:?}", points[i]),
            });
        }
        let first = V3::from(points[0]);
        let sum: V3 = points.iter().map(|p| V3::from(*p) - first).sum();
        let centre = first + sum / points.len() as f64;
        let points: Vec<V3> = points.iter().map(|p| V3::from(*p) - centre).collect();
        let far = points.iter().map(V3::norm).fold(0.0, f64::max);
        if far.is_nan() || far <= 1e-9 * (1.0 + centre.norm()) || far > 1e7 {
            return Err(Failure::undetermined(
                "the points coincide or lie kilometres apart: check the region",
            ));
        }
        Ok(Cloud { centre, points })
    }

    /// At most `most` of the points, spread evenly over their order with a seeded jitter.
    pub(crate) fn thinned(&self, most: usize, seed: u64) -> Vec<V3> {
        thinned(self.points.len(), most, seed).into_iter().map(|i| self.points[i]).collect()
    }
}

/// At most `most` positions below `count`, evenly spread with a seeded jitter.
pub(crate) fn thinned(count: usize, most: usize, seed: u64) -> Vec<usize> {
    if count <= most {
        return (0..count).collect();
    }
    let mut random = Random::new(seed);
    let edge = |j: usize| (j as u128 * count as u128 / most as u128) as usize;
    (0..most).map(|j| edge(j) + random.below(edge(j + 1) - edge(j))).collect()
}

/// Usual distance from point to point: of a square grid with the density found round a few points.
pub(crate) fn spacing(points: &[V3], seed: u64) -> f64 {
    let mut random = Random::new(seed);
    let mut found: Vec<f64> = (0..PROBES.min(points.len()))
        .map(|_| {
            let p = points[random.below(points.len())];
            let mut squares: Vec<f64> = points.iter().map(|q| (q - p).norm_squared()).collect();
            let k = NEAREST.min(squares.len() - 1);
            let (_, d, _) = squares.select_nth_unstable_by(k, f64::total_cmp);
            (*d * std::f64::consts::PI / k.max(1) as f64).sqrt()
        })
        .collect();
    median(&mut found)
}

/// Median; zero of nothing.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

impl<'a> Grid<'a> {
    pub(crate) fn new(points: &'a [V3], width: f64) -> Self {
        let mut cells: HashMap<[i32; 3], Vec<u32>> = HashMap::new();
        for (i, p) in (0u32..).zip(points) {
            cells.entry(cell(p, width)).or_default().push(i);
        }
        Grid { points, width, cells }
    }

    /// Positions of the points nearer to `p` than `within`, at most a cell's width, into `out`.
    pub(crate) fn near(&self, p: &V3, within: f64, out: &mut Vec<u32>) {
        out.clear();
        let c = cell(p, self.width);
        let steps = || -1i32..=1;
        for (dx, dy, dz) in
            steps().flat_map(|x| steps().flat_map(move |y| steps().map(move |z| (x, y, z))))
        {
            let key = [c[0].saturating_add(dx), c[1].saturating_add(dy), c[2].saturating_add(dz)];
            let ids = self.cells.get(&key).map_or(&[][..], Vec::as_slice);
            let near = |i: &&u32| (self.points[**i as usize] - p).norm_squared() < within * within;
            out.extend(ids.iter().filter(near));
        }
    }
}

fn cell(p: &V3, width: f64) -> [i32; 3] {
    [0, 1, 2].map(|k| (p[k] / width).floor() as i32)
}

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Random(seed)
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut x = self.0;
        x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        x ^ (x >> 31)
    }

    /// Position below `count`, which must not be zero.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        ((u128::from(self.bits()) * count as u128) >> 64) as usize
    }
}

/// Points round which the density is measured.
const PROBES: usize = 100;
/// Neighbours counted for it.
const NEAREST: usize = 8;
