//! Joining by surface from a near start: the overlap is found, not assumed.
//!
//! Points of this scan are paired with their nearest on the other, distances along the normals are
//! made small under a robust loss whose scale comes from the residuals, first for few points and
//! wide gates, then for all: Chen and Medioni, "Object modelling by registration of multiple range
//! images" (1992); gates that shrink with the distances: Zhang, "Iterative point matching for
//! registration of free-form curves and surfaces" (1994); pairs on borders left out: Turk and
//! Levoy, "Zippered polygon meshes from range images" (1994).

use nalgebra::{DMatrix, Vector6};

use super::Join;
use super::freedom::{Freedom, describe_motion};
use super::pairing::{
    Biweight, Equations, Gate, Overlay, Pair, Scaling, bounds, mark_noise, median,
    robust_deviation, turning_deviation,
};
use super::spread::{Patches, Spread, invert_held};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::{Pose, Vec3};
use crate::scan::Scan;

/// Limits of a join by surface.
#[non_exhaustive]
#[derive(Debug, Clone)]
pub struct SurfaceOptions {
    /// How far the start may put any point from its place, mm; also the standard deviation given to
    /// motions that the data leave free. Default: 5 % of the diagonal of this scan's box.
    pub reach: Option<f64>,
    /// Largest angle between the normals of a pair, rad; default 45 degrees.
    pub normal_angle: f64,
    /// Smallest share of the points of the scan that has more of them in the overlap; default 0.1.
    pub least_overlap: f64,
    /// Most iterations with few, with more and with all points each; default 60.
    pub iterations: usize,
}

impl Default for SurfaceOptions {
    fn default() -> Self {
        SurfaceOptions {
            reach: None,
            normal_angle: std::f64::consts::FRAC_PI_4,
            least_overlap: 0.1,
            iterations: 60,
        }
    }
}

/// Joins `from` to `to` by the surface both show, starting near the answer.
///
/// `start` takes coordinates of `from` to those of `to`. What the surface does not hold (sliding
/// along a plane, turning about a cylinder) stays about as at the start, is named in the notes, and
/// has the standard deviation `reach` in the covariance.
///
/// # Errors
/// [`Error::Argument`] for an option out of range or a start that is not finite; [`Error::Join`] if
/// the overlap is too small to decide; [`Error::Cancelled`].
pub fn by_surface(
    to: &Scan,
    from: &Scan,
    start: &Pose,
    options: &SurfaceOptions,
    context: &Context,
) -> Result<Join> {
    check(start, options)?;
    context.run(|| Run::new(to, from, options).join(start, context))
}

pub(super) fn check(start: &Pose, options: &SurfaceOptions) -> Result<()> {
    let numbers = start.translation.vector.iter().chain(start.rotation.coords.iter());
    if !numbers.into_iter().all(|c| c.is_finite()) {
        return Err(Error::argument("start", start, "a finite rigid motion"));
    }
    let allowed = [
        ("reach", options.reach.unwrap_or(1.0), f64::MAX, "a length over 0 mm"),
        ("normal_angle", options.normal_angle, std::f64::consts::FRAC_PI_2, "over 0 to π/2 rad"),
        ("least_overlap", options.least_overlap, 1.0, "a share over 0 to 1"),
        ("iterations", options.iterations as f64, f64::MAX, "1 or more"),
    ];
    for (name, value, most, text) in allowed {
        if !(value > 0.0 && value <= most) {
            return Err(Error::argument(name, value, text));
        }
    }
    Ok(())
}

/// One join under way.
pub(super) struct Run<'a> {
    pub(super) to: &'a Scan,
    from: &'a Scan,
    overlay: Overlay<'a>,
    options: &'a SurfaceOptions,
    pub(super) reach: f64,
    /// Points of `from` that may be paired, ascending.
    pub(super) usable: Vec<u32>,
    /// The wider of the two spacings, mm.
    pub(super) spacing: f64,
}

/// Where an iteration stands.
pub(super) struct State {
    pub(super) to_from_this: Pose,
    pub(super) gate: f64,
    converged: bool,
    /// Length of the last step in standard deviations of the pose.
    last_step: f64,
}

/// The pairs of a pose and the loss that suits them.
pub(super) struct Fitted {
    pub(super) pairs: Vec<Pair>,
    pub(super) scaling: Scaling,
    pub(super) loss: Biweight,
}

impl State {
    pub(super) fn new(to_from_this: Pose, gate: f64) -> Self {
        State { to_from_this, gate, converged: false, last_step: f64::INFINITY }
    }
}

