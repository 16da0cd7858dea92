//! What the surface is at a place, apart from noise: an estimate from the neighbours there.
//!
//! Where the ideal shape is known, it is offset by the median distance of the neighbours (so real
//! form stays in); elsewhere a quadric is fitted to them, once more without what lies beyond three
//! robust deviations (P. Rousseeuw, A. Leroy 1987, Robust regression and outlier detection).
//!
//! The least of many estimates is too small however good each is. So the neighbours are halved: one
//! half chooses the place, the other says how far it is, and the two ways are averaged (splitting
//! after D. Cox 1975, A note on data-splitting for the evaluation of significance levels).

use nalgebra::{SMatrix, SVector};

use super::budget::independent;
use crate::primitive::{Direction, Point3, Primitive, Vec3, frame_from_axis, unit};
use crate::scan::Scan;

/// The surface round one point of a scan, in machine coordinates.
#[derive(Debug, Clone)]
pub(super) struct Local {
    model: Model,
    /// Standard deviation of its position normal to itself, mm.
    pub(super) deviation: f64,
    /// Whether the scan ends here.
    pub(super) at_border: bool,
    origin: Point3,
    radius: f64,
}

#[derive(Debug, Clone)]
enum Model {
    /// An ideal shape and the distance of the true surface from it.
    Offset(Primitive, f64),
    /// Height over a plane, `[1 x y x² xy y²]`, with its axes as columns.
    Quadric(SMatrix<f64, 3, 3>, SVector<f64, 6>),
}

/// Which neighbours speak.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Half {
    First,
    Second,
}

/// Both halves' answers for one place.
pub(super) struct Halves<T> {
    pub(super) first: T,
    pub(super) second: T,
}

/// The least of many places without the bias of choosing: its index and value; `None` of none.
pub(super) fn least_of<T>(all: &[Halves<T>], value: impl Fn(&T) -> f64) -> Option<(usize, f64)> {
    let by = |pick: &dyn Fn(&Halves<T>) -> f64| {
        (0..all.len()).min_by(|&a, &b| pick(&all[a]).total_cmp(&pick(&all[b])))
    };
    let (a, b) = (by(&|h| value(&h.first))?, by(&|h| value(&h.second))?);
    Some((a, 0.5 * (value(&all[a].second) + value(&all[b].first))))
}

/// Where the neighbours are looked up and by what they are judged.
pub(super) struct Patch<'a> {
    pub(super) scan: &'a Scan,
    /// All points, machine coordinates.
    pub(super) points: &'a [Point3],
    /// Ideal shape of the surface, machine coordinates.
    pub(super) shape: Option<&'a Primitive>,
    pub(super) noise: f64,
    pub(super) resolution: f64,
}

impl Patch<'_> {
    /// Surface round a point, `None` where too few neighbours hang together or it is not smooth.
    pub(super) fn local(&self, seed: u32) -> Option<Halves<Local>> {
        let radius = RADIUS * self.resolution;
        let ring = self.scan.neighbours(seed);
        // The middle of the ring, not the point itself: a spike stands far off its own surface.
        let sum: Vec3 = ring.iter().map(|&i| self.points[i as usize].coords).sum();
        let origin = Point3::from(sum / ring.len().max(1) as f64);
        let ids = self.around(ring, &origin, radius);
        let near = |i: u32| (self.points[i as usize] - origin).norm() <= 1.5 * self.resolution;
        let at_border = ids.iter().any(|&i| self.scan.is_border(i) && near(i));
        let half = |half| {
            // The point asked for does not vouch for itself.
            let mine = |i: &u32| *i != seed && half_of(*i) == half;
            let points: Vec<Point3> =
                ids.iter().copied().filter(mine).map(|i| self.points[i as usize]).collect();
            self.surface(&origin, radius, &points, at_border)
        };
        Some(Halves { first: half(Half::First)?, second: half(Half::Second)? })
    }

    fn surface(
        &self,
        origin: &Point3,
        radius: f64,
        points: &[Point3],
        at_border: bool,
    ) -> Option<Local> {
        if points.len() < FEWEST {
            return None;
        }
        let (model, heights) = match self.shape.filter(|s| s.normal_at(origin).is_some()) {
            Some(shape) => offset(shape, points),
            None => self.quadric(origin, points)?,
        };
        let spread = 1.4826 * median(heights.iter().map(|h| h.abs()).collect());
        if self.noise > 0.0 && spread > ROUGH * self.noise {
            return None;
        }
        // Both halves together are what is judged in the end.
        let independent = independent(radius, 2 * points.len());
        let deviation = MEDIAN_LOSS * spread.max(self.noise) / independent.sqrt();
        Some(Local { model, deviation, at_border, origin: *origin, radius })
    }

    /// Points within a radius that hang together with the given ones.
    fn around(&self, ring: &[u32], origin: &Point3, radius: f64) -> Vec<u32> {
        let mut ids = ring.to_vec();
        let mut next = 0;
        while next < ids.len() && ids.len() < MOST {
            for &n in self.scan.neighbours(ids[next]) {
                let near = (self.points[n as usize] - origin).norm() <= radius;
                if near && !ids.contains(&n) {
                    ids.push(n);
                }
            }
            next += 1;
        }
        ids
    }

    fn quadric(&self, origin: &Point3, others: &[Point3]) -> Option<(Model, Vec<f64>)> {
        let middle = others.iter().map(|p| p - origin).sum::<Vec3>() / others.len() as f64;
        let spread: SMatrix<f64, 3, 3> = others
            .iter()
            .map(|p| {
                let v = p - origin - middle;
                v * v.transpose()
            })
            .sum();
        let eigen = spread.symmetric_eigen();
        let least =
            (0..3).min_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]))?;
        let normal = unit(eigen.eigenvectors.column(least).into_owned())?;
        let axes = *frame_from_axis(&normal).matrix();
        let scale = (RADIUS * self.resolution).max(f64::MIN_POSITIVE);
        let local: Vec<Vec3> =
            others.iter().map(|p| axes.transpose() * (p - origin) / scale).collect();
        let mut kept: Vec<bool> = vec![true; local.len()];
        let mut model = SVector::<f64, 6>::zeros();
        let mut heights = Vec::new();
        for _ in 0..PASSES {
            let (mut a, mut b) = (SMatrix::<f64, 6, 6>::zeros(), SVector::<f64, 6>::zeros());
            for (q, _) in local.iter().zip(&kept).filter(|(_, k)| **k) {
                let r = row(q.x, q.y);
                a += r * r.transpose();
                b += r * q.z;
            }
            model = a.cholesky()?.solve(&b);
            heights = local.iter().map(|q| q.z - row(q.x, q.y).dot(&model)).collect();
            let limit = 3.0 * 1.4826 * median(heights.iter().map(|h| h.abs()).collect());
            kept = heights.iter().map(|h| h.abs() <= limit.max(self.noise / scale)).collect();
            if kept.iter().filter(|k| **k).count() < FEWEST {
                return None;
            }
        }
        // Back from unit radius to millimetres.
        let powers = [1.0, 0.0, 0.0, -1.0, -1.0, -1.0];
        for (c, p) in model.iter_mut().zip(powers) {
            *c *= scale.powf(p);
        }
        Some((Model::Quadric(axes, model), heights.iter().map(|h| h * scale).collect()))
    }
}

