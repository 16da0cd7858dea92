//! The deepest place of an overlap: how far the surface of either part lies inside the other at most.
//!
//! Branch and bound over pieces of both surfaces. The bound of a piece is that of `Solid::depth_of`, which is tight
//! where the nearest surface is flat.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use super::patches::{Corners, Patch, Pieces, halves};
use crate::primitive::Point3;
use crate::solid::Depth;

/// The deepest place.
pub(super) struct Deepest {
    pub(super) depth: f64,
    /// No place is deeper by more than this, mm.
    pub(super) bound: f64,
    pub(super) on_part: Point3,
    pub(super) on_other: Point3,
}

/// Of one place; `None` where nothing lies inside.
pub(super) fn deepest(pieces: &Pieces<'_>, patch: &Patch) -> Option<Deepest> {
    let sides =
        [(true, &patch.of_part, &pieces.of_part), (false, &patch.of_other, &pieces.of_other)];
    let (mut best, mut open) = (None, BinaryHeap::new());
    for (of_part, ids, all) in sides {
        for &i in ids {
            let t = all[i as usize];
            let Some(left) = offer(pieces, of_part, &t, &mut best) else { continue };
            open.push(left);
            // Corners are where flat things are deepest.
            for corner in t {
                offer(pieces, of_part, &[corner; 3], &mut best);
            }
        }
    }
    let depth_of = |best: &Option<(bool, Depth)>| best.map_or(0.0, |b| b.1.depth.max(0.0));
    let (mut steps, mut most) = (0, 0.0);
    while let Some(top) = open.pop() {
        let found = depth_of(&best);
        // Faces that lie on each other are bounded slowly, by what juts out beside them.
        let enough = if found > super::ROUNDING { WORK } else { WORK_OF_CONTACT };
        if top.most <= found + TOLERANCE || steps >= enough {
            most = top.most;
            break;
        }
        steps += 1;
        for half in halves(&top.piece, 0.0).into_iter().flatten() {
            open.extend(offer(pieces, top.of_part, &half, &mut best));
        }
    }
    let (of_part, found) = best.filter(|b| b.1.depth > 0.0)?;
    let (on_part, on_other) =
        if of_part { (found.at, found.on_surface) } else { (found.on_surface, found.at) };
    let bound = (most - found.depth).max(0.0);
    Some(Deepest { depth: found.depth, bound, on_part, on_other })
}

/// Takes the middle of a piece if it is deeper than all before; what is left to look at, if anything.
fn offer(
    pieces: &Pieces<'_>,
    of_part: bool,
    piece: &Corners,
    best: &mut Option<(bool, Depth)>,
) -> Option<Open> {
    let found = pieces.against(of_part).depth_of(piece)?;
    if best.is_none_or(|b| found.depth > b.1.depth) {
        *best = Some((of_part, found));
    }
    (found.most > TOLERANCE).then_some(Open { most: found.most, of_part, piece: *piece })
}

/// A piece that may hold a deeper place.
struct Open {
    most: f64,
    of_part: bool,
    piece: Corners,
}

impl Ord for Open {
    fn cmp(&self, other: &Self) -> Ordering {
        self.most.total_cmp(&other.most)
    }
}

impl PartialOrd for Open {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Open {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Open {}

/// The depth is found to this, mm.
const TOLERANCE: f64 = 0.01;
/// Most pieces cut: some seconds; and while nothing inside was found.
const WORK: usize = 200_000;
const WORK_OF_CONTACT: usize = 20_000;
