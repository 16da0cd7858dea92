//! Sharp edges of a solid mesh, drawn as thin lines.

use crate::primitive::{Point3, Vec3};

/// Edges where neighbouring triangles turn by more than 30 degrees, or that have one triangle.
pub(in crate::report) fn creases(points: &[Point3], triangles: &[[u32; 3]]) -> Vec<Vec<Point3>> {
    let mut edges: Vec<(u32, u32, u32)> = (0u32..)
        .zip(triangles)
        .flat_map(|(t, [a, b, c])| [(a, b), (b, c), (c, a)].map(|(a, b)| (*a.min(b), *a.max(b), t)))
        .collect();
    edges.sort_unstable();
    edges
        .chunk_by(|a, b| (a.0, a.1) == (b.0, b.1))
        .filter(|same| match same {
            [a, b] => turns(points, triangles, a.2, b.2),
            _ => true,
        })
        .filter_map(|same| {
            let corner = |i: u32| points.get(i as usize).copied();
            Some(vec![corner(same[0].0)?, corner(same[0].1)?])
        })
        .collect()
}

fn turns(points: &[Point3], triangles: &[[u32; 3]], a: u32, b: u32) -> bool {
    match (normal(points, &triangles[a as usize]), normal(points, &triangles[b as usize])) {
        (Some(a), Some(b)) => a.dot(&b) < COS_SHARP,
        _ => false,
    }
}

fn normal(points: &[Point3], t: &[u32; 3]) -> Option<Vec3> {
    let p = |i: usize| points.get(t[i] as usize);
    let (a, b, c) = (p(0)?, p(1)?, p(2)?);
    (b - a).cross(&(c - a)).try_normalize(0.0)
}

/// Cosine of the turn from which an edge is sharp: 30 degrees.
const COS_SHARP: f64 = 0.866;