impl Fitted {
    /// Residuals after a step, to first order.
    fn follow(&mut self, step: &Vector6<f64>) {
        for p in &mut self.pairs {
            p.residual += self.scaling.mean_gradient(p).dot(step);
        }
    }

    /// How much longer than the weighted least-squares step the step to the loss's own minimum is:
    /// mean weight over mean second derivative, 1.3 for normal noise.
    pub(super) fn stretch(&self) -> f64 {
        let sum = |of: fn(Biweight, f64) -> f64| -> f64 {
            self.pairs.iter().map(|p| of(self.loss, p.residual)).sum()
        };
        let (weight, bend) = (sum(Biweight::weight), sum(Biweight::bend));
        if bend > 0.5 * weight { weight / bend } else { 1.0 }
    }
}

impl<'a> Run<'a> {
    pub(super) fn new(to: &'a Scan, from: &'a Scan, options: &'a SurfaceOptions) -> Self {
        let (low, high) = bounds(from.points());
        let normals = from.normals();
        // What is computed on demand is asked for here once, not by every thread at a time.
        let _ = (to.normals(), to.index(), to.is_border(0));
        let usable = (0..from.points().len() as u32)
            .filter(|&i| !from.is_border(i) && normals[i as usize] != Vec3::zeros())
            .collect();
        Run {
            to,
            from,
            overlay: Overlay::new(to, from),
            options,
            reach: options.reach.unwrap_or(DEFAULT_REACH * (high - low).norm()),
            usable,
            spacing: to.resolution().max(from.resolution()),
        }
    }

    fn join(&self, start: &Pose, context: &Context) -> Result<Join> {
        let mut state = State::new(*start, self.reach);
        let mut fitted = None;
        for (level, most) in LEVELS.into_iter().enumerate() {
            context.report("joining by surface", level as f64 / LEVELS.len() as f64)?;
            let last = most == usize::MAX;
            if !last && level > 0 && self.usable.len() <= most {
                continue;
            }
            if last {
                self.undo_free_motion(&self.sample(LEVELS[level - 1]), start, &mut state)?;
            }
            fitted = self.iterate(&self.sample(most), &mut state, last, context)?;
        }
        let fitted = fitted.ok_or_else(|| Error::Internal("no iteration was made".into()))?;
        self.finish(&fitted, &state)
    }

    /// About `most` of the usable points, spread over the scan in a fixed irregular way.
    pub(super) fn sample(&self, most: usize) -> Vec<u32> {
        if self.usable.len() <= most {
            return self.usable.clone();
        }
        let limit = (most as f64 / self.usable.len() as f64 * u32::MAX as f64) as u32;
        self.usable.iter().copied().filter(|&i| scramble(i) < limit).collect()
    }

    /// Steps until they are small; answers the pairs of the last step, moved with it.
    fn iterate(
        &self,
        ids: &[u32],
        state: &mut State,
        last: bool,
        context: &Context,
    ) -> Result<Option<Fitted>> {
        let mut latest = None;
        let (enough, short) = if last { FINE_STEP } else { COARSE_STEP };
        let (mut least, mut idle) = (f64::INFINITY, 0);
        (state.converged, state.last_step) = (false, f64::INFINITY);
        for _ in 0..self.options.iterations {
            context.check()?;
            let mut fitted = self.fitted(ids, state, last)?;
            let sums = Equations::new(&fitted.pairs, &fitted.scaling, |r| fitted.loss.weight(r));
            let step = if last { fine_step(&sums) * fitted.stretch() } else { coarse_step(&sums) };
            state.to_from_this = fitted.scaling.motion(&step) * state.to_from_this;
            // What the step takes off the sum of squares is its length in standard deviations.
            let variance = sums.square / sums.weight.max(1.0);
            let length = (step.dot(&(sums.matrix * step)) / variance).max(0.0).sqrt();
            // Steps that shrink geometrically leave this much.
            let rate = (length / state.last_step).min(1.0);
            let left = if rate > 0.0 { length * rate / (1.0 - rate) } else { length };
            state.last_step = length;
            let narrowed = self.narrow(&fitted, state);
            let small = length.min(left) < enough || step.norm() < short * self.spacing;
            idle = if variance < WORTH_WHILE * least { 0 } else { idle + 1 };
            least = least.min(variance);
            fitted.follow(&step);
            latest = Some(fitted);
            if !narrowed && (small || !last && idle >= MOST_IDLE) {
                state.converged = small;
                break;
            }
        }
        Ok(latest)
    }

