//! How good a composite is, judged by the engine from its pieces and the points.
//!
//! The shape's place is a rigid motion of all pieces together, and its size one common growth of them
//! along their normals; their covariance is that of least squares of the distances to the nearest piece.
//! What the distances do not show (turning a round tube about itself) has no variance. Neighbouring
//! points are taken to share noise as the scan's other features show.

use nalgebra::{SMatrix, SVector};

use crate::associate::{Covariance, Fit, Input, Quality};
use crate::numeric::ordered;
use crate::primitive::{Composite, Direction, Point3, Primitive, Vec3, any_perpendicular, unit};

/// A composite with its quality and covariance; `rejected` by point, empty if none is.
pub(super) fn measure(input: &Input<'_>, shape: Composite, rejected: &[bool]) -> Fit<Primitive> {
    let points = input.points;
    let kept = |i: usize| rejected.get(i) != Some(&true);
    let (at, reach) = middle(points, &kept);
    let parts = ordered::map_chunks(points.len(), |range| {
        let mut sums = Sums::default();
        for i in range.filter(|&i| kept(i)) {
            sums.add(&shape, &points[i], &at, reach);
        }
        sums
    });
    let mut sums = Sums::default();
    parts.iter().for_each(|part| sums.merge(part));
    let used = sums.points.max(1) as f64;
    let shown = Shown::new(&sums.normal);
    let spare = (used - shown.count as f64).max(1.0);
    let sigma = (sums.squares / spare).sqrt();
    let shared = match (input.noise_model, input.resolution) {
        (Some(model), Some(spacing)) => model.inflation(spacing, sums.points).max(1.0),
        _ => 1.0,
    };
    let quality = Quality {
        points: sums.points,
        rejected: points.len() - sums.points,
        rms: (sums.squares / used).sqrt(),
        largest: sums.largest,
        zone: 2.0 * sums.largest,
        sigma,
        extent: 2.0 * reach,
        arc: std::f64::consts::TAU,
        converged: true,
        condition: shown.condition,
        independent: sigma,
        effective_points: used / shared,
        ..Quality::default()
    };
    let covariance = Covariance { at, matrix: shown.covariance(sigma * sigma * shared, reach) };
    let left_out = rejected.iter().enumerate().filter(|(_, r)| **r);
    Fit {
        shape: shape.into(),
        covariance,
        quality,
        rejected: left_out.map(|(i, _)| i as u32).collect(),
        contacts: Vec::new(),
        cost: None,
        noise: None,
        notes: Vec::new(),
    }
}

/// Mean of the points kept, and the largest distance of one from it.
fn middle(points: &[Point3], kept: &(impl Fn(usize) -> bool + Sync)) -> (Point3, f64) {
    let first = points[0];
    let sums = ordered::map_chunks(points.len(), |range| {
        let add = |(s, n): (Vec3, usize), i: usize| (s + (points[i] - first), n + 1);
        range.filter(|&i| kept(i)).fold((Vec3::zeros(), 0), add)
    });
    let (sum, n) = sums.into_iter().fold((Vec3::zeros(), 0), |a, b| (a.0 + b.0, a.1 + b.1));
    let at = first + sum / n.max(1) as f64;
    let far = ordered::map_chunks(points.len(), |range| {
        range.filter(|&i| kept(i)).map(|i| (points[i] - at).norm()).fold(0.0, f64::max)
    });
    (at, far.into_iter().fold(f64::MIN_POSITIVE, f64::max))
}

#[derive(Default)]
struct Sums {
    points: usize,
    squares: f64,
    largest: f64,
    normal: SMatrix<f64, 7, 7>,
}

impl Sums {
    fn add(&mut self, shape: &Composite, p: &Point3, at: &Point3, reach: f64) {
        let Some((k, distance)) = shape.nearest(p) else { return };
        self.points += 1;
        self.squares += distance * distance;
        self.largest = self.largest.max(distance);
        let arm = (p - at) / reach;
        let mut row = |n: Vec3, growth: f64| {
            let turn = arm.cross(&n);
            let g = SVector::from([n.x, n.y, n.z, turn.x, turn.y, turn.z, growth]);
            self.normal += g * g.transpose();
        };
        match &shape.pieces[k].shape {
            Primitive::Line(s) => across(&s.direction).iter().for_each(|n| row(*n, 0.0)),
            Primitive::Circle(s) => {
                let out =
                    unit(s.project(p) - s.centre).unwrap_or_else(|| any_perpendicular(&s.normal));
                row(out.into_inner(), 1.0);
                row(s.normal.into_inner(), 0.0);
            }
            surface => {
                if let Some(n) = surface.normal_at(p) {
                    row(n.into_inner(), 1.0);
                }
            }
        }
    }

    fn merge(&mut self, other: &Sums) {
        self.points += other.points;
        self.squares += other.squares;
        self.largest = self.largest.max(other.largest);
        self.normal += other.normal;
    }
}

fn across(d: &Direction) -> [Vec3; 2] {
    let x = any_perpendicular(d).into_inner();
    [x, d.cross(&x)]
}

/// The motions that the distances show.
struct Shown {
    inverse: SMatrix<f64, 7, 7>,
    count: usize,
    condition: f64,
}

impl Shown {
    fn new(normal: &SMatrix<f64, 7, 7>) -> Self {
        let eigen = normal.symmetric_eigen();
        let most = eigen.eigenvalues.max();
        let mut shown = Shown { inverse: SMatrix::zeros(), count: 0, condition: f64::INFINITY };
        let mut least = most;
        for (value, v) in eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()) {
            if *value > UNSEEN * most {
                shown.inverse += v * v.transpose() / *value;
                shown.count += 1;
                least = least.min(*value);
            }
        }
        if least > 0.0 {
            shown.condition = (most / least).sqrt();
        }
        shown
    }

    /// In the layout of [`Covariance`]; turns were counted in units of 1 / reach.
    fn covariance(&self, variance: f64, reach: f64) -> SMatrix<f64, 8, 8> {
        let unit = |k: usize| if (3..6).contains(&k) { 1.0 / reach } else { 1.0 };
        let mut out = SMatrix::<f64, 8, 8>::zeros();
        for (r, c) in (0..49).map(|k| (k / 7, k % 7)) {
            out[(r, c)] = self.inverse[(r, c)] * unit(r) * unit(c) * variance;
        }
        0.5 * (out + out.transpose())
    }
}

/// Share of the largest eigenvalue below which a motion does not show.
const UNSEEN: f64 = 1e-9;
