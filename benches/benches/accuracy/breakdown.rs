//! Breakdown: what a growing share of points that do not belong does to the default fit.
//!
//! Three sorts: anywhere in the box about the shape; a neighbouring surface inside the region (a
//! flange, a step, a plate); one-sided burrs and paint, 0.1 to 1 mm outside. Errors are in units of
//! the standard deviation the points that belong allow by themselves.

use std::f64::consts::TAU;

use fitwright::primitive::{Kind, Point3, Vec3};
use fitwright::simulate::random::Random;
use rayon::prelude::*;

use crate::options::Options;
use crate::scene::{self, Noise, SIGMA, SIZE};
use crate::shape::{Truth, WIDTH};
use crate::table::Table;

/// Prints the shape's table.
pub(crate) fn print(kind: Kind, options: &Options) {
    let runs = options.runs(20, 200);
    let mut head = vec!["arc".to_owned(), "sort".into()];
    head.extend(SHARES.iter().map(|s| format!("{:.0} %", 100.0 * s)));
    let mut table = Table::new(head);
    for arc in options.arcs(kind, &[360.0, 120.0]) {
        let truth = Truth::new(kind, arc, SIZE, scene::place());
        for (name, sort) in SORTS {
            let mut row = vec![format!("{arc}"), name.into()];
            for share in SHARES {
                let one = |run| error(&truth, sort, share, options.points, run as u64);
                let errors: Vec<_> = (0..runs).into_par_iter().map(one).collect();
                let broken = errors.iter().filter(|e| **e > BROKEN).count();
                let worst = errors.iter().copied().fold(0.0, f64::max);
                row.push(cell(worst, 100.0 * broken as f64 / runs as f64));
            }
            table.row(row);
        }
    }
    table.print(&format!(
        "breakdown: largest error of an unknown in clean standard deviations, worst of {runs} scans of \
         {} points (broken, > {BROKEN}, %)",
        options.points
    ));
}

fn cell(worst: f64, broken: f64) -> String {
    let worst = if worst >= 1e4 { format!("{worst:.0e}") } else { format!("{worst:.1}") };
    if broken > 0.0 { format!("{worst} ({broken:.0}%)") } else { worst }
}

/// Largest error of an unknown in its clean standard deviations; infinite for no answer.
fn error(truth: &Truth, sort: Sort, share: f64, count: usize, run: u64) -> f64 {
    let (points, feet) = dirty(truth, sort, share, count, run);
    let Some(bound) = truth.bound(&feet) else { return f64::INFINITY };
    let Ok(fit) = scene::fit(truth.kind, &points, true) else { return f64::INFINITY };
    let errors = truth.errors(&fit.shape);
    let each = errors.iter().enumerate();
    each.map(|(k, e)| e.abs() / (SIGMA * bound[(k, k)].sqrt())).fold(0.0, f64::max)
}

/// A scan with a share of points that do not belong, in mixed order; the feet of those that do.
pub(crate) fn dirty(
    truth: &Truth,
    sort: Sort,
    share: f64,
    count: usize,
    run: u64,
) -> (Vec<Point3>, Vec<Vec3>) {
    let mut random = Random::stream(0xB4D, run);
    let bad = (share * count as f64).round() as usize;
    let feet = scene::random_feet(truth, count - bad, &mut random);
    let scan = scene::scan(truth, feet, SIGMA, Noise::White, run);
    let mut points = scan.points;
    let (low, high) = corners(&scan.feet);
    for _ in 0..bad {
        let at = match sort {
            Sort::Gross => low + (high - low).component_mul(&cube(&mut random)),
            Sort::Neighbour => {
                let wall = neighbour(truth, &mut random);
                wall.0 + wall.1 * (SIGMA * random.normal())
            }
            Sort::OneSided => {
                let x = truth.on(random.uniform(), random.uniform());
                x + truth.residual(&x, 0).n * (0.1 + 0.9 * random.uniform())
            }
        };
        points.push(truth.scan_from_local * Point3::from(at));
    }
    for i in (1..points.len()).rev() {
        points.swap(i, (random.uniform() * (i + 1) as f64) as usize);
    }
    (points, scan.feet)
}

fn cube(random: &mut Random) -> Vec3 {
    Vec3::new(random.uniform(), random.uniform(), random.uniform())
}

/// The box of the points, a fifth of its largest side larger all round.
fn corners(feet: &[Vec3]) -> (Vec3, Vec3) {
    let low = feet.iter().fold(Vec3::repeat(f64::INFINITY), |a, b| a.inf(b));
    let high = feet.iter().fold(Vec3::repeat(f64::NEG_INFINITY), |a, b| a.sup(b));
    let margin = Vec3::repeat(0.2 * (high - low).amax());
    (low - margin, high + margin)
}

/// A point on the surface beside the shape, and that surface's normal.
fn neighbour(truth: &Truth, random: &mut Random) -> (Vec3, Vec3) {
    let (u, v) = (random.uniform(), random.uniform());
    let (half, size) = (0.5 * truth.length(), truth.size);
    let angle = truth.arc * (u - 0.5);
    let ring = |from: f64, to: f64, angle: f64| {
        let rho = (from * from + (to * to - from * from) * v).sqrt();
        Vec3::new(rho * angle.cos(), rho * angle.sin(), 0.0)
    };
    match truth.kind {
        // A step of 2 mm down to a face of the same width.
        Kind::Plane => {
            (Vec3::new(half * (1.0 + u), 2.0 * half * WIDTH * (v - 0.5), -2.0), Vec3::z())
        }
        // The edge that goes on round the corner.
        Kind::Line => (Vec3::new(half * u, 0.0, half), Vec3::y()),
        // The rim of a countersink.
        Kind::Circle => (ring(1.3 * size, 1.3 * size, angle) - Vec3::z() * (0.3 * size), Vec3::z()),
        // The plate that the ball or dome sits on.
        Kind::Sphere => {
            let rim = size * (0.5 * truth.arc).sin().abs();
            let base = Vec3::z() * (size * (0.5 * truth.arc).cos());
            (ring(rim, rim + 0.6 * size, TAU * u) + base, Vec3::z())
        }
        // A flange at the upper end.
        Kind::Cylinder | Kind::Cone => {
            let rim = truth.on(0.5, 1.0).x;
            (ring(rim, 1.6 * rim, angle) + Vec3::z() * half, Vec3::z())
        }
        // A flange at the end of the bend.
        _ => {
            let [major, minor] = truth.sizes();
            let flat = ring(minor, 2.0 * minor, TAU * u);
            let (sin, cos) = (0.5 * truth.arc).sin_cos();
            let (out, along) = (Vec3::new(cos, sin, 0.0), Vec3::new(-sin, cos, 0.0));
            (out * (major + flat.x) + Vec3::z() * flat.y, along)
        }
    }
}

/// What does not belong.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Sort {
    /// Anywhere in the box.
    Gross,
    /// On the surface beside.
    Neighbour,
    /// 0.1 to 1 mm outside.
    OneSided,
}

const SORTS: [(&str, Sort); 3] =
    [("gross", Sort::Gross), ("neighbour", Sort::Neighbour), ("one-sided", Sort::OneSided)];
const SHARES: [f64; 6] = [0.0, 0.1, 0.2, 0.3, 0.4, 0.45];
/// Error from which on a fit counts as broken, in standard deviations.
const BROKEN: f64 = 10.0;