    /// Takes back what coarse steps moved along motions that only noise holds.
    fn undo_free_motion(&self, ids: &[u32], start: &Pose, state: &mut State) -> Result<()> {
        let Fitted { pairs, scaling, loss } = self.fitted(ids, state, true)?;
        let freedom = Freedom::new(&Equations::new(&pairs, &scaling, |r| loss.weight(r)));
        let moved = scaling.coordinates(&(state.to_from_this * start.inverse()));
        let free = &freedom.free * (freedom.free.transpose() * moved);
        let back = -Vector6::from_column_slice(free.as_slice());
        state.to_from_this = scaling.motion(&back) * state.to_from_this;
        Ok(())
    }

    /// Lets the gate follow the distances down; true while it still moves.
    pub(super) fn narrow(&self, fitted: &Fitted, state: &mut State) -> bool {
        let distance = median(fitted.pairs.iter().map(|p| p.distance).collect());
        let floor = GATE_SPACINGS * self.spacing + fitted.loss.reach;
        let gate = state.gate.min((3.0 * distance).max(floor));
        let moved = gate < 0.9 * state.gate;
        state.gate = gate;
        moved
    }

    pub(super) fn fitted(&self, ids: &[u32], state: &State, fine: bool) -> Result<Fitted> {
        let gate = Gate { distance: state.gate, cosine: self.options.normal_angle.cos() };
        let mut pairs = self.overlay.pairs(ids, &state.to_from_this, gate);
        if pairs.len() < FEWEST_PAIRS {
            return Err(self.too_small(pairs.len(), ids.len(), state));
        }
        if fine {
            mark_noise(&mut pairs);
        }
        // Where most residuals are nothing, the loss still needs a width.
        let least = turning_deviation(&pairs).max(f64::EPSILON * self.reach);
        let sigma = robust_deviation(&pairs).max(least);
        Ok(Fitted { scaling: Scaling::new(&pairs), loss: Biweight::new(sigma), pairs })
    }

    fn finish(&self, fitted: &Fitted, state: &State) -> Result<Join> {
        let Fitted { pairs, scaling, loss } = fitted;
        let used = pairs.iter().filter(|p| loss.weight(p.residual) > 0.0);
        let (count, square) = used.fold((0usize, 0.0), |(n, s), p| (n + 1, s + p.residual.powi(2)));
        let overlap = count as f64 / self.usable.len().max(1) as f64;
        let in_to = count as f64 / self.to.points().len() as f64;
        if overlap.max(in_to.min(1.0)) < self.options.least_overlap {
            return Err(self.too_small(count, self.usable.len(), state));
        }
        let rms = (square / count.max(1) as f64).sqrt();
        let freedom = Freedom::new(&Equations::new(pairs, scaling, |r| loss.weight(r)));
        let patches = Patches { places: self.to.points(), edge: self.patch_edge(pairs, scaling) };
        let spread = Spread::new(pairs, scaling, *loss, &freedom, &patches);
        let noise = self.to.noise().hypot(self.from.noise()).hypot(turning_deviation(pairs));
        let mut notes = self.freedom_notes(&freedom, scaling);
        notes.extend(weak_notes(&spread, &freedom, scaling, noise));
        notes.extend(self.quality_notes(rms, noise, count as f64 / pairs.len() as f64, state));
        notes.push(format!("{count} points used, worth {:.0} independent ones", spread.effective));
        Ok(Join {
            to_from_this: state.to_from_this,
            rms,
            overlap,
            covariance: spread.covariance(scaling, &freedom, self.reach),
            converged: state.converged,
            pairs: Vec::new(),
            notes,
        })
    }

    /// Edge of patches that are many spacings wide, yet many enough to judge their scatter.
    pub(super) fn patch_edge(&self, pairs: &[Pair], scaling: &Scaling) -> f64 {
        let area = pairs.len() as f64 * self.from.resolution().powi(2);
        let many = (area / FEWEST_PATCHES).sqrt().min(scaling.radius / 4.0);
        (PATCH_SPACINGS * self.spacing).min(many).max(self.spacing)
    }

    fn freedom_notes(&self, freedom: &Freedom, scaling: &Scaling) -> Vec<String> {
        let mut notes = freedom.describe(scaling);
        for note in &mut notes {
            *note += &format!(" (kept as at the start, counted with {:.3} mm)", self.reach);
        }
        notes
    }

    fn quality_notes(&self, rms: f64, noise: f64, used: f64, state: &State) -> Vec<String> {
        let mut notes = Vec::new();
        if rms > NOISE_TIMES * noise {
            notes.push(format!(
                "surfaces disagree by {rms:.3} mm, {:.1} times what noise and spacing explain ({noise:.3} mm): \
                 something bent or moved, or the start was too far off",
                rms / noise
            ));
        }
        let off = 1.0 - used;
        if off > MOVED_SHARE {
            notes.push(format!(
                "{:.0} % of the points in the overlap lie off the other surface: something moved; left out",
                100.0 * off
            ));
        }
        if !state.converged {
            notes.push(format!(
                "did not settle in {} iterations: the last step was {:.1} standard deviations of the pose",
                self.options.iterations, state.last_step
            ));
        }
        notes
    }

