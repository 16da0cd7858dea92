//! Faces that run round their surface, cut open along one parameter line.
//!
//! A bound that runs round has no inside in the plane of the parameters. The face is cut along
//! u = c (or v = c): bounds get a shared point where they cross the line, so both copies of the cut
//! and the neighbouring face see the same points, and the strip c to c + period is triangulated.

use super::loops::{Loop, Node, near};
use super::net::Net;
use super::plane::Plane;
use super::steps::Steps;
use super::surface::{Pole, Surface};
use super::topology::Edge;
use crate::error::Result;
use crate::primitive::Point3;

/// A line along which a face is cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cut {
    /// 0: the line u = value, 1: v = value.
    pub axis: usize,
    pub value: f64,
    pub period: f64,
    /// A node nearer to the line than this lies on it.
    pub slack: f64,
}

/// A node on the cut line, with its two copies in the plane.
struct Crossing {
    point: u32,
    loop_index: usize,
    /// Parameter along the line, in the loop's own turn; counted so that the face is above a
    /// crossing of type 1.
    along: f64,
    /// 1 if the bound crosses towards larger parameters, -1 towards smaller, 0 if it only touches.
    kind: i32,
}

/// One end of a stretch of the cut inside the face.
#[derive(Clone, Copy)]
enum End {
    Node(usize),
    Pole(Pole),
}

impl Cut {
    /// Chooses the line that meets the fewest bounds, at nodes that are there already if possible.
    pub(super) fn choose(axis: usize, period: f64, loops: &[Loop], steps: &Steps) -> Option<Cut> {
        let slack = 1e-3 * steps.unit[axis].min(period);
        let mut values: Vec<f64> =
            loops.iter().flat_map(|l| &l.nodes).map(|n| n.uv[axis].rem_euclid(period)).collect();
        values.sort_by(f64::total_cmp);
        values.dedup_by(|a, b| (*a - *b).abs() < slack);
        let stride = values.len().div_ceil(MOST_CANDIDATES).max(1);
        let between: Vec<f64> = values
            .iter()
            .enumerate()
            .map(|(i, v)| 0.5 * (v + values.get(i + 1).copied().unwrap_or(values[0] + period)))
            .collect();
        let gap = |i: usize| between[i] - values[i];
        let widest = (0..values.len()).max_by(|a, b| gap(*a).total_cmp(&gap(*b)));
        let candidates: Vec<f64> = values
            .iter()
            .step_by(stride)
            .chain(between.iter().step_by(stride))
            .chain(widest.map(|i| &between[i]))
            .copied()
            .collect();
        candidates
            .into_iter()
            .map(|value| Cut { axis, value, period, slack })
            .filter_map(|cut| cut.cost(loops).map(|cost| (cost, cut)))
            .min_by_key(|(cost, _)| *cost)
            .map(|(_, cut)| cut)
            .or(values.is_empty().then_some(Cut { axis, value: 0.0, period, slack }))
    }

    /// Gives the bounds a shared point where they cross the line.
    pub(super) fn insert(
        &self,
        surface: &Surface,
        loops: &[Loop],
        edges: &[Edge],
        net: &mut Net,
    ) -> Result<()> {
        for loop_ in loops {
            for (i, node) in loop_.nodes.iter().enumerate() {
                let next = &loop_.nodes[(i + 1) % loop_.nodes.len()];
                let from = self.turns(node.uv);
                let mut uv = next.uv;
                uv[self.axis] = near(uv, node.uv, surface.periods())[self.axis];
                let to = self.turns(uv);
                if self.on_line(from) || self.on_line(to) || from.floor() == to.floor() {
                    continue;
                }
                if let Some((edge, low, high)) = node.piece {
                    let line = self.value + self.period * from.max(to).floor();
                    let t = self.root(surface, &edges[edge], (low, high), node.uv, line);
                    net.insert(edges, edge, &[t])?;
                }
            }
        }
        Ok(())
    }

