//! One pass over the data: the linearised system of a shape, or a count of its distances.

use std::marker::PhantomData;
use std::ops::Range;

use super::data::Data;
use super::model::{Foot, Frame, Model, distance};
use crate::numeric::qr::{BATCH, Block, Factor};
use crate::numeric::robust::Histogram;
use crate::numeric::wide::{self, Kernel};
use crate::primitive::Point3;

/// How much a point counts in the sum.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Weight<'a> {
    /// All alike: the sum of squares.
    One,
    /// Those that are not rejected.
    Kept(&'a [bool]),
    /// Tukey's biweight with this cut-off, in scaled units.
    Biweight(f64),
}

/// A shape among the data, ready for passes over them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Placed<'a, M, const N: usize> {
    data: &'a Data<'a>,
    frame: Frame,
    constants: [f64; 4],
    shape: PhantomData<M>,
}

impl<'a, M: Model<N>, const N: usize> Placed<'a, M, N> {
    pub(crate) fn new(data: &'a Data<'a>, shape: &M) -> Self {
        let (frame, constants) = (shape.frame(), shape.constants());
        Placed { data, frame, constants, shape: PhantomData }
    }

    /// Point `i` in the shape's coordinates.
    #[inline(always)]
    pub(crate) fn at(&self, i: usize) -> [f64; 3] {
        let v = self.data.point(i) - self.frame.origin;
        let a = &self.frame.axes;
        std::array::from_fn(|k| a[(0, k)] * v.x + a[(1, k)] * v.y + a[(2, k)] * v.z)
    }

    /// Point `i` in scaled coordinates.
    #[inline(always)]
    pub(crate) fn point(&self, i: usize) -> Point3 {
        self.data.point(i)
    }

    /// What the shape's sizes make of a pass; see [`Model::constants`].
    pub(crate) fn constants(&self) -> &[f64; 4] {
        &self.constants
    }

    /// The place on the shape nearest to these coordinates.
    #[inline(always)]
    pub(crate) fn onto(&self, x: [f64; 3]) -> [f64; 3] {
        let mut on = x;
        for k in 0..M::RESIDUALS {
            let foot = self.foot(x, k);
            on = std::array::from_fn(|i| on[i] - foot.d * foot.n[i]);
        }
        on
    }

    /// Residual `k` at these coordinates.
    #[inline(always)]
    pub(crate) fn foot(&self, x: [f64; 3], k: usize) -> Foot {
        M::foot(&self.constants, x, k)
    }

    /// Distance at these coordinates.
    #[inline(always)]
    pub(crate) fn distance(&self, x: [f64; 3]) -> f64 {
        distance::<M, N>(&self.constants, x)
    }
}

/// Linearised system of the shape at all points, with its cost.
pub(crate) fn system<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shape: &M,
    weight: &Weight<'_>,
) -> Factor<N> {
    let linear = Linear { placed: Placed::new(data, shape), weight };
    Factor::merge(&wide::map_chunks(data.len(), &linear))
}

struct Linear<'a, M, const N: usize> {
    placed: Placed<'a, M, N>,
    weight: &'a Weight<'a>,
}

impl<M: Model<N>, const N: usize> Kernel for Linear<'_, M, N> {
    type Out = Factor<N>;

    #[inline(always)]
    fn run(&self, range: Range<usize>) -> Factor<N> {
        let mut block = Block::new();
        let mut cost = 0.0;
        let end = range.end;
        for start in range.step_by(BATCH / M::RESIDUALS) {
            let count = (end - start).min(BATCH / M::RESIDUALS);
            fill(&mut block, &self.placed, start, count);
            cost += weigh(&mut block, self.weight, start, count, M::RESIDUALS);
            block.reduce(N + count * M::RESIDUALS);
        }
        block.factor(cost)
    }
}

/// Sums of the squared residuals of each sort over the points kept.
pub(crate) fn by_residual<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shape: &M,
    weight: &Weight<'_>,
) -> [f64; 2] {
    let squares = Squares { placed: Placed::new(data, shape), weight };
    let parts = wide::map_chunks(data.len(), &squares);
    parts.into_iter().fold([0.0; 2], |a, b| [a[0] + b[0], a[1] + b[1]])
}

struct Squares<'a, M, const N: usize> {
    placed: Placed<'a, M, N>,
    weight: &'a Weight<'a>,
}

impl<M: Model<N>, const N: usize> Kernel for Squares<'_, M, N> {
    type Out = [f64; 2];

    #[inline(always)]
    fn run(&self, range: Range<usize>) -> [f64; 2] {
        let mut sums = [0.0; 2];
        for i in range {
            if matches!(self.weight, Weight::Kept(rejected) if rejected[i]) {
                continue;
            }
            let x = self.placed.at(i);
            for (k, sum) in sums.iter_mut().enumerate().take(M::RESIDUALS) {
                *sum += self.placed.foot(x, k).d.powi(2);
            }
        }
        sums
    }
}

