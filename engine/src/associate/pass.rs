//! One pass over the data: the linearised system of a shape, or a count of its distances.

use super::data::Data;
use super::model::{Frame, Model, distance};
use crate::numeric::ordered;
use crate::numeric::qr::{BATCH, Block, Factor};
use crate::numeric::robust::Histogram;
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

/// Straight access from the data to a shape's local coordinates.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Local<'a> {
    data: &'a Data<'a>,
    frame: Frame,
}

impl<'a> Local<'a> {
    pub(crate) fn new(data: &'a Data<'a>, frame: Frame) -> Self {
        Local { data, frame }
    }

    /// Local coordinates of point `i`.
    #[inline(always)]
    pub(crate) fn at(&self, i: usize) -> [f64; 3] {
        let v = self.data.point(i) - self.frame.origin;
        let a = &self.frame.axes;
        std::array::from_fn(|k| a[(0, k)] * v.x + a[(1, k)] * v.y + a[(2, k)] * v.z)
    }
}

/// Linearised system of the shape at all points, with its cost.
pub(crate) fn system<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shape: &M,
    weight: &Weight<'_>,
) -> Factor<N> {
    let (local, constants) = (Local::new(data, shape.frame()), shape.constants());
    let parts = ordered::map_chunks(data.len(), |range| {
        let mut block = Block::new();
        let mut cost = 0.0;
        let end = range.end;
        for start in range.step_by(BATCH / M::RESIDUALS) {
            let count = (end - start).min(BATCH / M::RESIDUALS);
            fill::<M, N>(&mut block, &local, &constants, start, count);
            cost += weigh(&mut block, weight, start, count, M::RESIDUALS);
            block.reduce(N + count * M::RESIDUALS);
        }
        block.factor(cost)
    });
    Factor::merge(&parts)
}

/// Sums of the squared residuals of each sort over the points kept.
pub(crate) fn by_residual<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shape: &M,
    weight: &Weight<'_>,
) -> [f64; 2] {
    let (local, constants) = (Local::new(data, shape.frame()), shape.constants());
    let kept = |i: &usize| !matches!(weight, Weight::Kept(rejected) if rejected[*i]);
    let parts = ordered::map_chunks(data.len(), |range| {
        range.filter(kept).fold([0.0; 2], |sum, i| {
            let x = local.at(i);
            let square =
                |k| if k < M::RESIDUALS { M::foot(&constants, x, k).d.powi(2) } else { 0.0 };
            [sum[0] + square(0), sum[1] + square(1)]
        })
    });
    parts.into_iter().fold([0.0; 2], |a, b| [a[0] + b[0], a[1] + b[1]])
}

/// Distances of the points kept, in units of `scale`, counted.
pub(crate) fn histogram<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shape: &M,
    scale: f64,
) -> Histogram {
    let (local, constants) = (Local::new(data, shape.frame()), shape.constants());
    let parts = ordered::map_chunks(data.len(), |range| {
        let mut histogram = Histogram::new();
        for i in range {
            histogram.add(distance::<M, N>(&constants, local.at(i)).abs() / scale);
        }
        histogram
    });
    let mut total = Histogram::new();
    parts.iter().for_each(|part| total.merge(part));
    total
}

/// Which points are farther from the shape than `cut`.
pub(crate) fn beyond<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shape: &M,
    cut: f64,
) -> Vec<bool> {
    let (local, constants) = (Local::new(data, shape.frame()), shape.constants());
    let far = |i| distance::<M, N>(&constants, local.at(i)).abs() > cut;
    ordered::map_chunks(data.len(), |range| range.map(far).collect::<Vec<_>>()).concat()
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

fn fill<M: Model<N>, const N: usize>(
    block: &mut Block<N>,
    local: &Local<'_>,
    constants: &[f64; 4],
    start: usize,
    count: usize,
) {
    let mut x = [[0.0; 3]; BATCH];
    for (i, x) in x[..count].iter_mut().enumerate() {
        *x = local.at(start + i);
    }
    for k in 0..M::RESIDUALS {
        let rows = N + k * count..N + (k + 1) * count;
        let mut columns = block.column.each_mut().map(|c| &mut c[rows.clone()]);
        let rhs = &mut block.rhs[rows.clone()];
        for (i, x) in x[..count].iter().enumerate() {
            let foot = M::foot(constants, *x, k);
            rhs[i] = foot.d;
            for (column, free) in columns.iter_mut().zip(M::FREE) {
                column[i] = foot.derivative(*x, free);
            }
        }
    }
}

/// Multiplies the rows by the root of their weight; returns their part of the cost.
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
fn biweight(square: &mut [f64], cut: f64) -> f64 {
    let (mut cost, inverse) = (0.0, 1.0 / (cut * cut));
    for s in square {
        let inside = (1.0 - *s * inverse).max(0.0);
        cost += cut * cut / 3.0 * (1.0 - inside.powi(3));
        *s = inside;
    }
    cost
}
