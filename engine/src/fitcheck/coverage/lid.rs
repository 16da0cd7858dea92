//! Lid over a hole of a scan: the triangles of least area over its border.
//!
//! G. Barequet, M. Sharir, 1995, "Filling gaps in the boundary of a polyhedron": dynamic programming over the
//! chords of the loop. A long loop is thinned first; a lid says where a surface may be, not where it is.

use crate::primitive::Point3;

/// Corners and triangles of the lid of a closed loop; no triangles for a loop of fewer than three points.
pub(super) fn over(border: &[Point3]) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let step = border.len().div_ceil(MOST);
    let corners: Vec<Point3> = border.iter().copied().step_by(step.max(1)).collect();
    let n = corners.len();
    if n < 3 {
        return (corners, Vec::new());
    }
    let area = |i: usize, k: usize, j: usize| {
        0.5 * (corners[k] - corners[i]).cross(&(corners[j] - corners[i])).norm()
    };
    // Least area of the part of the loop from i to j, and the corner that makes the triangle on its chord.
    let mut least = vec![0.0; n * n];
    let mut apex = vec![0; n * n];
    for length in 2..n {
        for i in 0..n - length {
            let j = i + length;
            let cost = |k: usize| least[i * n + k] + least[k * n + j] + area(i, k, j);
            let first = (i + 1, cost(i + 1));
            let best =
                (i + 2..j).map(|k| (k, cost(k))).fold(first, |a, b| if b.1 < a.1 { b } else { a });
            (apex[i * n + j], least[i * n + j]) = best;
        }
    }
    let mut triangles = Vec::with_capacity(n - 2);
    let mut open = vec![(0, n - 1)];
    while let Some((i, j)) = open.pop() {
        if j - i < 2 {
            continue;
        }
        let k = apex[i * n + j];
        triangles.push([i as u32, k as u32, j as u32]);
        open.extend([(i, k), (k, j)]);
    }
    (corners, triangles)
}

/// Most corners of a lid: the work grows with their cube.
const MOST: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;

    fn area(points: &[Point3], triangles: &[[u32; 3]]) -> f64 {
        let one = |t: &[u32; 3]| {
            let [a, b, c] = t.map(|i| points[i as usize]);
            0.5 * (b - a).cross(&(c - a)).norm()
        };
        triangles.iter().map(one).sum()
    }

    /// An L of area 3, and a circle of 300 points: no lid of a flat loop is smaller than what it encloses.
    #[test]
    fn flat_loops_get_their_own_area() {
        let l = [[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [1.0, 1.0], [1.0, 2.0], [0.0, 2.0]];
        let l: Vec<Point3> = l.iter().map(|p| Point3::new(p[0], p[1], 5.0)).collect();
        let (points, triangles) = over(&l);
        assert_eq!(triangles.len(), 4);
        assert!((area(&points, &triangles) - 3.0).abs() < 1e-12);
        let turn = |k: usize| std::f64::consts::TAU * k as f64 / 300.0;
        let circle: Vec<Point3> =
            (0..300).map(|k| Point3::new(turn(k).cos(), turn(k).sin(), 0.0)).collect();
        let (points, triangles) = over(&circle);
        let sides = points.len() as f64;
        let polygon = 0.5 * sides * (std::f64::consts::TAU / sides).sin();
        assert!((area(&points, &triangles) - polygon).abs() < 1e-9);
        assert!(over(&circle[..2]).1.is_empty());
    }

    /// Two squares that meet at a right angle, their border a bent hexagon: the lid bends with them.
    #[test]
    fn a_bent_loop_gets_no_more_than_the_bent_surface() {
        let p = Point3::new;
        let bent = [
            p(0.0, 0.0, 0.0),
            p(1.0, 0.0, 0.0),
            p(1.0, 1.0, 0.0),
            p(1.0, 1.0, 1.0),
            p(0.0, 1.0, 1.0),
            p(0.0, 1.0, 0.0),
        ];
        let (points, triangles) = over(&bent);
        assert!(area(&points, &triangles) <= 2.0 + 1e-12);
    }
}
