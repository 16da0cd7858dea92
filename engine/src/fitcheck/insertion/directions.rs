//! All straight directions: which of them lead out.

use std::f64::consts::{PI, TAU};

use rayon::prelude::*;

use super::course::Course;
use crate::context::Context;
use crate::error::Result;
use crate::primitive::{Direction, Pose, Vec3, unit};

/// Straight ways out.
pub(super) struct Map {
    /// Even directions that are free, of how many.
    pub(super) free: usize,
    pub(super) tried: usize,
    /// The one to take, if any is free.
    pub(super) best: Option<Straight>,
}

/// A straight way out.
#[derive(Clone)]
pub(super) struct Straight {
    pub(super) along: Direction,
    /// Air that is kept all along, a proven lower bound, mm.
    pub(super) air: f64,
    /// Whether it stays clear of what may go on unseen beyond open borders.
    pub(super) seen: bool,
}

/// Tries directions spread evenly, and the machine's, the seats' and the given ones.
pub(super) fn map(
    course: &Course<'_>,
    count: usize,
    given: &[Direction],
    context: &Context,
) -> Result<Map> {
    let even: Vec<Direction> = even(count).collect();
    let all: Vec<Direction> = given.iter().copied().chain(even).collect();
    let pose = Pose::identity();
    let free = those(&all, context, |d| course.is_free(&pose, &course.way_out(&pose, d)))?;
    let first_even = given.len();
    let map = Map {
        free: free.iter().filter(|&&i| i >= first_even).count(),
        tried: count,
        best: best(course, &all, free, given, context)?,
    };
    Ok(map)
}

/// Evenly spread directions (R. Swinbank, R. Purser 2006, Fibonacci grids: a novel approach to global modelling).
fn even(count: usize) -> impl Iterator<Item = Direction> {
    let golden = PI * (3.0 - 5f64.sqrt());
    (0..count).map(move |i| {
        let z = 1.0 - (2 * i + 1) as f64 / count as f64;
        let (sin, cos) = ((i as f64 * golden) % TAU).sin_cos();
        let r = (1.0 - z * z).max(0.0).sqrt();
        Direction::new_normalize(Vec3::new(r * cos, r * sin, z))
    })
}

/// Places in the list of those that hold.
fn those(
    all: &[Direction],
    context: &Context,
    holds: impl Fn(&Direction) -> bool + Sync,
) -> Result<Vec<usize>> {
    let one = |d: &Direction| context.check().map(|()| holds(d));
    let held: Vec<bool> = all.par_iter().with_max_len(4).map(one).collect::<Result<_>>()?;
    Ok((0..all.len()).filter(|&i| held[i]).collect())
}

/// Seen before unseen, then the most air, then most along the seats' normals.
fn best(
    course: &Course<'_>,
    all: &[Direction],
    free: Vec<usize>,
    given: &[Direction],
    context: &Context,
) -> Result<Option<Straight>> {
    let pose = Pose::identity();
    let seen = |i: &usize| course.is_seen(&pose, &course.way_out(&pose, &all[*i]));
    let of_seen: Vec<usize> = free.par_iter().filter(|i| seen(i)).copied().collect();
    let is_seen = !of_seen.is_empty();
    let mut alive = if is_seen { of_seen } else { free };
    if alive.is_empty() {
        return Ok(None);
    }
    let (mut low, mut high) = (course.air, ALMOST * course.seated);
    let keep = |alive: &[usize], air: f64| -> Result<Vec<usize>> {
        let some: Vec<Direction> = alive.iter().map(|&i| all[i]).collect();
        let keeps = |d: &Direction| course.keeps(&pose, &course.way_out(&pose, d), air);
        Ok(those(&some, context, keeps)?.into_iter().map(|k| alive[k]).collect())
    };
    // All of what the seated part has, or as much as any keeps.
    let whole = if high.is_finite() { keep(&alive, high)? } else { Vec::new() };
    if whole.is_empty() {
        for _ in 0..HALVINGS {
            let air = 0.5 * (low + high);
            let kept = if air.is_finite() { keep(&alive, air)? } else { Vec::new() };
            if kept.is_empty() {
                high = air;
            } else {
                (alive, low) = (kept, air);
            }
        }
    } else {
        (alive, low) = (whole, high);
    }
    let mean: Vec3 = course.outward().map(|d| d.into_inner()).sum();
    let mean =
        if mean == Vec3::zeros() { given.iter().map(|d| d.into_inner()).sum() } else { mean };
    let mean = unit(mean).unwrap_or_else(Vec3::z_axis);
    let along = |i: &usize| all[*i].dot(&mean);
    let best = alive.into_iter().max_by(|a, b| along(a).total_cmp(&along(b)).then(b.cmp(a)));
    Ok(best.map(|i| Straight { along: all[i], air: low, seen: is_seen }))
}

/// Of the seated part's air: a way out keeps at most that.
const ALMOST: f64 = 0.999;
const HALVINGS: usize = 12;
