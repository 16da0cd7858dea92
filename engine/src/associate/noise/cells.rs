//! Sums over cells of space: what slow deviations of the residuals add up to, in one pass over the data.
//!
//! Parameters feel only what residuals have in common over wide stretches, so sums over some dozens of
//! cells say as much about them as all points do; of very many points a part says enough.

use std::ops::Range;

use nalgebra::{DMatrix, DVector, Matrix3};

use super::patterns;
use crate::associate::arc::diamond;
use crate::associate::data::{Data, Sample};
use crate::associate::model::{Model, radial};
use crate::associate::pass::Placed;
use crate::numeric::algebraic;
use crate::numeric::random::mix;
use crate::numeric::wide::{self, Kernel};
use crate::primitive::{Kind, Point3, Vec3};

/// Residuals and derivatives of a shape at its points, summed cell by cell; scaled units.
///
/// Rows of the matrices are cells, first those of residual 0, then (curves) of residual 1. Columns are
/// the shape's freedoms, then the patterns of [`patterns`].
#[derive(Debug, Clone)]
pub(crate) struct Cells {
    /// Mean position of each cell's points.
    pub(crate) at: Vec<Point3>,
    /// Variance of the positions in a cell, per direction of the surface or curve.
    pub(crate) spread: Vec<f64>,
    /// Points in each cell.
    pub(crate) count: Vec<f64>,
    /// Directions that points spread in: 2 on a surface, 1 on a curve.
    pub(crate) dimensions: i32,
    /// Sum of the residuals, by row.
    pub(crate) sum: DVector<f64>,
    /// Sums of the derivatives, by row.
    pub(crate) derivatives: DMatrix<f64>,
    /// Derivatives by freedoms times patterns, summed over all points.
    pub(crate) crossed: DMatrix<f64>,
    /// Patterns times patterns, summed over all points.
    pub(crate) patterns: DMatrix<f64>,
    /// Patterns times residual, summed over all points.
    pub(crate) projected: DVector<f64>,
    /// Derivatives times residual, summed over all points: next to nothing if those are all there are.
    pub(crate) pull: DVector<f64>,
    /// Squared residuals about their cell's mean, summed.
    pub(crate) within: f64,
    /// Number of such squares less one a cell.
    pub(crate) within_freedoms: f64,
    /// Side of a cell.
    pub(crate) pitch: f64,
    /// Largest extent of the data.
    pub(crate) reach: f64,
    /// Part of the points that was summed up.
    pub(crate) share: f64,
}

/// Sums up the points that are not rejected; `None` for too few to say anything.
pub(crate) fn sum<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    sample: &Sample,
    shape: &M,
    rejected: &[bool],
    cut: f64,
) -> Option<Cells> {
    let placed = Placed::new(data, shape);
    let kept = kept(&placed, sample, shape, cut);
    let unroll = Unroll::new(&placed, &kept);
    let spots: Vec<Point3> = kept.iter().map(|x| unroll.spot(*x)).collect();
    let grid = Grid::new(&spots, CELLS / M::RESIDUALS)?;
    let reach = extent(&kept)?;
    let step = data.len().div_ceil(MOST);
    let groups = data.len() / step;
    let summed = Summed { placed, unroll, grid: &grid, half: 0.5 * reach, rejected, step };
    let mut total = Sums::new(grid.cells * M::RESIDUALS, patterns::count(M::KIND));
    wide::map_chunks(groups, &summed).iter().for_each(|part| total.merge(part));
    let share = groups as f64 / data.len() as f64;
    total.cells(N, M::RESIDUALS, &grid, reach, share)
}

/// One point of each group of `step`, somewhere in it so that no regular sampling shows through.
struct Summed<'a, M, const N: usize> {
    placed: Placed<'a, M, N>,
    unroll: Unroll,
    grid: &'a Grid,
    /// Half of the data's extent.
    half: f64,
    rejected: &'a [bool],
    step: usize,
}