impl Local {
    /// Nearest place of the estimated surface to a point, mm.
    pub(super) fn foot(&self, p: &Point3) -> Point3 {
        match &self.model {
            Model::Offset(shape, by) => {
                let foot = shape.project(p);
                let along = shape.normal_at(p).map_or_else(Vec3::zeros, Direction::into_inner);
                foot + along * *by
            }
            Model::Quadric(axes, c) => {
                let q = axes.transpose() * (p - self.origin);
                let (mut x, mut y) = (q.x, q.y);
                for _ in 0..FOOT_STEPS {
                    let (h, gx, gy) = (
                        row(x, y).dot(c),
                        c[1] + 2.0 * c[3] * x + c[4] * y,
                        c[2] + c[4] * x + 2.0 * c[5] * y,
                    );
                    // Foot on the tangent plane there; settles fast on gentle surfaces.
                    let n = 1.0 + gx * gx + gy * gy;
                    let d = (q.z - h - gx * (q.x - x) - gy * (q.y - y)) / n;
                    (x, y) = (q.x + gx * d, q.y + gy * d);
                    let l = x.hypot(y);
                    if l > self.radius {
                        (x, y) = (x / l * self.radius, y / l * self.radius);
                    }
                }
                self.origin + axes * Vec3::new(x, y, row(x, y).dot(c))
            }
        }
    }

    /// Whether a place is within the neighbourhood that speaks for it.
    pub(super) fn holds(&self, p: &Point3) -> bool {
        (p - self.origin).norm() <= self.radius
    }
}

/// The middle one of the values; 0 of none.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Even or odd after mixing, so that the rows and columns of a grid fall evenly.
fn half_of(id: u32) -> Half {
    let mixed = u64::from(id).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40;
    if mixed & 1 == 0 { Half::First } else { Half::Second }
}

fn offset(shape: &Primitive, others: &[Point3]) -> (Model, Vec<f64>) {
    let distances: Vec<f64> = others.iter().map(|p| shape.distance(p)).collect();
    let by = median(distances.clone());
    (Model::Offset(shape.clone(), by), distances.iter().map(|d| d - by).collect())
}

fn row(x: f64, y: f64) -> SVector<f64, 6> {
    SVector::from([1.0, x, y, x * x, x * y, y * y])
}

/// Radius of a neighbourhood in spacings.
const RADIUS: f64 = 4.0;
/// Fewest neighbours that make a surface (the quadric has six numbers).
const FEWEST: usize = 9;
/// Most neighbours gathered.
const MOST: usize = 96;
/// Spread of the neighbours, in the scan's noise, beyond which the place is an edge, not a surface.
const ROUGH: f64 = 3.0;
/// Standard deviation of a median over that of a mean, normal distribution.
const MEDIAN_LOSS: f64 = 1.2533;
const PASSES: usize = 3;
const FOOT_STEPS: usize = 6;
