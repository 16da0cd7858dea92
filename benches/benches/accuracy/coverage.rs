//! Coverage: how often the stated 95 % intervals (k = 2) hold the truth.
//!
//! Every run is a scan with points at new random places. The intervals are those of every unknown of
//! the shape: position at the middle along two or three directions, tilt about two, sizes.
//!
//! A field of `n` mean spacings leaves a surface of 2,000 points 2000 / (2π n²) independent patches:
//! 35, 9 and 2 for 3, 6 and 12. Two are fewer than the freedoms of any shape: no residuals can show
//! such noise, so 12 is asked of surfaces only where the noise is known from a face of the same scan,
//! as a job knows it.

use fitwright::associate::{Covariance, Request};
use nalgebra::SVector;
use rayon::prelude::*;

use crate::options::Options;
use crate::scene::{self, Noise, SIGMA, SIZE};
use crate::shape::Truth;
use crate::table::Table;

/// Counts of one case.
#[derive(Debug, Clone)]
pub(crate) struct Coverage {
    /// Runs whose interval held the truth, by unknown.
    pub(crate) held: Vec<usize>,
    /// Runs with an answer.
    pub(crate) answered: usize,
    /// Runs without: refused as undetermined, or failed.
    pub(crate) refused: usize,
    /// Root mean square of error over stated standard deviation, by unknown.
    pub(crate) ratio: Vec<f64>,
}

/// Prints the shape's table.
pub(crate) fn print(kind: fitwright::primitive::Kind, options: &Options) {
    let runs = options.runs(100, 1000);
    let names = Truth::new(kind, 360.0, SIZE, scene::place()).names();
    let mut head = vec!["arc".to_owned(), "noise".into(), "judged by".into()];
    head.extend(names.iter().map(|n| (*n).to_owned()));
    head.extend(["lowest, 95 % of it", "error/stated", "refused"].map(String::from));
    let mut table = Table::new(head);
    for arc in options.arcs(kind, &[360.0, 180.0, 120.0, 90.0, 60.0, 30.0]) {
        let truth = Truth::new(kind, arc, SIZE, scene::place());
        for noise in NOISES {
            let usual =
                options.full || USUAL.contains(&noise) && [360.0, 90.0, 30.0].contains(&arc);
            if !options.wants_noise(&noise.name(), usual || noise == Noise::White) {
                continue;
            }
            for face in [false, true] {
                let pointless = if face { noise == Noise::White } else { hopeless(noise, &truth) };
                if pointless || !options.wants_judged(face) {
                    continue;
                }
                let found = measure(&truth, options.points, noise, runs, face);
                let by = if face { "a face" } else { "itself" };
                let mut row = vec![format!("{arc}"), noise.name(), by.into()];
                row.extend(found.held.iter().map(|&held| share(held, found.answered)));
                let low = found.held.iter().copied().min().unwrap_or(0);
                let (a, b) = interval(low, found.answered);
                row.push(format!("{a:.1} .. {b:.1}"));
                row.push(format!("{:.2}", found.ratio.iter().copied().fold(0.0, f64::max)));
                row.push(format!("{}", found.refused));
                table.row(row);
            }
        }
    }
    table.print(&format!(
        "coverage of the 95 % intervals (k = 2), % of {runs} scans of {} points; * outside 93..97",
        options.points
    ));
}

/// Whether the noise leaves a surface fewer independent patches than the shape has freedoms.
fn hopeless(noise: Noise, truth: &Truth) -> bool {
    let long = matches!(noise, Noise::Mixed(length) | Noise::Smooth(length) if length > 6.0);
    long && truth.families() == 1
}

/// Coverage of one case by Monte Carlo; the noise is judged by the scan itself or by a face beside it.
pub(crate) fn measure(
    truth: &Truth,
    points: usize,
    noise: Noise,
    runs: usize,
    face: bool,
) -> Coverage {
    let one = |run: usize| {
        let seed = 0xC0FE + run as u64;
        let mut random = fitwright::simulate::random::Random::stream(seed, 0);
        let feet = scene::random_feet(truth, points, &mut random);
        let scan = scene::scan(truth, feet, SIGMA, noise, seed);
        let known = if face { scene::noise_of_a_face(truth, points, noise, seed) } else { None };
        let request = Request::default();
        let fit = scene::fit_knowing(truth.kind, &scan.points, &request, known.as_ref()).ok()?;
        let stated = stated(truth, &fit.covariance);
        let errors = truth.errors(&fit.shape);
        Some(errors.iter().zip(stated).map(|(e, u)| e / u).collect::<Vec<_>>())
    };
    let all: Vec<_> = (0..runs).into_par_iter().map(one).collect();
    let answered: Vec<_> = all.iter().flatten().collect();
    let each = 0..truth.free().len();
    let held = |k: usize| answered.iter().filter(|z| z[k].abs() <= COVERAGE_FACTOR).count();
    let square = |k: usize| answered.iter().map(|z| z[k] * z[k]).sum::<f64>();
    Coverage {
        held: each.clone().map(held).collect(),
        answered: answered.len(),
        refused: runs - answered.len(),
        ratio: each.map(|k| (square(k) / answered.len() as f64).sqrt()).collect(),
    }
}

/// Stated standard deviations of the unknowns, at the truth's point.
fn stated(truth: &Truth, covariance: &Covariance) -> Vec<f64> {
    let pose = truth.scan_from_local;
    let about = covariance.about(pose * fitwright::primitive::Point3::origin());
    let deviation = |&index: &usize| {
        let mut gradient = SVector::<f64, 8>::zeros();
        gradient[index] = 1.0;
        for block in [0, 3] {
            let turned = pose.rotation * gradient.fixed_rows::<3>(block).into_owned();
            gradient.fixed_rows_mut::<3>(block).copy_from(&turned);
        }
        about.variance(&gradient).sqrt()
    };
    truth.free().iter().map(deviation).collect()
}

/// Share in percent, marked where outside what is aimed for.
fn share(held: usize, answered: usize) -> String {
    let percent = 100.0 * held as f64 / answered as f64;
    let mark = if (93.0..=97.0).contains(&percent) { " " } else { "*" };
    format!("{percent:.1}{mark}")
}

/// 95 % interval of a binomial share, percent (Wilson 1927, Probable inference, the law of
/// succession, and statistical inference).
fn interval(held: usize, answered: usize) -> (f64, f64) {
    let (n, p, z) = (answered as f64, held as f64 / answered as f64, 1.959_964_f64);
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    (100.0 * (middle - half), 100.0 * (middle + half))
}

/// Coverage factor; for normal errors the interval then holds 95.45 %.
const COVERAGE_FACTOR: f64 = 2.0;
/// All noises.
const NOISES: [Noise; 7] = [
    Noise::White,
    Noise::Mixed(3.0),
    Noise::Mixed(6.0),
    Noise::Mixed(12.0),
    Noise::Smooth(3.0),
    Noise::Smooth(6.0),
    Noise::Smooth(12.0),
];
/// Correlated noises of the short run.
const USUAL: [Noise; 2] = [Noise::Mixed(6.0), Noise::Smooth(6.0)];
