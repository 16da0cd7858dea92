//! One face from its bounds to triangles: how it is laid into a plane is planned before the edges
//! are final, because cuts and long sides give them further points.

use super::curve::{Curve, Frame, even, pieces};
use std::collections::BTreeMap;

use super::cut::{Cut, artificial_circle};
use super::loops::{Loop, Node, chains, double_area, unwrap};
use super::net::Net;
use super::plane::Plane;
use super::steps::Steps;
use super::surface::Surface;
use super::topology::{Brep, Face};
use super::triangulate::{FaceMesh, Trouble, triangulate};
use crate::error::Result;
use crate::primitive::{Direction, Point3, Vec3};

/// How a face is laid into a plane.
#[derive(Debug)]
pub(super) struct Plan {
    /// The face's surface; a bounded piece of a sphere in stereographic parameters.
    surface: Surface,
    steps: Steps,
    cut: Option<Cut>,
    /// The face is its whole closed surface but for holes.
    whole: bool,
    /// Where a surface that runs round both ways is cut a second time.
    second: Option<f64>,
}

impl Plan {
    /// Plans a face and gives its edges the points it needs. The outer error is one of limits, the
    /// inner one says what is wrong with the face.
    pub(super) fn new(
        face: &Face,
        brep: &Brep,
        net: &mut Net,
        error: f64,
    ) -> Result<std::result::Result<Plan, Trouble>> {
        let chains = chains(face, brep, net);
        // Seams alone do not bound a face.
        let bounded = !chains.is_empty();
        let surface = suited(&face.surface, &chains, &net.points);
        let loops = unwrap(&surface, chains, &net.points);
        if loops.iter().flat_map(|l| &l.nodes).any(|node| is_off(&surface, node, &net.points)) {
            return Ok(Err(Trouble::Shape("its bounds lie more than 1 mm off its surface")));
        }
        let plan = match plan(surface, &loops, bounded, error) {
            Ok(plan) => plan,
            Err(reason) => return Ok(Err(Trouble::Shape(reason))),
        };
        if !matches!(plan.surface, Surface::Plane(_)) {
            plan.shorten(&loops, net, brep)?;
        }
        if let Some(cut) = &plan.cut {
            // Further points may have come between: the crossings are sought among all.
            let loops = plan.loops(face, brep, net);
            cut.insert(&plan.surface, &loops, &brep.edges, net)?;
        }
        Ok(Ok(plan))
    }

    /// Triangles of the planned face, within `error`, mm, of its surface.
    pub(super) fn mesh(
        &self,
        face: &Face,
        brep: &Brep,
        net: &Net,
        error: f64,
    ) -> std::result::Result<FaceMesh, Trouble> {
        let mut loops = self.loops(face, brep, net);
        if self.vanished(face, &loops) {
            return Ok(FaceMesh::default());
        }
        let mut plane = Plane::new(&self.steps, net.points.len());
        if let (Some(cut), Some(at)) = (&self.cut, self.second) {
            let first = net.points.len() as u32;
            let (circles, points) = artificial_circle(&self.surface, cut, at, &self.steps, first);
            plane.own.extend(points);
            loops.extend(circles);
        }
        let laid = match &self.cut {
            Some(cut) => cut.lay_out(&self.surface, &loops, self.whole, &mut plane),
            None => lay_out_flat(&loops, self.surface.periods(), &mut plane),
        };
        laid.map_err(Trouble::Shape)?;
        triangulate(&self.surface, plane, &net.points, error, MOST_POINTS_OF_A_FACE)
    }

    /// Whether the face is so narrow that all its bounds are single chords.
    fn vanished(&self, face: &Face, loops: &[Loop]) -> bool {
        loops.is_empty() && !face.loops.is_empty() && !self.whole && self.second.is_none()
    }

    fn loops(&self, face: &Face, brep: &Brep, net: &Net) -> Vec<Loop> {
        unwrap(&self.surface, chains(face, brep, net), &net.points)
    }

