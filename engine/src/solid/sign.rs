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

/// 1 if the ray leaves through the triangle, −1 if it enters, 0 if it misses.
fn crossing(t: &[Point3; 3], p: &Point3) -> i32 {
    let c = t.map(|q| q - p);
    let turn = edge_side(&c[0], &c[1]);
    if turn == 0 || turn != edge_side(&c[1], &c[2]) || turn != edge_side(&c[2], &c[0]) {
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
