//! Normals from the points themselves: the direction of least spread of each neighbourhood.

use fitwright_plugin::Failure;
use nalgebra::{Matrix3, SymmetricEigen};

use crate::V3;
use crate::cloud::Grid;
use crate::host::Host;

/// Mean and spread of points: directions from the largest to the smallest variance.
pub(crate) struct Spread {
    pub(crate) mean: V3,
    pub(crate) variances: [f64; 3],
    pub(crate) directions: [V3; 3],
}

/// Spread of some points, at least one.
pub(crate) fn spread(points: impl Iterator<Item = V3> + Clone) -> Spread {
    let (count, sum) = points.clone().fold((0.0, V3::zeros()), |(n, s), p| (n + 1.0, s + p));
    let mean = sum / f64::max(count, 1.0);
    let scatter = points.fold(Matrix3::zeros(), |m, p| m + (p - mean) * (p - mean).transpose());
    let eigen = SymmetricEigen::new(scatter / f64::max(count, 1.0));
    let mut order = [0, 1, 2];
    order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
    Spread {
        mean,
        variances: order.map(|k| eigen.eigenvalues[k].max(0.0)),
        directions: order.map(|k| eigen.eigenvectors.column(k).into_owned()),
    }
}

/// Unit normals from the neighbours within `reach`, sign open; zero where there are too few.
pub(crate) fn normals(points: &[V3], reach: f64, host: &dyn Host) -> Result<Vec<V3>, Failure> {
    let grid = Grid::new(points, reach);
    let mut near = Vec::new();
    let mut normal = |p: &V3| {
        grid.near(p, reach, &mut near);
        if near.len() < FEWEST {
            return V3::zeros();
        }
        let s = spread(near.iter().map(|i| points[*i as usize]));
        // Points along a line say nothing of the surface.
        if s.variances[1] > THIN * s.variances[0] { s.directions[2] } else { V3::zeros() }
    };
    let mut out = Vec::with_capacity(points.len());
    for part in points.chunks(2000) {
        host.check()?;
        out.extend(part.iter().map(&mut normal));
    }
    Ok(out)
}

/// Neighbours that a normal needs.
const FEWEST: usize = 5;
/// Ratio of variances below which a neighbourhood is a line.
const THIN: f64 = 0.02;
