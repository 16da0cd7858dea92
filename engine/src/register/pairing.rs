//! Points of one scan paired with the surface of another, and the normal equations of the pairs.
//!
//! The distance of a pair is taken along the mean of both normals, which is exact for surfaces
//! curved to second order: Rusinkiewicz, "A symmetric objective function for ICP" (2019). Noise of
//! the normals would fake hold along the surface and pull each point to its nearest; it is
//! independent on the two scans, so products of one scan's normal with the other's are free of it:
//! instrumental variables, Fuller, "Measurement error models" (1987). Sums are over chunks of fixed
//! size in fixed order, so that they do not depend on the threads.

use nalgebra::{Matrix6, Vector6};
use rayon::prelude::*;

use crate::primitive::{Point3, Pose, Vec3};
use crate::scan::Scan;

/// Which pairs count.
#[derive(Debug, Clone, Copy)]
pub(super) struct Gate {
    /// Largest distance of a point from its nearest, mm.
    pub(super) distance: f64,
    /// Smallest cosine between the normals.
    pub(super) cosine: f64,
}

/// A point of `from` and the place of `to` it lies on, coordinates of `to`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pair {
    /// Middle between the moved point and its nearest: where the mean normal is that of the
    /// surface, and where a small motion changes the distance as a point there moves, mm.
    pub(super) point: Point3,
    /// Mean unit normal.
    pub(super) normal: Vec3,
    /// Half the difference of the normals: what noise and curvature leave in `normal`.
    pub(super) half_difference: Vec3,
    /// Share of `half_difference` that counts as noise, 0 to 1; the rest is curvature.
    pub(super) noise_share: f64,
    /// Half the way from the nearest to the moved point, mm.
    pub(super) half_offset: Vec3,
    /// Distance along the normal, mm.
    pub(super) residual: f64,
    /// Distance of the two points, mm.
    pub(super) distance: f64,
    /// Point of `to`.
    pub(super) nearest: u32,
}

/// Two scans, the second under a pose.
pub(super) struct Overlay<'a> {
    to: &'a Scan,
    from: &'a Scan,
    signed: bool,
    low: Point3,
    high: Point3,
}

impl<'a> Overlay<'a> {
    pub(super) fn new(to: &'a Scan, from: &'a Scan) -> Self {
        let (low, high) = bounds(to.points());
        // Estimated normals of a bare cloud have no sure sign.
        let signed = !to.triangles().is_empty() && !from.triangles().is_empty();
        Overlay { to, from, signed, low, high }
    }

    /// Pairs of the given points of `from` that pass the gate, in their order.
    pub(super) fn pairs(&self, ids: &[u32], to_from_this: &Pose, gate: Gate) -> Vec<Pair> {
        let chunk = |ids: &[u32]| -> Vec<Pair> {
            ids.iter().filter_map(|&id| self.pair(id, to_from_this, gate)).collect()
        };
        ids.par_chunks(CHUNK).map(chunk).collect::<Vec<_>>().concat()
    }

    fn pair(&self, id: u32, to_from_this: &Pose, gate: Gate) -> Option<Pair> {
        let point = to_from_this * self.from.points()[id as usize];
        let outside = (self.low - point).sup(&(point - self.high)).max();
        if outside > gate.distance {
            return None;
        }
        let (nearest, distance) = self.to.nearest_within(&point, gate.distance)?;
        if self.to.is_border(nearest) {
            return None;
        }
        let there = self.to.normals()[nearest as usize];
        let mut here = to_from_this * self.from.normals()[id as usize];
        if !self.signed && here.dot(&there) < 0.0 {
            here = -here;
        }
        if here.dot(&there) < gate.cosine {
            return None;
        }
        let normal = (here + there).try_normalize(0.0)?;
        let place = self.to.points()[nearest as usize];
        let residual = (point - place).dot(&normal);
        Some(Pair {
            point: nalgebra::center(&point, &place),
            normal,
            half_difference: 0.5 * (here - there),
            noise_share: 0.0,
            half_offset: 0.5 * (point - place),
            residual,
            distance,
            nearest,
        })
    }
}

/// A robust loss: least squares near zero, no pull from `reach` on (Beaton and Tukey, "The fitting
/// of power series, meaning polynomials, illustrated on band-spectroscopic data", 1974).
#[derive(Debug, Clone, Copy)]
pub(super) struct Biweight {
    /// Residuals from here on do not count, mm.
    pub(super) reach: f64,
}

