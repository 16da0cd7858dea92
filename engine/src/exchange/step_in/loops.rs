//! Bounds of a face as closed sequences of parameters, unwrapped across seams and opened at poles.

use super::net::Net;
use super::surface::{Pole, Surface};
use super::topology::{Brep, Face, Use};
use crate::primitive::Point3;

/// A closed sequence of nodes; the first is not repeated at the end.
#[derive(Debug, Clone, Default)]
pub(super) struct Loop {
    pub nodes: Vec<Node>,
    /// How often the loop runs round u and v.
    pub winding: [i32; 2],
}

/// A point of a bound in the parameters of the face.
#[derive(Debug, Clone, Copy)]
pub(super) struct Node {
    /// Index into the points of the net; counted on from its end for points of the face alone.
    pub point: u32,
    pub uv: [f64; 2],
    /// The piece of edge that leads to the next node: edge and both parameters.
    pub piece: Option<(usize, f64, f64)>,
}

/// Nodes of all bounds of a face, without the edges that the face has on both sides.
pub(super) fn chains(face: &Face, brep: &Brep, net: &Net) -> Vec<Vec<Node>> {
    without_seams(&face.loops)
        .iter()
        .map(|uses| {
            debug_assert!(uses.windows(2).all(|w| brep.end(w[0]) == brep.start(w[1])));
            uses.iter().flat_map(|u| pieces(*u, net)).collect()
        })
        .collect()
}

/// Gives each node its parameters and counts the turns of each loop. A loop of two points has
/// both its sides on one chord and encloses nothing: it is left out.
pub(super) fn unwrap(surface: &Surface, chains: Vec<Vec<Node>>, points: &[Point3]) -> Vec<Loop> {
    let poles = surface.poles();
    let periods = surface.periods();
    chains
        .into_iter()
        .filter(|nodes| nodes.len() > 2)
        .filter_map(|nodes| unwrap_loop(surface, nodes, points, &poles, periods))
        .collect()
}

/// Twice the area a loop encloses in the plane of the parameters, positive counter-clockwise.
pub(super) fn double_area(loop_: &Loop) -> f64 {
    let n = loop_.nodes.len();
    let Some(first) = loop_.nodes.first() else { return 0.0 };
    (0..n)
        .map(|i| {
            let (a, b) = (loop_.nodes[i].uv, loop_.nodes[(i + 1) % n].uv);
            let (a, b) = (
                [a[0] - first.uv[0], a[1] - first.uv[1]],
                [b[0] - first.uv[0], b[1] - first.uv[1]],
            );
            a[0] * b[1] - b[0] * a[1]
        })
        .sum()
}

/// Joins loops across the edges that one face uses twice: there it borders only on itself.
fn without_seams(loops: &[Vec<Use>]) -> Vec<Vec<Use>> {
    let mut uses: Vec<(Use, usize)> = Vec::new();
    for uses_of_loop in loops {
        let start = uses.len();
        let n = uses_of_loop.len();
        uses.extend(uses_of_loop.iter().enumerate().map(|(i, u)| (*u, start + (i + 1) % n)));
    }
    let mut by_edge = std::collections::HashMap::new();
    let mut twin = vec![None; uses.len()];
    for (i, (u, _)) in uses.iter().enumerate() {
        if let Some(other) = by_edge.insert(u.edge, i) {
            let other: usize = other;
            if uses[other].0.forward != u.forward {
                (twin[i], twin[other]) = (Some(other), Some(i));
            }
        }
    }
    let mut done: Vec<bool> = twin.iter().map(Option::is_some).collect();
    let mut joined = Vec::new();
    for first in 0..uses.len() {
        if done[first] {
            continue;
        }
        let mut chain = Vec::new();
        let mut at = first;
        while !done[at] {
            done[at] = true;
            chain.push(uses[at].0);
            at = uses[at].1;
            // A seam ends this way; the walk goes on behind its other use.
            let mut hops = 0;
            while let Some(other) = twin[at] {
                at = uses[other].1;
                hops += 1;
                if hops > uses.len() {
                    break;
                }
            }
        }
        joined.push(chain);
    }
    joined
}

