//! Pairs of boxes and of triangles over ranges of a motion, and what opening one leaves.

use std::cmp::Ordering;

use super::super::bvh::Node;
use super::super::pairs::Witness;
use super::super::triangle::{Corners, triangle_gap};
use super::super::{Mesh, Solid};
use super::path::{Cell, Frame, Movement, Values};
use crate::primitive::{Point3, Vec3};

/// What is compared, and to what precision.
pub(super) struct Search<'a> {
    pub(super) solid: &'a Solid,
    pub(super) mesh: &'a Mesh,
    pub(super) movements: &'a [Movement],
    pub(super) tolerance: f64,
}

/// Something that may hold a nearer place.
#[derive(Debug, Clone, Copy)]
pub(super) struct State {
    /// Nothing in it is nearer, mm.
    pub(super) bound: f64,
    cell: Cell,
    body: u32,
    what: What,
}

/// Two nodes, or two triangles by their position among the leaves; the solid's first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum What {
    Nodes(u32, u32),
    Triangles(u32, u32),
}

/// The nearest found and where in the motion.
#[derive(Debug, Clone, Copy)]
pub(super) struct Best {
    pub(super) witness: Witness,
    pub(super) values: Values,
}

/// What opening a state came to.
pub(super) struct Piece {
    pub(super) best: Best,
    /// Lowest bound of what was left aside as near enough to the best.
    pub(super) floor: f64,
    pub(super) left: Vec<State>,
    pub(super) done: usize,
}

impl Best {
    /// The nearer; this one of two alike.
    pub(super) fn better(self, other: Best) -> Best {
        if other.witness.distance < self.witness.distance { other } else { self }
    }
}

impl State {
    /// Lowest bound first; otherwise any fixed order.
    pub(super) fn order(a: &State, b: &State) -> Ordering {
        let values = |s: &State| s.cell.middle;
        let by_cell = || {
            let pairs = values(a).into_iter().zip(values(b));
            pairs.map(|(x, y)| x.total_cmp(&y)).find(|o| o.is_ne()).unwrap_or(Ordering::Equal)
        };
        a.bound
            .total_cmp(&b.bound)
            .then(a.body.cmp(&b.body))
            .then(a.what.cmp(&b.what))
            .then_with(by_cell)
    }
}

impl Search<'_> {
    /// All of everything.
    pub(super) fn roots(&self) -> Vec<State> {
        let cell = Cell::whole(self.movements);
        self.all(cell)
    }

    fn all(&self, cell: Cell) -> Vec<State> {
        if self.mesh.bvh.nodes.is_empty() {
            return Vec::new();
        }
        let bodies = 0..self.solid.bodies.len() as u32;
        let root = |body| State { bound: 0.0, cell, body, what: What::Nodes(0, 0) };
        bodies.map(root).collect()
    }

    /// Nearest place at one place of the motion below `reach`, mm.
    pub(super) fn at(&self, values: &Values, reach: f64) -> Option<Best> {
        let cell = Cell::at(values);
        let none = Witness {
            distance: reach,
            on_a: Point3::origin(),
            on_b: Point3::origin(),
            triangle_a: 0,
            triangle_b: 0,
        };
        let mut step = Step::new(self, Best { witness: none, values: *values });
        for root in self.all(cell) {
            let mut stack = vec![root];
            while let Some(state) = stack.pop() {
                let from = stack.len();
                step.open(&state, &mut stack);
                // Nearer ones on top.
                stack[from..].sort_unstable_by(|a, b| State::order(b, a));
            }
        }
        (step.best.witness.distance < reach).then_some(step.best)
    }

    /// Opens a state and what comes of it, the lowest bound first, for so many steps.
    pub(super) fn open(&self, state: &State, best: &Best, most: usize) -> Piece {
        let mut step = Step::new(self, *best);
        let mut left = std::collections::BinaryHeap::from([Lowest(*state)]);
        let (mut done, mut fresh) = (0, Vec::new());
        while done < most
            && let Some(Lowest(state)) = left.pop()
        {
            step.open(&state, &mut fresh);
            left.extend(fresh.drain(..).map(Lowest));
            done += 1;
        }
        let left = left.into_iter().map(|l| l.0).collect();
        Piece { best: step.best, floor: step.floor, left, done }
    }

    /// Whether a state may hold something nearer than the best by more than the tolerance.
    pub(super) fn is_open(&self, state: &State, best: &Best) -> bool {
        let tolerance = if state.cell.is_point() { 0.0 } else { self.tolerance };
        state.bound < best.witness.distance - tolerance
    }
}

