//! Distances between points, segments and triangles with witness points, and whether triangles touch.
//!
//! A triangle pair is nearest at a corner and a face, at two edges, or touches where an edge pierces
//! a face; each case is evaluated and the least kept, so that no iteration and no tolerance is
//! involved (C. Ericson 2005, Real-Time Collision Detection, chapter 5). Touching is decided by exact
//! orientation signs (P. Guigue, O. Devillers 2003, Fast and robust triangle-triangle overlap test).

use super::exact::orientation;
use crate::primitive::{Point3, Vec3};

/// Three corners.
pub(crate) type Corners = [Point3; 3];

/// Where on a triangle a nearest point lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Place {
    /// Inside the face.
    Face,
    /// On the edge from corner i to corner i + 1.
    Edge(u8),
    /// At corner i.
    Corner(u8),
}

/// Nearest points of two things.
#[derive(Debug, Clone, Copy)]
pub(super) struct Gap {
    pub(super) squared: f64,
    pub(super) on_a: Point3,
    pub(super) on_b: Point3,
}

/// Nearest point of a triangle; degenerate triangles act as the segment or point they are.
pub(super) fn nearest_on_triangle(p: &Point3, t: &Corners) -> (Point3, Place) {
    let [a, b, c] = t;
    let (ab, bc, ca) = (b - a, c - b, a - c);
    let n = ab.cross(&-ca);
    let (pa, pb, pc) = (p - a, p - b, p - c);
    let inner = [ab.cross(&pa).dot(&n), bc.cross(&pb).dot(&n), ca.cross(&pc).dot(&n)];
    if inner.iter().all(|&s| s > 0.0) {
        return (p - n * (n.dot(&pa) / n.norm_squared()), Place::Face);
    }
    let mut best = (f64::INFINITY, *a, Place::Corner(0));
    // The nearest place lies on an edge that has the point on its outer side.
    for (i, (from, edge, rel)) in [(a, ab, pa), (b, bc, pb), (c, ca, pc)].iter().enumerate() {
        if inner[i] > 0.0 {
            continue;
        }
        let s = along(rel, edge);
        let (q, place) = match s {
            s if s <= 0.0 => (**from, Place::Corner(i as u8)),
            s if s >= 1.0 => (t[(i + 1) % 3], Place::Corner(((i + 1) % 3) as u8)),
            s => (*from + edge * s, Place::Edge(i as u8)),
        };
        let d = (p - q).norm_squared();
        if d < best.0 {
            best = (d, q, place);
        }
    }
    (best.1, best.2)
}

/// Nearest points of two triangles; distance zero and twice a common point if they touch.
pub(super) fn triangle_gap(a: &Corners, b: &Corners) -> Gap {
    let mut best = Gap { squared: f64::INFINITY, on_a: a[0], on_b: b[0] };
    for p in a {
        keep(&mut best, *p, nearest_on_triangle(p, b).0);
    }
    for q in b {
        keep(&mut best, nearest_on_triangle(q, a).0, *q);
    }
    for i in 0..3 {
        for j in 0..3 {
            if let Some((p, q)) = crossing(&a[i], &a[(i + 1) % 3], &b[j], &b[(j + 1) % 3]) {
                keep(&mut best, p, q);
            }
        }
    }
    if best.squared > 0.0
        && let Some(p) = common_point(a, b)
    {
        return Gap { squared: 0.0, on_a: p, on_b: p };
    }
    best
}

/// Whether two triangles share at least one point.
pub(super) fn touch(a: &Corners, b: &Corners) -> bool {
    let sides = |t: &Corners, o: &Corners| o.map(|p| orientation(&t[0], &t[1], &t[2], &p));
    let (of_b, of_a) = (sides(a, b), sides(b, a));
    if apart(&of_b) || apart(&of_a) {
        return false;
    }
    if of_b == [0; 3] || of_a == [0; 3] {
        return touch_in_plane(a, b);
    }
    pierces(a, b).is_some() || pierces(b, a).is_some()
}

