//! Joining by surface from no start: any pose, part of the surface in common.
//!
//! Both scans are thinned to one point a cell; places are described by how normals turn around them,
//! places alike are paired, and pairs that agree with one another in distances and normals give
//! poses. What both surfaces say to a pose decides: where they lie on one another, and where they
//! should and do not. Two poses of like support, or too little of it, are refused and shown, not
//! guessed.

mod agreement;
mod histogram;
mod support;
mod thinned;

use rayon::prelude::*;

pub use support::Support;

use super::rigid::centroid;
use super::{Join, SurfaceOptions, by_surface};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose};
use crate::scan::Scan;
use histogram::Looks;
use support::{CLOSEST, DEVIATIONS, WIDEST, scatter, settle, support};
use thinned::Thinned;

/// Limits of a join from no start.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct UnknownStartOptions {
    /// Smallest share of the points of the scan that has more of them in the overlap; default 0.1.
    pub least_overlap: f64,
    /// Poses shown, at most; default 5.
    pub candidates: usize,
}

impl Default for UnknownStartOptions {
    fn default() -> Self {
        UnknownStartOptions { least_overlap: 0.1, candidates: 5 }
    }
}

/// A pose that shapes agree on, before the last fit.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Takes coordinates of this scan to those of the scan it is joined to.
    pub to_from_this: Pose,
    /// What the surfaces say to it.
    pub support: Support,
    /// Its share among all candidates, 0 to 1.
    pub probability: f64,
}

/// Joins `from` to `to` by the surface both show, from no start; answers the join and the poses
/// that were weighed, the best first.
///
/// Normals must point to the same side in both scans. What the surface does not hold is treated as by
/// [`by_surface`], which does the last fit.
///
/// # Errors
/// [`Error::Argument`] for an option out of range; [`Error::Join`] if no pose has enough support, several
/// have (the layout is symmetric or repeats itself), or the last fit fails: the poses are named;
/// [`Error::Cancelled`].
pub fn from_unknown_start(
    to: &Scan,
    from: &Scan,
    options: &UnknownStartOptions,
    context: &Context,
) -> Result<(Join, Vec<Candidate>)> {
    if !(options.least_overlap > 0.0 && options.least_overlap <= 1.0) {
        return Err(Error::argument("least_overlap", options.least_overlap, "a share over 0 to 1"));
    }
    if options.candidates == 0 {
        return Err(Error::argument("candidates", options.candidates, "1 or more"));
    }
    let (mut refused, mut contradicted): (Option<Refused>, bool) = (None, false);
    for (k, (cells, looks)) in TRIES.into_iter().enumerate() {
        context.report("looking for the pose", k as f64 / TRIES.len() as f64)?;
        let search = context.run(|| Search::new(to, from, cells));
        let (mut candidates, gate) = context.run(|| search.candidates(&looks, context))?;
        let doubt = search.verdict(&candidates);
        let too_little = doubt.as_ref().is_some_and(|d| d.too_little);
        let why = match doubt {
            None => match search.last_fit(to, from, &candidates[0], gate, options, context) {
                Ok(join) => {
                    candidates.truncate(options.candidates);
                    return Ok((join, candidates));
                }
                Err(Error::Join { reason }) => reason,
                Err(other) => return Err(other),
            },
            Some(doubt) => doubt.why,
        };
        candidates.truncate(options.candidates);
        let best = |c: &[Candidate]| c.first().map_or(f64::NEG_INFINITY, |c| c.support.evidence);
        if refused.as_ref().is_none_or(|r| best(&r.candidates) < best(&candidates)) {
            refused = Some(Refused { why, candidates });
        }
        // Looking longer does not help where two poses fit or the best one is contradicted.
        contradicted |= !too_little;
        if contradicted && k + 1 >= USUAL_TRIES {
            break;
        }
    }
    Err(refused.map_or_else(|| Error::Internal("no search was made".into()), Refused::error))
}

/// Why a pose is not to be trusted.
struct Doubt {
    why: String,
    /// Nothing speaks against it, but too little for it.
    too_little: bool,
}

/// Why no pose was taken, and those weighed.
struct Refused {
    why: String,
    candidates: Vec<Candidate>,
}

impl Refused {
    fn error(self) -> Error {
        let poses: Vec<String> = self.candidates.iter().map(Candidate::in_words).collect();
        let poses = match poses.is_empty() {
            true => String::new(),
            false => format!("; poses weighed: {}", poses.join("; ")),
        };
        Error::Join {
            reason: format!(
                "no pose is certain from the surface alone: {}; scan more of what both show, put targets on the \
                 machine, or give a start{poses}",
                self.why
            ),
        }
    }
}