impl<M: Model<N>, const N: usize> Kernel for Summed<'_, M, N> {
    type Out = Sums;

    #[inline(always)]
    fn run(&self, range: Range<usize>) -> Sums {
        let (placed, grid) = (&self.placed, self.grid);
        let mut sums = Sums::new(grid.cells * M::RESIDUALS, patterns::count(M::KIND));
        for group in range {
            let i = group * self.step + (mix(group as u64) % self.step as u64) as usize;
            if !self.rejected.is_empty() && self.rejected[i] {
                continue;
            }
            let point = placed.point(i);
            let x = placed.at(i);
            // By its place on the shape: the cell must not depend on the residual.
            let spot = self.unroll.spot(placed.onto(x));
            let Some(cell) = grid.cell(&spot) else { continue };
            sums.place(cell, &point);
            for k in 0..M::RESIDUALS {
                let foot = placed.foot(x, k);
                let pattern = patterns::at(M::KIND, placed.constants(), x, k, self.half);
                sums.add::<N>(
                    cell + k * grid.cells,
                    foot.d,
                    &M::FREE.map(|f| foot.derivative(x, f)),
                    &pattern,
                );
            }
        }
        sums
    }
}

/// Where the points of the sample that belong meet the shape, in its coordinates.
fn kept<M: Model<N>, const N: usize>(
    placed: &Placed<'_, M, N>,
    sample: &Sample,
    shape: &M,
    cut: f64,
) -> Vec<[f64; 3]> {
    let frame = shape.frame();
    let at = sample.points.iter().map(|p| frame.local(p));
    at.filter(|x| placed.distance(*x).abs() <= cut).map(|x| placed.onto(x)).collect()
}

/// Largest side of the box about the points in their principal frame.
fn extent(points: &[[f64; 3]]) -> Option<f64> {
    let points: Vec<Point3> = points.iter().map(|x| Point3::from(*x)).collect();
    let axes = algebraic::principal(&points)?.directions;
    let side = |axis: &Vec3| {
        let along = points.iter().map(|p| p.coords.dot(axis));
        let (low, high) = along
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), t| (low.min(t), high.max(t)));
        high - low
    };
    Some(axes.iter().map(side).fold(0.0, f64::max))
}

/// Where points count for the cells: where they are, or on a torus unrolled, round whose tube cubes
/// would reach.
struct Unroll {
    torus: bool,
    sizes: [f64; 2],
    /// Direction about the axis that the torus is cut open in: away from the data.
    seam: [f64; 2],
}

impl Unroll {
    fn new<M: Model<N>, const N: usize>(placed: &Placed<'_, M, N>, kept: &[[f64; 3]]) -> Self {
        let [major, minor, ..] = *placed.constants();
        let sum = kept.iter().fold([0.0; 2], |s, x| [s[0] - x[0], s[1] - x[1]]);
        let (_, seam) = radial([sum[0], sum[1], 0.0]);
        Unroll { torus: M::KIND == Kind::Torus, sizes: [major, minor], seam }
    }

    #[inline(always)]
    fn spot(&self, x: [f64; 3]) -> Point3 {
        if !self.torus {
            return Point3::from(x);
        }
        let ([major, minor], [c, s]) = (self.sizes, self.seam);
        let (rho, _) = radial(x);
        let round = diamond(c * x[0] + s * x[1], c * x[1] - s * x[0]);
        let quarter = std::f64::consts::FRAC_PI_2;
        Point3::new(major * quarter * round, minor * quarter * diamond(rho - major, x[2]), 0.0)
    }
}

/// Cubes in the principal frame of the data, of which those that hold points are numbered.
struct Grid {
    origin: Point3,
    axes: Matrix3<f64>,
    low: [f64; 3],
    size: [usize; 3],
    pitch: f64,
    number: Vec<u32>,
    cells: usize,
}

