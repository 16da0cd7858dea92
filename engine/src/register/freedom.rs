//! Which small motions the pairs of a join hold, and which they leave free, in words.
//!
//! A motion is held if it changes distances more than the noise of the normals alone makes it
//! seem: a generalised eigenvalue problem of the normal matrix against the part of it that comes
//! from that noise. After Gelfand, Ikemoto, Rusinkiewicz and Levoy, "Geometrically stable sampling
//! for the ICP algorithm" (2003), with the noise in the place of their condition number.

use nalgebra::{Cholesky, DMatrix, Matrix6, Vector6};

use super::pairing::{Equations, Scaling};
use crate::primitive::{Point3, Vec3};

/// Small motions in scaled coordinates, split by whether the data hold them.
#[derive(Debug, Clone)]
pub(super) struct Freedom {
    /// Orthonormal columns: motions that are held.
    pub(super) held: DMatrix<f64>,
    /// Orthonormal columns: motions that are free.
    pub(super) free: DMatrix<f64>,
}

impl Freedom {
    pub(super) fn new(equations: &Equations) -> Self {
        let dynamic = |m: &Matrix6<f64>| DMatrix::from_fn(6, 6, |r, c| m[(r, c)]);
        Self::of(&dynamic(&equations.matrix), &dynamic(&equations.noise))
    }

    /// Of the motions of any number of scans.
    pub(super) fn of(matrix: &DMatrix<f64>, noise: &DMatrix<f64>) -> Self {
        let n = matrix.nrows();
        let size = matrix.trace() / n as f64;
        // Rounding of the sums stands in for noise where the data have none.
        let noise = noise + DMatrix::identity(n, n) * (ROUNDING * size);
        let Some(cholesky) = Cholesky::new(noise) else {
            return Freedom { held: DMatrix::zeros(n, 0), free: DMatrix::identity(n, n) };
        };
        let inverse = cholesky.l().try_inverse().unwrap_or_else(|| DMatrix::identity(n, n));
        let eigen = (&inverse * matrix * inverse.transpose()).symmetric_eigen();
        let free: Vec<usize> = (0..n).filter(|k| eigen.eigenvalues[*k] < NOISE_RATIO).collect();
        Self::split_columns(inverse.transpose() * eigen.eigenvectors.select_columns(&free))
    }

    /// Orthonormal bases of the space of some motions and of its complement.
    pub(super) fn split(free: &[Vector6<f64>]) -> Self {
        Self::split_columns(DMatrix::from_fn(6, free.len(), |r, c| free[c][r]))
    }

    fn split_columns(mut free: DMatrix<f64>) -> Self {
        let n = free.nrows();
        if free.is_empty() {
            return Freedom { held: DMatrix::identity(n, n), free: DMatrix::zeros(n, 0) };
        }
        free.column_iter_mut().for_each(|mut c| {
            let _ = c.normalize_mut();
        });
        let q = free.qr().q();
        // The projector's eigenvalues are 1 for free motions and 0 for held ones.
        let eigen = (&q * q.transpose()).symmetric_eigen();
        let pick = |wanted: bool| {
            let chosen: Vec<usize> =
                (0..n).filter(|&k| (eigen.eigenvalues[k] > 0.5) == wanted).collect();
            eigen.eigenvectors.select_columns(&chosen)
        };
        Freedom { held: pick(false), free: pick(true) }
    }

    /// The free motions in words.
    pub(super) fn describe(&self, scaling: &Scaling) -> Vec<String> {
        let (slides, turns) = self.slides_and_turns(scaling);
        let mut notes = match slides.as_slice() {
            [] => vec![],
            [d] => vec![format!("free to slide along {}", triple(d, 3))],
            [d, e] => vec![format!("free to slide any way across {}", triple(&d.cross(e), 3))],
            _ => vec!["free to slide any way".to_owned()],
        };
        match turns.as_slice() {
            [] => {}
            [a, b, c] => {
                let middle = Point3::from((a.at.coords + b.at.coords + c.at.coords) / 3.0);
                notes.push(format!("free to turn any way about {}", triple(&middle.coords, 1)));
            }
            some => notes.extend(some.iter().map(Turn::describe)),
        }
        notes
    }

