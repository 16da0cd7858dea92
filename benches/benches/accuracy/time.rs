//! Time against the number of points, beside a plain reference in the same run.
//!
//! The reference is one pass of normal equations on one thread at the true shape: what a single
//! linearised step costs, without start, convergence, outliers or quality.

use std::hint::black_box;
use std::time::{Duration, Instant};

use fitwright::associate::{Criterion, Request};
use fitwright::primitive::{Kind, Point3, Vec3};
use nalgebra::{SMatrix, SVector};

use crate::breakdown::{Sort, dirty};
use crate::options::Options;
use crate::scene::{self, SIZE};
use crate::shape::Truth;
use crate::table::Table;

/// Prints the shape's table.
pub(crate) fn print(kind: Kind, _options: &Options) {
    let mut table = Table::new([
        "points",
        "one step ms",
        "all points ms",
        "ratio",
        "default ms",
        "ratio",
        "20 % outliers ms",
        "ratio",
        "minimum zone ms",
    ]);
    let truth = Truth::new(kind, 360.0, SIZE, scene::place());
    for count in [10_000, 100_000, 1_000_000] {
        let (clean, _) = dirty(&truth, Sort::Gross, 0.0, count, 1);
        let (outliers, _) = dirty(&truth, Sort::Gross, 0.2, count, 1);
        let local: Vec<Vec3> =
            clean.iter().map(|p| truth.scan_from_local.inverse_transform_point(p).coords).collect();
        let step = shortest(|| one_step(&truth, &local));
        let mut row = vec![format!("{count}"), milliseconds(step)];
        for (points, reject) in [(&clean, false), (&clean, true), (&outliers, true)] {
            let time = shortest(|| fit(kind, points, reject));
            row.push(milliseconds(time));
            row.push(format!("{:.1}", time.as_secs_f64() / step.as_secs_f64()));
        }
        row.push(milliseconds(shortest(|| minimum_zone(kind, &clean))));
        table.row(row);
    }
    let threads = rayon::current_num_threads();
    table.print(&format!("time, shortest of several, {threads} threads; ratio to one step"));
}

fn fit(kind: Kind, points: &[Point3], reject_outliers: bool) {
    black_box(scene::fit(kind, points, reject_outliers).is_ok());
}

fn minimum_zone(kind: Kind, points: &[Point3]) {
    let mut request = Request::default();
    request.criterion = Criterion::MinimumZone;
    request.reject_outliers = false;
    black_box(scene::fit_with(kind, points, &request).is_ok());
}

/// One linearised step by normal equations, of as many unknowns as the shape has.
fn one_step(truth: &Truth, points: &[Vec3]) {
    match truth.free().len() {
        3 => normal_equations::<3>(truth, points),
        4 => normal_equations::<4>(truth, points),
        5 => normal_equations::<5>(truth, points),
        6 => normal_equations::<6>(truth, points),
        _ => normal_equations::<7>(truth, points),
    }
}

fn normal_equations<const N: usize>(truth: &Truth, points: &[Vec3]) {
    let (mut a, mut b) = (SMatrix::<f64, N, N>::zeros(), SVector::<f64, N>::zeros());
    for x in points {
        for k in 0..truth.families() {
            let residual = truth.residual(x, k);
            let row = SVector::<f64, N>::from_fn(|i, _| residual.derivative(x, truth.free()[i]));
            a += row * row.transpose();
            b += row * residual.d;
        }
    }
    black_box(a.cholesky().map_or(b, |c| c.solve(&b)));
}

/// Shortest of three to twenty runs, about a second long in all.
fn shortest(mut work: impl FnMut()) -> Duration {
    let (start, mut least) = (Instant::now(), Duration::MAX);
    for run in 0..20 {
        if run >= 3 && start.elapsed() > Duration::from_secs(1) {
            break;
        }
        let begin = Instant::now();
        work();
        least = least.min(begin.elapsed());
    }
    least
}

fn milliseconds(time: Duration) -> String {
    format!("{:.2}", 1e3 * time.as_secs_f64())
}