impl Grid {
    /// The finest grid with at most `most` cells in use.
    fn new(points: &[Point3], most: usize) -> Option<Self> {
        let principal = algebraic::principal(points)?;
        let axes = Matrix3::from_columns(&principal.directions);
        let inside: Vec<[f64; 3]> =
            points.iter().map(|p| axes.tr_mul(&(p - principal.mean)).into()).collect();
        let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
        for x in &inside {
            for k in 0..3 {
                low[k] = low[k].min(x[k]);
                high[k] = high[k].max(x[k]);
            }
        }
        let reach = (0..3).map(|k| high[k] - low[k]).fold(0.0, f64::max);
        let (mut fine, mut coarse) = (reach / most as f64 / 2.0, reach * 1.01);
        for _ in 0..HALVINGS {
            let pitch = (fine * coarse).sqrt();
            let (low, _) = boxed(&low, &high, pitch);
            if used(&inside, &low, pitch).len() > most { fine = pitch } else { coarse = pitch }
        }
        let pitch = coarse;
        let (low, size) = boxed(&low, &high, pitch);
        let mut grid = Grid {
            origin: principal.mean,
            axes,
            low,
            size,
            pitch,
            number: vec![NONE; size.iter().product()],
            cells: 0,
        };
        let used = used(&inside, &low, pitch);
        for (number, at) in used.iter().enumerate() {
            let index = grid.index(at.map(f64::from));
            grid.number[index] = number as u32;
        }
        grid.cells = used.len();
        (reach > 0.0 && grid.cells >= LEAST).then_some(grid)
    }

    /// Number of a point's cell; `None` where the sample had no point.
    #[inline(always)]
    fn cell(&self, p: &Point3) -> Option<usize> {
        let x = self.axes.tr_mul(&(p - self.origin));
        let at = [0, 1, 2].map(|k| ((x[k] - self.low[k]) / self.pitch).floor());
        let number = self.number[self.index(at)];
        (number != NONE).then_some(number as usize)
    }

    /// Points past the sample's box count to its border cells.
    #[inline(always)]
    fn index(&self, at: [f64; 3]) -> usize {
        // The cast saturates, below at zero.
        let [i, j, k] = [0, 1, 2].map(|k| (at[k] as usize).min(self.size[k] - 1));
        (k * self.size[1] + j) * self.size[0] + i
    }
}

/// Corner and numbers of the cells that hold a box, in its middle, so that axes of the other sign make
/// the same cells.
fn boxed(low: &[f64; 3], high: &[f64; 3], pitch: f64) -> ([f64; 3], [usize; 3]) {
    let size = [0, 1, 2].map(|k| ((high[k] - low[k]) / pitch) as usize + 1);
    let over = |k: usize| size[k] as f64 * pitch - (high[k] - low[k]);
    ([0, 1, 2].map(|k| low[k] - 0.5 * over(k)), size)
}

/// Cells that hold points, in order.
fn used(inside: &[[f64; 3]], low: &[f64; 3], pitch: f64) -> Vec<[u16; 3]> {
    let at = |x: &[f64; 3]| [0, 1, 2].map(|k| ((x[k] - low[k]) / pitch) as u16);
    let mut cells: Vec<[u16; 3]> = inside.iter().map(at).collect();
    cells.sort_unstable();
    cells.dedup();
    cells
}

/// Sums while the pass runs: one row a cell and residual, plain arrays for speed.
struct Sums {
    rows: Vec<Row>,
    places: Vec<[f64; 5]>,
    patterns: usize,
    square: f64,
    crossed: [[f64; 8]; WIDTH],
    pairs: [[f64; WIDTH]; WIDTH],
    projected: [f64; WIDTH],
    pull: [f64; 8],
}

#[derive(Clone, Copy, Default)]
struct Row {
    sum: f64,
    derivatives: [f64; 8],
    patterns: [f64; WIDTH],
}

impl Sums {
    fn new(rows: usize, patterns: usize) -> Self {
        Sums {
            rows: vec![Row::default(); rows],
            places: vec![[0.0; 5]; rows],
            patterns,
            square: 0.0,
            crossed: [[0.0; 8]; WIDTH],
            pairs: [[0.0; WIDTH]; WIDTH],
            projected: [0.0; WIDTH],
            pull: [0.0; 8],
        }
    }

    #[inline(always)]
    fn place(&mut self, cell: usize, p: &Point3) {
        let place = &mut self.places[cell];
        place[0] += 1.0;
        place[1] += p.x;
        place[2] += p.y;
        place[3] += p.z;
        place[4] += p.coords.norm_squared();
    }

