//! A face laid into the plane of its parameters: places, points and directed sides, ready to triangulate.

use std::collections::HashMap;

use super::cut::Cut;
use super::loops::Loop;
use super::steps::Steps;
use super::surface::Pole;
use crate::primitive::Point3;

/// The plane figure of a face; the face is on the left of each side.
pub(super) struct Plane<'s> {
    pub steps: &'s Steps,
    pub nodes: Vec<Place>,
    pub sides: Vec<[usize; 2]>,
    /// Points of this face alone; their numbers follow those of the net.
    pub own: Vec<Point3>,
    shared: u32,
    known: HashMap<(u32, [u64; 2]), usize>,
    poles: Vec<(Pole, u32)>,
}

/// One place in the plane; several places may be the same point in space.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub point: u32,
    pub xy: [f64; 2],
}

impl<'s> Plane<'s> {
    pub(super) fn new(steps: &'s Steps, shared: usize) -> Self {
        Plane {
            steps,
            nodes: Vec::new(),
            sides: Vec::new(),
            own: Vec::new(),
            shared: shared as u32,
            known: HashMap::new(),
            poles: Vec::new(),
        }
    }

    /// The place of a point at these parameters, the same one each time.
    pub(super) fn node(&mut self, point: u32, uv: [f64; 2]) -> usize {
        // Adding zero makes one of the two zeros.
        let key = (point, uv.map(|t| (t + 0.0).to_bits()));
        if let Some(index) = self.known.get(&key) {
            return *index;
        }
        self.nodes.push(Place { point, xy: self.steps.plane(uv) });
        self.known.insert(key, self.nodes.len() - 1);
        self.nodes.len() - 1
    }

    pub(super) fn side(&mut self, from: usize, to: usize) {
        if from != to {
            self.sides.push([from, to]);
        }
    }

    /// Number of a new point of this face alone.
    pub(super) fn own_point(&mut self, point: Point3) -> u32 {
        self.own.push(point);
        self.shared + self.own.len() as u32 - 1
    }

    /// Number of a pole's point, new at the first call.
    pub(super) fn pole(&mut self, pole: &Pole) -> u32 {
        if let Some(known) = self.known_pole(pole) {
            return known;
        }
        let point = self.own_point(pole.point);
        self.poles.push((*pole, point));
        point
    }

    pub(super) fn known_pole(&self, pole: &Pole) -> Option<u32> {
        self.poles.iter().find(|(known, _)| known == pole).map(|(_, point)| *point)
    }

    /// A loop that does not run round, moved by `shift` in the parameters.
    pub(super) fn lay_loop(&mut self, loop_: &Loop, shift: [f64; 2]) {
        let indices: Vec<usize> = loop_
            .nodes
            .iter()
            .map(|n| self.node(n.point, [n.uv[0] + shift[0], n.uv[1] + shift[1]]))
            .collect();
        for (i, from) in indices.iter().enumerate() {
            self.side(*from, indices[(i + 1) % indices.len()]);
        }
    }

    /// A loop inside what is laid already, moved there by whole periods.
    pub(super) fn lay_hole(
        &mut self,
        loop_: &Loop,
        periods: [Option<f64>; 2],
        cut: Option<&Cut>,
    ) -> Result<(), &'static str> {
        let first = loop_.nodes.first().ok_or("an empty bound")?.uv;
        let start = cut.map_or(first, |cut| cut.in_strip(first));
        let choices = [0, 1].map(|axis| match (periods[axis], cut) {
            (Some(_), Some(cut)) if cut.axis == axis => vec![0.0],
            (Some(period), _) => vec![0.0, period, -period, 2.0 * period, -2.0 * period],
            (None, _) => vec![0.0],
        });
        for u in &choices[0] {
            for v in &choices[1] {
                let uv = [start[0] + u, start[1] + v];
                if self.holds(self.steps.plane(uv)) {
                    self.lay_loop(loop_, [uv[0] - first[0], uv[1] - first[1]]);
                    return Ok(());
                }
            }
        }
        Err("a bound that lies outside of the others")
    }

    /// Whether a place is inside the sides laid so far, by counting crossings.
    fn holds(&self, [x, y]: [f64; 2]) -> bool {
        let crossed = self.sides.iter().filter(|[a, b]| {
            let ([ax, ay], [bx, by]) = (self.nodes[*a].xy, self.nodes[*b].xy);
            (ay > y) != (by > y) && x < ax + (y - ay) / (by - ay) * (bx - ax)
        });
        crossed.count() % 2 == 1
    }
}
