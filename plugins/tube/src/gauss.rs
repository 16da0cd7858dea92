//! Robust least squares of any model with few unknowns: Levenberg-Marquardt with Tukey's biweight, its
//! width brought down step by step (graduated non-convexity; Blake, Zisserman 1987), then least squares
//! of the points within a cut of the deviation that they show.

use fitwright_plugin::Failure;
use nalgebra::{DMatrix, DVector};

use crate::host::Host;
use crate::{V3, cloud};

/// A surface with unknowns.
pub(crate) trait Model: Sized {
    /// Number of unknowns.
    fn unknowns(&self) -> usize;
    /// Signed distance of a point.
    fn distance(&self, p: &V3) -> f64;
    /// Signed distances of points.
    fn distances(&self, points: &[V3]) -> Vec<f64> {
        points.iter().map(|p| self.distance(p)).collect()
    }
    /// Adds the points' part to the normal equations.
    fn gather(&self, points: &[V3], loss: Loss, into: &mut Normal);
    /// Moved by a step of the unknowns; `None` if it would be no such surface.
    fn stepped(&self, step: &[f64]) -> Option<Self>;
}

/// How residuals count.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Loss {
    /// Tukey's biweight: beyond the width a point counts no more.
    Biweight(f64),
    /// Least squares up to the cut; all points beyond count alike.
    Cut(f64),
}

/// Normal equations.
#[derive(Debug, Clone)]
pub(crate) struct Normal {
    pub(crate) matrix: DMatrix<f64>,
    pub(crate) gradient: DVector<f64>,
    pub(crate) cost: f64,
}

/// A settled model.
pub(crate) struct Settled<M> {
    pub(crate) model: M,
    /// Standard deviation of one point.
    pub(crate) sigma: f64,
    /// Distance beyond which points were left out.
    pub(crate) cut: f64,
}

impl Loss {
    /// Cost and weight of a residual.
    #[inline]
    pub(crate) fn of(self, r: f64) -> (f64, f64) {
        match self {
            Loss::Biweight(c) => {
                let rest = 1.0 - (r / c).powi(2);
                if rest > 0.0 {
                    (c * c / 6.0 * (1.0 - rest.powi(3)), rest * rest)
                } else {
                    (c * c / 6.0, 0.0)
                }
            }
            Loss::Cut(c) if r.abs() < c => (0.5 * r * r, 1.0),
            Loss::Cut(c) => (0.5 * c * c, 0.0),
        }
    }
}

impl Normal {
    pub(crate) fn new(unknowns: usize) -> Self {
        Normal {
            matrix: DMatrix::zeros(unknowns, unknowns),
            gradient: DVector::zeros(unknowns),
            cost: 0.0,
        }
    }

    /// Solution of the damped equations; `None` where they are not definite.
    fn step(&self, damping: f64) -> Option<DVector<f64>> {
        let mut m = self.matrix.clone();
        let most = self.matrix.diagonal().amax();
        for k in 0..m.nrows() {
            m[(k, k)] += damping * m[(k, k)].max(TINY * most) + f64::MIN_POSITIVE;
        }
        let step = -m.cholesky()?.solve(&self.gradient);
        step.iter().all(|x| x.is_finite()).then_some(step)
    }

    /// Inverse of the matrix; `None` where the unknowns are not all determined.
    pub(crate) fn inverse(&self) -> Option<DMatrix<f64>> {
        let scale = self.matrix.diagonal().map(|d| 1.0 / d.sqrt());
        if !scale.iter().all(|s| s.is_finite()) {
            return None;
        }
        let scaled = DMatrix::from_fn(scale.len(), scale.len(), |i, j| {
            self.matrix[(i, j)] * scale[i] * scale[j]
        });
        let inverse = scaled.cholesky()?.inverse();
        let size = inverse.nrows();
        let unscaled = DMatrix::from_fn(size, size, |i, j| {
            inverse[(i.min(j), i.max(j))] * scale[i] * scale[j]
        });
        (inverse.diagonal().amax() < 1.0 / SINGULAR).then_some(unscaled)
    }
}

/// Normal equations of a model over points, asking the host in between whether to stop.
pub(crate) fn gathered<M: Model>(
    model: &M,
    points: &[V3],
    loss: Loss,
    host: &dyn Host,
) -> Result<Normal, Failure> {
    let mut normal = Normal::new(model.unknowns());
    for part in points.chunks(CHUNK) {
        host.check()?;
        model.gather(part, loss, &mut normal);
    }
    Ok(normal)
}