    pub(super) fn slides_and_turns(&self, scaling: &Scaling) -> (Vec<Vec3>, Vec<Turn>) {
        if self.free.is_empty() {
            return (Vec::new(), Vec::new());
        }
        let turning = self.free.rows(3, 3).into_owned();
        let eigen = (turning.transpose() * turning).symmetric_eigen();
        let motion = |k: usize| &self.free * eigen.eigenvectors.column(k);
        let is_slide = |k: &usize| eigen.eigenvalues[*k] < SLIDE;
        let count = self.free.ncols();
        let slides: Vec<Vec3> =
            (0..count).filter(is_slide).map(|k| motion(k).fixed_rows::<3>(0).normalize()).collect();
        let turn = |k: usize| {
            let m = motion(k);
            let mut shift = m.fixed_rows::<3>(0).into_owned();
            for s in &slides {
                shift -= s * s.dot(&shift);
            }
            Turn::new(&shift, &(m.fixed_rows::<3>(3) / scaling.radius), scaling)
        };
        let turns = (0..count).filter(|k| !is_slide(k)).map(turn).collect();
        (slides, turns)
    }
}

/// A small motion in words, by what it does most.
pub(super) fn describe_motion(motion: &Vector6<f64>, scaling: &Scaling) -> String {
    let (shift, turn) =
        (motion.fixed_rows::<3>(0).into_owned(), motion.fixed_rows::<3>(3) / scaling.radius);
    if motion.fixed_rows::<3>(3).norm_squared() < SLIDE * motion.norm_squared() {
        format!("slide along {}", triple(&shift.normalize(), 3))
    } else {
        Turn::new(&shift, &turn, scaling).words()
    }
}

/// A turn about a line, advancing along it.
pub(super) struct Turn {
    pub(super) axis: Vec3,
    at: Point3,
    /// Advance a turn, mm.
    pitch: f64,
    /// Whether the advance is more than the data's noise.
    screw: bool,
}

impl Turn {
    fn new(shift: &Vec3, turn: &Vec3, scaling: &Scaling) -> Self {
        let speed = turn.norm();
        let axis = turn / speed;
        let along = shift.dot(&axis);
        Turn {
            axis,
            at: scaling.middle + turn.cross(shift) / speed.powi(2),
            pitch: std::f64::consts::TAU * along / speed,
            screw: along.abs() > SLIDE.sqrt() * speed * scaling.radius,
        }
    }

    fn describe(&self) -> String {
        format!("free to {}", self.words())
    }

    fn words(&self) -> String {
        let (axis, at) = (triple(&self.axis, 3), triple(&self.at.coords, 1));
        if self.screw {
            format!("screw along {axis} through {at} by {:.2} mm a turn", self.pitch)
        } else {
            format!("turn about {axis} through {at}")
        }
    }
}

/// Coordinates with a fixed number of decimals, no negative zeros; directions with their largest
/// component positive read the same from run to run.
fn triple(v: &Vec3, decimals: usize) -> String {
    let unit = 10f64.powi(decimals as i32);
    let r = v.map(|c| (c * unit).round() / unit + 0.0);
    format!("({:.*}, {:.*}, {:.*})", decimals, r.x, decimals, r.y, decimals, r.z)
}

/// A motion that changes distances less than this many times what the noise of the normals fakes
/// is free; without any true hold the ratio is 1.
const NOISE_RATIO: f64 = 1.5;
/// Rounding of a sum of some 1e6 products relative to its size.
const ROUNDING: f64 = 1e-12;
/// Share of a motion, squared, under which its turning is noise: it counts as a slide.
const SLIDE: f64 = 0.02;