impl Biweight {
    /// Loss for a standard deviation of the good residuals, mm; 95 % efficient for normal noise.
    pub(super) fn new(sigma: f64) -> Self {
        Biweight { reach: 4.685 * sigma }
    }

    /// Weight of a residual: the loss's slope over the residual.
    pub(super) fn weight(self, residual: f64) -> f64 {
        let u = 1.0 - (residual / self.reach).powi(2);
        if u > 0.0 { u * u } else { 0.0 }
    }

    /// Second derivative of the loss.
    pub(super) fn bend(self, residual: f64) -> f64 {
        let u2 = (residual / self.reach).powi(2);
        if u2 < 1.0 { (1.0 - u2) * (1.0 - 5.0 * u2) } else { 0.0 }
    }
}

/// Coordinates in which shifts and turns weigh alike: turns about `middle`, times `radius`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scaling {
    pub(super) middle: Point3,
    /// Root mean square distance of the pairs from the middle, mm.
    pub(super) radius: f64,
}

impl Scaling {
    pub(super) fn new(pairs: &[Pair]) -> Self {
        let count = pairs.len().max(1) as f64;
        let sum: Vec3 = pairs.iter().map(|p| p.point.coords).sum();
        let middle = Point3::from(sum / count);
        let square: f64 = pairs.iter().map(|p| (p.point - middle).norm_squared()).sum();
        Scaling { middle, radius: (square / count).sqrt() }
    }

    /// Change of a residual along `normal` with a small scaled motion.
    fn gradient(&self, point: &Point3, normal: &Vec3) -> Vector6<f64> {
        let turn = (point - self.middle).cross(normal) / self.radius;
        Vector6::new(normal.x, normal.y, normal.z, turn.x, turn.y, turn.z)
    }

    /// Change of a pair's distance with a small scaled motion: mean of both points' gradients.
    pub(super) fn mean_gradient(&self, pair: &Pair) -> Vector6<f64> {
        self.gradient(&pair.point, &pair.normal)
    }

    /// Half the difference of both points' gradients, each with its own normal.
    pub(super) fn half_difference(&self, pair: &Pair) -> Vector6<f64> {
        let mut g = self.gradient(&pair.point, &pair.half_difference);
        let turn = pair.half_offset.cross(&pair.normal) / self.radius;
        let mut rows = g.fixed_rows_mut::<3>(3);
        rows += turn;
        g
    }

    /// Slope of half the squared distance of a pair, without the part that is noise of the normals.
    pub(super) fn slope(&self, pair: &Pair) -> Vector6<f64> {
        let apart = pair.noise_share * 2.0 * pair.half_offset.dot(&pair.half_difference);
        self.mean_gradient(pair) * pair.residual - self.half_difference(pair) * apart
    }

    /// The rigid motion of a small scaled motion.
    pub(super) fn motion(&self, step: &Vector6<f64>) -> Pose {
        let shift = step.fixed_rows::<3>(0).into_owned();
        let turn = step.fixed_rows::<3>(3).into_owned() / self.radius;
        let turned =
            Pose::rotation_wrt_point(nalgebra::UnitQuaternion::from_scaled_axis(turn), self.middle);
        nalgebra::Translation3::from(shift) * turned
    }

    /// Covariance of a motion from that of a scaled one.
    pub(super) fn unscaled(&self, scaled: &Matrix6<f64>) -> Matrix6<f64> {
        let unit = |k: usize| if k < 3 { 1.0 } else { 1.0 / self.radius };
        Matrix6::from_fn(|r, c| unit(r) * scaled[(r, c)] * unit(c))
    }

    /// The scaled coordinates of a rigid motion, the inverse of [`Scaling::motion`].
    pub(super) fn coordinates(&self, motion: &Pose) -> Vector6<f64> {
        let shift = motion * self.middle - self.middle;
        let turn = motion.rotation.scaled_axis() * self.radius;
        Vector6::new(shift.x, shift.y, shift.z, turn.x, turn.y, turn.z)
    }
}

/// Normal equations of the pairs.
#[derive(Debug, Clone, Copy)]
pub(super) struct Equations {
    /// Weighted sum of the squared gradients.
    pub(super) matrix: Matrix6<f64>,
    /// The part of `matrix` that the noise of the normals alone gives.
    pub(super) noise: Matrix6<f64>,
    /// Weighted sum of the slopes ([`Scaling::slope`]).
    pub(super) right: Vector6<f64>,
    /// Sum of weights.
    pub(super) weight: f64,
    /// Weighted sum of squared residuals, mm².
    pub(super) square: f64,
}

