//! Quality of a fit: distances, extent and arc of the points that were used.

use std::f64::consts::TAU;
use std::ops::Range;

use super::Quality;
use super::arc::Sectors;
use super::data::{Data, Sample};
use super::model::{Frame, Model};
use super::pass::Placed;
use crate::numeric::algebraic;
use crate::numeric::wide::{self, Kernel};
use crate::primitive::{Kind, Point3, Vec3};

/// Fills in what the distances and positions of the used points say; lengths in mm.
///
/// `rejected` is empty if all points are used. The zone of a curve is the diameter of the tube that
/// holds the points.
pub(crate) fn measure<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    sample: &Sample,
    shape: &M,
    rejected: &[bool],
) -> Quality {
    let frame = extent_frame(shape, sample);
    let sum = pass(data, shape, &frame, rejected);
    let zone = if M::RESIDUALS == 1 { sum.high - sum.low } else { 2.0 * sum.high };
    Quality {
        points: sum.points,
        rejected: data.len() - sum.points,
        rms: (sum.squares / sum.points.max(1) as f64).sqrt() * data.scale,
        largest: sum.high.abs().max(sum.low.abs()) * data.scale,
        zone: zone * data.scale,
        extent: (sum.last - sum.first) * data.scale,
        arc: match M::KIND {
            Kind::Plane | Kind::Line | Kind::Composite => TAU,
            Kind::Sphere => opening(&frame.origin, &sample.points),
            Kind::Circle | Kind::Cylinder | Kind::Cone | Kind::Torus => sum.sectors.covered().span,
        },
        ..Quality::default()
    }
}

struct Sums {
    points: usize,
    squares: f64,
    low: f64,
    high: f64,
    first: f64,
    last: f64,
    sectors: Sectors,
}

impl Sums {
    fn new() -> Self {
        Sums {
            points: 0,
            squares: 0.0,
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
            first: f64::INFINITY,
            last: f64::NEG_INFINITY,
            sectors: Sectors::new(),
        }
    }

    fn merge(&mut self, other: &Sums) {
        self.points += other.points;
        self.squares += other.squares;
        self.low = self.low.min(other.low);
        self.high = self.high.max(other.high);
        self.first = self.first.min(other.first);
        self.last = self.last.max(other.last);
        self.sectors.merge(&other.sectors);
    }
}

/// One pass: distances in the shape's own frame, height along `along`, directions about the axis.
fn pass<M: Model<N>, const N: usize>(
    data: &Data<'_>,
    shape: &M,
    frame: &Extent,
    rejected: &[bool],
) -> Sums {
    let measured = Measured { placed: Placed::new(data, shape), along: frame.along, rejected };
    let mut total = Sums::new();
    wide::map_chunks(data.len(), &measured).iter().for_each(|part| total.merge(part));
    total
}

struct Measured<'a, M, const N: usize> {
    placed: Placed<'a, M, N>,
    along: [f64; 3],
    rejected: &'a [bool],
}

impl<M: Model<N>, const N: usize> Kernel for Measured<'_, M, N> {
    type Out = Sums;

    #[inline(always)]
    fn run(&self, range: Range<usize>) -> Sums {
        let (mut sums, along) = (Sums::new(), self.along);
        for i in range {
            if !self.rejected.is_empty() && self.rejected[i] {
                continue;
            }
            let x = self.placed.at(i);
            let d = self.placed.distance(x);
            let height = along[0] * x[0] + along[1] * x[1] + along[2] * x[2];
            sums.points += 1;
            sums.squares += d * d;
            sums.low = sums.low.min(d);
            sums.high = sums.high.max(d);
            sums.first = sums.first.min(height);
            sums.last = sums.last.max(height);
            sums.sectors.add(x[0], x[1]);
        }
        sums
    }
}

/// Direction, in the shape's frame, that the extent is taken along.
struct Extent {
    origin: Point3,
    along: [f64; 3],
}

/// Along the axis; where that says nothing about size, along the data's largest spread.
fn extent_frame<M: Model<N>, const N: usize>(shape: &M, sample: &Sample) -> Extent {
    let Frame { origin, axes } = shape.frame();
    let along = match M::KIND {
        Kind::Plane | Kind::Circle | Kind::Sphere => algebraic::principal(&sample.points)
            .map_or(Vec3::x(), |p| axes.tr_mul(&p.directions[0])),
        Kind::Line | Kind::Cylinder | Kind::Cone | Kind::Torus | Kind::Composite => Vec3::z(),
    };
    Extent { origin, along: along.into() }
}

/// Full opening angle, seen from the centre, of the cone about the mean direction that holds all points.
fn opening(centre: &Point3, points: &[Point3]) -> f64 {
    let directions = points.iter().filter_map(|p| crate::primitive::unit(p - centre));
    let mean: Vec3 = directions.clone().map(|d| d.into_inner()).sum();
    let Some(mean) = crate::primitive::unit(mean) else { return TAU };
    let least = directions.map(|d| d.dot(&mean)).fold(1.0, f64::min);
    2.0 * least.clamp(-1.0, 1.0).acos()
}
