//! A mesh thinned for show: points that share a cell of a grid become one of them (vertex clustering: Rossignac,
//! Borrel, 1993, "Multi-resolution 3D approximations for rendering complex scenes").
//!
//! Points near given places keep their own, so that a witness line meets the surface it was measured to. What is left is
//! put in the order of a space-filling curve: neighbours in number are neighbours in space, which packs well and lets
//! the page find what lies under a finger by boxes of consecutive triangles.

use std::collections::HashMap;

use crate::primitive::{Point3, Vec3};

/// What is left of a mesh.
pub(super) struct Thin {
    /// Ids of the points that stay.
    pub ids: Vec<u32>,
    /// Corners as positions in `ids`.
    pub triangles: Vec<[u32; 3]>,
}

/// Places to spare and how far about them, mm.
pub(super) struct Spared<'a> {
    pub places: &'a [Point3],
    pub about: f64,
}

/// Thins to about as many triangles as asked (mesh coordinates); a mesh that has no more keeps all.
pub(super) fn thin(
    points: &[Point3],
    triangles: &[[u32; 3]],
    target: usize,
    spared: &Spared<'_>,
) -> Thin {
    let mut left = triangles.to_vec();
    if triangles.len() > target {
        // A surface of area A crosses about 1.3 A / cell² cells, each with two triangles.
        let mut cell = (2.6 * area(points, triangles) / target as f64).sqrt();
        for _ in 0..MOST_TRIES {
            if !(cell.is_finite() && cell > 0.0) {
                break;
            }
            left = clustered(triangles, &chosen(points, cell, spared));
            if left.len() <= target {
                break;
            }
            cell *= 1.03 * (left.len() as f64 / target as f64).sqrt();
        }
    }
    in_order(points, left)
}

/// Ids of about as many points as asked, one of each cell of a grid.
pub(super) fn thin_cloud(points: &[Point3], target: usize) -> Vec<u32> {
    let mut ids: Vec<u32> = (0..points.len() as u32).collect();
    let (low, high) = bounds(points.iter());
    let mut cell = (high - low).norm() / (2.0 * target as f64).sqrt();
    let none = Spared { places: &[], about: 0.0 };
    for _ in 0..MOST_TRIES {
        if ids.len() <= target || !(cell.is_finite() && cell > 0.0) {
            break;
        }
        let chosen = chosen(points, cell, &none);
        ids = (0..points.len() as u32).filter(|&i| chosen[i as usize] == i).collect();
        cell *= 1.1;
    }
    let curve = Curve::about(points.iter());
    ids.sort_by_cached_key(|&i| (curve.place(&points[i as usize]), i));
    ids
}

/// Lower and upper corner of what is finite; the origin twice without any.
pub(super) fn bounds<'a>(points: impl Iterator<Item = &'a Point3>) -> (Point3, Point3) {
    let finite = points.filter(|p| p.iter().all(|v| v.is_finite())).map(|p| p.coords);
    let both = finite.map(|p| (p, p)).reduce(|(l, h), (p, _)| (l.inf(&p), h.sup(&p)));
    let (low, high) = both.unwrap_or((Vec3::zeros(), Vec3::zeros()));
    (low.into(), high.into())
}

/// For each point the one that stands for its cell: that nearest to the mean of them.
fn chosen(points: &[Point3], cell: f64, spared: &Spared<'_>) -> Vec<u32> {
    let near = |p: &Point3| spared.places.iter().any(|s| (s - p).norm() < spared.about);
    let mut number: HashMap<[i64; 3], u32> = HashMap::new();
    let mut cells: Vec<(Vec3, f64)> = Vec::new();
    let of: Vec<u32> = points
        .iter()
        .map(|p| {
            let fresh = cells.len() as u32;
            let k = if near(p) {
                fresh
            } else {
                *number.entry([0, 1, 2].map(|k| (p[k] / cell).floor() as i64)).or_insert(fresh)
            };
            if k == fresh {
                cells.push((Vec3::zeros(), 0.0));
            }
            let (sum, count) = &mut cells[k as usize];
            (*sum, *count) = (*sum + p.coords, *count + 1.0);
            k
        })
        .collect();
    let mut best: Vec<(f64, u32)> = vec![(f64::INFINITY, 0); cells.len()];
    for ((i, p), &k) in (0u32..).zip(points).zip(&of) {
        let (sum, count) = &cells[k as usize];
        let off = (p.coords - sum / *count).norm_squared();
        if off < best[k as usize].0 {
            best[k as usize] = (off, i);
        }
    }
    of.iter().map(|&k| best[k as usize].1).collect()
}

