//! From a start to the nearest minimax shape of a few candidates.
//!
//! Method: linear minimax in a box that grows and shrinks with its success (sequential linear
//! programming: Madsen 1975, An algorithm for minimax solution of overdetermined systems of
//! non-linear equations), and beside each such step a Newton step on the points it found to decide
//! (Fletcher, Sainz de la Maza 1989, Nonlinear programming and nonsmooth optimization by successive
//! linear programming); the better of the two is taken.

use super::newton::{Active, downhill, newton, polish};
use super::problem::{Candidate, Problem};
use crate::associate::model::Model;
use crate::numeric::exchange::{DIM, Vertex, minimax};

/// Where a descent ended.
#[derive(Debug, Clone)]
pub(crate) struct State<M> {
    pub(crate) shape: M,
    /// Largest value of the candidates; infinite if the shape ran away.
    pub(crate) value: f64,
    pub(crate) active: Active,
    pub(crate) iterations: usize,
}

/// Descends from a start; `reach` is the first size of the box, about the step expected.
pub(crate) fn descend<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    work: &[Candidate],
    start: M,
    reach: f64,
) -> State<M> {
    let value = problem.largest(&start, work);
    let mut at = State { shape: start, value, active: Active::default(), iterations: 0 };
    let lowest = -LOWEST * (1.0 + start.sizes()[0].abs());
    let mut radius = reach;
    while at.iterations < LIMIT {
        at.iterations += 1;
        let rows = problem.rows(&at.shape, work);
        let Some(linear) = minimax(&rows, problem.unknowns(), radius) else { break };
        at.active = active(&linear, work);
        let predicted = at.value - linear.value;
        if predicted <= problem.rounding(&at.shape) || radius < f64::EPSILON * reach {
            match escape(problem, work, &at, reach) {
                Some((shape, value)) => {
                    (at.shape, at.value) = (shape, value);
                    radius = reach;
                    continue;
                }
                None => break,
            }
        }
        let first = attempt(problem, work, &at.shape, &linear.step);
        let mut next = first;
        if let Some(found) = newton(problem, &at.shape, &mut at.active.clone())
            && found.step.iter().all(|s| s.abs() <= 2.0 * radius)
        {
            let second = attempt(problem, work, &at.shape, &found.step);
            next = if second.1 < first.1 { second } else { first };
        }
        let success = (at.value - first.1) / predicted;
        if success > GOOD && linear.held {
            radius *= 2.0;
        } else if success < POOR {
            radius *= if next.1 < at.value { 0.5 } else { 0.25 };
        }
        if next.1 < at.value {
            (at.shape, at.value) = next;
        }
        if at.value < lowest {
            return State { value: f64::INFINITY, ..at };
        }
    }
    finish(problem, work, at)
}

/// The last digits.
fn finish<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    work: &[Candidate],
    mut at: State<M>,
) -> State<M> {
    let mut exact = at.active.clone();
    let shape = polish(problem, at.shape, &mut exact);
    let value = problem.largest(&shape, work);
    if value <= at.value + problem.rounding(&shape) {
        (at.shape, at.value, at.active) = (shape, value, exact);
    }
    at
}

fn active(linear: &Vertex, work: &[Candidate]) -> Active {
    Active {
        candidates: linear.active.iter().map(|a| work[a.0]).collect(),
        multipliers: linear.active.iter().map(|a| a.1).collect(),
    }
}

/// Shape and value after a step; infinite for what is no shape.
fn attempt<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    work: &[Candidate],
    shape: &M,
    step: &[f64; DIM],
) -> (M, f64) {
    let moved = problem.moved(shape, step);
    let value = if moved.plausible() { problem.largest(&moved, work) } else { f64::INFINITY };
    (moved, value)
}

/// A lower shape from where the slopes are in balance but the curvature is not.
fn escape<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    work: &[Candidate],
    at: &State<M>,
    reach: f64,
) -> Option<(M, f64)> {
    if at.value.abs() <= problem.rounding(&at.shape) {
        return None;
    }
    let direction = downhill(problem, &at.shape, &at.active)?;
    for size in [1.0, -1.0, 0.1, -0.1, 0.01, -0.01] {
        let step = direction.map(|d| d * size * reach);
        let next = attempt(problem, work, &at.shape, &step);
        if next.1 < at.value - problem.rounding(&at.shape) {
            return Some(next);
        }
    }
    None
}

/// Most linear problems of one descent.
const LIMIT: usize = 200;
/// Part of the predicted gain from which on the box may grow.
const GOOD: f64 = 0.75;
/// Part of the predicted gain below which it shrinks.
const POOR: f64 = 0.25;
/// A shape that has grown by this many times its size has run away.
const LOWEST: f64 = 4.0;
