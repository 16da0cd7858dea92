//! Deepest corner of a mesh in a solid over a whole motion.
//!
//! Branch and bound as for the distance: the signed distance changes by no more than the place it is
//! asked at, so that of a box's middle bounds all that lies in the box over a range of the motion.

use rayon::prelude::*;

use super::super::{Mesh, Solid};
use super::path::{Cell, Frame, Movement};
use super::search::of_box;
use super::{Least, rest};
use crate::error::Result;
use crate::primitive::Point3;

impl Solid {
    /// Least signed distance of the corners of a mesh (negative inside) over a motion, to within
    /// `tolerance` (mm) unless that takes too long. `None` for an empty mesh.
    pub(crate) fn deepest(
        &self,
        mesh: &Mesh,
        movements: &[Movement],
        tolerance: f64,
        go_on: &(dyn Fn() -> Result<()> + Sync),
    ) -> Result<Option<Least>> {
        let Some(&[first, ..]) = mesh.bvh.corners.first() else { return Ok(None) };
        let at_rest = Frame::new(movements, &Cell::at(&rest(movements)));
        let mut best = self.depth_at(&at_rest.carry(&mesh.points[first as usize]));
        let mut best_values = rest(movements);
        let whole = Cell::whole(movements);
        let root = State { bound: f64::NEG_INFINITY, cell: whole, what: What::Node(0) };
        let (mut open, mut floor, mut done) = (vec![root], f64::INFINITY, 0);
        while !open.is_empty() && done < WORK {
            go_on()?;
            open.sort_unstable_by(|a, b| a.bound.total_cmp(&b.bound));
            let rest = open.split_off(open.len().min(ROUND));
            done += open.len();
            let opened: Vec<Vec<(State, Option<f64>)>> =
                open.par_iter().map(|s| self.divide(s, mesh, movements)).collect();
            open = rest;
            for (state, depth) in opened.into_iter().flatten() {
                if let Some(depth) = depth.filter(|d| *d < best) {
                    (best, best_values) = (depth, state.cell.middle);
                }
                open.push(state);
            }
            let keep = |s: &State| s.bound < best - tolerance;
            floor = open.iter().filter(|s| !keep(s)).fold(floor, |f, s| f.min(s.bound));
            open.retain(keep);
        }
        floor = open.iter().fold(floor.min(best), |f, s| f.min(s.bound));
        Ok(Some(Least { distance: best, gap: best - floor, values: best_values }))
    }

    fn divide(
        &self,
        state: &State,
        mesh: &Mesh,
        movements: &[Movement],
    ) -> Vec<(State, Option<f64>)> {
        let frame = Frame::new(movements, &state.cell);
        let parts: Vec<State> = match state.what {
            What::Node(i) => {
                let node = &mesh.bvh.nodes[i as usize];
                let (middle, half) = of_box(node, &mesh.bvh.middle);
                let speeds = frame.speeds(&frame.carry(&middle), half.norm());
                match frame.widest(&speeds) {
                    Some((k, far)) if far > half.norm() && !node.is_leaf() => {
                        state.cell.split(k).map(|cell| State { cell, ..*state }).into()
                    }
                    _ if node.is_leaf() => {
                        let ids = node.range().flat_map(|k| mesh.bvh.corners[k]);
                        ids.map(|i| State { what: What::Corner(i), ..*state }).collect()
                    }
                    _ => [node.first, node.first + 1]
                        .map(|i| State { what: What::Node(i), ..*state })
                        .into(),
                }
            }
            What::Corner(i) => {
                let speeds = frame.speeds(&frame.carry(&mesh.points[i as usize]), 0.0);
                let Some((k, _)) = frame.widest(&speeds) else { return Vec::new() };
                state.cell.split(k).map(|cell| State { cell, ..*state }).into()
            }
        };
        parts.into_iter().map(|s| self.bounded(s, mesh, movements)).collect()
    }

    /// A state with its bound, and the depth at its middle if it is of one corner.
    fn bounded(
        &self,
        mut state: State,
        mesh: &Mesh,
        movements: &[Movement],
    ) -> (State, Option<f64>) {
        let frame = Frame::new(movements, &state.cell);
        let (middle, spread) = match state.what {
            What::Node(i) => {
                let (middle, half) = of_box(&mesh.bvh.nodes[i as usize], &mesh.bvh.middle);
                (middle, half.norm())
            }
            What::Corner(i) => (mesh.points[i as usize], 0.0),
        };
        let p = frame.carry(&middle);
        let depth = self.depth_at(&p);
        let reach = frame.reach(&frame.speeds(&p, spread));
        state.bound = state.bound.max(depth - spread - reach);
        (state, matches!(state.what, What::Corner(_)).then_some(depth))
    }

    fn depth_at(&self, p: &Point3) -> f64 {
        self.signed(p, f64::INFINITY).map_or(f64::INFINITY, |hit| hit.distance)
    }
}

/// Something that may reach deeper.
#[derive(Clone, Copy)]
struct State {
    bound: f64,
    cell: Cell,
    what: What,
}

#[derive(Clone, Copy)]
enum What {
    Node(u32),
    Corner(u32),
}

/// States opened in one round.
const ROUND: usize = 512;
/// States after which the bound reached is left as it is.
const WORK: usize = 400_000;
