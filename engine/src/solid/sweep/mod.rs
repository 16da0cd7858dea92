//! Least distance of a solid to a mesh over a whole motion of the mesh, with a proven bound.
//!
//! Branch and bound over both trees of boxes and the ranges of the motion at once: a pair of boxes
//! over a range is no nearer than the boxes at its middle, less how far the range takes them. The
//! range is halved where the motion takes them farther than they are large, else the larger box is
//! opened; the lowest bounds go first. For two triangles the distance along the line between their
//! nearest places is followed with the velocities of the corners and the bend of their paths, so
//! that the ranges round a least distance need not become small (B. Mirtich 1996, Impulse-based
//! dynamic simulation of rigid body systems: conservative advancement; R. Moore, R. Kearfott,
//! M. Cloud 2009, Introduction to interval analysis). Nothing is sampled that could miss.

mod depth;
mod path;
mod search;
#[cfg(test)]
mod tests;

use rayon::prelude::*;

use super::{Mesh, Solid};
use crate::error::Result;
use path::{Cell, Frame};
use search::{Best, Search, State};

pub(crate) use path::{Joint, MOST_MOVEMENTS, Movement, Values, pose_at};

/// The least of a motion.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Least {
    /// Distance, mm; inside the solid negative (see [`Solid::deepest`]).
    pub(crate) distance: f64,
    /// No place of the motion is nearer by more than this, mm.
    pub(crate) gap: f64,
    /// Where in the motion.
    pub(crate) values: Values,
}

impl Solid {
    /// Least distance of the surface to a mesh over all of a motion of it, to within `tolerance`
    /// (mm) unless that takes too long; `gap` says to within what. `None` for an empty mesh.
    pub(crate) fn least_over(
        &self,
        mesh: &Mesh,
        movements: &[Movement],
        tolerance: f64,
        go_on: &(dyn Fn() -> Result<()> + Sync),
    ) -> Result<Option<Least>> {
        let search = Search { solid: self, mesh, movements, tolerance };
        let Some(start) = starting(&search) else { return Ok(None) };
        let (best, floor) = prove(&search, start, WORK, go_on)?;
        // The nearest of all at the place of the nearest pair found.
        let distance = search
            .at(&best.values, f64::INFINITY)
            .map_or(best.witness.distance, |b| b.witness.distance);
        Ok(Some(Least { distance, gap: (distance - floor).max(0.0), values: best.values }))
    }
}

impl Solid {
    /// Corners of a mesh, ascending, that may come within a distance of the surface (mm), or inside,
    /// somewhere in a motion.
    pub(crate) fn may_reach(&self, mesh: &Mesh, movements: &[Movement], distance: f64) -> Vec<u32> {
        let frame = Frame::new(movements, &Cell::whole(movements));
        let mut ids: Vec<u32> = mesh.triangles.as_flattened().to_vec();
        ids.sort_unstable();
        ids.dedup();
        let near = |i: &u32| {
            let p = frame.carry(&mesh.points[*i as usize]);
            let reach = distance + frame.reach(&frame.speeds(&p, 0.0));
            self.signed(&p, reach).is_some()
        };
        ids.into_par_iter().filter(near).collect()
    }
}

/// A good distance to begin with: the best of the corners, the middle and the place of rest, walked
/// downhill from there.
fn starting(search: &Search<'_>) -> Option<Best> {
    let movements = search.movements;
    let whole = Cell::whole(movements);
    let mut places: Vec<Values> = vec![whole.middle];
    places.push(rest(movements));
    for corner in 0..1usize << movements.len() {
        let mut values = whole.middle;
        for (k, v) in values.iter_mut().enumerate().take(movements.len()) {
            let sign = if corner >> k & 1 == 1 { 1.0 } else { -1.0 };
            *v += sign * whole.half[k];
        }
        places.push(values);
    }
    let seen: Vec<Option<Best>> = places.par_iter().map(|v| search.at(v, f64::INFINITY)).collect();
    let mut best = seen.into_iter().flatten().reduce(Best::better)?;
    let mut step = whole.half.map(|h| 0.25 * h);
    for _ in 0..DOWNHILL {
        let mut moved = false;
        for k in (0..movements.len()).filter(|&k| step[k] > 0.0) {
            for sign in [-1.0, 1.0] {
                let mut values = best.values;
                values[k] = (values[k] + sign * step[k]).clamp(movements[k].from, movements[k].to);
                if let Some(next) = search.at(&values, best.witness.distance) {
                    (best, moved) = (best.better(next), true);
                }
            }
        }
        if !moved {
            step = step.map(|s| 0.5 * s);
        }
    }
    Some(best)
}

/// Where nothing has moved, as far as the limits allow.
fn rest(movements: &[Movement]) -> Values {
    let mut values = [0.0; MOST_MOVEMENTS];
    for (v, m) in values.iter_mut().zip(movements) {
        *v = 0f64.clamp(m.from, m.to);
    }
    values
}

/// Opens the lowest bounds until none is left below the best; the best and the proven bound.
fn prove(
    search: &Search<'_>,
    mut best: Best,
    work: usize,
    go_on: &(dyn Fn() -> Result<()> + Sync),
) -> Result<(Best, f64)> {
    let mut floor = best.witness.distance;
    let mut open = search.roots();
    let mut done = 0;
    while done < work && !open.is_empty() && open.len() < MOST_OPEN {
        go_on()?;
        // The lowest bounds of all, a fixed number of them, so that threads do not change the answer.
        let n = open.len().min(ROUND);
        open.select_nth_unstable_by(n - 1, State::order);
        let rest = open.split_off(n);
        open.sort_unstable_by(State::order);
        let pieces: Vec<search::Piece> =
            open.par_iter().with_min_len(4).map(|s| search.open(s, &best, PIECE)).collect();
        open = rest;
        for piece in pieces {
            done += piece.done;
            floor = floor.min(piece.floor);
            best = best.better(piece.best);
            open.extend(piece.left);
        }
        let keep = |s: &State| search.is_open(s, &best);
        floor = open.iter().filter(|s| !keep(s)).fold(floor, |f, s| f.min(s.bound));
        open.retain(keep);
    }
    floor = open.iter().fold(floor.min(best.witness.distance), |f, s| f.min(s.bound));
    Ok((best, floor.max(0.0)))
}

/// States opened in one round, and steps of each before the next round.
const ROUND: usize = 256;
const PIECE: usize = 256;
/// Steps, and states open at once, after which the bound reached is left as it is.
const WORK: usize = 12_000_000;
const MOST_OPEN: usize = 2_000_000;
/// Rounds of walking downhill from the best of the places tried first.
const DOWNHILL: usize = 24;
