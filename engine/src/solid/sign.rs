//! Inside or outside of a closed mesh: the winding number along one ray.
//!
//! Crossings of a ray along +x are counted with their sign. Whether the ray crosses a triangle is an
//! exact question in the y-z plane; ties (a ray through an edge or corner) are broken by moving the
//! point by (ε, ε²), the same for every triangle, so a closed mesh always gives a consistent count
//! (H. Edelsbrunner, E. Mücke 1990, Simulation of simplicity). A count above zero is inside, so
//! overlapping shells are both solid and a cavity turned inward is not.

use super::Mesh;
use super::exact::{determinant_sign, sign_of_difference};
use crate::primitive::{Point3, Vec3};

/// Winding number of a closed mesh about a point; points on the surface may fall on either side.
pub(super) fn winding(mesh: &Mesh, p: &Point3) -> i32 {
    let bvh = &mesh.bvh;
    let r = p - bvh.middle;
    let mut count = 0;
    let mut stack = Vec::with_capacity(64);
    if !bvh.nodes.is_empty() {
        stack.push(0u32);
    }
    while let Some(i) = stack.pop() {
        let n = &bvh.nodes[i as usize];
        let misses = |k: usize| f64::from(n.low[k]) > r[k] || f64::from(n.high[k]) < r[k];
        if misses(1) || misses(2) || f64::from(n.high[0]) < r.x {
            continue;
        }
        if n.is_leaf() {
            count += n.range().map(|k| crossing(&mesh.corners_in_order(k), p)).sum::<i32>();
        } else {
            stack.extend([n.first, n.first + 1]);
        }
    }
    count
}

/// Where the line along x through a place of the y-z plane meets a closed mesh, ascending, each with 1 where it
/// leaves and −1 where it enters.
pub(super) fn crossings(mesh: &Mesh, y: f64, z: f64) -> Vec<(f64, i32)> {
    let bvh = &mesh.bvh;
    let p = Point3::new(0.0, y, z);
    let r = p - bvh.middle;
    let mut found = Vec::new();
    let mut stack = if bvh.nodes.is_empty() { Vec::new() } else { vec![0u32] };
    while let Some(i) = stack.pop() {
        let n = &bvh.nodes[i as usize];
        let misses = |k: usize| f64::from(n.low[k]) > r[k] || f64::from(n.high[k]) < r[k];
        if misses(1) || misses(2) {
            continue;
        }
        if !n.is_leaf() {
            stack.extend([n.first, n.first + 1]);
            continue;
        }
        for k in n.range() {
            let c = mesh.corners_in_order(k).map(|q| q - p);
            let turn = side(&c);
            if turn != 0 {
                let weight = |u: &Vec3, v: &Vec3| u.y * v.z - u.z * v.y;
                let w = [weight(&c[1], &c[2]), weight(&c[2], &c[0]), weight(&c[0], &c[1])];
                let sum: f64 = w.iter().sum();
                let at = (0..3).map(|i| w[i] * c[i].x).sum::<f64>() / sum;
                let any = (c[0].x + c[1].x + c[2].x) / 3.0;
                found.push((if at.is_finite() { at } else { any }, i32::from(turn)));
            }
        }
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    found
}

/// Side on which all edges of a projected triangle pass the origin, 0 if they do not agree.
fn side(c: &[Vec3; 3]) -> i8 {
    let turn = edge_side(&c[0], &c[1]);
    if turn == edge_side(&c[1], &c[2]) && turn == edge_side(&c[2], &c[0]) { turn } else { 0 }
}

/// 1 if the ray leaves through the triangle, −1 if it enters, 0 if it misses.
fn crossing(t: &[Point3; 3], p: &Point3) -> i32 {
    let c = t.map(|q| q - p);
    let turn = side(&c);
    if turn == 0 {
        return 0;
    }
    let ahead = if c.iter().all(|v| v.x > 0.0) {
        true
    } else if c.iter().all(|v| v.x < 0.0) {
        false
    } else {
        determinant_sign(&c[0], &c[1], &c[2]) * turn > 0
    };
    if ahead { i32::from(turn) } else { 0 }
}

/// Side of the origin, moved by (ε, ε²), on which the projected edge passes; 0 only for no edge.
fn edge_side(u: &Vec3, v: &Vec3) -> i8 {
    let sign = |x: f64| i8::from(x > 0.0) - i8::from(x < 0.0);
    match sign_of_difference(u.y, v.z, u.z, v.y) {
        0 if u.z != v.z => sign(u.z - v.z),
        0 => sign(v.y - u.y),
        s => s,
    }
}