/// Opening states one after the other with the best so far.
struct Step<'a> {
    search: &'a Search<'a>,
    best: Best,
    floor: f64,
    frame: Option<(Cell, Frame)>,
}

impl<'a> Step<'a> {
    fn new(search: &'a Search<'a>, best: Best) -> Self {
        Step { search, best, floor: f64::INFINITY, frame: None }
    }

    /// Divides a state; what may still hold something nearer is added to `to`.
    fn open(&mut self, state: &State, to: &mut Vec<State>) {
        if !self.keeps(state) {
            return;
        }
        match state.what {
            What::Nodes(i, j) => self.open_nodes(state, i, j, to),
            What::Triangles(_, b) => {
                let frame = at_cell(&mut self.frame, self.search.movements, &state.cell);
                let corners =
                    self.search.mesh.corners_in_order(b as usize).map(|p| frame.carry(&p));
                let speeds = frame.speeds(&corners[0], size(&corners));
                let Some((k, _)) = frame.widest(&speeds) else { return };
                for cell in state.cell.split(k) {
                    self.add(State { cell, ..*state }, to);
                }
            }
        }
    }

    fn open_nodes(&mut self, state: &State, i: u32, j: u32, to: &mut Vec<State>) {
        let (a, b) = self.nodes(state.body, i, j);
        let (middle, half) = of_box(b, &self.search.mesh.bvh.middle);
        let frame = at_cell(&mut self.frame, self.search.movements, &state.cell);
        let spread = half.norm();
        let speeds = frame.speeds(&frame.carry(&middle), spread);
        let size = f64::from(a.size()).max(f64::from(b.size())).max(self.search.tolerance);
        if let Some((k, far)) = frame.widest(&speeds)
            && far > size
        {
            for cell in state.cell.split(k) {
                self.add(State { cell, ..*state }, to);
            }
        } else if !a.is_leaf() && (b.is_leaf() || a.size() >= b.size()) {
            for i in [a.first, a.first + 1] {
                self.add(State { what: What::Nodes(i, j), ..*state }, to);
            }
        } else if !b.is_leaf() {
            for j in [b.first, b.first + 1] {
                self.add(State { what: What::Nodes(i, j), ..*state }, to);
            }
        } else {
            for i in a.range() {
                for j in b.range() {
                    self.add(State { what: What::Triangles(i as u32, j as u32), ..*state }, to);
                }
            }
        }
    }

    fn add(&mut self, mut state: State, to: &mut Vec<State>) {
        let bound = match state.what {
            What::Nodes(i, j) => self.nodes_bound(&state, i, j),
            What::Triangles(i, j) => self.triangles_bound(&state, i, j),
        };
        // What holds for the whole holds for its parts.
        state.bound = bound.max(state.bound);
        if self.keeps(&state) {
            to.push(state);
        }
    }

    fn keeps(&mut self, state: &State) -> bool {
        let open = self.search.is_open(state, &self.best);
        if !open {
            self.floor = self.floor.min(state.bound);
        }
        open
    }

    fn nodes_bound(&mut self, state: &State, i: u32, j: u32) -> f64 {
        let (a, b) = self.nodes(state.body, i, j);
        let (at, half_a) =
            of_box(a, &self.search.solid.bodies[state.body as usize].mesh.bvh.middle);
        let (middle, half) = of_box(b, &self.search.mesh.bvh.middle);
        let frame = at_cell(&mut self.frame, self.search.movements, &state.cell);
        let (carried, spread) = (frame.carry(&middle), half.norm());
        let room = (carried - at).abs() - half_a - frame.rotation.abs() * half;
        if state.cell.is_point() {
            return room.sup(&Vec3::zeros()).norm();
        }
        let speeds = frame.speeds(&carried, spread);
        let reach = frame.reach(&speeds);
        let far = room.sup(&Vec3::zeros()).norm() - reach;
        let bend = frame.bend(&speeds);
        let drift = frame.drift(&carried, spread).add_scalar(bend);
        let followed = (room - drift).sup(&Vec3::zeros()).norm();
        far.max(followed)
    }

