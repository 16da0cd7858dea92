//! The pose in which a later scan's features are the saved ones.
//!
//! Three features that may be three of the saved ones, by kind, size and what is between them, give a pose;
//! a pose counts by how many saved features it finds. Geometric hashing without the table: Grimson and
//! Lozano-Pérez, "Localizing overlapping parts by searching the interpretation tree" (1987).

use nalgebra::{Rotation3, UnitQuaternion};

use super::super::Placed;
use super::super::freedom::describe_motion;
use super::super::pairing::Scaling;
use super::fit::{Common, Difference, Floor, free_motion};
use super::landmark::{Fixes, Geometry, Landmark};
use super::relate::{apart, between, off, triad};
use super::saved::{SavedDatum, SavedFeature};
use crate::associate::Covariance;
use crate::context::Context;
use crate::error::{Error, Result};
use crate::feature::FeatureKind;
use crate::primitive::{Point3, Pose, Vec3};
use crate::survey::{Survey, SurveyOptions};

/// Limits of finding a saved datum system again.
#[non_exhaustive]
#[derive(Debug, Clone, Default)]
pub struct AgainOptions {
    /// Where to look: takes scan coordinates to about machine coordinates. Default: any pose.
    pub start: Option<Pose>,
    /// How far the start may put any feature from its place, mm; default a tenth of the features' spread.
    pub reach: Option<f64>,
    /// How far a feature may be from where the others say, mm, to be counted as found; default 0.1. Its own
    /// uncertainty of both days is added.
    pub tolerance: Option<f64>,
}

/// Where a saved datum system was found.
#[derive(Debug, Clone)]
pub struct FoundAgain {
    /// Takes scan coordinates to machine coordinates, by all features that were matched; good enough to find each of
    /// them again, the datum rule then says it exactly.
    pub machine_from_scan: Pose,
    /// What each saved feature was matched with, scan coordinates; `None`: not matched by this coarse search.
    pub landmarks: Vec<Option<Landmark>>,
    /// Root mean square of what the pairs disagree by, in their own deviations.
    pub deviation: f64,
}

impl SavedDatum {
    /// Finds the pose of later scans, joined to each other (`all_from_this`: to the coordinates that the pose is for).
    ///
    /// # Errors
    /// [`Error::Join`] if too few features are found, naming a freedom that is left; if two poses do
    /// about as well, naming both; if the layout is too regular to decide; [`Error::Argument`] for an option out of
    /// range; [`Error::Cancelled`].
    pub fn find(
        &self,
        scans: &[Placed<'_>],
        options: &AgainOptions,
        context: &Context,
    ) -> Result<FoundAgain> {
        validate(options)?;
        let survey = SurveyOptions { context: Some(context.clone()), ..SurveyOptions::default() };
        let mut landmarks = Vec::new();
        for s in scans {
            let found = Survey::of(s.scan, &survey)?;
            landmarks.extend(Landmark::of_survey(&found, &s.all_from_this));
        }
        let mut search = Search::new(self, &landmarks, scans, options)?;
        search.run(context)?;
        search.finish()
    }
}

fn validate(options: &AgainOptions) -> Result<()> {
    for (name, value) in [("reach", options.reach), ("tolerance", options.tolerance)] {
        if let Some(v) = value.filter(|v| !(v.is_finite() && *v > 0.0)) {
            return Err(Error::argument(name, v, "more than 0 mm"));
        }
    }
    if options.start.is_some_and(|p| !p.to_homogeneous().iter().all(|x| x.is_finite())) {
        return Err(Error::argument("start", "not finite", "a finite pose"));
    }
    Ok(())
}

/// A saved feature and a landmark that may be one.
type Pair = (usize, usize);

/// A pose with what it finds.
#[derive(Clone)]
struct Way {
    pose: Pose,
    pairs: Vec<Pair>,
    /// Root mean square of the differences in deviations.
    deviation: f64,
}

struct Search<'a> {
    saved: &'a [SavedFeature],
    landmarks: &'a [Landmark],
    scans: &'a [Placed<'a>],
    old: Vec<Geometry>,
    new: Vec<Geometry>,
    /// By saved feature: landmarks that it may be.
    may_be: Vec<Vec<usize>>,
    start: Option<(Pose, f64)>,
    tolerance: f64,
    middle: Point3,
    radius: f64,
    ways: Vec<Way>,
    work: usize,
}

