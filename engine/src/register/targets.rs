//! Joining by targets: two lists of target centres, unknown correspondence, unequal sets.
//!
//! Pairs are found by distance consistency, the pose by least squares, a moved target by the F
//! test of the fit with and without it (Snedecor; as for one outlier in Cook and Weisberg,
//! "Residuals and influence in regression", 1982), its covariance by linear propagation (JCGM
//! 100). A layout that fits in more than one way is refused, never guessed.

use super::Join;
use super::matching::{self, Candidate, Found, Indices};
use super::rigid::{RigidFit, main_line};
use crate::error::{Error, Result};
use crate::primitive::Point3;

/// Limits of a join by targets.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct TargetOptions {
    /// Largest difference between two distances held to be the same, and largest distance of a
    /// target from its partner after the fit, mm; default 0.3. Residuals of the data tighten it.
    pub tolerance: f64,
    /// Standard deviation of one coordinate of a centre below which residuals say nothing, mm;
    /// default 0.03. It keeps a lucky fit of few targets from condemning a good target.
    pub least_deviation: f64,
}

impl Default for TargetOptions {
    fn default() -> Self {
        TargetOptions { tolerance: 0.3, least_deviation: 0.03 }
    }
}

/// A target seen in both scans.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TargetPair {
    /// Its index in the list of the scan joined to.
    pub to: usize,
    /// Its index in this scan's list.
    pub from: usize,
    /// Distance between the two after the fit, mm.
    pub residual: f64,
    /// Share of its own coordinates in where the fit puts it, 0 to 1: near 1 nothing checks it.
    pub leverage: f64,
}

/// Joins by target centres, each list in its own scan's coordinates, mm, in any order.
///
/// Targets that only one scan saw are no fault; one that moved is left out and named in the notes.
/// Indices in notes count from 0 in the order of the lists.
///
/// # Errors
/// [`Error::Argument`] for a coordinate or option that is not finite or not positive;
/// [`Error::Limit`] over 1,000 targets in a list; [`Error::Join`] if fewer than three targets
/// agree, those that agree are in line, they agree in several ways, or so few of so many agree
/// that it may be chance; the text says what is missing.
pub fn by_targets(to: &[Point3], from: &[Point3], options: &TargetOptions) -> Result<Join> {
    check(to, from, options)?;
    let found = matching::find(to, from, options.tolerance);
    let Some(best) = found.candidates.first() else {
        return Err(nothing_agrees(to.len(), from.len(), &found, options));
    };
    refuse_ambiguous(&found, best, options)?;
    refuse_chance(to.len(), from.len(), &found, best, options)?;
    let lists = Lists { to, from };
    let (pairs, moved) = lists.without_moved(best, options);
    let fit = matching::fit_pairs(to, from, &pairs);
    let sigma = deviation(fit.rss, pairs.len());
    let mut notes = moved_notes(&lists, &fit, &pairs, moved, options);
    notes.extend(lists.weakness_notes(&pairs, sigma));
    if found.candidates.get(1).is_some_and(|c| c.pairs.len() + 1 == best.pairs.len()) {
        notes.push(format!(
            "with one target fewer the layout fits in another way too: of {} shared targets one decides",
            best.pairs.len()
        ));
    }
    Ok(Join {
        to_from_this: fit.to_from_this,
        rms: (fit.rss / pairs.len() as f64).sqrt(),
        overlap: pairs.len() as f64 / from.len() as f64,
        covariance: fit.covariance(sigma, pairs.len()),
        converged: true,
        pairs: lists.described(&pairs, &fit),
        notes,
    })
}

/// Both lists under their roles.
struct Lists<'a> {
    to: &'a [Point3],
    from: &'a [Point3],
}

