//! A way with turns, found by taking the part out of its seat at random.
//!
//! A tree of places grows from the seat (S. LaValle, J. Kuffner 2001, Randomized kinodynamic planning; grown
//! from the narrow end, as for taking assemblies apart). Moves along and about the directions that machines
//! are built in go as far as they are free, since slots end where the next move begins; others are random.
//! From every new place straight ways out are tried. The generator is seeded and moves are tried in rounds of
//! fixed size, so that the result does not depend on threads. Not finding a way proves nothing.

use std::f64::consts::PI;

use rayon::prelude::*;

use super::course::Course;
use super::path::Move;
use crate::context::Context;
use crate::error::Result;
use crate::numeric::random::Random;
use crate::primitive::{Direction, Point3, Pose, Vec3, unit};

/// Moves from the seat to outside; each keeps the air of the course.
pub(super) struct Plan {
    pub(super) moves: Vec<Move>,
    /// Moves that were tried.
    pub(super) tried: usize,
}

struct Node {
    pose: Pose,
    parent: usize,
    by: Move,
}

/// Looks for a way out with at most `tries` moves.
pub(super) fn search(
    course: &Course<'_>,
    (tries, seed): (usize, u64),
    axes: &[Direction],
    centres: &[Point3],
    context: &Context,
) -> Result<Option<Plan>> {
    let mut random = Random::new(seed);
    let root = Node { pose: Pose::identity(), parent: 0, by: Move::straight(Vec3::zeros()) };
    let mut nodes = vec![root];
    let mut tried = 0;
    while tried < tries {
        context.report("fit check: way in with turns", tried as f64 / tries as f64)?;
        let round: Vec<Try> =
            (0..ROUND).map(|_| Try::new(course, &nodes, axes, centres, &mut random)).collect();
        tried += round.len();
        let done: Vec<Option<Reached>> = round
            .par_iter()
            .map(|t| {
                context.check()?;
                Ok(t.run(course, &nodes, axes))
            })
            .collect::<Result<_>>()?;
        for (t, reached) in round.iter().zip(done) {
            let Some(reached) = reached else { continue };
            for (share, out) in reached.shares {
                let by = t.by.part(share);
                let pose = by.at(&nodes[t.from].pose, 1.0);
                nodes.push(Node { pose, parent: t.from, by });
                if let Some(way) = out {
                    let mut moves = moves_to(&nodes, nodes.len() - 1);
                    moves.push(Move::straight(way));
                    return Ok(Some(Plan { moves: shortened(course, moves, context)?, tried }));
                }
            }
        }
    }
    Ok(None)
}

/// A move to be tried from a node.
struct Try {
    from: usize,
    by: Move,
    /// Where to stop on the way, beside its end.
    stop: f64,
    /// Further direction in which a way out is tried.
    out: Direction,
}

/// Shares of a tried move that are new places, each with the way out if there is one.
struct Reached {
    shares: Vec<(f64, Option<Vec3>)>,
}

impl Try {
    fn new(
        course: &Course<'_>,
        nodes: &[Node],
        axes: &[Direction],
        centres: &[Point3],
        random: &mut Random,
    ) -> Self {
        // Half of the time from the latest places: slots are long and narrow.
        let latest = random.below(2) == 0;
        let first = if latest { nodes.len().saturating_sub(LATEST) } else { 0 };
        let from = first + random.below(nodes.len() - first);
        let pose = &nodes[from].pose;
        let any = direction(random);
        let sign = if random.below(2) == 0 { 1.0 } else { -1.0 };
        let built = axes[random.below(axes.len())];
        // Directions of the machine and of the turned part alike.
        let built = if random.below(2) == 0 { built } else { pose.rotation * built };
        let built = Direction::new_unchecked(built.into_inner() * sign);
        let centre = pose * centres[random.below(centres.len())];
        let angle = PI * uniform(random);
        let far = course.size() * uniform(random).powi(2);
        let by = match random.below(6) {
            0 | 1 => Move::straight(built.into_inner() * course.size()),
            2 => Move::straight(any.into_inner() * far),
            3 | 4 => Move { shift: Vec3::zeros(), centre, axis: built, angle: PI },
            _ => Move {
                shift: any.into_inner() * (0.2 * far),
                centre,
                axis: direction(random),
                angle,
            },
        };
        Try { from, by, stop: uniform(random), out: direction(random) }
    }

    fn run(&self, course: &Course<'_>, nodes: &[Node], axes: &[Direction]) -> Option<Reached> {
        let before = &nodes[self.from].pose;
        let end = self.by.advance(course, before);
        let size = self.by.shift.norm()
            + self.by.angle.abs() * course.radius_about(&course.middle, &self.by.axis);
        if end * size < LEAST_MOVE {
            return None;
        }
        let out = |share: f64| {
            let pose = self.by.at(before, share);
            let both = axes.iter().flat_map(|d| [*d, -*d]).chain([self.out]);
            let ways = both.map(|d| course.way_out(&pose, &d));
            ways.into_iter().find(|way| course.is_free(&pose, way))
        };
        let shares = [end, end * self.stop];
        Some(Reached { shares: shares.map(|share| (share, out(share))).to_vec() })
    }
}

impl Move {
    /// The beginning of a move.
    fn part(&self, share: f64) -> Self {
        Move { shift: self.shift * share, angle: self.angle * share, ..*self }
    }
}

fn moves_to(nodes: &[Node], mut node: usize) -> Vec<Move> {
    let mut moves = Vec::new();
    while node != 0 {
        moves.push(nodes[node].by);
        node = nodes[node].parent;
    }
    moves.reverse();
    moves
}

/// Leaves out what a single move does as well, the longest stretches first.
fn shortened(course: &Course<'_>, mut moves: Vec<Move>, context: &Context) -> Result<Vec<Move>> {
    let mut first = 0;
    while first + 1 < moves.len() {
        let mut poses = vec![Pose::identity()];
        for m in &moves {
            poses.push(m.at(&poses[poses.len() - 1], 1.0));
        }
        for last in (first + 2..=moves.len()).rev() {
            context.check()?;
            let direct = Move::between(&poses[first], &poses[last], &course.middle);
            if direct.advance(course, &poses[first]) >= 1.0 {
                moves.splice(first..last, [direct]);
                break;
            }
        }
        first += 1;
    }
    Ok(moves)
}

fn direction(random: &mut Random) -> Direction {
    // Even over the sphere: height and angle are (Archimedes).
    let (z, angle) = (2.0 * uniform(random) - 1.0, 2.0 * PI * uniform(random));
    let r = (1.0 - z * z).max(0.0).sqrt();
    unit(Vec3::new(r * angle.cos(), r * angle.sin(), z)).unwrap_or_else(Vec3::z_axis)
}

fn uniform(random: &mut Random) -> f64 {
    (random.bits() >> 11) as f64 / (1u64 << 53) as f64
}

/// Moves tried side by side.
const ROUND: usize = 16;
/// Places that count as latest.
const LATEST: usize = 12;
/// Shortest move that is a new place, mm.
const LEAST_MOVE: f64 = 0.2;
