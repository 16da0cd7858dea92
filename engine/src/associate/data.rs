//! Points as the fits see them: checked, centred on their mean and scaled by a power of two.
//!
//! Centring far data loses nothing but what their representation lost already, and a power of two
//! scales without rounding, so the answer does not depend on where the data lie.

use super::Input;
use super::held::Held;
use crate::error::{Error, Result};
use crate::numeric::ordered;
use crate::numeric::random::{Random, SEED};
use crate::primitive::{Point3, Vec3};

/// Borrowed points with the transform to centred, scaled coordinates.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Data<'a> {
    points: &'a [Point3],
    normals: Option<&'a [Vec3]>,
    /// Origin of the scaled coordinates, mm.
    pub(crate) centre: Point3,
    /// Millimetres in one scaled unit.
    pub(crate) scale: f64,
    /// Rounding of one coordinate, scaled.
    pub(crate) rounding: f64,
    /// Where the shape is to be located, scaled.
    pub(crate) middle: Point3,
    /// What is known of the shape, in scaled coordinates.
    pub(crate) held: Held,
}

/// Points and, if known, normals in scaled coordinates; a choice from the data.
#[derive(Debug, Clone, Default)]
pub(crate) struct Sample {
    pub(crate) points: Vec<Point3>,
    /// As many as points, or none.
    pub(crate) normals: Vec<Vec3>,
}

impl<'a> Data<'a> {
    /// Checks the input and finds its centre and scale.
    pub(crate) fn new(what: &str, input: &Input<'a>, minimum: usize) -> Result<Self> {
        let points = input.points;
        if let Some(normals) = input.normals
            && normals.len() != points.len()
        {
            return Err(Error::argument(
                "normals",
                normals.len(),
                format!("{} values", points.len()),
            ));
        }
        if points.len() < minimum {
            let found = points.len();
            return Err(Error::TooFewPoints { what: what.into(), found, needed: minimum });
        }
        let Some(bounds) = bounds(points) else { return Err(not_finite(points)) };
        let half = 0.5 * (bounds.high - bounds.low).amax();
        if half == 0.0 {
            return Err(Error::undetermined(
                what,
                "all points coincide",
                "give points that differ",
            ));
        }
        let scale = half.log2().ceil().exp2();
        // A centre with few bits keeps the subtraction exact for points close to the origin too.
        let grain = scale / 1024.0;
        let centre = bounds.mean.map(|c| (c / grain).round() * grain);
        let largest = bounds.high.abs().sup(&bounds.low.abs()).amax();
        let rounding = f64::EPSILON * (largest / scale).max(1.0);
        let (normals, held) = (input.normals, Held::default());
        let mut data = Data { points, normals, centre, scale, rounding, middle: centre, held };
        data.middle = Point3::from((bounds.mean - centre) / scale);
        Ok(data)
    }

    /// Points already in scaled coordinates.
    pub(crate) fn scaled(points: &'a [Point3], rounding: f64, middle: Point3) -> Self {
        let (centre, held) = (Point3::origin(), Held::default());
        Data { points, normals: None, centre, scale: 1.0, rounding, middle, held }
    }

    /// The same points in other scaled coordinates.
    pub(crate) fn about(&self, centre: Point3, scale: f64) -> Self {
        let middle = (self.centre + self.middle.coords * self.scale - centre) / scale;
        let rounding = (self.rounding * self.scale / scale).max(f64::EPSILON);
        Data { centre, scale, rounding, middle: middle.into(), ..*self }
    }