impl<'a> Search<'a> {
    fn new(
        datum: &'a SavedDatum,
        landmarks: &'a [Landmark],
        scans: &'a [Placed<'a>],
        options: &AgainOptions,
    ) -> Result<Self> {
        let old: Vec<Geometry> = datum.features.iter().map(Geometry::of_saved).collect();
        let new: Vec<Geometry> = landmarks.iter().map(Geometry::of_landmark).collect();
        let tolerance = options.tolerance.unwrap_or(TOLERANCE);
        let looked_for = |f: &&Geometry| LOOKED_FOR.contains(&f.kind);
        let used: Vec<&Geometry> = old.iter().filter(looked_for).collect();
        let count = used.len().max(1) as f64;
        let middle = Point3::from(used.iter().map(|g| g.middle.coords).sum::<Vec3>() / count);
        let square: f64 =
            used.iter().map(|g| (g.middle - middle).norm_squared() + g.extent.powi(2)).sum();
        let radius = (square / count).sqrt().max(f64::MIN_POSITIVE);
        let may_be = old.iter().zip(&datum.features).map(|(o, f)| {
            if !LOOKED_FOR.contains(&o.kind) {
                return Vec::new();
            }
            let slack = |k: usize| {
                2.0 * tolerance + 4.0 * landmarks[k].deviation + 4.0 * f.covariance.size(0)
            };
            (0..new.len()).filter(|&k| o.like(&new[k], slack(k))).collect()
        });
        let may_be: Vec<Vec<usize>> = may_be.collect();
        let reach = options.reach.unwrap_or(0.1 * 2.0 * radius);
        let search = Search {
            saved: &datum.features,
            landmarks,
            scans,
            may_be,
            start: options.start.map(|s| (s, reach)),
            tolerance,
            middle,
            radius,
            ways: Vec::new(),
            work: 0,
            old,
            new,
        };
        search.enough(|_| true, "the saved features")?;
        search.enough(
            |k| !search.may_be[k].is_empty(),
            "those of which the scan has one of their kind and size",
        )?;
        Ok(search)
    }

    /// An error naming a freedom that the chosen saved features leave.
    fn enough(&self, chosen: impl Fn(usize) -> bool, which: &str) -> Result<()> {
        let used: Vec<usize> = (0..self.old.len())
            .filter(|&k| LOOKED_FOR.contains(&self.old[k].kind) && chosen(k))
            .collect();
        let shapes: Vec<_> =
            used.iter().map(|&k| &self.old[k]).map(|g| (g.kind, g.direction, g.point)).collect();
        let Some(free) = free_motion(&shapes, &self.middle, self.radius) else { return Ok(()) };
        let names: Vec<String> =
            used.iter().map(|&k| format!("\"{}\"", self.saved[k].name)).collect();
        let names = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
        let scaling = Scaling { middle: self.middle, radius: self.radius };
        Err(Error::Join {
            reason: format!(
                "the saved datum system cannot be found: {which} ({names}) leave it free to {} (machine \
                 coordinates); scan more of the machine's saved features, or save more",
                describe_motion(&free, &scaling)
            ),
        })
    }

    fn run(&mut self, context: &Context) -> Result<()> {
        // Those with the fewest candidates first.
        let mut order: Vec<usize> =
            (0..self.old.len()).filter(|&k| !self.may_be[k].is_empty()).collect();
        order.sort_by_key(|&k| (self.may_be[k].len(), k));
        let total = order.len().max(1) as f64;
        for (n, &i) in order.iter().enumerate() {
            context.report("finding the datum system again", n as f64 / total)?;
            // A way that finds all others can lack no more than a few: later bases add nothing.
            let most = self.ways.first().map_or(0, |w| w.pairs.len());
            if n > 0 && most + 1 >= order.len() && n > SPARE {
                break;
            }
            for (m, &j) in order.iter().enumerate().skip(n + 1) {
                for a in self.may_be[i].clone() {
                    context.check()?;
                    for b in self.may_be[j].clone() {
                        if !self.agree((i, a), (j, b)) {
                            continue;
                        }
                        for &k in &order[m + 1..] {
                            for c in self.may_be[k].clone() {
                                let fits = self.agree((i, a), (k, c)) && self.agree((j, b), (k, c));
                                if fits {
                                    self.try_three([(i, a), (j, b), (k, c)])?;
                                }
                            }
                        }
                    }
                }
            }
        }
        Ok(())
    }

    /// Whether what is between two saved features is between the two landmarks.
    fn agree(&self, p: Pair, q: Pair) -> bool {
        if p.1 == q.1 {
            return false;
        }
        let slack = 2.0 * self.slack(p).hypot(self.slack(q));
        let old = between(&self.old[p.0], &self.old[q.0]);
        let new = between(&self.new[p.1], &self.new[q.1]);
        old.iter().zip(&new).all(|(a, b)| match (a, b) {
            (Some(a), Some(b)) => (a - b).abs() <= slack,
            (None, None) => true,
            // At the verge of parallel, one may have what the other has not.
            _ => true,
        })
    }

    /// How far a landmark may be from its saved feature, mm.
    fn slack(&self, pair: Pair) -> f64 {
        let saved = &self.saved[pair.0];
        let own = saved.covariance.deviation_at(&saved.shape.point());
        self.tolerance + 3.0 * own.hypot(self.landmarks[pair.1].deviation)
    }

    fn try_three(&mut self, three: [Pair; 3]) -> Result<()> {
        if self.ways.iter().any(|w| three.iter().all(|p| w.pairs.contains(p))) {
            return Ok(());
        }
        let shapes = three.map(|p| &self.old[p.0]).map(|g| (g.kind, g.direction, g.point));
        if free_motion(&shapes, &self.middle, self.radius).is_some() {
            return Ok(());
        }
        for rotation in self.rotations(&three) {
            self.work += self.old.len() * self.new.len();
            if self.work > MOST_WORK {
                return Err(Error::Join {
                    reason: "the saved datum system cannot be found: the layout is too regular, too many poses \
                             are possible; give a start, or save features of kinds and sizes of their own"
                        .into(),
                });
            }
            if let Some(way) = self.grown(rotation, &three) {
                self.keep(way);
            }
        }
        Ok(())
    }

    /// Rotations, machine from scan, that take the directions of three landmarks to those of the saved features.
    fn rotations(&self, three: &[Pair; 3]) -> Vec<Rotation3<f64>> {
        let mut vectors: Vec<(Vec3, Vec3, bool)> = Vec::new();
        for &(o, n) in three {
            let (o, n) = (&self.old[o], &self.new[n]);
            if let (Some(a), Some(b)) = (o.direction, n.direction) {
                vectors.push((a.into_inner(), b.into_inner(), o.signed && n.signed));
            }
        }
        for (x, &(o1, n1)) in three.iter().enumerate() {
            for &(o2, n2) in &three[x + 1..] {
                let a = apart(&self.old[o1], &self.old[o2]);
                let b = apart(&self.new[n1], &self.new[n2]);
                if let (Some(a), Some(b)) = (a, b) {
                    vectors.push((a, b, true));
                }
            }
        }
        let mut best: Option<(usize, usize, f64)> = None;
        for i in 0..vectors.len() {
            for j in i + 1..vectors.len() {
                let across = vectors[i].0.cross(&vectors[j].0).norm();
                if across > ACROSS && best.is_none_or(|b| across > b.2 + 1e-9) {
                    best = Some((i, j, across));
                }
            }
        }
        let Some((i, j, _)) = best else { return Vec::new() };
        let signs = |signed: bool| if signed { &[1.0][..] } else { &[1.0, -1.0][..] };
        let mut all = Vec::new();
        for s in signs(vectors[i].2) {
            for t in signs(vectors[j].2) {
                let old = triad(&vectors[i].0, &vectors[j].0);
                let new = triad(&(vectors[i].1 * *s), &(vectors[j].1 * *t));
                if let (Some(old), Some(new)) = (old, new) {
                    all.push(Rotation3::from_matrix_unchecked(old * new.transpose()));
                }
            }
        }
        all
    }

    /// Fit and matching in turn until the pairs stand still.
    fn grown(&self, rotation: Rotation3<f64>, three: &[Pair; 3]) -> Option<Way> {
        let turn = UnitQuaternion::from_rotation_matrix(&rotation);
        // Any place will do to begin with: the fit is linear in the shift.
        let (o, n) = (self.old[three[0].0].point, self.new[three[0].1].point);
        let mut pose = Pose::from_parts((o - turn * n).into(), turn);
        let mut pairs = three.to_vec();
        for _ in 0..ROUNDS {
            let (fitted, _) = self.fit(pose, &pairs)?;
            pose = fitted;
            let next = self.matched(&pose);
            if next.len() < 3 {
                return None;
            }
            if next == pairs {
                break;
            }
            pairs = next;
        }
        let shapes: Vec<_> =
            pairs.iter().map(|p| &self.old[p.0]).map(|g| (g.kind, g.direction, g.point)).collect();
        if free_motion(&shapes, &self.middle, self.radius).is_some()
            || !three.iter().any(|p| pairs.contains(p))
        {
            return None;
        }
        let (pose, deviation) = self.fit(pose, &pairs)?;
        if let Some((start, reach)) = &self.start {
            let scan_from_machine = pose.inverse();
            let off = |g: &Geometry| (start * (scan_from_machine * g.middle) - g.middle).norm();
            if pairs.iter().any(|p| off(&self.old[p.0]) > *reach) {
                return None;
            }
        }
        Some(Way { pose, pairs, deviation })
    }

    /// Least-squares pose of pairs, and what they disagree by.
    fn fit(&self, mut pose: Pose, pairs: &[Pair]) -> Option<(Pose, f64)> {
        let floor = Floor { place: self.tolerance / 3.0, turn: self.tolerance / 3.0 / self.radius };
        let all: Vec<usize> = (0..pairs.len()).collect();
        let mut deviation = f64::INFINITY;
        for _ in 0..STEPS {
            let differences: Vec<Difference> = pairs
                .iter()
                .map(|&(o, n)| {
                    let moved = self.landmarks[n].moved(&pose);
                    let mut own = Covariance::zero(moved.shape.point());
                    for k in 0..3 {
                        own.matrix[(k, k)] = self.landmarks[n].deviation.powi(2);
                        own.matrix[(k + 3, k + 3)] = (self.landmarks[n].deviation
                            / moved.extent.max(self.tolerance))
                        .powi(2);
                    }
                    Difference::new(&self.saved[o], &moved.shape, &own)
                })
                .collect();
            let common = Common::new(&differences, &all, floor);
            deviation = (common.square / common.freedoms.max(1) as f64).sqrt();
            let step = common.pose().inverse();
            pose = step * pose;
            if !pose.to_homogeneous().iter().all(|x| x.is_finite()) {
                return None;
            }
            if common.motion.norm() < 1e-9 {
                break;
            }
        }
        Some((pose, deviation))
    }

    /// Pairs that lie on each other at a pose: of each saved feature the landmark that fits it best.
    fn matched(&self, pose: &Pose) -> Vec<Pair> {
        let mut taken = vec![false; self.new.len()];
        let mut pairs = Vec::new();
        let moved: Vec<Geometry> =
            self.landmarks.iter().map(|l| Geometry::of_landmark(&l.moved(pose))).collect();
        for (o, saved) in self.old.iter().enumerate() {
            let fits = self.may_be[o].iter().filter(|&&n| !taken[n]).filter_map(|&n| {
                let off = off(saved, &moved[n])?;
                (off <= self.slack((o, n))).then_some((off, n))
            });
            if let Some((_, n)) = fits.min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))) {
                taken[n] = true;
                pairs.push((o, n));
            }
        }
        pairs
    }

    fn keep(&mut self, way: Way) {
        let near = |a: &Pose, b: &Pose| {
            let scan_from_machine = a.inverse();
            let off = |g: &Geometry| (b * (scan_from_machine * g.middle) - g.middle).norm();
            self.old.iter().all(|g| off(g) <= SAME_POSE * self.tolerance)
        };
        if let Some(same) = self.ways.iter_mut().find(|w| near(&w.pose, &way.pose)) {
            if way.pairs.len() > same.pairs.len() {
                *same = way;
            }
        } else {
            self.ways.push(way);
        }
        self.ways.sort_by(|a, b| {
            b.pairs.len().cmp(&a.pairs.len()).then(a.deviation.total_cmp(&b.deviation))
        });
        self.ways.truncate(MOST_WAYS);
    }

    fn finish(self) -> Result<FoundAgain> {
        let wanted = self.may_be.iter().filter(|m| !m.is_empty()).count();
        let Some(best) = self.ways.first() else {
            let start = match self.start {
                Some((_, reach)) => format!(" within {reach:.1} mm of the start"),
                None => String::new(),
            };
            return Err(Error::Join {
                reason: format!(
                    "the saved datum system was not found{start}: of its {} features {wanted} have one of their \
                     kind and size in the scan, but no three of those lie to each other as saved; is it \
                     this machine, and in the right unit?",
                    self.saved.len()
                ),
            });
        };
        let count = best.pairs.len();
        // A few that fit by chance are no evidence: half of what could have been found must be.
        if count < FEWEST && count < wanted || 2 * count < wanted {
            return Err(Error::Join {
                reason: format!(
                    "the saved datum system was not found for sure: the best pose finds {count} of {wanted} \
                     features of their kind and size; scan more of them"
                ),
            });
        }
        let denied = self.denied(best);
        let others = self.ways[1..].iter().filter(|w| 4 * w.pairs.len() >= 3 * count);
        for second in others {
            // What was not seen speaks against no pose; only what is seen to be otherwise does.
            let margin = if denied == 0 { 1 } else { 2 };
            let clear = self.denied(second) >= denied + margin
                || second.deviation > CLEARER * best.deviation.max(1.0);
            if !clear {
                let told = |w: &Way| {
                    let (t, r) = (
                        w.pose.translation.vector,
                        w.pose.rotation.scaled_axis().map(f64::to_degrees),
                    );
                    format!(
                        "shift ({:.1}, {:.1}, {:.1}) mm, turn ({:.1}, {:.1}, {:.1}) degrees finds {}",
                        t.x,
                        t.y,
                        t.z,
                        r.x,
                        r.y,
                        r.z,
                        w.pairs.len()
                    )
                };
                return Err(Error::Join {
                    reason: format!(
                        "the saved datum system is ambiguous in this scan: the pose with {} features, the one with \
                         {}, and nothing that was seen tells which; give a start, or save a feature that does",
                        told(best),
                        told(second)
                    ),
                });
            }
        }
        let mut landmarks = vec![None; self.saved.len()];
        best.pairs.iter().for_each(|&(o, n)| landmarks[o] = Some(self.landmarks[n].clone()));
        Ok(FoundAgain { machine_from_scan: best.pose, landmarks, deviation: best.deviation })
    }

    /// Saved features that a pose puts where something else was seen.
    fn denied(&self, way: &Way) -> usize {
        let found = |o: usize| way.pairs.iter().any(|p| p.0 == o);
        let open = (0..self.old.len()).filter(|&o| !self.may_be[o].is_empty() && !found(o));
        open.filter(|&o| self.is_denied(o, &way.pose)).count()
    }

    fn is_denied(&self, o: usize, machine_from_all: &Pose) -> bool {
        let (saved, shape) = (&self.old[o], &self.saved[o].shape);
        let mut counts = (0, 0);
        for s in self.scans {
            let machine_from_scan = machine_from_all * s.all_from_this;
            let noise = 4.0 * s.scan.noise() + 0.25 * s.scan.resolution();
            let at = machine_from_scan.inverse() * saved.middle;
            // A sample is enough, and a large face has many points.
            for id in
                s.scan.k_nearest(&at, MOST_LOOKED_AT).into_iter().filter(|n| n.1 <= saved.extent)
            {
                let p = machine_from_scan * s.scan.points()[id.0 as usize];
                let distance = shape.distance(&p);
                counts.0 += usize::from(distance.abs() <= self.tolerance + noise);
                // Through what a round shape encloses, or beside a face, no surface goes.
                let inside = match saved.fixes() {
                    Fixes::Plane => distance.abs() > self.tolerance + noise,
                    Fixes::Axis | Fixes::Point => distance < -0.25 * saved.sizes[0],
                };
                let aside = p - saved.middle;
                let along = saved.direction.map_or(0.0, |d| d.dot(&aside).abs());
                counts.1 += usize::from(
                    inside && (saved.fixes() == Fixes::Plane || along <= 0.5 * saved.extent),
                );
            }
        }
        counts.1 >= ENOUGH && counts.1 > 2 * counts.0
    }
}

