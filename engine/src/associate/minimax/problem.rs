//! The minimax problem of a shape: values and slopes of the deviations that count, in unknowns scaled alike.

use nalgebra::{DMatrix, SMatrix, SVector};

use crate::associate::data::{Data, Sample};
use crate::associate::model::{Foot, Frame, Model, Motion};
use crate::associate::pass::Placed;
use crate::numeric::exchange::{DIM, Row};
use crate::numeric::ordered;
use crate::primitive::{Kind, Point3};

/// Which deviations of a point count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Side {
    /// Outwards: the shape is to hold the points.
    Out,
    /// Inwards: the shape is to keep clear of them.
    In,
    /// Both.
    Both,
    /// The distance from a curve.
    Tube,
}

/// What is made smallest, over which freedoms.
#[derive(Debug, Clone)]
pub(crate) struct Problem<'a> {
    pub(crate) data: &'a Data<'a>,
    pub(crate) side: Side,
    /// Freedoms in the layout of [`crate::associate::Covariance`].
    pub(crate) free: Vec<usize>,
    /// Takes a step in the scaled unknowns to one in the freedoms.
    pub(crate) scaling: SMatrix<f64, DIM, DIM>,
}

/// One deviation of one point.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    /// Position in the data.
    pub(crate) id: u32,
    /// Scaled coordinates.
    pub(crate) point: Point3,
    /// +1 outwards, -1 inwards.
    pub(crate) sign: f64,
}

impl<'a> Problem<'a> {
    /// Unknowns scaled so that a unit step in one changes the distances of the sample by one, root
    /// mean square, and none does what another does.
    pub(crate) fn new<M: Model<N>, const N: usize>(
        data: &'a Data<'a>,
        side: Side,
        free: Vec<usize>,
        sample: &Sample,
        shape: &M,
    ) -> Self {
        let mut problem = Problem { data, side, free, scaling: SMatrix::identity() };
        let residuals = if side == Side::Tube { M::RESIDUALS } else { 1 };
        let (frame, constants) = (shape.frame(), shape.constants());
        let unknowns = problem.unknowns();
        let count = sample.points.len();
        let slopes = DMatrix::from_fn(count * residuals, unknowns, |i, j| {
            let x = frame.local(&sample.points[i % count]);
            M::foot(&constants, x, i / count).derivative(x, problem.free[j])
        });
        let r = slopes.qr().r();
        let root = (count as f64).sqrt();
        let longest = (0..unknowns).map(|j| r.column(j).norm()).fold(f64::MIN_POSITIVE, f64::max);
        let mut inverse = DMatrix::identity(unknowns, unknowns);
        // Freedoms that the data leave open keep a scale, so that nothing becomes infinite.
        let triangle = DMatrix::from_fn(unknowns, unknowns, |i, j| match i.cmp(&j) {
            std::cmp::Ordering::Less => r[(i, j)],
            std::cmp::Ordering::Equal if r[(i, i)].abs() < OPEN * longest => OPEN * longest,
            std::cmp::Ordering::Equal => r[(i, i)],
            std::cmp::Ordering::Greater => 0.0,
        });
        if triangle.solve_upper_triangular_mut(&mut inverse) {
            let corner = inverse * root;
            problem.scaling.view_mut((0, 0), (unknowns, unknowns)).copy_from(&corner);
        }
        problem
    }

    pub(crate) fn unknowns(&self) -> usize {
        self.free.len()
    }