impl Lists<'_> {
    /// Pairs of the best way, and of them, taken out one by one, those that disagree with the others.
    fn without_moved(
        &self,
        best: &Candidate,
        options: &TargetOptions,
    ) -> (Vec<Indices>, Vec<Indices>) {
        let (mut pairs, mut moved) = (best.pairs.clone(), Vec::new());
        while pairs.len() > 3 {
            let rss = matching::fit_pairs(self.to, self.from, &pairs).rss;
            let without = |k: usize| {
                let mut rest = pairs.clone();
                rest.remove(k);
                let shared: Vec<Point3> = rest.iter().map(|p| self.to[p.0]).collect();
                let holds = !matching::in_line(&shared, options.tolerance);
                holds.then(|| (k, matching::fit_pairs(self.to, self.from, &rest).rss))
            };
            let rests = (0..pairs.len()).filter_map(without);
            let Some((worst, rest)) = rests.min_by(|a, b| a.1.total_cmp(&b.1)) else { break };
            let freedom = 3 * (pairs.len() - 1) - 6;
            let variance = (rest / freedom as f64).max(options.least_deviation.powi(2));
            if (rss - rest) / 3.0 / variance <= critical_f(freedom) {
                break;
            }
            moved.push(pairs.remove(worst));
        }
        (pairs, moved)
    }

    fn described(&self, pairs: &[Indices], fit: &RigidFit) -> Vec<TargetPair> {
        let describe = |&(to, from): &Indices| TargetPair {
            to,
            from,
            residual: (self.to[to] - fit.to_from_this * self.from[from]).norm(),
            leverage: fit.leverage(&self.to[to], pairs.len()),
        };
        pairs.iter().map(describe).collect()
    }

    fn weakness_notes(&self, pairs: &[Indices], sigma: f64) -> Vec<String> {
        let mut notes = Vec::new();
        let shared: Vec<Point3> = pairs.iter().map(|p| self.to[p.0]).collect();
        let (_, d, along, across) = main_line(&shared);
        if across < WEAK_SPREAD * along {
            notes.push(format!(
                "shared targets lie almost in line along ({:.3}, {:.3}, {:.3}) ({across:.1} mm across, {along:.1} mm along): \
                 turning about it is held to {:.4} rad only; more targets off the line would hold it",
                d.x, d.y, d.z, sigma / (across * (shared.len() as f64).sqrt())
            ));
        }
        if pairs.len() == 3 {
            notes.push(
                "only 3 shared targets: none of them is checked by the others, and the uncertainty \
                 itself is known to a factor of about two; 4 or more would check each other"
                    .into(),
            );
        }
        notes
    }
}

fn check(to: &[Point3], from: &[Point3], options: &TargetOptions) -> Result<()> {
    for (name, value) in
        [("tolerance", options.tolerance), ("least_deviation", options.least_deviation)]
    {
        if !(value.is_finite() && value > 0.0) {
            return Err(Error::argument(name, value, "a length over 0 mm"));
        }
    }
    for (name, list) in [("targets of the scan joined to", to), ("targets of this scan", from)] {
        if list.len() > MOST_TARGETS {
            return Err(Error::Limit {
                what: name.into(),
                found: list.len() as u64,
                limit: MOST_TARGETS as u64,
            });
        }
        if let Some(i) = list.iter().position(|p| !p.coords.iter().all(|c| c.is_finite())) {
            return Err(Error::argument(format!("{name}, index {i}"), list[i], "finite numbers"));
        }
        if list.len() < 3 {
            let reason = format!(
                "{name}: {} given, at least 3 not in line needed: {} missing",
                list.len(),
                3 - list.len()
            );
            return Err(Error::Join { reason });
        }
    }
    Ok(())
}

fn nothing_agrees(to: usize, from: usize, found: &Found, options: &TargetOptions) -> Error {
    let tolerance = options.tolerance;
    let reason = if found.exhausted {
        too_regular()
    } else if let Some(points) = &found.in_line {
        let (at, d, ..) = main_line(points);
        format!(
            "the targets that agree lie in line through ({:.1}, {:.1}, {:.1}) along ({:.3}, {:.3}, {:.3}), \
             which leaves turning about it free; a shared target off that line is missing",
            at.x, at.y, at.z, d.x, d.y, d.z
        )
    } else {
        let agreeing = if found.any_distance { 2 } else { 0 };
        format!(
            "of {to} and {from} targets no more than {agreeing} agree in their distances within {tolerance} mm, \
             at least 3 not in line needed: {} shared missing",
            3 - agreeing
        )
    };
    Error::Join { reason }
}

fn refuse_ambiguous(found: &Found, best: &Candidate, options: &TargetOptions) -> Result<()> {
    if found.exhausted {
        return Err(Error::Join { reason: too_regular() });
    }
    let sigma = |c: &Candidate| deviation(c.fit.rss, c.pairs.len()).max(options.least_deviation);
    let rivals =
        |c: &&Candidate| c.pairs.len() == best.pairs.len() && sigma(c) < DECISIVE * sigma(best);
    let ways = found.candidates.iter().filter(rivals).count();
    if ways > 1 {
        return Err(Error::Join {
            reason: format!(
                "ambiguous: {} shared targets fit in {ways} ways, the layout is symmetric within {} mm; \
                 a shared target that breaks the symmetry is missing",
                best.pairs.len(),
                options.tolerance
            ),
        });
    }
    Ok(())
}