/// Kinds that a survey finds.
const LOOKED_FOR: [FeatureKind; 6] = [
    FeatureKind::Plane,
    FeatureKind::Cylinder,
    FeatureKind::Hole,
    FeatureKind::Cone,
    FeatureKind::Sphere,
    FeatureKind::Torus,
];
/// How far a feature may be from where the others say, mm.
const TOLERANCE: f64 = 0.1;
/// Sine that two directions need to turn a scan by.
const ACROSS: f64 = 0.15;
/// Rounds of fit and matching from one base, and steps of one fit.
const ROUNDS: usize = 6;
const STEPS: usize = 6;
/// Poses nearer than this, in tolerances, are one: a feature that moved pulls the pose that is grown from it.
const SAME_POSE: f64 = 30.0;
/// Poses kept.
const MOST_WAYS: usize = 32;
/// Points looked at round a feature, and how many of them speak against it.
const MOST_LOOKED_AT: usize = 400;
const ENOUGH: usize = 8;
/// Features that are no chance.
const FEWEST: usize = 4;
/// How much worse, in deviations, a pose must fit to be none although it finds as many.
const CLEARER: f64 = 4.0;
/// Bases tried after one has found nearly all.
const SPARE: usize = 4;
/// Comparisons of a saved feature with a landmark before a layout counts as too regular: some seconds.
const MOST_WORK: usize = 100_000_000;
