//! Outline of a region on its plane: the loops of mesh edges round its triangles, simplified.
//!
//! Simplification: Douglas and Peucker, "Algorithms for the reduction of the number of points
//! required to represent a digitized line" (1973).

use std::collections::{HashMap, HashSet};

use nalgebra::Point2;
use rayon::prelude::*;

use super::Region;
use crate::primitive::{Plane, Point3, frame_from_axis};

impl Region {
    /// Loops round the region's triangles, projected on a plane: the outline counter-clockwise
    /// about the plane's normal, then the holes in it clockwise, the largest first. Points that
    /// matter less than `tolerance` (mm) are left out, and holes narrower than four of it.
    /// `None` for a point cloud, or if no triangle has all corners in the region.
    #[must_use]
    pub fn outline(&self, plane: &Plane, tolerance: f64) -> Option<Vec<Vec<Point3>>> {
        let frame = frame_from_axis(&plane.normal);
        let flat = |id: u32| {
            let v =
                frame.inverse_transform_vector(&(self.scan.points()[id as usize] - plane.point));
            Point2::new(v.x, v.y)
        };
        let mut loops: Vec<(f64, Vec<Point2<f64>>)> = self
            .edge_loops()
            .iter()
            .map(|l| simplified(&l.iter().map(|&i| flat(i)).collect::<Vec<_>>(), tolerance))
            .filter(|l| l.len() >= 3)
            .map(|l| (area(&l), l))
            .collect();
        loops.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
        let (outer, outline) = loops.first()?.clone();
        let smallest = (4.0 * tolerance).powi(2);
        let inside = |l: &[Point2<f64>]| l.iter().all(|p| contains(&outline, p));
        let holes: Vec<Vec<Point2<f64>>> = loops[1..]
            .iter()
            .filter(|(a, l)| a.abs() > smallest && a.signum() != outer.signum() && inside(l))
            .map(|(_, l)| l.clone())
            .collect();
        let raised = |l: Vec<Point2<f64>>, ccw: bool| {
            let turn = (area(&l) > 0.0) != ccw;
            let mut out: Vec<Point3> = l
                .iter()
                .map(|p| plane.point + frame * nalgebra::Vector3::new(p.x, p.y, 0.0))
                .collect();
            if turn {
                out.reverse();
            }
            out
        };
        let mut all = vec![raised(outline.clone(), true)];
        all.extend(holes.into_iter().map(|h| raised(h, false)));
        Some(all)
    }

    /// Closed loops of mesh edges that have a triangle of the region on one side only.
    fn edge_loops(&self) -> Vec<Vec<u32>> {
        // Such an edge has both ends at the rim: beyond it is a point of none or nothing.
        let mut place = vec![OUTSIDE; self.scan.points().len()];
        self.ids.iter().for_each(|&i| place[i as usize] = INSIDE);
        let is_rim = |i: u32| {
            let beyond = |j: &u32| place[*j as usize] == OUTSIDE;
            self.scan.is_border(i) || self.scan.neighbours(i).iter().any(beyond)
        };
        let rim: Vec<u32> = if self.scan.is_mesh() {
            self.ids.iter().copied().filter(|&i| is_rim(i)).collect()
        } else {
            return Vec::new();
        };
        rim.iter().for_each(|&i| place[i as usize] = RIM);
        let at_rim = |t: &[u32; 3]| {
            let at = t.map(|c| place[c as usize]);
            let inside = at.iter().all(|p| *p != OUTSIDE);
            inside && at.iter().filter(|p| **p == RIM).count() > 1
        };
        let triangles = self.scan.triangles().par_iter().with_min_len(CHUNK);
        let edges: HashSet<(u32, u32)> = triangles
            .filter(|t| at_rim(t))
            .flat_map_iter(|t| (0..3).map(|k| (t[k], t[(k + 1) % 3])))
            .filter(|(a, b)| place[*a as usize] == RIM && place[*b as usize] == RIM)
            .collect();
        let mut border: Vec<(u32, u32)> =
            edges.iter().filter(|(a, b)| !edges.contains(&(*b, *a))).copied().collect();
        border.sort_unstable();
        let mut next: HashMap<u32, Vec<u32>> = HashMap::new();
        for &(a, b) in border.iter().rev() {
            next.entry(a).or_default().push(b);
        }
        let mut loops = Vec::new();
        for &(start, _) in &border {
            let mut path = Vec::new();
            let mut at = start;
            while let Some(to) = next.get_mut(&at).and_then(Vec::pop) {
                path.push(at);
                at = to;
                if at == start {
                    break;
                }
            }
            if path.len() >= 3 && at == start {
                loops.push(path);
            }
        }
        loops
    }
}

/// Signed area, positive counter-clockwise.
fn area(l: &[Point2<f64>]) -> f64 {
    let pairs = l.iter().zip(l.iter().cycle().skip(1));
    pairs.map(|(a, b)| a.x * b.y - a.y * b.x).sum::<f64>() / 2.0
}

/// Whether a point is inside a closed loop (even-odd rule).
fn contains(l: &[Point2<f64>], p: &Point2<f64>) -> bool {
    let pairs = l.iter().zip(l.iter().cycle().skip(1));
    let crossings = pairs.filter(|(a, b)| {
        (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x)
    });
    crossings.count() % 2 == 1
}

/// A closed loop without the points that matter less than `tolerance`.
fn simplified(l: &[Point2<f64>], tolerance: f64) -> Vec<Point2<f64>> {
    let Some(far) = (0..l.len())
        .max_by(|&a, &b| (l[a] - l[0]).norm_squared().total_cmp(&(l[b] - l[0]).norm_squared()))
    else {
        return Vec::new();
    };
    let mut keep = vec![false; l.len() + 1];
    let closed: Vec<Point2<f64>> = l.iter().chain(l.first()).copied().collect();
    keep[0] = true;
    keep[far] = true;
    let mut work = vec![(0, far), (far, l.len())];
    while let Some((a, b)) = work.pop() {
        let worst = (a + 1..b)
            .map(|k| (k, off_segment(&closed[k], &closed[a], &closed[b])))
            .max_by(|x, y| x.1.total_cmp(&y.1));
        if let Some((k, d)) = worst
            && d > tolerance
        {
            keep[k] = true;
            work.extend([(a, k), (k, b)]);
        }
    }
    l.iter().zip(&keep).filter(|(_, k)| **k).map(|(p, _)| *p).collect()
}

fn off_segment(p: &Point2<f64>, a: &Point2<f64>, b: &Point2<f64>) -> f64 {
    let d = b - a;
    let length = d.norm_squared();
    let t = if length > 0.0 { ((p - a).dot(&d) / length).clamp(0.0, 1.0) } else { 0.0 };
    (p - (a + d * t)).norm()
}

/// Where a point is, as seen from a region.
const OUTSIDE: u8 = 0;
const INSIDE: u8 = 1;
const RIM: u8 = 2;
const CHUNK: usize = 1 << 14;