    /// Lays the cut face into the plane; the reason if its bounds do not close a strip.
    pub(super) fn lay_out(
        &self,
        surface: &Surface,
        loops: &[Loop],
        whole: bool,
        plane: &mut Plane<'_>,
    ) -> std::result::Result<(), &'static str> {
        let mut crossings = Vec::new();
        let mut marks = Vec::new();
        for (index, loop_) in loops.iter().enumerate() {
            marks.push(self.mark(index, loop_, &mut crossings));
        }
        let other = surface.periods()[1 - self.axis];
        let (stretches, turns) = self.stretches(surface, &crossings, loops.len(), whole, other)?;
        for (index, loop_) in loops.iter().enumerate() {
            if !marks[index].is_empty() {
                self.lay_chains(loop_, &marks[index], turns[index] * other.unwrap_or(0.0), plane)?;
            }
        }
        for (from, to) in stretches {
            let mut along = |end: End| match end {
                End::Node(i) => {
                    let c: &Crossing = &crossings[i];
                    (c.point, c.along * self.sign() + turns[c.loop_index] * other.unwrap_or(0.0))
                }
                End::Pole(pole) => (plane.pole(&pole), pole.value),
            };
            let (from, to) = (along(from), along(to));
            self.lay_stretch(surface, from, to, plane);
        }
        self.lay_poles(surface, &crossings, plane);
        let uncut = loops.iter().zip(&marks).filter(|(_, m)| m.is_empty()).map(|(l, _)| l);
        for loop_ in uncut {
            plane.lay_hole(loop_, surface.periods(), Some(self))?;
        }
        Ok(())
    }

    /// Parameters moved into the strip by whole periods.
    pub(super) fn in_strip(&self, mut uv: [f64; 2]) -> [f64; 2] {
        uv[self.axis] -= self.period * self.turns(uv).floor();
        uv
    }

    /// Walking up the line, the face lies left of a bound that crosses towards larger
    /// parameters; for a line v = c up is towards smaller u.
    fn sign(&self) -> f64 {
        if self.axis == 0 { 1.0 } else { -1.0 }
    }

    fn turns(&self, uv: [f64; 2]) -> f64 {
        (uv[self.axis] - self.value) / self.period
    }

    fn on_line(&self, turns: f64) -> bool {
        (turns - turns.round()).abs() * self.period < self.slack
    }

    /// Points to add, then bounds met; none if a bound runs along the line.
    fn cost(&self, loops: &[Loop]) -> Option<(usize, usize)> {
        let (mut added, mut met) = (0, 0);
        for loop_ in loops {
            let n = loop_.nodes.len();
            for (i, node) in loop_.nodes.iter().enumerate() {
                let next = &loop_.nodes[(i + 1) % n];
                let from = self.turns(node.uv);
                let to = self.turns(next.uv);
                let step = (to - from) - (to - from).round();
                let to = from + step;
                match (self.on_line(from), self.on_line(to)) {
                    (true, true) if from.round() == to.round() => return None,
                    (true, _) => met += 1,
                    (false, true) => (),
                    (false, false) if from.floor() != to.floor() => added += 1,
                    (false, false) => (),
                }
            }
        }
        Some((added, met))
    }

    /// Parameter of the edge where it meets the line, by bisection.
    fn root(
        &self,
        surface: &Surface,
        edge: &Edge,
        (mut low, mut high): (f64, f64),
        start: [f64; 2],
        line: f64,
    ) -> f64 {
        let periods = surface.periods();
        let mut hint = start;
        let mut off = |t: f64| {
            let uv = surface.parameters(&edge.curve.at(t), Some(hint));
            hint = near(uv, start, periods);
            hint[self.axis] - line
        };
        let (mut at_low, mut at_high) = (off(low), off(high));
        let mut middle = 0.5 * (low + high);
        for i in 0..MOST_BISECTIONS {
            // The secant is nearly exact on so short a piece; every third step halves for safety.
            let secant = low - at_low * (high - low) / (at_high - at_low);
            let usable = secant > low.min(high) && secant < low.max(high) && i % 3 != 2;
            middle = if usable { secant } else { 0.5 * (low + high) };
            let value = off(middle);
            if value.abs() <= 1e-14 * self.period
                || (high - low).abs() <= 1e-15 * (1.0 + high.abs())
            {
                break;
            }
            if (value > 0.0) == (at_high > 0.0) {
                (high, at_high) = (middle, value);
            } else {
                (low, at_low) = (middle, value);
            }
        }
        middle
    }

    /// Nodes of a loop that lie on the line: index in the loop, index of the crossing.
    fn mark(
        &self,
        loop_index: usize,
        loop_: &Loop,
        out: &mut Vec<Crossing>,
    ) -> Vec<(usize, usize)> {
        let n = loop_.nodes.len();
        let mut marks = Vec::new();
        for (i, node) in loop_.nodes.iter().enumerate() {
            let turns = self.turns(node.uv);
            if !self.on_line(turns) {
                continue;
            }
            let side = |other: &Node| {
                let step = self.turns(other.uv) - turns;
                (step - step.round()).signum() as i32
            };
            let before = side(&loop_.nodes[(i + n - 1) % n]);
            let after = side(&loop_.nodes[(i + 1) % n]);
            let along = node.uv[1 - self.axis] * self.sign();
            marks.push((i, out.len()));
            out.push(Crossing { point: node.point, loop_index, along, kind: (after - before) / 2 });
        }
        marks
    }

    /// Stretches of the line inside the face, lower end first, and by how many turns of the other
    /// parameter each loop is to be moved.
    #[expect(clippy::type_complexity, reason = "the pair is taken apart at the only call")]
    fn stretches(
        &self,
        surface: &Surface,
        crossings: &[Crossing],
        loops: usize,
        whole: bool,
        other: Option<f64>,
    ) -> std::result::Result<(Vec<(End, End)>, Vec<f64>), &'static str> {
        let turns = vec![0.0; loops];
        if let Some(period) = other {
            return self.stretches_round(crossings, turns, period);
        }
        let mut order: Vec<usize> = (0..crossings.len()).collect();
        order.sort_by(|a, b| crossings[*a].along.total_cmp(&crossings[*b].along));
        let pole = |low: bool| self.pole(surface, crossings, low).map(End::Pole);
        let first = order.iter().map(|i| crossings[*i].kind).find(|kind| *kind != 0);
        let mut below = match first {
            Some(-1) => {
                Some(pole(true).ok_or("a bound runs round it and the face has no end below")?)
            }
            None if whole => Some(pole(true).ok_or("it has no bound that closes it")?),
            _ => None,
        };
        let mut stretches = Vec::new();
        for i in order {
            match (crossings[i].kind, below) {
                (1, None) => below = Some(End::Node(i)),
                (-1, Some(from)) => {
                    stretches.push((from, End::Node(i)));
                    below = None;
                }
                (0, Some(from)) => {
                    stretches.push((from, End::Node(i)));
                    below = Some(End::Node(i));
                }
                (0, None) => (),
                _ => return Err("its bounds cross each other or run the wrong way"),
            }
        }
        if let Some(from) = below {
            stretches.push((
                from,
                pole(false).ok_or("a bound runs round it and the face has no end above")?,
            ));
        }
        Ok((stretches, turns))
    }

    /// The same where the other parameter runs round too: the line is a circle.
    #[expect(clippy::type_complexity, reason = "as above")]
    fn stretches_round(
        &self,
        crossings: &[Crossing],
        mut turns: Vec<f64>,
        period: f64,
    ) -> std::result::Result<(Vec<(End, End)>, Vec<f64>), &'static str> {
        let place = |i: usize| crossings[i].along.rem_euclid(period);
        let mut order: Vec<usize> = (0..crossings.len()).collect();
        // Two copies of one artificial bound share a place: the face ends at one and starts at the other.
        order.sort_by(|a, b| {
            place(*a).total_cmp(&place(*b)).then(crossings[*a].kind.cmp(&crossings[*b].kind))
        });
        let start =
            order.iter().position(|i| crossings[*i].kind == 1).ok_or("no bound runs round it")?;
        order.rotate_left(start);
        let mut placed = vec![false; turns.len()];
        let mut stretches = Vec::new();
        let mut below: Option<usize> = None;
        for i in order {
            if let Some(from) = below {
                if crossings[i].kind == 1 {
                    return Err("its bounds cross each other or run the wrong way");
                }
                let (a, b) = (&crossings[from], &crossings[i]);
                if !placed[b.loop_index] {
                    // Up from a to b is less than a turn.
                    let at_a = a.along + self.sign() * turns[a.loop_index] * period;
                    let up = (b.along - at_a).rem_euclid(period);
                    let up = if up <= 0.0 { period } else { up };
                    turns[b.loop_index] = self.sign() * ((at_a + up - b.along) / period).round();
                    placed[b.loop_index] = true;
                }
                stretches.push((End::Node(from), End::Node(i)));
                below = (crossings[i].kind == 0).then_some(i);
            } else if crossings[i].kind == 1 {
                placed[crossings[i].loop_index] = true;
                below = Some(i);
            }
        }
        if below.is_some() {
            return Err("its bounds do not close a strip");
        }
        Ok((stretches, turns))
    }

    /// The pole below or above all crossings.
    fn pole(&self, surface: &Surface, crossings: &[Crossing], low: bool) -> Option<Pole> {
        let mut poles = surface.poles();
        poles.retain(|pole| pole.axis != self.axis);
        let place = |pole: &Pole| pole.value * self.sign();
        if crossings.is_empty() && poles.len() < 2 {
            return None;
        }
        poles.sort_by(|a, b| place(a).total_cmp(&place(b)));
        if low {
            poles.into_iter().next().filter(|p| crossings.iter().all(|c| c.along >= place(p)))
        } else {
            poles.into_iter().next_back().filter(|p| crossings.iter().all(|c| c.along <= place(p)))
        }
    }

    /// The pieces of a loop between its nodes on the line, each moved into the strip.
    fn lay_chains(
        &self,
        loop_: &Loop,
        marks: &[(usize, usize)],
        move_other: f64,
        plane: &mut Plane<'_>,
    ) -> std::result::Result<(), &'static str> {
        let n = loop_.nodes.len();
        for (m, (start, _)) in marks.iter().enumerate() {
            let end = marks[(m + 1) % marks.len()].0;
            let count = if end > *start { end - start } else { end + n - start };
            if count < 2 {
                return Err("a bound runs along the line where it was cut");
            }
            let inner = &loop_.nodes[(start + 1) % n];
            let cell = self.turns(inner.uv).floor();
            let mut before = None;
            let mut uv = inner.uv;
            for step in 0..=count {
                let node = &loop_.nodes[(start + step) % n];
                uv = if step == 0 { node.uv } else { self.continued(node.uv, uv) };
                if step == 0 {
                    uv = self.continued(uv, inner.uv);
                }
                let mut laid = uv;
                laid[self.axis] -= cell * self.period;
                if step == 0 || step == count {
                    let side = ((laid[self.axis] - self.value) / self.period).round();
                    laid[self.axis] = self.value + side * self.period;
                }
                laid[1 - self.axis] += move_other;
                let index = plane.node(node.point, laid);
                if let Some(before) = before {
                    plane.side(before, index);
                }
                before = Some(index);
            }
        }
        Ok(())
    }

    /// `uv` moved along the cut axis by whole periods next to `reference`.
    fn continued(&self, mut uv: [f64; 2], reference: [f64; 2]) -> [f64; 2] {
        let step = (uv[self.axis] - reference[self.axis]) / self.period;
        uv[self.axis] -= step.round() * self.period;
        uv
    }

    /// Both copies of a stretch of the line, with the same points between its ends.
    fn lay_stretch(
        &self,
        surface: &Surface,
        from: (u32, f64),
        to: (u32, f64),
        plane: &mut Plane<'_>,
    ) {
        let at = |along: f64, right: bool| {
            let mut uv = [along; 2];
            uv[self.axis] = self.value + if right { self.period } else { 0.0 };
            uv
        };
        let length = (to.1 - from.1).abs() / plane.steps.unit[1 - self.axis];
        let pieces = (length - 1e-9).ceil().clamp(1.0, MOST_ON_LINE) as usize;
        let mut points = vec![from];
        for i in 1..pieces {
            let along = from.1 + (to.1 - from.1) * (i as f64 / pieces as f64);
            points.push((plane.own_point(surface.at(at(along, false))), along));
        }
        points.push(to);
        for right in [false, true] {
            let nodes: Vec<usize> =
                points.iter().map(|(point, along)| plane.node(*point, at(*along, right))).collect();
            for pair in nodes.windows(2) {
                // The strip is left of the right copy going up, and of the left copy going down.
                if right { plane.side(pair[0], pair[1]) } else { plane.side(pair[1], pair[0]) }
            }
        }
    }

    /// The sides of the strip that are a single point of the surface.
    fn lay_poles(&self, surface: &Surface, crossings: &[Crossing], plane: &mut Plane<'_>) {
        for low in [true, false] {
            let Some(pole) = self.pole(surface, crossings, low) else { continue };
            let Some(point) = plane.known_pole(&pole) else { continue };
            let corner = |right: bool| {
                let mut uv = [pole.value; 2];
                uv[self.axis] = self.value + if right { self.period } else { 0.0 };
                uv
            };
            let (left, right) = (plane.node(point, corner(false)), plane.node(point, corner(true)));
            if low { plane.side(left, right) } else { plane.side(right, left) }
        }
    }
}

/// Nodes of a circle round a surface that runs round both ways: it is cut there too.
pub(super) fn artificial_circle(
    surface: &Surface,
    cut: &Cut,
    at: f64,
    steps: &Steps,
    first: u32,
) -> ([Loop; 2], Vec<Point3>) {
    let pieces = (cut.period / steps.unit[cut.axis]).ceil().clamp(12.0, MOST_ON_LINE) as usize;
    let mut nodes = Vec::new();
    let mut points = Vec::new();
    for i in 0..pieces {
        let mut uv = [at; 2];
        uv[cut.axis] = cut.value + cut.period * (i as f64 / pieces as f64);
        points.push(surface.at(uv));
        nodes.push(Node { point: first + i as u32, uv, piece: None });
    }
    let mut winding = [0; 2];
    winding[cut.axis] = 1;
    let back = Loop { nodes: nodes.iter().rev().copied().collect(), winding: winding.map(|w| -w) };
    ([Loop { nodes, winding }, back], points)
}

const MOST_CANDIDATES: usize = 48;
const MOST_BISECTIONS: usize = 80;
const MOST_ON_LINE: f64 = 100_000.0;