/// Distances of the points kept, in units of `scale`, counted.
pub(crate) fn histogram<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shape: &M,
    scale: f64,
) -> Histogram {
    let parts = wide::map_chunks(data.len(), &Counted { placed: Placed::new(data, shape), scale });
    let mut total = Histogram::new();
    parts.iter().for_each(|part| total.merge(part));
    total
}

struct Counted<'a, M, const N: usize> {
    placed: Placed<'a, M, N>,
    scale: f64,
}

impl<M: Model<N>, const N: usize> Kernel for Counted<'_, M, N> {
    type Out = Histogram;

    #[inline(always)]
    fn run(&self, range: Range<usize>) -> Histogram {
        let mut histogram = Histogram::new();
        for i in range {
            histogram.add(self.placed.distance(self.placed.at(i)).abs() / self.scale);
        }
        histogram
    }
}

/// Which points are farther from the shape than `cut`.
pub(crate) fn beyond<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shape: &M,
    cut: f64,
) -> Vec<bool> {
    wide::map_chunks(data.len(), &Far { placed: Placed::new(data, shape), cut }).concat()
}

struct Far<'a, M, const N: usize> {
    placed: Placed<'a, M, N>,
    cut: f64,
}

impl<M: Model<N>, const N: usize> Kernel for Far<'_, M, N> {
    type Out = Vec<bool>;

    #[inline(always)]
    fn run(&self, range: Range<usize>) -> Vec<bool> {
        let mut far = vec![false; range.len()];
        for (far, i) in far.iter_mut().zip(range) {
            *far = self.placed.distance(self.placed.at(i)).abs() > self.cut;
        }
        far
    }
}

/// Absolute distances of a few points in scaled coordinates.
pub(crate) fn distances<M: Model<N>, const N: usize>(
    shape: &M,
    points: &[Point3],
    out: &mut Vec<f64>,
) {
    let (frame, constants) = (shape.frame(), shape.constants());
    out.clear();
    out.extend(points.iter().map(|p| distance::<M, N>(&constants, frame.local(p)).abs()));
}

#[inline(always)]
fn fill<M: Model<N>, const N: usize>(
    block: &mut Block<N>,
    placed: &Placed<'_, M, N>,
    start: usize,
    count: usize,
) {
    let mut x = [[0.0; 3]; BATCH];
    for (i, x) in x[..count].iter_mut().enumerate() {
        *x = placed.at(start + i);
    }
    for k in 0..M::RESIDUALS {
        let rows = N + k * count..N + (k + 1) * count;
        let mut columns = block.column.each_mut().map(|c| &mut c[rows.clone()]);
        let rhs = &mut block.rhs[rows.clone()];
        for (i, x) in x[..count].iter().enumerate() {
            let foot = placed.foot(*x, k);
            rhs[i] = foot.d;
            for (column, free) in columns.iter_mut().zip(M::FREE) {
                column[i] = foot.derivative(*x, free);
            }
        }
    }
}

/// Multiplies the rows by the root of their weight; returns their part of the cost.
#[inline(always)]
fn weigh<const N: usize>(
    block: &mut Block<N>,
    weight: &Weight<'_>,
    start: usize,
    count: usize,
    residuals: usize,
) -> f64 {
    let mut square = [0.0; BATCH];
    for k in 0..residuals {
        let rhs = &block.rhs[N + k * count..N + (k + 1) * count];
        square.iter_mut().zip(rhs).for_each(|(s, d)| *s += d * d);
    }
    let square = &mut square[..count];
    let cost = match weight {
        Weight::One => return square.iter().sum(),
        Weight::Kept(rejected) => keep(square, &rejected[start..start + count]),
        Weight::Biweight(cut) => biweight(square, *cut),
    };
    for k in 0..residuals {
        let rows = N + k * count..N + (k + 1) * count;
        for column in block.column.iter_mut().chain([&mut block.rhs]) {
            column[rows.clone()].iter_mut().zip(square.iter()).for_each(|(v, w)| *v *= w);
        }
    }
    cost
}

/// Replaces squared distances by 0 or 1; returns the sum of squares kept.
#[inline(always)]
fn keep(square: &mut [f64], rejected: &[bool]) -> f64 {
    let mut cost = 0.0;
    for (s, rejected) in square.iter_mut().zip(rejected) {
        let weight = if *rejected { 0.0 } else { 1.0 };
        cost += weight * *s;
        *s = weight;
    }
    cost
}

/// Replaces squared distances by the root of their biweight; returns the sum of the loss.
#[inline(always)]
fn biweight(square: &mut [f64], cut: f64) -> f64 {
    let (mut cost, inverse) = (0.0, 1.0 / (cut * cut));
    for s in square {
        let inside = (1.0 - *s * inverse).max(0.0);
        cost += cut * cut / 3.0 * (1.0 - inside.powi(3));
        *s = inside;
    }
    cost
}