/// Refuses if among so many targets a group of this size would often agree by chance.
fn refuse_chance(
    to: usize,
    from: usize,
    found: &Found,
    best: &Candidate,
    options: &TargetOptions,
) -> Result<()> {
    let k = best.pairs.len();
    // Pairs of a chance group would be off by anything up to the tolerance, not by little.
    let seen = 3.0 * deviation(best.fit.rss, k).max(options.least_deviation);
    let each = found.coincidence * (seen / options.tolerance).min(1.0);
    let mut expected = 1.0;
    for n in 0..k {
        expected *= (to - n) as f64 * (from - n) as f64 / (n + 1) as f64;
    }
    expected *= each.powi(3 * k as i32 - 6);
    if expected <= MOST_CHANCE {
        return Ok(());
    }
    Err(Error::Join {
        reason: format!(
            "{k} of {to} and {from} targets agree, but {expected:.1e} such groups would agree by chance \
             (at most {MOST_CHANCE:.0e} allowed); {} or more shared targets are needed",
            k + 1
        ),
    })
}

/// Names the targets that were left out because they moved, and counts those without a partner.
fn moved_notes(
    lists: &Lists<'_>,
    fit: &RigidFit,
    pairs: &[Indices],
    moved: Vec<Indices>,
    options: &TargetOptions,
) -> Vec<String> {
    let mut left_out = moved;
    let single = |i: usize| !pairs.iter().any(|p| p.0 == i);
    let mut single_to: Vec<usize> =
        (0..lists.to.len()).filter(|&i| single(i) && !left_out.iter().any(|m| m.0 == i)).collect();
    let mut alone = Vec::new();
    for from in 0..lists.from.len() {
        if pairs.iter().chain(&left_out).any(|p| p.1 == from) {
            continue;
        }
        let at = fit.to_from_this * lists.from[from];
        let points: Vec<Point3> = single_to.iter().map(|&i| lists.to[i]).collect();
        match matching::nearest(&points, &at) {
            Some((n, d)) if d < MOVED_REACH * options.tolerance => {
                left_out.push((single_to.remove(n), from));
            }
            _ => alone.push(from.to_string()),
        }
    }
    let mut notes: Vec<String> = left_out
        .iter()
        .map(|&(to, from)| {
            format!(
                "target {from} of this scan is {:.3} mm from target {to} of the other, the others agree to {:.3} mm: \
                 moved or badly measured, left out",
                (lists.to[to] - fit.to_from_this * lists.from[from]).norm(),
                (fit.rss / pairs.len() as f64).sqrt()
            )
        })
        .collect();
    if !alone.is_empty() {
        notes.push(format!("targets of this scan without a partner: {}", alone.join(", ")));
    }
    notes
}

fn too_regular() -> String {
    "ambiguous: the layout is so regular that its targets agree in too many ways to look at; \
     give fewer targets, placed irregularly"
        .into()
}

/// Standard deviation of one coordinate of one residual, mm.
fn deviation(rss: f64, pairs: usize) -> f64 {
    (rss / (3 * pairs - 6) as f64).sqrt()
}

/// Value that F with 3 and `freedom` degrees of freedom passes once in 10,000 times.
fn critical_f(freedom: usize) -> f64 {
    let above = F_TABLE.iter().rev().find(|row| row.0 <= freedom).unwrap_or(&F_TABLE[0]);
    above.1
}

/// Degrees of freedom and the quantile of F(3, ·) for 1e-4, from the incomplete beta function.
const F_TABLE: [(usize, f64); 10] = [
    (3, 659.34),
    (6, 53.68),
    (9, 25.40),
    (12, 17.90),
    (15, 14.63),
    (18, 12.85),
    (24, 10.96),
    (30, 9.99),
    (60, 8.35),
    (120, 7.66),
];
/// Targets in one list: the distances of all pairs are compared.
const MOST_TARGETS: usize = 1_000;
/// Ratio of standard deviations that decides between two ways of as many pairs: F(3, 3) passes
/// its square about once in 80 times, F(6, 6) less than once in 1,000 times.
const DECISIVE: f64 = 5.0;
/// Groups of targets that may be expected to agree by chance.
const MOST_CHANCE: f64 = 1e-3;
/// A target this many tolerances from an unpaired one counts as that one moved.
const MOVED_REACH: f64 = 30.0;
/// Ratio of spread across to along the line of the targets under which turning about it is weak.
const WEAK_SPREAD: f64 = 0.2;
