//! Arrays of whole numbers as one compressed block of text.
//!
//! Each number minus the one a stride before it, folded to be positive, its bytes in four planes: the upper planes are
//! nearly all zero and cost next to nothing. One zlib stream over all arrays; how many numbers each has, and its
//! stride, stand in the scene. The same numbers give the same text on any machine.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use miniz_oxide::deflate::compress_to_vec_zlib;

use crate::primitive::Point3;

/// Arrays under way.
#[derive(Default)]
pub(super) struct Block {
    raw: Vec<u8>,
    /// Numbers and stride of each array, in order.
    pub arrays: Vec<[usize; 2]>,
}

impl Block {
    /// Adds numbers and returns their array's position.
    pub(super) fn add(&mut self, numbers: &[i32], stride: usize) -> usize {
        let before = |i: usize| i.checked_sub(stride).map_or(0, |k| numbers[k]);
        let folded = numbers.iter().enumerate().map(|(i, n)| fold(n.wrapping_sub(before(i))));
        let folded: Vec<u32> = folded.collect();
        for plane in 0..4 {
            self.raw.extend(folded.iter().map(|n| n.to_le_bytes()[plane]));
        }
        self.arrays.push([numbers.len(), stride]);
        self.arrays.len() - 1
    }

    /// Places on a grid, three numbers each.
    pub(super) fn places(&mut self, grid: &Grid, points: &[Point3]) -> usize {
        let numbers: Vec<i32> = points.iter().flat_map(|p| grid.place(p)).collect();
        self.add(&numbers, 3)
    }

    /// Corners of triangles.
    pub(super) fn triangles(&mut self, triangles: &[[u32; 3]]) -> usize {
        let numbers: Vec<i32> = triangles.iter().flatten().map(|i| *i as i32).collect();
        self.add(&numbers, 1)
    }

    /// Lengths to a thousandth of a millimetre; what is not a number stays apart as the least of all.
    pub(super) fn lengths(&mut self, values: &[f64]) -> usize {
        let number = |v: &f64| if v.is_finite() { (v * 1000.0).round() as i32 } else { i32::MIN };
        let numbers: Vec<i32> = values.iter().map(number).collect();
        self.add(&numbers, 1)
    }

    /// The block as base64.
    pub(super) fn text(&self) -> String {
        STANDARD.encode(compress_to_vec_zlib(&self.raw, LEVEL))
    }
}

/// Where places are counted from, and in what step.
pub(super) struct Grid {
    pub middle: Point3,
    /// mm.
    pub step: f64,
}

impl Grid {
    /// Grid for what lies between two corners: fine enough to read 0.01 mm, finer on small things.
    pub(super) fn between(low: &Point3, high: &Point3) -> Self {
        let longest = (high - low).max();
        let step = (longest / 20_000.0).min(FINEST_NEEDED).max(longest / f64::from(1 << 28));
        let step = if step.is_finite() && step > 0.0 { step } else { FINEST_NEEDED };
        Grid { middle: nalgebra::center(low, high), step }
    }

    fn place(&self, p: &Point3) -> [i32; 3] {
        let number = |k: usize| ((p[k] - self.middle[k]) / self.step).round() as i32;
        [number(0), number(1), number(2)]
    }
}

/// 0, -1, 1, -2, … as 0, 1, 2, 3, ….
fn fold(n: i32) -> u32 {
    ((n << 1) ^ (n >> 31)) as u32
}

/// Half of it times the root of three is less than 0.01 mm: scanners scatter by more.
const FINEST_NEEDED: f64 = 0.01;
/// Of compression: more takes twice the time for a fiftieth less.
const LEVEL: u8 = 6;

#[cfg(test)]
mod tests {
    use super::*;

    /// What the page does, in its order.
    fn unpack(block: &Block) -> Vec<Vec<i32>> {
        let text = STANDARD.decode(block.text()).unwrap_or_default();
        let raw = miniz_oxide::inflate::decompress_to_vec_zlib(&text).unwrap_or_default();
        let mut from = 0;
        let array = |[count, stride]: &[usize; 2]| {
            let byte = |plane: usize, i: usize| u32::from(raw[from + plane * count + i]);
            let mut out: Vec<i32> = Vec::new();
            for i in 0..*count {
                let n = (0..4).map(|p| byte(p, i) << (8 * p)).sum::<u32>();
                let difference = (n >> 1) as i32 ^ -((n & 1) as i32);
                let before = i.checked_sub(*stride).map_or(0, |k| out[k]);
                out.push(before.wrapping_add(difference));
            }
            from += 4 * count;
            out
        };
        block.arrays.iter().map(array).collect()
    }

    #[test]
    fn what_is_packed_comes_out_again() {
        let mut block = Block::default();
        let hard = [0, -1, i32::MIN, i32::MAX, 7, 7, -30_000];
        assert_eq!(block.add(&hard, 1), 0);
        assert_eq!(block.add(&hard[..6], 3), 1);
        assert_eq!(block.lengths(&[-0.0004, 1.2346, f64::NAN]), 2);
        assert_eq!(unpack(&block), [hard.to_vec(), hard[..6].to_vec(), vec![0, 1235, i32::MIN]]);
    }

    #[test]
    fn places_are_within_a_hundredth() {
        let (low, high) = (Point3::new(-1500.0, 0.0, 1e6), Point3::new(1500.0, 9.0, 1e6 + 1.0));
        let grid = Grid::between(&low, &high);
        let p = Point3::new(1_234.567_8, 3.3, 1e6 + 0.123_4);
        let back = grid.place(&p).map(|n| f64::from(n) * grid.step);
        let back = grid.middle + crate::primitive::Vec3::from(back);
        assert!((back - p).norm() <= 0.01);
        assert!(Grid::between(&low, &low).step > 0.0);
    }
}
