//! Adjusting scans all together: the point-to-surface equations of every overlapping pair in one system.
//!
//! Each pair is matched as in a join by surface; its normal equations, in units of its own scatter, say
//! what the motions of its two scans against each other cost, and the sum over all pairs is solved for
//! all scans at once, one held: a block adjustment as in photogrammetry (Brown, "A solution to the
//! general problem of multiple station analytical stereotriangulation", 1958), with surfaces in the
//! place of points (Pulli, "Multiview registration for large data sets", 1999). A loop is closed by
//! that, and errors do not pile up along a chain.

mod links;
mod spread;
mod system;

use super::freedom::Freedom;
use super::pairing::Scaling;
use super::surface::{LEVELS, SurfaceOptions};
use crate::associate::Covariance;
use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::{Pose, Vec3};
use crate::scan::Scan;
use links::{Links, Matched};
use system::{Ending, System};

/// What is adjusted, and how.
#[non_exhaustive]
#[derive(Debug, Clone, Default)]
pub struct AdjustOptions {
    /// Limits of each pair's join by surface: how far the starts may be off, what counts as an overlap.
    pub surface: SurfaceOptions,
    /// Pairs to use, by the numbers of the scans; empty: all that overlap.
    pub pairs: Vec<[usize; 2]>,
    /// Joins by targets or features that hold two scans together beside their surfaces.
    pub observed: Vec<ObservedJoin>,
    /// Names of the scans in messages; empty: their numbers from 0.
    pub names: Vec<String>,
}

/// A pose of one scan in another that was found otherwise.
#[derive(Debug, Clone)]
pub struct ObservedJoin {
    /// Number of the scan joined to.
    pub to: usize,
    /// Number of the scan joined.
    pub from: usize,
    /// Takes coordinates of `from` to those of `to`.
    pub to_from_this: Pose,
    /// Its covariance, coordinates of `to`, as a join states it.
    pub covariance: Covariance,
}

/// Scans adjusted together.
#[derive(Debug, Clone)]
pub struct Adjusted {
    /// Number of the scan that was held.
    pub held: usize,
    /// Takes each scan's coordinates to the common ones, those of the starts; the held scan's as given.
    pub common_from_scan: Vec<Pose>,
    /// Covariance of each scan's place against the held one, common coordinates, about the middle of
    /// what it was matched by; zero for the held one.
    pub covariances: Vec<Covariance>,
    /// Pairs that were used.
    pub pairs: Vec<AdjustedPair>,
    /// Whether the steps became small.
    pub converged: bool,
    /// Motions that the surfaces leave free, what did not settle, for people.
    pub notes: Vec<String>,
}

/// How the surfaces of a pair lie on each other after the adjustment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AdjustedPair {
    /// Number of the scan joined to.
    pub to: usize,
    /// Number of the scan joined.
    pub from: usize,
    /// Points of `from` on the surface of `to`.
    pub points: usize,
    /// Their share of the points of `from`.
    pub overlap: f64,
    /// Root mean square distance from the surface at the start, mm.
    pub rms_before: f64,
    /// The same after the adjustment, mm.
    pub rms: f64,
    /// Mean of the signed distances after it, mm: positive where `from` lies outside `to`.
    pub offset: f64,
    /// How far from here the pair alone would put `from`, at the middle of the overlap, mm.
    pub misfit: f64,
    /// How far it would turn it, rad.
    pub misfit_turn: f64,
}

/// Adjusts scans over all their overlaps, from poses near the answer.
///
/// `start` takes each scan's coordinates to common ones; that of the scan `held` stays. What no surface
/// holds stays about as at the start, is named, and has the standard deviation `reach`.
///
/// # Errors
/// [`Error::Argument`] for numbers of scans or poses that do not fit together, an option out of range;
/// [`Error::Limit`] for over 500 scans; [`Error::Join`] for a scan that hangs on nothing, or a pair that
/// was named and does not overlap; [`Error::Cancelled`].
pub fn adjust(
    scans: &[&Scan],
    start: &[Pose],
    held: usize,
    options: &AdjustOptions,
    context: &Context,
) -> Result<Adjusted> {
    check(scans, start, held, options)?;
    context.run(|| {
        let links = Links::new(scans, start, options, held);
        Run { links, options, start, held, poses: start.to_vec(), before: Vec::new() }
            .adjust(context)
    })
}

/// An adjustment under way.
struct Run<'a> {
    links: Links<'a>,
    options: &'a AdjustOptions,
    start: &'a [Pose],
    held: usize,
    poses: Vec<Pose>,
    /// Pairs with their root mean square distance at the start.
    before: Vec<([usize; 2], f64)>,
}

