//! The best minimax shape of all points: several starts on a few points that decide, exchanged until no point is beyond.
//!
//! Each pass over the data hands over the farthest point of each of many stretches; those farther than the
//! shape allows join the working set, so that a million points cost a few passes (the exchange
//! principle; several starts because the problem has several optima: Anthony, Anthony, Bittner,
//! Butler, Cox, Drieschner, Elligsen, Forbes, Gross, Hannaby, Harris, Kok 1996, Reference software
//! for finding Chebyshev best-fit geometric elements).

use rayon::prelude::*;

use super::descend::{State, descend};
use super::problem::{Candidate, Problem};
use crate::associate::model::Model;
use crate::context::Context;
use crate::error::{Error, Result};
use crate::numeric::exchange::DIM;
use crate::numeric::random::{Random, SEED};

/// Searches from `start` and shapes about `reach` from it. `None` if every start ran away.
pub(crate) fn search<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    start: M,
    reach: f64,
    context: Option<&Context>,
) -> Result<Option<State<M>>> {
    let mut work: Vec<Candidate> = problem.extremes(&start).into_iter().map(|e| e.1).collect();
    let mut starts = starts(problem, start, reach);
    for _ in 0..PASSES {
        if let Some(context) = context {
            context.check()?;
        }
        let found = starts.par_iter().map(|s| descend(problem, &work, *s, reach)).collect();
        let found = distinct(problem, found);
        let Some(best) = found.first() else { return Ok(None) };
        let beyond = best.value + problem.rounding(&best.shape);
        let before = work.len();
        let extremes = problem.extremes(&best.shape);
        work.extend(extremes.into_iter().filter(|e| e.0 > beyond).map(|e| e.1));
        if work.len() == before {
            return Ok(Some(best.clone()));
        }
        starts = found.iter().map(|s| s.shape).collect();
    }
    let reason = format!("points still beyond the shape after {PASSES} passes");
    Err(Error::NotConverged { what: M::KIND.name().into(), reason })
}

/// The best few optima that differ, from the best.
fn distinct<M: Model<N>, const N: usize>(
    problem: &Problem<'_>,
    mut found: Vec<State<M>>,
) -> Vec<State<M>> {
    found.retain(|s| s.value.is_finite());
    found.sort_by(|a, b| a.value.total_cmp(&b.value));
    found.dedup_by(|a, b| a.value - b.value <= SAME * problem.rounding(&b.shape));
    found.truncate(KEPT);
    found
}

/// The start itself, shapes to both sides of it in every unknown, and a few any way from it.
fn starts<M: Model<N>, const N: usize>(problem: &Problem<'_>, start: M, reach: f64) -> Vec<M> {
    let m = problem.unknowns();
    let mut out = vec![start];
    let mut add = |step: [f64; DIM]| {
        let shape = problem.moved(&start, &step);
        if shape.plausible() {
            out.push(shape);
        }
    };
    for j in 0..m {
        for side in [reach, -reach] {
            let mut step = [0.0; DIM];
            step[j] = side;
            add(step);
        }
    }
    let mut random = Random::new(SEED);
    for _ in 0..RANDOM {
        let mut step = [0.0; DIM];
        for s in &mut step[..m] {
            *s = reach * (2.0 * (random.bits() as f64 / u64::MAX as f64) - 1.0);
        }
        add(step);
    }
    out
}

/// Most passes over all points.
const PASSES: usize = 100;
/// Starts in random directions.
const RANDOM: usize = 12;
/// Optima followed from pass to pass.
const KEPT: usize = 4;
/// Values that differ by this many roundings belong to one optimum.
const SAME: f64 = 64.0;