    fn triangles_bound(&mut self, state: &State, i: u32, j: u32) -> f64 {
        let body = &self.search.solid.bodies[state.body as usize];
        let a = body.mesh.corners_in_order(i as usize);
        let rest = self.search.mesh.corners_in_order(j as usize);
        let frame = at_cell(&mut self.frame, self.search.movements, &state.cell);
        let b = rest.map(|p| frame.carry(&p));
        let spread = size(&b);
        let speeds = frame.speeds(&b[0], spread);
        let reach = frame.reach(&speeds);
        let apart = apart(&a, &b) - reach;
        if apart >= self.best.witness.distance {
            return apart;
        }
        let gap = triangle_gap(&a, &b);
        let distance = gap.squared.sqrt();
        let along = (gap.on_b - gap.on_a) / distance;
        let bound = if distance > 0.0 && !state.cell.is_point() {
            let bend = frame.bend(&speeds);
            let low = |p: &Point3| along.dot(&(p - gap.on_a)) - frame.drift_along(p, &along) - bend;
            let high = a.iter().map(|p| along.dot(&(p - gap.on_a))).fold(0.0, f64::max);
            b.iter().map(low).fold(f64::INFINITY, f64::min) - high
        } else {
            distance
        };
        if distance < self.best.witness.distance {
            let witness = Witness {
                distance,
                on_a: gap.on_a,
                on_b: gap.on_b,
                triangle_a: body.id(body.mesh.bvh.order[i as usize]),
                triangle_b: self.search.mesh.bvh.order[j as usize],
            };
            self.best = Best { witness, values: state.cell.middle };
        }
        bound.max(distance - reach)
    }

    fn nodes(&self, body: u32, i: u32, j: u32) -> (&'a Node, &'a Node) {
        let body = &self.search.solid.bodies[body as usize].mesh.bvh;
        (&body.nodes[i as usize], &self.search.mesh.bvh.nodes[j as usize])
    }
}

/// The frame of a cell; mostly that of the one before.
fn at_cell<'f>(
    last: &'f mut Option<(Cell, Frame)>,
    movements: &[Movement],
    cell: &Cell,
) -> &'f Frame {
    let same = |(of, _): &(Cell, Frame)| of.middle == cell.middle && of.half == cell.half;
    let kept = last.take().filter(same);
    &last.insert(kept.unwrap_or_else(|| (*cell, Frame::new(movements, cell)))).1
}

/// A state whose order is turned round, for a heap that gives the lowest bound first.
struct Lowest(State);

impl Ord for Lowest {
    fn cmp(&self, other: &Self) -> Ordering {
        State::order(&other.0, &self.0)
    }
}

impl PartialOrd for Lowest {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Lowest {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}

impl Eq for Lowest {}

/// Middle and half sides of a node's box, mm.
#[inline]
pub(super) fn of_box(n: &Node, middle: &Point3) -> (Point3, Vec3) {
    let (low, high) = (n.low.map(f64::from), n.high.map(f64::from));
    let sum = Vec3::from_fn(|k, _| 0.5 * (low[k] + high[k]));
    (middle + sum, Vec3::from_fn(|k, _| 0.5 * (high[k] - low[k])))
}

/// Largest distance of the corners from the first.
#[inline]
fn size(t: &Corners) -> f64 {
    (t[1] - t[0]).norm_squared().max((t[2] - t[0]).norm_squared()).sqrt()
}

/// Distance of the boxes round two triangles, mm.
#[inline]
fn apart(a: &Corners, b: &Corners) -> f64 {
    let (la, ha) = (a[0].inf(&a[1]).inf(&a[2]), a[0].sup(&a[1]).sup(&a[2]));
    let (lb, hb) = (b[0].inf(&b[1]).inf(&b[2]), b[0].sup(&b[1]).sup(&b[2]));
    (lb - ha).sup(&(la - hb)).sup(&Vec3::zeros()).norm()
}
