//! Efficiency: the Cramér-Rao bound over the actual variance; and the bias of the radius.
//!
//! White noise along the normals of a fixed set of points, so that the bound is exact: the inverse
//! of the information matrix of the analytic Jacobian at the truth (Rao 1945, Information and the
//! accuracy attainable in the estimation of statistical parameters). The first-order error of the
//! same noise, whose variance is the bound, serves as control variate (Lavenberg, Welch 1981, A
//! perspective on the use of control variables to increase the efficiency of Monte Carlo
//! simulations): only the difference from it is left to chance.

use fitwright::primitive::{Kind, Vec3};
use nalgebra::DMatrix;
use rayon::prelude::*;

use crate::options::Options;
use crate::scene::{self, Noise, SIGMA, SIZE};
use crate::shape::Truth;
use crate::table::Table;

/// Prints the shape's table.
pub(crate) fn print(kind: Kind, options: &Options) {
    let runs = options.runs(100, 1000);
    let mut table = Table::new([
        "arc",
        "all points: lowest +- s.e.",
        "of",
        "mean",
        "default: lowest +- s.e.",
        "of",
        "mean",
        "cost in s.d. %",
        "size bias / s.d. +- s.e.",
        "bias / size",
        "s.d. k",
        "published k",
        "failed",
    ]);
    for arc in options.arcs(kind, &[360.0, 180.0, 120.0, 90.0, 60.0, 30.0, 20.0, 10.0]) {
        let truth = Truth::new(kind, arc, SIZE, scene::place());
        let feet = scene::even_feet(&truth, options.points);
        let Some(bound) = truth.bound(&feet) else { continue };
        let bound = bound * (SIGMA * SIGMA);
        let mut row = vec![format!("{arc}")];
        let case = Case { truth, feet, bound };
        let (plain, default) = (case.measure(false, runs), case.measure(true, runs));
        for found in [&plain, &default] {
            row.push(format!("{:.3} +- {:.3}", found.lowest.0, found.lowest.1));
            row.push(found.name.into());
            row.push(format!("{:.3}", found.mean));
        }
        row.push(format!("{:.1}", 100.0 * ((plain.mean / default.mean).sqrt() - 1.0)));
        row.push(plain.bias.map_or("".into(), |b| format!("{:.3} +- {:.3}", b.0, b.1)));
        row.push(plain.bias.map_or("".into(), |b| format!("{:.1e}", b.2)));
        row.push(case.size_index().map_or("".into(), |k| {
            let unit = SIGMA / (options.points as f64).sqrt();
            format!("{:.2}", case.bound[(k, k)].sqrt() / unit)
        }));
        row.push(published(kind, arc).map_or("".into(), |k| format!("{k}")));
        row.push(format!("{}", plain.failed + default.failed));
        table.row(row);
    }
    table.print(&format!(
        "efficiency: Cramer-Rao bound over variance, {runs} scans of {} points, noise {SIGMA} mm; k = \
         bound of the radius in noise / sqrt(points)",
        options.points
    ));
}

struct Case {
    truth: Truth,
    feet: Vec<Vec3>,
    bound: DMatrix<f64>,
}

struct Found {
    /// Smallest efficiency of an unknown, with its standard error.
    lowest: (f64, f64),
    name: &'static str,
    /// Number of unknowns over the mean of their variances in units of the bound.
    mean: f64,
    /// Bias of the size in standard deviations with its standard error, and relative to the size.
    bias: Option<(f64, f64, f64)>,
    failed: usize,
}

impl Case {
    /// Which of the unknowns is the (first) size.
    fn size_index(&self) -> Option<usize> {
        self.truth.free().iter().position(|&i| i == 6)
    }

    fn measure(&self, reject_outliers: bool, runs: usize) -> Found {
        let unit = &self.bound / (SIGMA * SIGMA);
        let one = |run: usize| {
            let scan = scene::scan(&self.truth, self.feet.clone(), SIGMA, Noise::White, run as u64);
            let fit = scene::fit(self.truth.kind, &scan.points, reject_outliers).ok()?;
            let linear = self.truth.first_order(&scan.feet, &scan.noise, &unit);
            Some((self.truth.errors(&fit.shape), linear))
        };
        let all: Vec<_> = (0..runs).into_par_iter().map(one).collect();
        let answered: Vec<_> = all.iter().flatten().collect();
        let ratio = |k: usize| {
            let bound = self.bound[(k, k)];
            let extra = answered.iter().map(|(e, l)| (e[k] * e[k] - l[k] * l[k]) / bound);
            let (mean, error) = moments(extra);
            (1.0 + mean, error)
        };
        let ratios: Vec<_> = (0..self.bound.nrows()).map(ratio).collect();
        let efficiency = |r: &(f64, f64)| (1.0 / r.0, r.1 / (r.0 * r.0));
        let (mut lowest, mut name) = ((f64::INFINITY, 0.0), "");
        for (found, of) in ratios.iter().map(efficiency).zip(self.truth.names()) {
            if found.0 < lowest.0 {
                (lowest, name) = (found, of);
            }
        }
        let mean = ratios.len() as f64 / ratios.iter().map(|r| r.0).sum::<f64>();
        let bias = self.size_index().map(|k| {
            let deviation = self.bound[(k, k)].sqrt();
            let (mean, error) = moments(answered.iter().map(|(e, l)| (e[k] - l[k]) / deviation));
            (mean, error, mean * deviation / self.truth.size)
        });
        Found { lowest, name, mean, bias, failed: runs - answered.len() }
    }
}

/// Mean and its standard error.
fn moments(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let n = values.clone().count() as f64;
    let mean = values.clone().sum::<f64>() / n;
    let square = values.map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
    (mean, (square / n).sqrt())
}

/// Bound of the radius in noise / sqrt(points) for dense even sampling, solved independently with
/// another program from numerical integrals of the same model (numpy, `crb_tables` of the project's
/// reference collection; the small-arc limit is 12 sqrt(5) / arc^2).
fn published(kind: Kind, arc: f64) -> Option<f64> {
    let table: &[(f64, f64)] = match kind {
        Kind::Circle | Kind::Cylinder => &ROUND,
        Kind::Sphere => &CAP,
        _ => return None,
    };
    table.iter().find(|row| row.0 == arc).map(|row| row.1)
}

const ROUND: [(f64, f64); 8] = [
    (360.0, 1.0),
    (180.0, 2.2976),
    (120.0, 5.5639),
    (90.0, 10.282),
    (60.0, 23.849),
    (30.0, 97.240),
    (20.0, 219.58),
    (10.0, 880.23),
];
const CAP: [(f64, f64); 7] = [
    (360.0, 1.0),
    (180.0, 2.0),
    (120.0, 5.2915),
    (90.0, 10.145),
    (60.0, 24.145),
    (30.0, 99.937),
    (20.0, 226.29),
];