    fn too_small(&self, found: usize, of: usize, state: &State) -> Error {
        Error::Join {
            reason: format!(
                "the overlap is too small to decide: {found} of {of} points ({:.1} %) lie on the other scan within {:.3} mm \
                 with like normals, {:.0} % and {FEWEST_PAIRS} points needed; scan more of what both show, or give a nearer start",
                100.0 * found as f64 / of.max(1) as f64,
                state.gate,
                100.0 * self.options.least_overlap
            ),
        }
    }
}

/// Held motions whose spread is more than what a single point is off.
fn weak_notes(spread: &Spread, freedom: &Freedom, scaling: &Scaling, noise: f64) -> Vec<String> {
    if freedom.held.is_empty() {
        return Vec::new();
    }
    let eigen = (freedom.held.transpose() * spread.held * &freedom.held).symmetric_eigen();
    let weak = (0..eigen.eigenvalues.len()).filter(|&k| eigen.eigenvalues[k] > noise.powi(2));
    weak.map(|k| {
        let motion: DMatrix<f64> = &freedom.held * eigen.eigenvectors.columns(k, 1);
        let motion = Vector6::from_column_slice(motion.as_slice());
        let (sd, words) = (eigen.eigenvalues[k].sqrt(), describe_motion(&motion, scaling));
        format!("weakly held: {words}, standard deviation {sd:.3} mm at {:.0} mm", scaling.radius)
    })
    .collect()
}

/// The least-squares step far from the answer, none along motions that the equations do not know.
fn coarse_step(sums: &Equations) -> Vector6<f64> {
    let eigen = sums.matrix.symmetric_eigen();
    let floor = ROUNDING * eigen.eigenvalues.max();
    let known: Vec<usize> = (0..6).filter(|&k| eigen.eigenvalues[k] > floor).collect();
    let columns = eigen.eigenvectors.select_columns(&known);
    let held = DMatrix::from_fn(6, known.len(), |r, c| columns[(r, c)]);
    -(invert_held(&sums.matrix, &held) * sums.right)
}

/// The step near the answer, where the normals' differences tell their noise: none along motions
/// that only noise would hold.
fn fine_step(sums: &Equations) -> Vector6<f64> {
    -(invert_held(&(sums.matrix - sums.noise), &Freedom::new(sums).held) * sums.right)
}

/// A fixed irregular order of ids (the finaliser of Appleby's MurmurHash3, 2011).
fn scramble(id: u32) -> u32 {
    let mut h = id;
    h = (h ^ (h >> 16)).wrapping_mul(0x85eb_ca6b);
    h = (h ^ (h >> 13)).wrapping_mul(0xc2b2_ae35);
    h ^ (h >> 16)
}

/// Points looked at from coarse to fine.
pub(super) const LEVELS: [usize; 3] = [4_000, 40_000, usize::MAX];
/// Share of the diagonal that a start may be off if nothing else is said.
const DEFAULT_REACH: f64 = 0.05;
/// What steps may leave when coarse levels end: in standard deviations of the pose; or the step
/// in spacings.
const COARSE_STEP: (f64, f64) = (0.3, 1e-2);
/// What steps may leave when the last level ends: in standard deviations of the pose; or the step in
/// spacings.
const FINE_STEP: (f64, f64) = (0.1, 1e-4);
/// Coarse levels end as well after so many steps that took the variance below this share of the least.
const MOST_IDLE: usize = 3;
const WORTH_WHILE: f64 = 0.98;
/// The gate never gets narrower than this many spacings: a point's nearest is up to 0.7 away.
const GATE_SPACINGS: f64 = 1.5;
/// Pairs under which nothing is decided.
const FEWEST_PAIRS: usize = 100;
/// Edge of a patch in spacings, if there are enough of them.
const PATCH_SPACINGS: f64 = 10.0;
/// Patches wanted to judge their scatter.
const FEWEST_PATCHES: f64 = 150.0;
/// Residuals over this many times the noise of both scans are worth a word: the noise is its white
/// part, of which real scanners have two or three times as much in waves.
const NOISE_TIMES: f64 = 4.0;
/// Share of points in the overlap but off the surface that is worth a word.
const MOVED_SHARE: f64 = 0.05;
/// Rounding of the normal matrix relative to its largest eigenvalue.
const ROUNDING: f64 = 1e-12;
