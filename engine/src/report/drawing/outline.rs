//! Outline of a body as it is seen along a direction, hidden lines left out.

use crate::primitive::{Point3, Pose, Vec3};
use crate::report::picture::{Camera, Mesh, Paint, Scene, creases, depths};

use super::paper::Spot;
use super::thin::{chained, longest, thinned};

/// Sharp edges and the border of what faces the viewer, in the camera's pixels (here mm on paper).
pub(super) fn outline(
    points: &[Point3],
    triangles: &[[u32; 3]],
    camera: &Camera,
) -> Vec<Vec<Spot>> {
    let fine = Camera {
        scale: camera.scale * FINE,
        width: camera.width * FINE as usize,
        height: camera.height * FINE as usize,
        ..camera.clone()
    };
    let mesh = Mesh {
        points,
        triangles,
        normals: None,
        machine_from_mesh: Pose::identity(),
        paint: Paint::Solid,
        point_radius: 0.0,
    };
    let depths = depths(&Scene { meshes: vec![mesh], strokes: Vec::new() }, &fine);
    // As far as a surface at a slope of two falls within a pixel.
    let lift = 3.0 / fine.scale;
    let seen = |p: &Point3| {
        let [x, y, z] = fine.project(p);
        let near = |dx: f64, dy: f64| {
            let (x, y) = (x + dx, y + dy);
            let inside = x >= 0.0 && y >= 0.0 && x < fine.width as f64 && y < fine.height as f64;
            inside && f64::from(depths[y as usize * fine.width + x as usize]) <= z + lift
        };
        [(0.0, 0.0), (-1.0, 0.0), (1.0, 0.0), (0.0, -1.0), (0.0, 1.0)]
            .iter()
            .any(|d| near(d.0, d.1))
    };
    let mut pieces = Vec::new();
    let edges = creases(points, triangles).into_iter();
    for edge in edges.chain(borders(points, triangles, &camera.back)) {
        let [Some(a), Some(b)] = [edge.first(), edge.last()] else { continue };
        let steps = (((b - a).norm() * fine.scale).ceil().min(20_000.0) as usize).max(1);
        let at = |i: usize| a + (b - a) * (i as f64 / steps as f64);
        let mut from = None;
        // The middle of each step speaks for it.
        for i in 0..=steps {
            let shown = i < steps && seen(&nalgebra::center(&at(i), &at(i + 1)));
            match (from, shown) {
                (None, true) => from = Some(i),
                (Some(first), false) => {
                    pieces.push([at(first), at(i)].map(|p| flat(camera, &p)));
                    from = None;
                }
                _ => {}
            }
        }
    }
    longest(chained(&pieces).iter().map(|line| thinned(line, THIN)).collect(), MOST)
}

/// Edges between a triangle that faces the viewer and one that does not.
fn borders(points: &[Point3], triangles: &[[u32; 3]], back: &Vec3) -> Vec<Vec<Point3>> {
    let corner = |i: u32| points.get(i as usize).copied();
    let faces = |t: &[u32; 3]| -> Option<bool> {
        let [a, b, c] = [corner(t[0])?, corner(t[1])?, corner(t[2])?];
        Some((b - a).cross(&(c - a)).dot(back) > 0.0)
    };
    let mut edges: Vec<(u32, u32, Option<bool>)> = triangles
        .iter()
        .map(|t| (faces(t), t))
        .flat_map(|(f, &[a, b, c])| [(a, b), (b, c), (c, a)].map(|(a, b)| (a.min(b), a.max(b), f)))
        .collect();
    edges.sort_unstable();
    let border = |same: &&[(u32, u32, Option<bool>)]| same.len() == 2 && same[0].2 != same[1].2;
    let same = edges.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)).filter(border);
    same.filter_map(|e| Some(vec![corner(e[0].0)?, corner(e[0].1)?])).collect()
}

/// Place on paper.
pub(super) fn flat(camera: &Camera, p: &Point3) -> Spot {
    let [x, y, _] = camera.project(p);
    [x, y]
}

/// Pixels of the depth buffer for each millimetre on paper.
const FINE: f64 = 8.0;
/// How far points that are left out may lie off, mm on paper: a third of a printer's dot.
pub(super) const THIN: f64 = 0.015;
/// Points of all lines of one body at most: some 80 kB.
pub(super) const MOST: usize = 10_000;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::primitive::Direction;
    use crate::report::picture::look;

    fn solid(low: [f64; 3], high: [f64; 3]) -> (Vec<Point3>, Vec<[u32; 3]>) {
        let at = |i: u32| [0, 1, 2].map(|k| if i >> k & 1 == 1 { high[k] } else { low[k] });
        let quads =
            [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
        let triangles =
            quads.iter().flat_map(|[a, b, c, d]| [[*a, *b, *c], [*a, *c, *d]]).collect();
        ((0..8).map(|i| Point3::from(at(i))).collect(), triangles)
    }

    /// A box of 40 x 20 with a small one under it and another on top, seen from above at 1:2.
    #[test]
    fn what_is_hidden_is_left_out() {
        let mut points = Vec::new();
        let mut triangles: Vec<[u32; 3]> = Vec::new();
        for (low, high) in [
            ([-20.0, -10.0, 0.0], [20.0, 10.0, 5.0]),
            ([-5.0, -5.0, -9.0], [5.0, 5.0, -1.0]),
            ([10.0, -5.0, 6.0], [15.0, 5.0, 8.0]),
        ] {
            let (p, t) = solid(low, high);
            let first = points.len() as u32;
            points.extend(p);
            triangles.extend(t.iter().map(|t| t.map(|i| i + first)));
        }
        let mut camera = look(&Direction::new_unchecked(Vec3::z()), 60, 40);
        camera.scale = 0.5;
        let lines = outline(&points, &triangles, &camera);
        // Paper: x to the right and y down from the middle, half as long.
        let on = |x: f64, y: f64| [30.0 + x / 2.0, 20.0 - y / 2.0];
        let passes = |p: Spot| {
            lines
                .iter()
                .any(|l| l.windows(2).any(|w| super::super::thin::off(&p, &w[0], &w[1]) < 0.02))
        };
        for shown in [on(20.0, 3.0), on(-20.0, -10.0), on(0.0, 10.0), on(10.0, 0.0), on(12.0, 5.0)]
        {
            assert!(passes(shown), "{shown:?} of {lines:?}");
        }
        for hidden in [on(5.0, 0.0), on(0.0, 5.0), on(-5.0, -5.0)] {
            assert!(!passes(hidden), "{hidden:?}");
        }
        // Two rectangles and nothing else.
        let length: f64 = lines
            .iter()
            .flat_map(|l| l.windows(2))
            .map(|w| (w[1][0] - w[0][0]).hypot(w[1][1] - w[0][1]))
            .sum();
        assert!((length - (60.0 + 15.0)).abs() < 0.5, "{length}");
    }
}
