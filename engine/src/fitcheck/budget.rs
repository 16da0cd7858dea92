//! Uncertainty of one value: independent standard deviations by cause, added as squares.
//!
//! JCGM 100 (GUM), expanded with coverage factor 2. Scan points close together share errors: a
//! place of the surface counts as many independent points as patches of [`CORRELATION`] fit in it.

use super::finding::Contribution;
use super::scene::Scene;
use crate::associate::Covariance;
use crate::primitive::{Direction, Point3};

/// Standard deviations by cause, mm.
#[derive(Debug, Clone, Default)]
pub(super) struct Budget {
    terms: Vec<(&'static str, f64)>,
}

impl Budget {
    /// What every comparison of part and scan shares: the machine frame, the scan's join and the
    /// chords of the part's mesh, at a place and along a direction.
    pub(super) fn of_place(
        scene: &Scene<'_>,
        scan: Option<usize>,
        chord_error: f64,
        at: &Point3,
        along: Option<&Direction>,
    ) -> Self {
        let join = scan.and_then(|s| scene.scans[s].join_covariance);
        let mut budget = Budget::default();
        budget.add("frame", scene.frame_covariance.map_or(0.0, |c| deviation(c, at, along)));
        budget.add("join", join.map_or(0.0, |c| deviation(c, at, along)));
        let error = scan.and_then(|s| scene.scans[s].length_error);
        budget.add("scanner", error.map_or(0.0, |e| e.deviation(at.coords.norm())));
        // The true surface lies anywhere within the chord error (rectangular distribution).
        budget.add("part mesh", chord_error / 3f64.sqrt());
        budget
    }

    /// Adds a cause with its standard deviation, mm.
    pub(super) fn add(&mut self, cause: &'static str, deviation: f64) {
        if deviation > 0.0 {
            self.terms.push((cause, deviation));
        }
    }

    /// Every cause times a factor: what it does to a value that it moves by so much.
    pub(super) fn scale(&mut self, factor: f64) {
        self.terms.iter_mut().for_each(|t| t.1 *= factor);
    }

    /// Expanded uncertainty, k = 2, mm.
    pub(super) fn expanded(&self) -> f64 {
        2.0 * self.terms.iter().map(|t| t.1 * t.1).sum::<f64>().sqrt()
    }

    /// Each cause once, its terms added as squares, the largest first.
    pub(super) fn contributions(&self) -> Vec<Contribution> {
        let mut all: Vec<Contribution> = Vec::new();
        for &(cause, deviation) in &self.terms {
            match all.iter_mut().find(|c| c.cause == cause) {
                Some(c) => c.deviation = c.deviation.hypot(deviation),
                None => all.push(Contribution { cause, deviation }),
            }
        }
        all.sort_by(|a, b| b.deviation.total_cmp(&a.deviation));
        all
    }

    /// The largest cause, for people.
    pub(super) fn largest(&self) -> &'static str {
        self.contributions().first().map_or("nothing", |c| c.cause)
    }
}

/// Standard deviation of a carried point along a direction, or the largest in any, mm.
pub(super) fn deviation(c: &Covariance, at: &Point3, along: Option<&Direction>) -> f64 {
    along.map_or_else(|| c.deviation_at(at), |d| c.variance_along(at, d).max(0.0).sqrt())
}

/// Independent points in a round patch of the given radius (mm) that holds `points`.
pub(super) fn independent(radius: f64, points: usize) -> f64 {
    let patches = std::f64::consts::PI * radius * radius / (CORRELATION * CORRELATION);
    patches.clamp(1.0, points.max(1) as f64)
}

/// Length over which the errors of hand-held scans are alike, mm (1 to 3 by common experience).
const CORRELATION: f64 = 2.0;