    /// Signs that a point's deviation is taken with.
    pub(crate) fn signs(&self) -> &'static [f64] {
        match self.side {
            Side::Out | Side::Tube => &[1.0],
            Side::In => &[-1.0],
            Side::Both => &[1.0, -1.0],
        }
    }

    /// Rounding of a value near a shape.
    pub(crate) fn rounding<M: Model<N>, const N: usize>(&self, shape: &M) -> f64 {
        let sizes = shape.sizes();
        // A half-angle is no length.
        let second = if M::KIND == Kind::Cone { 0.0 } else { sizes[1].abs() };
        ROUNDINGS * f64::EPSILON * (1.0 + sizes[0].abs() + second)
    }

    /// Largest of the candidates' values.
    pub(crate) fn largest<M: Model<N>, const N: usize>(
        &self,
        shape: &M,
        work: &[Candidate],
    ) -> f64 {
        let placed = Placed::new(self.data, shape);
        let frame = shape.frame();
        let value = |c: &Candidate| c.sign * deviation(self.side, &placed, frame.local(&c.point));
        let mut largest = f64::NEG_INFINITY;
        for candidate in work {
            let value = value(candidate);
            // A value that is not a number must not hide behind the others.
            largest = if value > largest || value.is_nan() { value } else { largest };
            if largest.is_nan() {
                return f64::INFINITY;
            }
        }
        largest
    }

    /// Value and slopes of each candidate.
    pub(crate) fn rows<M: Model<N>, const N: usize>(
        &self,
        shape: &M,
        work: &[Candidate],
    ) -> Vec<Row> {
        let (frame, constants) = (shape.frame(), shape.constants());
        work.iter().map(|c| self.row::<M, N>(&frame, &constants, c)).collect()
    }

    pub(crate) fn row<M: Model<N>, const N: usize>(
        &self,
        frame: &Frame,
        constants: &[f64; 4],
        candidate: &Candidate,
    ) -> Row {
        let (f, raw) = self.slopes::<M, N>(frame, constants, candidate);
        let g = self.scaling.tr_mul(&raw);
        Row { g: g.into(), f }
    }

    /// Value and slopes by the freedoms themselves.
    fn slopes<M: Model<N>, const N: usize>(
        &self,
        frame: &Frame,
        constants: &[f64; 4],
        candidate: &Candidate,
    ) -> (f64, SVector<f64, DIM>) {
        let x = frame.local(&candidate.point);
        let first = M::foot(constants, x, 0);
        let mut raw = SVector::<f64, DIM>::zeros();
        let mut put = |foot: &Foot, factor: f64| {
            for (r, free) in raw.iter_mut().zip(&self.free) {
                *r += factor * foot.derivative(x, *free);
            }
        };
        if self.side != Side::Tube {
            put(&first, candidate.sign);
            return (candidate.sign * first.d, raw);
        }
        let second = M::foot(constants, x, 1);
        let h = first.d.hypot(second.d);
        if h > 0.0 {
            put(&first, first.d / h);
            put(&second, second.d / h);
        }
        (h, raw)
    }

    /// The shape after a step in the scaled unknowns.
    pub(crate) fn moved<M: Model<N>, const N: usize>(&self, shape: &M, step: &[f64; DIM]) -> M {
        let raw = self.scaling * SVector::from(*step);
        self.displaced(shape, &raw)
    }

    /// The shape after a step in the freedoms.
    fn displaced<M: Model<N>, const N: usize>(&self, shape: &M, raw: &SVector<f64, DIM>) -> M {
        let mut full = [0.0; 8];
        for (value, free) in raw.iter().zip(&self.free) {
            full[*free] = *value;
        }
        let axes = shape.frame().axes;
        let turn = axes * nalgebra::Vector3::new(full[3], full[4], full[5]);
        let shift = axes * nalgebra::Vector3::new(full[0], full[1], full[2]);
        let motion = Motion { shift, turn, sizes: [full[6], full[7]] };
        shape.moved(&motion).near(&self.data.middle)
    }

    /// Second derivatives, in the scaled unknowns, of the weighted sum of the candidates' values.
    /// Exact to the central difference where the weighted slopes are in balance, which is where they count.
    pub(crate) fn curvature<M: Model<N>, const N: usize>(
        &self,
        shape: &M,
        active: &[Candidate],
        weights: &[f64],
    ) -> SMatrix<f64, DIM, DIM> {
        let gradient = |shape: &M| {
            let (frame, constants) = (shape.frame(), shape.constants());
            let mut sum = SVector::<f64, DIM>::zeros();
            for (candidate, weight) in active.iter().zip(weights) {
                sum += self.slopes::<M, N>(&frame, &constants, candidate).1 * *weight;
            }
            sum
        };
        let mut raw = SMatrix::<f64, DIM, DIM>::zeros();
        for j in 0..self.unknowns() {
            let mut step = SVector::<f64, DIM>::zeros();
            step[j] = DIFFERENCE;
            let (after, before) = (self.displaced(shape, &step), self.displaced(shape, &-step));
            raw.set_column(j, &((gradient(&after) - gradient(&before)) / (2.0 * DIFFERENCE)));
        }
        let scaled = self.scaling.tr_mul(&raw) * self.scaling;
        (scaled + scaled.transpose()) * 0.5
    }

    /// In each of [`GROUPS`] stretches of the data the largest deviation of each sign, in order.
    pub(crate) fn extremes<M: Model<N>, const N: usize>(&self, shape: &M) -> Vec<(f64, Candidate)> {
        let placed = Placed::new(self.data, shape);
        let signs = self.signs();
        let groups = self.data.len().min(GROUPS);
        let found = ordered::map_parts(self.data.len(), groups, |range| {
            let mut worst = [(f64::NEG_INFINITY, range.start); 2];
            for i in range {
                let d = deviation(self.side, &placed, placed.at(i));
                for (worst, sign) in worst.iter_mut().zip(signs) {
                    if sign * d > worst.0 {
                        *worst = (sign * d, i);
                    }
                }
            }
            worst
        });
        let mut out = Vec::with_capacity(found.len() * signs.len());
        for worst in found {
            for ((value, i), &sign) in worst.iter().zip(signs) {
                let candidate = Candidate { id: *i as u32, point: self.data.point(*i), sign };
                out.push((*value, candidate));
            }
        }
        out
    }
}

/// Distance with the sign that the criterion needs; of a circle only the part in its plane.
#[inline(always)]
fn deviation<M: Model<N>, const N: usize>(
    side: Side,
    placed: &Placed<'_, M, N>,
    x: [f64; 3],
) -> f64 {
    let d = placed.foot(x, 0).d;
    if side == Side::Tube { d.hypot(placed.foot(x, 1).d) } else { d }
}

/// Stretches of the data that hand over one point of each sign a pass.
pub(crate) const GROUPS: usize = 512;
/// Least part of the longest column that a freedom counts with.
const OPEN: f64 = 1e-9;
/// Step of the central difference, scaled units.
const DIFFERENCE: f64 = 1e-5;
/// Roundings that a value computed from coordinates may be off.
const ROUNDINGS: f64 = 8.0;