fn clustered(triangles: &[[u32; 3]], chosen: &[u32]) -> Vec<[u32; 3]> {
    let moved = triangles.iter().map(|t| t.map(|i| chosen[i as usize]));
    moved.filter(|[a, b, c]| a != b && b != c && c != a).collect()
}

fn in_order(points: &[Point3], mut triangles: Vec<[u32; 3]>) -> Thin {
    let curve = Curve::about(triangles.iter().flatten().map(|&i| &points[i as usize]));
    triangles.sort_by_cached_key(|t| {
        let [a, b, c] = t.map(|i| points[i as usize].coords);
        (curve.place(&((a + b + c) / 3.0).into()), *t)
    });
    let mut new = vec![u32::MAX; points.len()];
    let mut ids = Vec::new();
    for t in &mut triangles {
        for i in t {
            let known = &mut new[*i as usize];
            if *known == u32::MAX {
                *known = ids.len() as u32;
                ids.push(*i);
            }
            *i = *known;
        }
    }
    Thin { ids, triangles }
}

fn area(points: &[Point3], triangles: &[[u32; 3]]) -> f64 {
    let twice = |t: &[u32; 3]| {
        let [a, b, c] = t.map(|i| points[i as usize]);
        (b - a).cross(&(c - a)).norm()
    };
    0.5 * triangles.iter().map(twice).filter(|a| a.is_finite()).sum::<f64>()
}

/// A Z-order curve through a box.
struct Curve {
    low: Point3,
    /// Steps per mm.
    scale: f64,
}

impl Curve {
    fn about<'a>(points: impl Iterator<Item = &'a Point3>) -> Self {
        let (low, high) = bounds(points);
        let longest = (high - low).max();
        Curve { low, scale: if longest > 0.0 { 1023.0 / longest } else { 0.0 } }
    }

    fn place(&self, p: &Point3) -> u32 {
        let spread = |k: usize| {
            let n = ((p[k] - self.low[k]) * self.scale) as u32 & 1023;
            (0..10).map(|bit| (n >> bit & 1) << (3 * bit + k)).sum::<u32>()
        };
        spread(0) + spread(1) + spread(2)
    }
}

/// Grids tried: the second is near enough, the rest are for odd meshes.
const MOST_TRIES: usize = 8;

#[cfg(test)]
mod tests {
    use super::*;

    /// A square of `n` by `n` quads, 100 mm wide.
    fn square(n: u32) -> (Vec<Point3>, Vec<[u32; 3]>) {
        let at = |k: u32| 100.0 * f64::from(k) / f64::from(n);
        let row = |j: u32| (0..=n).map(move |i| Point3::new(at(i), at(j), 0.0));
        let quad = |i: u32, j: u32| {
            let a = j * (n + 1) + i;
            [[a, a + 1, a + n + 2], [a, a + n + 2, a + n + 1]]
        };
        let triangles = (0..n).flat_map(|j| (0..n).flat_map(move |i| quad(i, j)));
        ((0..=n).flat_map(row).collect(), triangles.collect())
    }

    #[test]
    fn a_thinned_square_still_covers_it() {
        let (points, triangles) = square(200);
        let spared = Spared { places: &[Point3::new(50.0, 50.0, 0.0)], about: 3.0 };
        let thin = thin(&points, &triangles, 8_000, &spared);
        assert!((4_000..=8_000).contains(&thin.triangles.len()), "{}", thin.triangles.len());
        let left: Vec<Point3> = thin.ids.iter().map(|&i| points[i as usize]).collect();
        let share = area(&left, &thin.triangles) / 10_000.0;
        assert!((0.95..=1.0 + 1e-9).contains(&share), "{share}");
        // Round the spared place every point is still there.
        let near = |p: &&Point3| (*p - spared.places[0]).norm() < spared.about;
        assert_eq!(left.iter().filter(near).count(), points.iter().filter(near).count());
    }

    #[test]
    fn a_small_mesh_keeps_all() {
        let (points, triangles) = square(10);
        let thin = thin(&points, &triangles, 1_000, &Spared { places: &[], about: 0.0 });
        let mut back: Vec<[u32; 3]> =
            thin.triangles.iter().map(|t| t.map(|i| thin.ids[i as usize])).collect();
        back.sort_unstable();
        let mut all = triangles;
        all.sort_unstable();
        assert_eq!(back, all);
    }

    #[test]
    fn a_thinned_cloud_has_no_more_than_asked() {
        let (points, _) = square(300);
        let ids = thin_cloud(&points, 5_000);
        assert!((2_000..=5_000).contains(&ids.len()), "{}", ids.len());
    }
}
