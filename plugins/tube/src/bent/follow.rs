//! Following the centre line: runs of nodes along the gathered points, linked across gaps.

use crate::V3;
use crate::cloud::Grid;
use crate::normals::spread;

/// Nodes of the centre line in order, from the most promising run on.
pub(super) fn follow(axis: &[V3], radius: f64, gap: f64, pick: Option<V3>) -> Option<Vec<V3>> {
    let runs = linked(runs(axis, radius), radius, gap);
    match pick {
        Some(pick) => {
            let off = |r: &[V3]| r.iter().map(|p| (p - pick).norm()).fold(f64::INFINITY, f64::min);
            runs.into_iter().min_by(|a, b| off(a).total_cmp(&off(b)))
        }
        None => runs.into_iter().max_by_key(Vec::len),
    }
}

/// Runs of nodes a step apart.
fn runs(axis: &[V3], radius: f64) -> Vec<Vec<V3>> {
    let ball = BALL * radius;
    let grid = Grid::new(axis, ball);
    let mut march =
        Marcher { axis, grid, ball, step: STEP * radius, seen: vec![0; axis.len()], now: 0 };
    let mut out = Vec::new();
    for (i, place) in axis.iter().enumerate() {
        if march.seen[i] != 0 {
            continue;
        }
        let Some((at, along)) = march.local(place) else { continue };
        march.mark(&at);
        let ahead = march.run(at, along);
        let mut run: Vec<V3> = march.run(at, -along);
        run.reverse();
        run.push(at);
        run.extend(ahead);
        if run.len() >= SHORTEST {
            out.push(run);
        }
    }
    out
}

/// Walks along the points in steps.
struct Marcher<'a> {
    axis: &'a [V3],
    grid: Grid<'a>,
    ball: f64,
    step: f64,
    /// Serial number of the node that first saw a point; 0: none.
    seen: Vec<u32>,
    now: u32,
}

impl Marcher<'_> {
    /// Mean and direction of the points round a place.
    fn local(&self, p: &V3) -> Option<(V3, V3)> {
        let mut near = Vec::new();
        self.grid.near(p, self.ball, &mut near);
        if near.len() < FEWEST {
            return None;
        }
        let s = spread(near.iter().map(|i| self.axis[*i as usize]));
        (s.variances[1] < 0.2 * s.variances[0]).then_some((s.mean, s.directions[0]))
    }

    fn mark(&mut self, p: &V3) {
        self.now += 1;
        let mut near = Vec::new();
        self.grid.near(p, 0.75 * self.ball, &mut near);
        for i in near {
            let seen = &mut self.seen[i as usize];
            if *seen == 0 {
                *seen = self.now;
            }
        }
    }

    /// Nodes from a place on, without it.
    fn run(&mut self, from: V3, along: V3) -> Vec<V3> {
        let (mut at, mut along, mut out) = (from, along, Vec::new());
        let first = self.now;
        loop {
            let ahead = at + along * self.step;
            let Some((mean, direction)) = self.local(&ahead) else { break };
            let direction = direction * direction.dot(&along).signum();
            let off = mean - ahead;
            let next = ahead + (off - direction * direction.dot(&off));
            let turned = direction.dot(&along) < 0.6 || (next - ahead).norm() > self.step;
            if turned || self.was_here(&next, &direction, first) {
                break;
            }
            self.mark(&next);
            out.push(next);
            (at, along) = (next, direction);
        }
        out
    }

    /// Whether an earlier walk has been where this one goes.
    fn was_here(&self, p: &V3, along: &V3, first: u32) -> bool {
        let mut near = Vec::new();
        self.grid.near(p, self.ball, &mut near);
        let (mut ahead, mut seen) = (0, 0);
        for i in near.iter().map(|i| *i as usize) {
            if along.dot(&(self.axis[i] - p)) > 0.25 * self.ball {
                ahead += 1;
                let s = self.seen[i];
                let old = s != 0 && (s < first || s + FAR_NODES < self.now);
                seen += u32::from(old);
            }
        }
        // Nothing ahead is the end of the points, not a meeting.
        2 * seen > ahead
    }
}

/// Runs joined end to end, the nearest and straightest first.
fn linked(runs: Vec<Vec<V3>>, radius: f64, gap: f64) -> Vec<Vec<V3>> {
    let mut runs = runs;
    runs.sort_by_key(|r| std::cmp::Reverse(r.len()));
    runs.truncate(MOST_RUNS);
    loop {
        let mut best: Option<(f64, usize, usize, bool, bool)> = None;
        for i in 0..runs.len() {
            for j in i + 1..runs.len() {
                for (a, b) in [(false, false), (false, true), (true, false), (true, true)] {
                    let cost = link(&end(&runs[i], a), &end(&runs[j], b), radius, gap);
                    if let Some(cost) = cost
                        && best.is_none_or(|x| cost < x.0)
                    {
                        best = Some((cost, i, j, a, b));
                    }
                }
            }
        }
        let Some((_, i, j, first_end, second_end)) = best else { return runs };
        let mut second = runs.remove(j);
        let first = &mut runs[i];
        if !first_end {
            first.reverse();
        }
        if second_end {
            second.reverse();
        }
        first.extend(second);
    }
}

/// An end of a run and the direction out of it.
fn end(run: &[V3], last: bool) -> (V3, V3) {
    let back = (run.len() - 1).min(3);
    let (p, q) =
        if last { (run[run.len() - 1], run[run.len() - 1 - back]) } else { (run[0], run[back]) };
    (p, (p - q).normalize())
}

/// Cost of a link between two ends; `None` if they do not look at each other.
fn link(a: &(V3, V3), b: &(V3, V3), radius: f64, gap: f64) -> Option<f64> {
    let chord = b.0 - a.0;
    let length = chord.norm();
    if length > gap + 2.0 * radius {
        return None;
    }
    let out = a.1.dot(&-b.1).clamp(-1.0, 1.0).acos();
    if length < radius {
        return (out < 1.2).then_some(length);
    }
    let turn = |d: f64| (d / length).clamp(-1.0, 1.0).acos();
    let (first, second) = (turn(a.1.dot(&chord)), turn((-b.1).dot(&chord)));
    (first.max(second) < WIDEST).then_some(length * (1.0 + first + second))
}

/// Step from node to node and neighbourhood, in tube radii.
const STEP: f64 = 0.4;
const BALL: f64 = 0.8;
/// Points that a node needs.
const FEWEST: usize = 4;
/// Nodes of the shortest run.
const SHORTEST: usize = 4;
/// Runs that are linked: the longest.
const MOST_RUNS: usize = 60;
/// Nodes after which a walk may meet itself.
const FAR_NODES: u32 = 12;
/// Largest angle between a run's end and a link, rad.
const WIDEST: f64 = 1.2;
