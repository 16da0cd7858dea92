//! How large an overlap is: area of the scanned surface inside the part, and the part's volume behind it.
//!
//! The area is that of the scan's triangles inside the part; one that crosses the part's surface counts
//! by the share of its sub-triangles that lie inside. The volume is what of the part lies behind them
//! along the patch's mean normal, each triangle's share by its projection (so that a tube that passes
//! through counts what it takes up, no more). A bare cloud has no triangles and no such size.

use rayon::prelude::*;

use crate::fitcheck::view::View;
use crate::primitive::{Point3, Vec3, unit};
use crate::solid::Mesh;

/// Area (mm²) and volume (mm³) of an overlap.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Size {
    pub(super) area: f64,
    pub(super) volume: f64,
}

/// Size of the overlap that these triangles of the scan take part in; `crosses` says of each whether it touches
/// the part's surface.
pub(super) fn of(view: &View<'_>, scan: &Mesh, triangles: &[(u32, bool)]) -> Size {
    let each: Vec<Vec<Piece>> =
        triangles.par_iter().with_min_len(64).map(|t| inside(view, scan, t)).collect();
    let pieces: Vec<Piece> = each.into_iter().flatten().collect();
    let area = pieces.iter().map(|p| p.area.norm()).sum();
    let Some(back) = unit(-pieces.iter().map(|p| p.area).sum::<Vec3>()) else {
        return Size { area, volume: 0.0 };
    };
    let behind = |p: &Piece| {
        let thickness = view.solid.ray_cast(&p.middle, &back, f64::INFINITY).unwrap_or(0.0);
        -p.area.dot(&back) * thickness
    };
    let each: Vec<f64> = pieces.par_iter().with_min_len(64).map(behind).collect();
    Size { area, volume: each.iter().sum::<f64>().max(0.0) }
}

/// Part of a scan triangle inside the part.
struct Piece {
    middle: Point3,
    /// Along the scan's normal, mm².
    area: Vec3,
}

fn inside(view: &View<'_>, scan: &Mesh, &(t, crosses): &(u32, bool)) -> Vec<Piece> {
    let corners = scan.corners(t);
    let whole = 0.5 * (corners[1] - corners[0]).cross(&(corners[2] - corners[0]));
    let mut found = Vec::new();
    pieces(&corners, if crosses { LEVELS } else { 0 }, &mut |middle, share| {
        if !crosses || view.solid.contains(&middle) {
            found.push(Piece { middle, area: whole * share });
        }
    });
    found
}

/// Middles of the `4^levels` equal sub-triangles, each with its share of the area.
fn pieces(t: &[Point3; 3], levels: u32, tell: &mut impl FnMut(Point3, f64)) {
    let n = 1 << levels;
    let (u, v) = ((t[1] - t[0]) / f64::from(n), (t[2] - t[0]) / f64::from(n));
    let share = 1.0 / f64::from(n * n);
    for i in 0..n {
        for j in 0..n - i {
            let corner = t[0] + u * f64::from(i) + v * f64::from(j);
            tell(corner + (u + v) / 3.0, share);
            if i + j + 1 < n {
                tell(corner + (u + v) * (2.0 / 3.0), share);
            }
        }
    }
}

/// A crossing triangle is looked at in 4³ pieces.
const LEVELS: u32 = 3;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_tile_the_triangle() {
        let t =
            [Point3::new(1.0, 0.0, 0.0), Point3::new(5.0, 0.0, 1.0), Point3::new(0.0, 3.0, 0.0)];
        let (mut count, mut share, mut sum) = (0, 0.0, nalgebra::Vector3::zeros());
        pieces(&t, 3, &mut |p, s| {
            count += 1;
            share += s;
            sum += p.coords * s;
        });
        assert_eq!(count, 64);
        assert!((share - 1.0f64).abs() < 1e-12);
        let middle = (t[0].coords + t[1].coords + t[2].coords) / 3.0;
        assert!((sum - middle).norm() < 1e-12);
    }
}