/// Nearest points of two segments' interiors, `None` where an end is involved or they are parallel:
/// those cases belong to the corner distances.
fn crossing(p0: &Point3, p1: &Point3, q0: &Point3, q1: &Point3) -> Option<(Point3, Point3)> {
    let (u, v, w) = (p1 - p0, q1 - q0, p0 - q0);
    let (a, b, c) = (u.norm_squared(), u.dot(&v), v.norm_squared());
    let det = u.cross(&v).norm_squared();
    if det <= f64::EPSILON * f64::EPSILON * a * c {
        return None;
    }
    let (d, e) = (u.dot(&w), v.dot(&w));
    let mut s = (b * e - c * d) / det;
    if !(0.0..=1.0).contains(&s) {
        return None;
    }
    // One more exchange of feet takes out what cancellation left in nearly parallel segments.
    let t = (b * s + e) / c;
    s = (b * t - d) / a;
    let t = (b * s + e) / c;
    let inside = (0.0..=1.0).contains(&s) && (0.0..=1.0).contains(&t);
    inside.then(|| (p0 + u * s, q0 + v * t))
}

fn common_point(a: &Corners, b: &Corners) -> Option<Point3> {
    let n = (a[1] - a[0]).cross(&(a[2] - a[0]));
    let far = |q: &Point3| n.dot(&(q - a[0]));
    let s = b.map(|q| far(&q));
    // A quick no: all of b clearly on one side. The margin only decides who is asked exactly.
    let margin = 1e-9 * s.iter().fold(0.0f64, |m, x| m.max(x.abs()));
    if s.iter().all(|&x| x > margin) || s.iter().all(|&x| x < -margin) {
        return None;
    }
    pierces(a, b).or_else(|| pierces(b, a))
}

/// Where an edge of `a` passes through `b`, not in its plane.
fn pierces(a: &Corners, b: &Corners) -> Option<Point3> {
    let side = a.map(|p| orientation(&b[0], &b[1], &b[2], &p));
    for i in 0..3 {
        let j = (i + 1) % 3;
        if side[i] == side[j] || side[i] * side[j] > 0 {
            continue;
        }
        let (p, q) = (&a[i], &a[j]);
        let s = [0, 1, 2].map(|k| orientation(p, q, &b[k], &b[(k + 1) % 3]));
        if s.iter().all(|&x| x >= 0) || s.iter().all(|&x| x <= 0) {
            let n = (b[1] - b[0]).cross(&(b[2] - b[0]));
            let (u, v) = (n.dot(&(p - b[0])), n.dot(&(q - b[0])));
            let t = if u == v { 0.5 } else { (u / (u - v)).clamp(0.0, 1.0) };
            return Some(p + (q - p) * t);
        }
    }
    None
}

fn touch_in_plane(a: &Corners, b: &Corners) -> bool {
    let n = (a[1] - a[0]).cross(&(a[2] - a[0]));
    let m = (b[1] - b[0]).cross(&(b[2] - b[0]));
    // A point out of the plane turns plane orientations into space orientations.
    let lift = if n.norm_squared() >= m.norm_squared() { n } else { m };
    let apex = a[0] + lift / lift.norm().max(f64::MIN_POSITIVE);
    let turn = |p: &Point3, q: &Point3, r: &Point3| orientation(p, q, r, &apex);
    let holds = |t: &Corners, p: &Point3| {
        let s = [0, 1, 2].map(|k| turn(&t[k], &t[(k + 1) % 3], p));
        s.iter().all(|&x| x >= 0) || s.iter().all(|&x| x <= 0)
    };
    let cross = |i: usize, j: usize| {
        let (p, q, r, s) = (&a[i], &a[(i + 1) % 3], &b[j], &b[(j + 1) % 3]);
        turn(p, q, r) * turn(p, q, s) < 0 && turn(r, s, p) * turn(r, s, q) < 0
    };
    a.iter().any(|p| holds(b, p))
        || b.iter().any(|p| holds(a, p))
        || (0..3).any(|i| (0..3).any(|j| cross(i, j)))
}

fn apart(sides: &[i8; 3]) -> bool {
    sides.iter().all(|&s| s > 0) || sides.iter().all(|&s| s < 0)
}

fn along(rel: &Vec3, edge: &Vec3) -> f64 {
    let l = edge.norm_squared();
    if l > 0.0 { rel.dot(edge) / l } else { 0.0 }
}

fn keep(best: &mut Gap, on_a: Point3, on_b: Point3) {
    let squared = (on_a - on_b).norm_squared();
    if squared < best.squared {
        *best = Gap { squared, on_a, on_b };
    }
}