    /// Divides pieces of edges that are long against the steps of the surface.
    fn shorten(&self, loops: &[Loop], net: &mut Net, brep: &Brep) -> Result<()> {
        let mut added: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
        for loop_ in loops {
            let n = loop_.nodes.len();
            for (i, node) in loop_.nodes.iter().enumerate() {
                let next = &loop_.nodes[(i + 1) % n];
                let Some((edge, from, to)) = node.piece else { continue };
                let uv = super::loops::near(next.uv, node.uv, self.surface.periods());
                let place = |n: &Node| net.points.get(n.point as usize).copied();
                let (Some(a), Some(b)) = (place(node), place(next)) else { continue };
                let length = self.steps.length((node.uv, &a), (uv, &b));
                if length > LONGEST_SIDE {
                    let inner = even(from, to, pieces(length)?);
                    added.entry(edge).or_default().extend(&inner[1..inner.len() - 1]);
                }
            }
        }
        for (edge, parameters) in added {
            net.insert(&brep.edges, edge, &parameters)?;
        }
        Ok(())
    }
}

fn plan(
    surface: Surface,
    loops: &[Loop],
    bounded: bool,
    error: f64,
) -> std::result::Result<Plan, &'static str> {
    let periods = surface.periods();
    let round = [0, 1].map(|axis| loops.iter().any(|l| l.winding[axis] != 0));
    let outer =
        loops.iter().map(double_area).fold(0.0, |a: f64, b| if b.abs() > a.abs() { b } else { a });
    let narrow = loops.is_empty() && bounded;
    let whole = !(narrow || round[0] || round[1]) && outer <= 0.0;
    let axis = match round {
        [true, true] => return Err("its bounds run round the surface both ways"),
        [true, false] => Some(0),
        [false, true] => Some(1),
        [false, false] if !whole || narrow => None,
        [false, false] => Some(closable(&surface)?),
    };
    let steps = Steps::new(&surface, loops, whole, error);
    let mut cut = None;
    let mut second = None;
    if let Some(axis) = axis {
        let period = periods[axis].unwrap_or(1.0);
        let found = Cut::choose(axis, period, loops, &steps);
        cut = Some(found.ok_or("no line was found along which it can be cut open")?);
        if let Some(other) = periods[1 - axis].filter(|_| whole) {
            second = Some(free_line(loops, 1 - axis, other));
        }
    }
    Ok(Plan { surface, steps, cut, whole: whole && second.is_none(), second })
}

/// The parameter along whose line a surface is cut that is closed in itself.
fn closable(surface: &Surface) -> std::result::Result<usize, &'static str> {
    if let Surface::Revolution { curve: Curve::Ellipse { .. }, arc: None, .. } = surface {
        // A circle that crosses the axis sweeps a surface that meets itself.
        let side = |v: &f64| surface.side_of_axis(*v) > 0.0;
        let samples = even(0.0, std::f64::consts::TAU, 64);
        if samples.iter().any(side) && !samples.iter().all(side) {
            return Err("its profile crosses its axis");
        }
    }
    let periods = surface.periods();
    let ends = |axis: usize| surface.poles().iter().filter(|p| p.axis == axis).count();
    match periods {
        [Some(_), Some(_)] => Ok(0),
        [Some(_), None] if ends(1) == 2 => Ok(0),
        [None, Some(_)] if ends(0) == 2 => Ok(1),
        _ => Err("its bounds do not enclose it on their left"),
    }
}

/// A parameter whose line is as far as possible from all bounds.
fn free_line(loops: &[Loop], axis: usize, period: f64) -> f64 {
    let mut values: Vec<f64> =
        loops.iter().flat_map(|l| &l.nodes).map(|n| n.uv[axis].rem_euclid(period)).collect();
    values.sort_by(f64::total_cmp);
    let Some(first) = values.first().copied() else { return 0.0 };
    values.push(first + period);
    let widest = values.windows(2).max_by(|a, b| (a[1] - a[0]).total_cmp(&(b[1] - b[0])));
    widest.map_or(0.0, |pair| 0.5 * (pair[0] + pair[1]))
}