impl Equations {
    /// Sums over the pairs with a weight as a function of the residual.
    pub(super) fn new(
        pairs: &[Pair],
        scaling: &Scaling,
        weight: impl Fn(f64) -> f64 + Sync,
    ) -> Self {
        let chunk = |pairs: &[Pair]| {
            let mut sums = Equations::zero();
            for p in pairs {
                sums.add(p, scaling, weight(p.residual));
            }
            sums
        };
        let parts: Vec<Equations> = pairs.par_chunks(CHUNK).map(chunk).collect();
        parts.iter().fold(Equations::zero(), |sum, part| sum.plus(part))
    }

    fn zero() -> Self {
        Equations {
            matrix: Matrix6::zeros(),
            noise: Matrix6::zeros(),
            right: Vector6::zeros(),
            weight: 0.0,
            square: 0.0,
        }
    }

    fn add(&mut self, pair: &Pair, scaling: &Scaling, weight: f64) {
        if weight == 0.0 {
            return;
        }
        let g = scaling.mean_gradient(pair);
        let noise = scaling.half_difference(pair);
        self.matrix.ger(weight, &g, &g, 1.0);
        self.noise.ger(weight, &noise, &noise, 1.0);
        self.right.axpy(weight, &scaling.slope(pair), 1.0);
        self.weight += weight;
        self.square += weight * pair.residual.powi(2);
    }

    fn plus(mut self, other: &Equations) -> Self {
        self.matrix += other.matrix;
        self.noise += other.noise;
        self.right += other.right;
        self.weight += other.weight;
        self.square += other.square;
        self
    }
}

/// Standard deviation of the good residuals from their median absolute value, mm.
pub(super) fn robust_deviation(pairs: &[Pair]) -> f64 {
    1.4826 * median(pairs.iter().map(|p| p.residual.abs()).collect())
}

/// Root mean square of what turning of the surface between the two points of a pair may do to its
/// distance, mm.
pub(super) fn turning_deviation(pairs: &[Pair]) -> f64 {
    let square: f64 =
        pairs.iter().map(|p| p.half_difference.norm_squared() * p.distance.powi(2)).sum();
    (square / pairs.len().max(1) as f64).sqrt()
}

/// Tells noise of the normals from curvature: what is usual on the scan is noise, what is more is
/// shape.
pub(super) fn mark_noise(pairs: &mut [Pair]) {
    let usual = 4.0 * median(pairs.iter().map(|p| p.half_difference.norm_squared()).collect());
    for p in pairs {
        let square = p.half_difference.norm_squared();
        p.noise_share = if square > usual { usual / square } else { 1.0 };
    }
}

/// Median; zero for no values.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// Corners of the box of points.
pub(super) fn bounds(points: &[Point3]) -> (Point3, Point3) {
    let start =
        (Point3::from(Vec3::repeat(f64::INFINITY)), Point3::from(Vec3::repeat(-f64::INFINITY)));
    points.iter().fold(start, |(low, high), p| (low.inf(p), high.sup(p)))
}

/// Points in one piece of parallel work; sums depend on it, so it is fixed.
const CHUNK: usize = 4096;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weight_and_bend_are_derivatives_of_one_loss() {
        let loss = Biweight { reach: 0.7 };
        let h = 1e-6;
        for r in [-0.6, -0.2, 0.0, 0.1, 0.5, 0.69, 0.8] {
            let slope = |x: f64| x * loss.weight(x);
            let difference = (slope(r + h) - slope(r - h)) / (2.0 * h);
            assert!((difference - loss.bend(r)).abs() < 1e-8, "{r}");
        }
    }

    #[test]
    fn gradient_is_the_change_of_distance() {
        let scaling = Scaling { middle: Point3::new(1.0, -2.0, 3.0), radius: 7.0 };
        let (p, n) = (Point3::new(4.0, 5.0, -6.0), Vec3::new(0.6, 0.0, 0.8));
        let g = scaling.gradient(&p, &n);
        let h = 1e-6;
        let large = Vector6::new(3.0, -1.0, 2.0, 5.0, 4.0, -6.0);
        assert!((scaling.coordinates(&scaling.motion(&large)) - large).norm() < 1e-12);
        for k in 0..6 {
            let mut step = Vector6::zeros();
            step[k] = h;
            let change =
                (scaling.motion(&step) * p - scaling.motion(&-step) * p).dot(&n) / (2.0 * h);
            assert!((change - g[k]).abs() < 1e-8, "{k}: {change} {}", g[k]);
        }
    }
}