/// Nodes of one use, its last point left to the next use.
fn pieces(u: Use, net: &Net) -> Vec<Node> {
    let division = &net.divisions[u.edge];
    let count = division.points.len();
    let at = |i: usize| if u.forward { i } else { count - 1 - i };
    (0..count - 1)
        .map(|i| Node {
            point: division.points[at(i)],
            uv: [0.0; 2],
            piece: Some((u.edge, division.parameters[at(i)], division.parameters[at(i + 1)])),
        })
        .collect()
}

fn unwrap_loop(
    surface: &Surface,
    mut nodes: Vec<Node>,
    points: &[Point3],
    poles: &[Pole],
    periods: [Option<f64>; 2],
) -> Option<Loop> {
    let pole_at = |node: &Node| {
        let p = points.get(node.point as usize)?;
        poles.iter().find(|pole| (pole.point - p).norm() <= AT_POLE)
    };
    // Start where the parameters are known.
    let start = nodes.iter().position(|node| pole_at(node).is_none())?;
    nodes.rotate_left(start);
    let first_point = points.get(nodes[0].point as usize)?;
    let origin = surface.parameters(first_point, None);
    let mut before = origin;
    let mut known: Vec<Option<[f64; 2]>> = Vec::with_capacity(nodes.len());
    for node in &nodes {
        if pole_at(node).is_some() {
            known.push(None);
            continue;
        }
        let uv = surface.parameters(points.get(node.point as usize)?, Some(before));
        before = near(uv, before, periods);
        known.push(Some(before));
    }
    let closing = near(origin, before, periods);
    Some(assemble(&nodes, &known, closing, &pole_at, periods))
}

/// Opens the poles: arriving and leaving are two nodes on the pole's line.
fn assemble<'p>(
    nodes: &[Node],
    known: &[Option<[f64; 2]>],
    closing: [f64; 2],
    pole_at: &impl Fn(&Node) -> Option<&'p Pole>,
    periods: [Option<f64>; 2],
) -> Loop {
    let n = nodes.len();
    let origin = known[0].unwrap_or_default();
    let mut shift = [0.0; 2];
    let mut out = Vec::with_capacity(n);
    for i in 0..n {
        if let Some(uv) = known[i] {
            out.push(Node { uv: [uv[0] + shift[0], uv[1] + shift[1]], ..nodes[i] });
            continue;
        }
        let Some(pole) = pole_at(&nodes[i]) else { continue };
        let arriving = out.last().map_or(origin, |node: &Node| node.uv);
        let next = known[i + 1..].iter().flatten().next().copied().unwrap_or(closing);
        let free = 1 - pole.axis;
        let high = known.iter().flatten().all(|uv| uv[pole.axis] <= pole.value);
        let leaving = next[free] + shift[free];
        let turned = match periods[free] {
            Some(period) => {
                // Along the line with the face on the left: down u on the upper side.
                let falling = high == (pole.axis == 1);
                let step = (leaving - arriving[free]) / period;
                let step = if falling { -((-step).rem_euclid(1.0)) } else { step.rem_euclid(1.0) };
                let step = if step.abs() > 1.0 - 1e-7 { 0.0 } else { step };
                arriving[free] + step * period
            }
            None => leaving,
        };
        shift[free] += turned - leaving;
        for (value, piece) in [(arriving[free], None), (turned, nodes[i].piece)] {
            let mut uv = [pole.value; 2];
            uv[free] = value;
            out.push(Node { uv, piece, ..nodes[i] });
        }
    }
    let winding = [0, 1].map(|axis| match periods[axis] {
        Some(period) => ((closing[axis] + shift[axis] - origin[axis]) / period).round() as i32,
        None => 0,
    });
    Loop { nodes: out, winding }
}

/// `uv` moved by whole periods next to `reference`.
pub(super) fn near(mut uv: [f64; 2], reference: [f64; 2], periods: [Option<f64>; 2]) -> [f64; 2] {
    for axis in 0..2 {
        if let Some(period) = periods[axis] {
            uv[axis] -= period * ((uv[axis] - reference[axis]) / period).round();
        }
    }
    uv
}

/// A point nearer to a pole than this, mm, is the pole.
const AT_POLE: f64 = 1e-5;