/// Bounds that do not run round: the largest first, the others inside it.
fn lay_out_flat(
    loops: &[Loop],
    periods: [Option<f64>; 2],
    plane: &mut Plane<'_>,
) -> std::result::Result<(), &'static str> {
    let size = |i: &usize| double_area(&loops[*i]).abs();
    let largest = (0..loops.len()).max_by(|a, b| size(a).total_cmp(&size(b)));
    let outer = largest.ok_or("it has no bound")?;
    plane.lay_loop(&loops[outer], [0.0; 2]);
    for (_, loop_) in loops.iter().enumerate().filter(|(i, _)| *i != outer) {
        if periods == [None, None] {
            plane.lay_loop(loop_, [0.0; 2]);
        } else {
            plane.lay_hole(loop_, periods, None)?;
        }
    }
    Ok(())
}

/// The surface in the parameters that suit the face: a piece of a sphere is seen from a point
/// outside of it, so that it has neither seam nor pole.
fn suited(surface: &Surface, chains: &[Vec<Node>], points: &[Point3]) -> Surface {
    let Surface::Sphere { frame, radius } = surface else { return surface.clone() };
    let bounds: Vec<Vec<Vec3>> = chains
        .iter()
        .map(|nodes| {
            let arm =
                |n: &Node| points.get(n.point as usize).map(|p| (p - frame.origin).normalize());
            nodes.iter().filter_map(arm).collect()
        })
        .filter(|bound: &Vec<Vec3>| bound.len() > 1)
        .collect();
    let mut best: Option<(f64, Frame)> = None;
    for direction in directions(&bounds) {
        let nearest = bounds.iter().flatten().map(|b| (b - direction.into_inner()).norm());
        let clear = nearest.fold(f64::INFINITY, f64::min);
        if best.as_ref().is_some_and(|(known, _)| *known >= clear) {
            continue;
        }
        // The map runs round the pole the other way, so the frame is left-handed.
        let mut seen = Frame::new(frame.origin, direction, None);
        seen.y = -seen.y;
        let view = Surface::Stereographic { frame: seen, radius: *radius };
        let enclosed: f64 = bounds
            .iter()
            .map(|bound| {
                let nodes = bound.iter().map(|b| Node {
                    point: 0,
                    uv: view.parameters(&(frame.origin + b * *radius), None),
                    piece: None,
                });
                double_area(&Loop { nodes: nodes.collect(), winding: [0; 2] })
            })
            .sum();
        if enclosed > 0.0 && clear > 0.0 {
            best = Some((clear, seen));
        }
    }
    match best {
        Some((_, frame)) => Surface::Stereographic { frame, radius: *radius },
        None => surface.clone(),
    }
}

/// Candidates for a point outside of a piece of a sphere: even ones and the middles of its bounds.
fn directions(bounds: &[Vec<Vec3>]) -> Vec<Direction> {
    let turn = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    let mut all: Vec<Direction> = (0..DIRECTIONS)
        .map(|i| {
            let z = 1.0 - (2.0 * f64::from(i) + 1.0) / f64::from(DIRECTIONS);
            let (sin, cos) = (turn * f64::from(i)).sin_cos();
            let across = (1.0 - z * z).sqrt();
            Direction::new_normalize(Vec3::new(across * cos, across * sin, z))
        })
        .collect();
    for bound in bounds {
        if let Some(middle) = crate::primitive::unit(bound.iter().sum()) {
            all.push(middle);
            all.push(-middle);
        }
    }
    all
}

/// Whether a point of a bound is so far off that the file cannot mean this surface.
fn is_off(surface: &Surface, node: &Node, points: &[Point3]) -> bool {
    points.get(node.point as usize).is_none_or(|p| (surface.at(node.uv) - p).norm() > MOST_OFF)
}

/// A side of the face longer than this, in steps, is divided.
const LONGEST_SIDE: f64 = 1.8;
/// Millimetres: CAD kernels keep edges to a hundredth at worst.
const MOST_OFF: f64 = 1.0;
const DIRECTIONS: u32 = 200;
pub(super) const MOST_POINTS_OF_A_FACE: usize = 1_000_000;