impl Candidate {
    fn in_words(&self) -> String {
        let t = self.to_from_this.translation.vector;
        let turn = self.to_from_this.rotation.scaled_axis().map(f64::to_degrees);
        format!(
            "shift ({:.1}, {:.1}, {:.1}) mm, turn vector ({:.1}, {:.1}, {:.1}) degrees: {} cells on the other surface, {} off it",
            t.x, t.y, t.z, turn.x, turn.y, turn.z, self.support.matched, self.support.against
        )
    }
}

/// Both scans in one coarseness.
struct Search {
    to: Thinned,
    from: Thinned,
    middle: Point3,
    edge: f64,
}

impl Search {
    fn new(to: &Scan, from: &Scan, cells: f64) -> Self {
        let diagonal = |scan: &Scan| {
            let (low, high) = super::pairing::bounds(scan.points());
            (high - low).norm()
        };
        let coarse = diagonal(to).min(diagonal(from)) / cells;
        let edge = coarse.max(LEAST_SPACINGS * to.resolution().max(from.resolution()));
        let (to, from) = (Thinned::new(to, edge), Thinned::new(from, edge));
        let middle = centroid(&from.points);
        Search { to, from, middle, edge }
    }

    /// Poses with their support, the best first, and how near a cell must be to lie on the other surface, mm.
    fn candidates(&self, looks: &Looks, context: &Context) -> Result<(Vec<Candidate>, f64)> {
        let pairs = histogram::alike(&self.to, &self.from, looks);
        context.check()?;
        let mut poses: Vec<Pose> = Vec::new();
        for pose in agreement::poses(&self.to, &self.from, &pairs) {
            if poses.len() < MOST_POSES && !poses.iter().any(|p| self.same(p, &pose)) {
                poses.push(pose);
            }
        }
        context.check()?;
        let weigh = |pose: &Pose| {
            let pose = settle(&self.to, &self.from, pose, COARSE);
            (pose, support(&self.to, &self.from, &pose, WIDEST * self.edge))
        };
        let mut weighed: Vec<(Pose, Support)> = poses.par_iter().map(weigh).collect();
        best_first(&mut weighed);
        let mut distinct: Vec<(Pose, Support)> = Vec::new();
        for w in weighed {
            if !distinct.iter().any(|d| self.same(&d.0, &w.0)) {
                distinct.push(w);
            }
        }
        // Rivals come as near as they can before they are told apart.
        let least = LEAD * distinct.first().map_or(0.0, |d| d.1.evidence);
        let rivals = distinct.partition_point(|d| d.1.evidence >= least);
        distinct[..rivals]
            .par_iter_mut()
            .for_each(|d| d.0 = settle(&self.to, &self.from, &d.0, FINE));
        let gate = self.gate(&distinct[..rivals]);
        distinct.par_iter_mut().for_each(|d| d.1 = support(&self.to, &self.from, &d.0, gate));
        best_first(&mut distinct);
        let most = distinct.first().map_or(0.0, |d| d.1.evidence);
        let weight = |s: &Support| (s.evidence - most).exp();
        let sum: f64 = distinct.iter().map(|d| weight(&d.1)).sum();
        let candidate = |(to_from_this, support): (Pose, Support)| Candidate {
            to_from_this,
            support,
            probability: weight(&support) / sum,
        };
        Ok((distinct.into_iter().map(candidate).collect(), gate))
    }

    /// The closest of what the likeliest poses leave: a flat surface turned a little lies within a
    /// cell of itself, but not within its scatter.
    fn gate(&self, rivals: &[(Pose, Support)]) -> f64 {
        let scatters = rivals.iter().map(|r| scatter(&self.to, &self.from, &r.0));
        let closest = DEVIATIONS * scatters.fold(f64::INFINITY, f64::min);
        closest.clamp(CLOSEST * self.edge, WIDEST * self.edge)
    }

    fn same(&self, a: &Pose, b: &Pose) -> bool {
        (a.rotation.inverse() * b.rotation).angle() < SAME_TURN
            && (a * self.middle - b * self.middle).norm() < SAME_SHIFT * self.edge
    }