    /// The same problem with a choice of its points, already scaled.
    pub(crate) fn chosen<'b>(&self, points: &'b [Point3]) -> Data<'b> {
        Data { held: self.held, ..Data::scaled(points, self.rounding, self.middle) }
    }

    pub(crate) fn len(&self) -> usize {
        self.points.len()
    }

    /// Point in scaled coordinates.
    #[inline(always)]
    pub(crate) fn point(&self, i: usize) -> Point3 {
        Point3::from((self.points[i] - self.centre) * (1.0 / self.scale))
    }

    /// At most `count` points, spread evenly over the input's order with a seeded jitter, and shuffled.
    pub(crate) fn sample(&self, count: usize) -> Sample {
        let n = self.len();
        let mut random = Random::new(SEED);
        let mut ids: Vec<usize> = if n <= count {
            (0..n).collect()
        } else {
            let edge = |j: usize| (j as u128 * n as u128 / count as u128) as usize;
            (0..count).map(|j| edge(j) + random.below(edge(j + 1) - edge(j))).collect()
        };
        for i in (1..ids.len()).rev() {
            ids.swap(i, random.below(i + 1));
        }
        let points = ids.iter().map(|&i| self.point(i)).collect();
        let normals =
            self.normals.map_or_else(Vec::new, |n| ids.iter().map(|&i| clean(&n[i])).collect());
        Sample { points, normals }
    }

    /// Mean of the normals given, over a sample.
    pub(crate) fn mean_normal(&self, sample: &Sample) -> Option<Vec3> {
        (!sample.normals.is_empty()).then(|| sample.normals.iter().sum::<Vec3>())
    }

    /// Locates the shape at the mean of the points that are left.
    pub(crate) fn recentre(&mut self, rejected: &[bool]) {
        let parts = ordered::map_chunks(self.len(), |range| {
            let kept = range.filter(|&i| !rejected[i]);
            kept.fold((Vec3::zeros(), 0usize), |(s, n), i| (s + self.point(i).coords, n + 1))
        });
        let (sum, n) = parts.into_iter().fold((Vec3::zeros(), 0), |a, b| (a.0 + b.0, a.1 + b.1));
        if n > 0 {
            self.middle = Point3::from(sum / n as f64);
        }
    }
}

impl Sample {
    /// The first points of the sample, which is in random order.
    pub(crate) fn first(&self, count: usize) -> Sample {
        let end = count.min(self.points.len());
        let normals =
            if self.normals.is_empty() { Vec::new() } else { self.normals[..end].to_vec() };
        Sample { points: self.points[..end].to_vec(), normals }
    }

    /// Points whose normal is known, with it.
    pub(crate) fn oriented(&self) -> Sample {
        let known = self.points.iter().zip(&self.normals).filter(|(_, n)| **n != Vec3::zeros());
        let (points, normals) = known.map(|(p, n)| (*p, *n)).unzip();
        Sample { points, normals }
    }
}

struct Bounds {
    low: Vec3,
    high: Vec3,
    mean: Point3,
}

/// Box and mean; `None` if a coordinate is not finite (or too large to add up).
fn bounds(points: &[Point3]) -> Option<Bounds> {
    let first = points.first()?;
    let parts = ordered::map_chunks(points.len(), |range| {
        let (mut low, mut high, mut sum) = (first.coords, first.coords, Vec3::zeros());
        for p in &points[range] {
            low = low.inf(&p.coords);
            high = high.sup(&p.coords);
            sum += p - first;
        }
        (low, high, sum)
    });
    let (low, high, sum) =
        parts.into_iter().reduce(|a, b| (a.0.inf(&b.0), a.1.sup(&b.1), a.2 + b.2))?;
    let mean = first + sum / points.len() as f64;
    let finite = (high - low).norm_squared().is_finite() && mean.coords.norm_squared().is_finite();
    finite.then_some(Bounds { low, high, mean })
}

fn not_finite(points: &[Point3]) -> Error {
    let bad = |p: &Point3| !p.coords.norm_squared().is_finite();
    let index = points.iter().position(bad).unwrap_or(0);
    let p = points.get(index).copied().unwrap_or_default();
    let found = format!("({}, {}, {})", p.x, p.y, p.z);
    Error::argument(format!("point {index}"), found, "finite coordinates")
}

/// A usable unit normal, or zero.
fn clean(normal: &Vec3) -> Vec3 {
    crate::primitive::unit(*normal).map_or_else(Vec3::zeros, |n| n.into_inner())
}
