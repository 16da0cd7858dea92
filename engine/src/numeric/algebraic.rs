//! Starting values in closed form: principal directions, circle (Taubin 1991, Estimation of planar curves,
//! surfaces, and nonplanar space curves; Newton form of Chernov 2010, Circular and Linear Regression), sphere.

use nalgebra::{Matrix3, Vector2};

use crate::primitive::{Point3, Vec3};

/// Mean and principal directions (columns, from the largest spread to the smallest) with variances.
pub(crate) struct Principal {
    pub(crate) mean: Point3,
    pub(crate) directions: [Vec3; 3],
    pub(crate) variances: [f64; 3],
}

/// Principal directions of points; `None` for none.
pub(crate) fn principal(points: &[Point3]) -> Option<Principal> {
    if points.is_empty() {
        return None;
    }
    let mean = mean(points);
    let mut scatter = Matrix3::zeros();
    for p in points {
        let v = p - mean;
        scatter += v * v.transpose();
    }
    let (directions, variances) = eigen(&(scatter / points.len() as f64));
    Some(Principal { mean, directions, variances })
}

/// Mean of points, which must not be empty.
pub(crate) fn mean(points: &[Point3]) -> Point3 {
    let sum: Vec3 = points.iter().map(|p| p.coords).sum();
    Point3::from(sum / points.len() as f64)
}

/// Eigenvectors and eigenvalues of a symmetric matrix, largest first.
pub(crate) fn eigen(m: &Matrix3<f64>) -> ([Vec3; 3], [f64; 3]) {
    let e = m.symmetric_eigen();
    let mut order = [0, 1, 2];
    order.sort_by(|&a, &b| e.eigenvalues[b].total_cmp(&e.eigenvalues[a]));
    (order.map(|i| e.eigenvectors.column(i).into_owned()), order.map(|i| e.eigenvalues[i].max(0.0)))
}

/// Circle through or near points of a plane: centre and radius; `None` for collinear points.
pub(crate) fn circle(
    points: impl Iterator<Item = [f64; 2]> + Clone,
) -> Option<(Vector2<f64>, f64)> {
    let n = points.clone().count() as f64;
    let (sx, sy) = points.clone().fold((0.0, 0.0), |(a, b), p| (a + p[0], b + p[1]));
    let (mx, my) = (sx / n, sy / n);
    let [mut xx, mut yy, mut xy, mut xz, mut yz, mut zz] = [0.0; 6];
    for p in points {
        let (x, y) = (p[0] - mx, p[1] - my);
        let z = x * x + y * y;
        xx += x * x;
        yy += y * y;
        xy += x * y;
        xz += x * z;
        yz += y * z;
        zz += z * z;
    }
    let [xx, yy, xy, xz, yz, zz] = [xx, yy, xy, xz, yz, zz].map(|s| s / n);
    let z = xx + yy;
    let det = xx * yy - xy * xy;
    let a3 = 4.0 * z;
    let a2 = -3.0 * z * z - zz;
    let a1 = (zz - z * z) * z + 4.0 * det * z - xz * xz - yz * yz;
    let a0 = xz * xz * yy + yz * yz * xx - 2.0 * xz * yz * xy - (zz - z * z) * det;
    // Newton from zero meets the smallest root from below.
    let (mut root, mut value) = (0.0, a0);
    for _ in 0..20 {
        let next = root - value / (a1 + root * (2.0 * a2 + root * 3.0 * a3));
        let next_value = a0 + next * (a1 + next * (a2 + next * a3));
        if !next.is_finite() || next_value.abs() >= value.abs() {
            break;
        }
        (root, value) = (next, next_value);
    }
    let denominator = 2.0 * (root * root - root * z + det);
    let cx = (xz * (yy - root) - yz * xy) / denominator;
    let cy = (yz * (xx - root) - xz * xy) / denominator;
    let radius = (cx * cx + cy * cy + z).sqrt();
    (radius.is_finite() && denominator != 0.0).then(|| (Vector2::new(cx + mx, cy + my), radius))
}

/// Sphere by linear least squares on squared distances: centre and radius; `None` for coplanar points.
pub(crate) fn sphere(points: &[Point3]) -> Option<(Point3, f64)> {
    if points.is_empty() {
        return None;
    }
    let mean = mean(points);
    let (mut a, mut b, mut square) = (Matrix3::zeros(), Vec3::zeros(), 0.0);
    for p in points {
        let v = p - mean;
        a += v * v.transpose();
        b += v * v.norm_squared();
        square += v.norm_squared();
    }
    let c = a.lu().solve(&(b * 0.5))?;
    let radius = (c.norm_squared() + square / points.len() as f64).sqrt();
    radius.is_finite().then(|| (mean + c, radius))
}