    /// Why the best pose is not to be trusted, if so.
    fn verdict(&self, candidates: &[Candidate]) -> Option<Doubt> {
        let too_little = |why: String| Some(Doubt { why, too_little: true });
        let contradicted = |why: String| Some(Doubt { why, too_little: false });
        let Some(best) = candidates.first() else {
            return too_little("nothing in one scan looks like anything in the other".into());
        };
        let (found, share) = (best.support.evidence, best.support.share_against());
        // What contradicts a pose much more than the best one tells them apart.
        let like = |c: &&Candidate| c.support.share_against() < share + CONTRADICTED;
        let second = candidates[1..].iter().find(like).map_or(0.0, |c| c.support.evidence);
        if found < LEAST_EVIDENCE {
            too_little(format!(
                "the best has too little support ({found:.0} of {LEAST_EVIDENCE:.0})"
            ))
        } else if second > LEAD * found {
            contradicted(format!(
                "two have like support ({found:.0} and {second:.0}): the surface is symmetric or repeats itself"
            ))
        } else if share > MOST_AGAINST {
            contradicted(format!(
                "{:.0} % of the best one's overlap lies off the other surface",
                100.0 * share
            ))
        } else {
            None
        }
    }

    /// The fit by surface from a candidate, and whether it still has its support.
    fn last_fit(
        &self,
        to: &Scan,
        from: &Scan,
        candidate: &Candidate,
        gate: f64,
        options: &UnknownStartOptions,
        context: &Context,
    ) -> Result<Join> {
        let surface = SurfaceOptions {
            reach: Some(SAME_SHIFT * self.edge),
            least_overlap: options.least_overlap,
            ..SurfaceOptions::default()
        };
        let mut join = by_surface(to, from, &candidate.to_from_this, &surface, context)?;
        let at = context.run(|| support(&self.to, &self.from, &join.to_from_this, gate));
        let share = at.share_against();
        if at.evidence < LEAST_EVIDENCE.max(LEAD * candidate.support.evidence)
            || share > MOST_AGAINST
        {
            return Err(Error::Join {
                reason: format!(
                    "the last fit left the best pose ({:.0} of {:.0} support, {:.0} % off the other surface)",
                    at.evidence,
                    candidate.support.evidence,
                    100.0 * share
                ),
            });
        }
        join.notes.push(format!(
            "found from no start: {} of {} cells of {:.1} mm lie on the other surface, {} off it",
            at.matched,
            self.from.points.len(),
            self.edge,
            at.against
        ));
        Ok(join)
    }
}

fn best_first(weighed: &mut [(Pose, Support)]) {
    weighed.sort_by(|a, b| b.1.evidence.total_cmp(&a.1.evidence));
}

/// Cells along the diagonal of the smaller scan's box and what is compared, one try after the other: most pairs are
/// found by the first, and those that are not get more time.
const TRIES: [(f64, Looks); 4] = [
    (70.0, Looks { radius: 7.0, places: 1200, partners: 5 }),
    (100.0, Looks { radius: 7.0, places: 1200, partners: 5 }),
    (70.0, Looks { radius: 5.0, places: 2400, partners: 5 }),
    (100.0, Looks { radius: 11.0, places: 2400, partners: 5 }),
];
/// Tries that are made in any case; the others only where all that is missing is support.
const USUAL_TRIES: usize = 2;
/// Cells are no smaller than this many spacings of the scans.
const LEAST_SPACINGS: f64 = 1.5;
/// Poses settled and weighed.
const MOST_POSES: usize = 40;
/// Gates of settling, first and last, in edges of a cell: every pose, and those that may be right.
const COARSE: [f64; 2] = [4.0, 1.0];
const FINE: [f64; 2] = [1.0, 0.2];
/// Poses nearer than this are one: rad, and edges of a cell at the middle of the scan.
const SAME_TURN: f64 = 0.12;
const SAME_SHIFT: f64 = 3.0;
/// Support (natural logarithm of likelihoods) below which nothing is believed: right poses at 30 %
/// overlap had 66 and more, wrong ones of real range scans up to 47. Wrong ones of a flat cover had up to
/// 99, beside the right one, which contradicted them.
const LEAST_EVIDENCE: f64 = 55.0;
/// A second pose with more than this share of the best one's support makes it uncertain.
const LEAD: f64 = 0.7;
/// By how much more of its overlap off the other surface a pose is told from the best.
const CONTRADICTED: f64 = 0.03;
/// Most of the overlap that may lie off the other surface: right poses had up to 8 %. It does not tell
/// right from wrong alone.
const MOST_AGAINST: f64 = 0.1;