    #[inline(always)]
    fn add<const N: usize>(
        &mut self,
        row: usize,
        d: f64,
        free: &[f64; N],
        patterns: &[f64; WIDTH],
    ) {
        let row = &mut self.rows[row];
        row.sum += d;
        self.square += d * d;
        for ((sum, pull), value) in row.derivatives.iter_mut().zip(&mut self.pull).zip(free) {
            *sum += value;
            *pull += value * d;
        }
        for a in 0..self.patterns {
            let value = patterns[a];
            row.patterns[a] += value;
            self.projected[a] += value * d;
            for (sum, free) in self.crossed[a].iter_mut().zip(free) {
                *sum += value * free;
            }
            for (sum, other) in self.pairs[a].iter_mut().zip(&patterns[..=a]) {
                *sum += value * other;
            }
        }
    }

    fn merge(&mut self, other: &Sums) {
        for (a, b) in self.rows.iter_mut().zip(&other.rows) {
            a.sum += b.sum;
            add(&mut a.derivatives, &b.derivatives);
            add(&mut a.patterns, &b.patterns);
        }
        for (a, b) in self.places.iter_mut().zip(&other.places) {
            add(a, b);
        }
        self.square += other.square;
        for a in 0..WIDTH {
            add(&mut self.crossed[a], &other.crossed[a]);
            add(&mut self.pairs[a], &other.pairs[a]);
        }
        add(&mut self.projected, &other.projected);
        add(&mut self.pull, &other.pull);
    }

    fn cells(
        &self,
        free: usize,
        residuals: usize,
        grid: &Grid,
        reach: f64,
        share: f64,
    ) -> Option<Cells> {
        let filled: Vec<usize> = (0..grid.cells).filter(|&c| self.places[c][0] > 0.0).collect();
        let place = |c: &usize| {
            let [n, x, y, z, square] = self.places[*c];
            let mean = Point3::new(x / n, y / n, z / n);
            (mean, (square / n - mean.coords.norm_squared()).max(0.0), n)
        };
        let dimensions = if residuals == 1 { 2 } else { 1 };
        let places: Vec<_> = filled.iter().map(place).collect();
        let rows: Vec<&Row> = (0..residuals)
            .flat_map(|k| filled.iter().map(move |c| c + k * grid.cells))
            .map(|r| &self.rows[r])
            .collect();
        let count: Vec<f64> = places.iter().map(|p| p.2).collect();
        let n = |row: usize| count[row % count.len()];
        let sum = DVector::from_fn(rows.len(), |r, _| rows[r].sum);
        let between: f64 = (0..rows.len()).map(|r| sum[r] * sum[r] / n(r)).sum();
        let total = count.iter().sum::<f64>() * residuals as f64;
        let q = self.patterns;
        let column = |r: usize, c: usize| {
            if c < free { rows[r].derivatives[c] } else { rows[r].patterns[c - free] }
        };
        (filled.len() >= LEAST).then(|| Cells {
            spread: places.iter().map(|p| p.1 / f64::from(dimensions)).collect(),
            at: places.iter().map(|p| p.0).collect(),
            dimensions,
            derivatives: DMatrix::from_fn(rows.len(), free + q, column),
            crossed: DMatrix::from_fn(free, q, |i, a| self.crossed[a][i]),
            patterns: DMatrix::from_fn(q, q, |a, b| self.pairs[a.max(b)][a.min(b)]),
            projected: DVector::from_fn(q, |a, _| self.projected[a]),
            pull: DVector::from_fn(free, |j, _| self.pull[j]),
            within: (self.square - between).max(0.0),
            within_freedoms: total - rows.len() as f64,
            pitch: grid.pitch,
            reach,
            share,
            sum,
            count,
        })
    }
}

fn add<const K: usize>(a: &mut [f64; K], b: &[f64; K]) {
    a.iter_mut().zip(b).for_each(|(a, b)| *a += b);
}

/// Most patterns of a shape.
pub(crate) const WIDTH: usize = 6;
/// Most rows of cells: what takes a few milliseconds to invert and is fine enough for seven freedoms.
const CELLS: usize = 96;
/// Fewest cells that say anything.
const LEAST: usize = 8;
/// Most points that are summed up: the weakest field supposed makes as much of a cell's mean as their
/// independent noise does.
const MOST: usize = 1 << 18;
/// Steps of the search for the grid's pitch.
const HALVINGS: usize = 12;
/// Mark of a cell without points.
const NONE: u32 = u32::MAX;