/// Levenberg-Marquardt for at most `passes` steps.
pub(crate) fn minimise<M: Model>(
    start: M,
    points: &[V3],
    loss: Loss,
    passes: usize,
    host: &dyn Host,
) -> Result<M, Failure> {
    let mut now = start;
    let mut normal = gathered(&now, points, loss, host)?;
    let mut damping = 1e-4;
    for _ in 0..passes {
        let step = normal.step(damping);
        let next = match step.and_then(|s| now.stepped(s.as_slice())) {
            Some(model) => Some((gathered(&model, points, loss, host)?, model)),
            None => None,
        };
        match next {
            Some((there, model)) if there.cost <= normal.cost => {
                let gained = normal.cost - there.cost;
                let done = gained <= STILL * there.cost || there.cost == 0.0;
                (now, normal) = (model, there);
                damping = (damping * 0.1).max(1e-12);
                if done {
                    break;
                }
            }
            _ if damping > 1e6 => break,
            _ => damping = (damping * 8.0).max(1e-8),
        }
    }
    Ok(now)
}

/// Brings the width of the loss down from `width`, then cuts.
pub(crate) fn settle<M: Model>(
    start: M,
    points: &[V3],
    width: f64,
    host: &dyn Host,
) -> Result<Settled<M>, Failure> {
    let mut model = start;
    let mut width = width;
    for _ in 0..ROUNDS {
        model = minimise(model, points, Loss::Biweight(width), PASSES, host)?;
        let next = (WIDE * deviation(&model, points, width, host)?).clamp(0.4 * width, width);
        let narrow = next > 0.97 * width;
        width = next;
        if narrow {
            break;
        }
    }
    let cut = CUT * deviation(&model, points, width, host)?;
    finish(model, points, cut.max(FLOOR), host)
}

/// Least squares of the points within a cut that follows their deviation.
pub(crate) fn finish<M: Model>(
    start: M,
    points: &[V3],
    cut: f64,
    host: &dyn Host,
) -> Result<Settled<M>, Failure> {
    let mut model = start;
    let mut cut = cut;
    for round in 0.. {
        model = minimise(model, points, Loss::Cut(cut), PASSES, host)?;
        let distances = distances(&model, points, host)?;
        let inside = distances.iter().filter(|r| r.abs() < cut);
        let (count, squares) = inside.fold((0usize, 0.0), |(n, s), r| (n + 1, s + r * r));
        let spare = count.saturating_sub(model.unknowns());
        if spare == 0 {
            break;
        }
        let sigma = (squares / spare as f64).sqrt();
        // A cut that grows has found no end of the noise: it does not run away.
        let next = (CUT * sigma).min(cut).max(FLOOR);
        if next > 0.97 * cut || round == LAST {
            return Ok(Settled { model, sigma, cut });
        }
        cut = next;
    }
    Err(Failure::undetermined("too few points lie on one surface: take a cleaner region"))
}

/// Standard deviation that the median distance of the points within `width` says.
fn deviation<M: Model>(
    model: &M,
    points: &[V3],
    width: f64,
    host: &dyn Host,
) -> Result<f64, Failure> {
    let distances = distances(model, points, host)?.into_iter().map(f64::abs);
    let mut near: Vec<f64> = distances.filter(|d| *d < width).collect();
    Ok(1.4826 * cloud::median(&mut near))
}

/// Signed distances, asking the host in between whether to stop.
pub(crate) fn distances<M: Model>(
    model: &M,
    points: &[V3],
    host: &dyn Host,
) -> Result<Vec<f64>, Failure> {
    let mut out = Vec::with_capacity(points.len());
    for part in points.chunks(CHUNK) {
        host.check()?;
        out.extend(model.distances(part));
    }
    Ok(out)
}

/// Points between two questions whether to stop.
pub(crate) const CHUNK: usize = 20_000;
/// Share of the largest diagonal element that damping works with at least.
const TINY: f64 = 1e-12;
/// Reciprocal of the largest inflation of a variance by the other unknowns.
const SINGULAR: f64 = 1e-11;
/// Relative gain at which the iteration stands: with a million points 0.03 of a standard uncertainty,
/// and the next gain is far smaller.
const STILL: f64 = 1e-9;
/// Steps of one width.
const PASSES: usize = 12;
/// Widths tried.
const ROUNDS: usize = 14;
/// Width of the biweight in deviations (95 % efficiency is 4.685; Tukey).
const WIDE: f64 = 6.0;
/// Cut in deviations: of a million good points one in 150 000 is lost.
const CUT: f64 = 4.5;
/// Smallest cut, mm: points without noise scatter by rounding.
const FLOOR: f64 = 1e-7;
/// Rounds of the cut.
const LAST: usize = 8;