impl Run<'_> {
    fn adjust(mut self, context: &Context) -> Result<Adjusted> {
        context.report("looking for overlaps", 0.0)?;
        let matched = self.links.select(LEVELS[1], self.start, false, context)?;
        self.before = matched.iter().map(|m| ([m.to, m.from], m.rms())).collect();
        drop(matched);
        let mut converged = false;
        for (level, most) in LEVELS.into_iter().enumerate() {
            context.report("adjusting", level as f64 / LEVELS.len() as f64)?;
            let last = most == usize::MAX;
            if !last && level > 0 && self.links.largest() <= most {
                continue;
            }
            if last {
                self.undo_free_motion(context)?;
            }
            drop(self.links.select(most, &self.poses, last, context)?);
            converged = self.iterate(most, last, context)?;
        }
        let (matched, _) = self.links.matched(usize::MAX, &self.poses, true, context)?;
        self.finish(&matched, converged)
    }

    /// Steps until they are small.
    fn iterate(&mut self, most: usize, last: bool, context: &Context) -> Result<bool> {
        let ending = if last { Ending::FINE } else { Ending::COARSE };
        let (mut before, mut previous, mut share) = (f64::INFINITY, None, 1.0);
        for _ in 0..self.options.surface.iterations {
            let (matched, narrowed) = self.links.matched(most, &self.poses, last, context)?;
            let scaling = self.scaling(&matched);
            let system =
                System::new(&matched, &self.options.observed, &self.poses, &scaling, self.held);
            let step = if last { system.fine_step() } else { system.coarse_step() };
            let length = system.length(&step);
            // Steps to and fro go too far: matching anew after each bends the surfaces' equations.
            if previous.is_some_and(|p| step.dot(&p) < 0.0) && length > TO_AND_FRO * before {
                share *= 0.5;
            }
            self.moved(&(&step * share), &scaling);
            // Steps that shrink geometrically leave this much.
            let rate = (length / before).min(1.0);
            let left = if rate > 0.0 { length * rate / (1.0 - rate) } else { length };
            before = length;
            let largest = step.amax();
            previous = Some(step);
            // Steps that stay to and fro when shortened are what matching anew changes, not way to go.
            let wobbles = share < WOBBLING && length < WOBBLE;
            let reached = ending.reached(length.min(left), largest / self.links.spacing());
            if !narrowed && (reached || wobbles) {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Takes back what coarse steps moved along motions that only noise holds.
    fn undo_free_motion(&mut self, context: &Context) -> Result<()> {
        let (matched, _) = self.links.matched(LEVELS[1], &self.poses, true, context)?;
        let scaling = self.scaling(&matched);
        let system =
            System::new(&matched, &self.options.observed, &self.poses, &scaling, self.held);
        let free = system.freedom().free;
        if free.is_empty() {
            return Ok(());
        }
        let mut moved = nalgebra::DVector::zeros(system.size());
        for (k, pose) in self.poses.iter().enumerate() {
            if let Some(at) = system::place(k, self.held) {
                let motion = scaling.coordinates(&(pose * self.start[k].inverse()));
                moved.rows_mut(at, 6).copy_from(&motion);
            }
        }
        let back = -(&free * (free.transpose() * moved));
        self.moved(&back, &scaling);
        Ok(())
    }

    fn moved(&mut self, step: &nalgebra::DVector<f64>, scaling: &Scaling) {
        for (k, pose) in self.poses.iter_mut().enumerate() {
            if let Some(at) = system::place(k, self.held) {
                let part = step.fixed_rows::<6>(at).into_owned();
                *pose = scaling.motion(&part) * *pose;
            }
        }
    }

    /// Coordinates about the middle of all that was matched.
    fn scaling(&self, matched: &[Matched<'_>]) -> Scaling {
        let places = matched.iter().map(|m| self.poses[m.to] * m.fitted.scaling.middle);
        let middle = super::rigid::centroid(&places.collect::<Vec<_>>());
        let square: f64 = matched
            .iter()
            .map(|m| {
                let off = self.poses[m.to] * m.fitted.scaling.middle - middle;
                off.norm_squared() + m.fitted.scaling.radius.powi(2)
            })
            .sum();
        let radius = (square / matched.len().max(1) as f64).sqrt();
        Scaling { middle, radius: if radius > 0.0 { radius } else { 1.0 } }
    }

    fn finish(&self, matched: &[Matched<'_>], converged: bool) -> Result<Adjusted> {
        let scaling = self.scaling(matched);
        let system = System::new(matched, &self.options.observed, &self.poses, &scaling, self.held);
        let freedom = system.freedom();
        let covariances = spread::covariances(
            matched,
            &spread::Place {
                scaling: &scaling,
                poses: &self.poses,
                held: self.held,
                observed: &self.options.observed,
                reach: self.links.reach(),
            },
            &freedom,
        );
        let before = |m: &Matched<'_>| {
            let found = self.before.iter().find(|b| b.0 == [m.to, m.from]);
            found.map_or(m.rms(), |b| b.1)
        };
        let pairs: Vec<AdjustedPair> = matched.iter().map(|m| m.described(before(m))).collect();
        let mut notes = self.free_notes(&freedom, &scaling);
        if !converged {
            notes.push(format!(
                "did not settle in {} iterations: poses and their uncertainty are not to be relied on",
                self.options.surface.iterations
            ));
        }
        Ok(Adjusted {
            held: self.held,
            common_from_scan: self.poses.clone(),
            covariances,
            pairs,
            converged,
            notes,
        })
    }

    /// The free motions by the scans that they move most.
    fn free_notes(&self, freedom: &Freedom, scaling: &Scaling) -> Vec<String> {
        let mut notes = Vec::new();
        for k in 0..self.poses.len() {
            let Some(at) = system::place(k, self.held).filter(|_| !freedom.free.is_empty()) else {
                continue;
            };
            let part = freedom.free.rows(at, 6);
            let eigen = (part * part.transpose()).symmetric_eigen();
            let of = (0..6).filter(|&i| eigen.eigenvalues[i] > SHARE);
            let motions: Vec<_> =
                of.map(|i| eigen.eigenvectors.column(i).fixed_rows::<6>(0).into_owned()).collect();
            let words = Freedom::split(&motions).describe(scaling);
            notes.extend(words.iter().map(|w| {
                format!(
                    "scan {} is {w} (kept as at the start, counted with {:.3} mm)",
                    self.links.name(k),
                    self.links.reach()
                )
            }));
        }
        notes
    }
}

fn check(scans: &[&Scan], start: &[Pose], held: usize, options: &AdjustOptions) -> Result<()> {
    super::surface::check(&Pose::identity(), &options.surface)?;
    let count = scans.len();
    if count < 2 {
        return Err(Error::argument("scans", count, "two or more"));
    }
    if count > MOST_SCANS {
        let (found, limit) = (count as u64, MOST_SCANS as u64);
        return Err(Error::Limit { what: "scans adjusted together".into(), found, limit });
    }
    if start.len() != count {
        return Err(Error::argument(
            "start",
            start.len(),
            format!("a pose of each of {count} scans"),
        ));
    }
    if held >= count {
        return Err(Error::argument(
            "held",
            held,
            format!("the number of a scan, 0 to {}", count - 1),
        ));
    }
    let finite = |p: &Pose| {
        p.translation.vector.iter().chain(p.rotation.coords.iter()).all(|c| c.is_finite())
    };
    let poses = start.iter().chain(options.observed.iter().map(|o| &o.to_from_this));
    if let Some(pose) = poses.into_iter().find(|p| !finite(p)) {
        return Err(Error::argument("pose", pose, "a finite rigid motion"));
    }
    let observed = options.observed.iter().map(|o| [o.to, o.from]);
    for [a, b] in options.pairs.iter().copied().chain(observed) {
        if a == b || a.max(b) >= count {
            let allowed = format!("two different numbers of scans, 0 to {}", count - 1);
            return Err(Error::argument("pair", format!("{a} and {b}"), allowed));
        }
    }
    if let Some(o) = options.observed.iter().find(|o| o.information().is_none()) {
        return Err(Error::argument(
            "covariance of an observed join",
            format!("one of {} and {} that cannot be inverted", o.to, o.from),
            "a positive definite one",
        ));
    }
    if !options.names.is_empty() && options.names.len() != count {
        return Err(Error::argument("names", options.names.len(), format!("{count}, or none")));
    }
    Ok(())
}

impl ObservedJoin {
    /// Inverse of the covariance about its place, unscaled.
    fn information(&self) -> Option<nalgebra::Matrix6<f64>> {
        let c = self.covariance.matrix.fixed_view::<6, 6>(0, 0).into_owned();
        if !c.iter().chain(self.covariance.at.iter()).all(|x| x.is_finite()) {
            return None;
        }
        nalgebra::Cholesky::new(c).map(|c| c.inverse())
    }

    /// Shift at the covariance's place, and turn, that the poses differ from it by.
    fn off(&self, to: &Pose, from: &Pose) -> (Vec3, Vec3) {
        let e = to.inverse() * from * self.to_from_this.inverse();
        (e * self.covariance.at - self.covariance.at, e.rotation.scaled_axis())
    }
}

/// Scans adjusted at once: the system is solved densely.
const MOST_SCANS: usize = 500;
/// A step back this long beside the one before it shows no progress.
const TO_AND_FRO: f64 = 0.7;
/// Share of a step, after steps to and fro, from which on such steps of less than so many standard
/// deviations of a pose are the wobble of the matching.
const WOBBLING: f64 = 0.2;
const WOBBLE: f64 = 0.5;
/// Share of a scan's motion, squared, that must be free to be named.
const SHARE: f64 = 0.1;
