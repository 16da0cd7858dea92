//! Normals of a mesh from its triangles, weighted by area.

use rayon::prelude::*;

use crate::primitive::{Point3, Vec3, unit};

/// Unit normal of each point; zero where its triangles cancel or it has none.
pub(super) fn of_mesh(points: &[Point3], triangles: &[[u32; 3]]) -> Vec<Vec3> {
    // The cross product is twice the area times the normal: parallel to compute, added in order.
    let mut sums = vec![Vec3::zeros(); points.len()];
    for t in triangles {
        let [a, b, c] = t.map(|i| &points[i as usize]);
        let cross = (b - a).cross(&(c - a));
        t.iter().for_each(|&i| sums[i as usize] += cross);
    }
    sums.par_iter_mut().for_each(|n| {
        let square = n.norm_squared();
        // Squares that neither vanish nor overflow need no scaling first.
        *n = if square > 1e-200 && square < 1e200 {
            *n / square.sqrt()
        } else {
            unit(*n).map_or_else(Vec3::zeros, |d| d.into_inner())
        };
    });
    sums
}
