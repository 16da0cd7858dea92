//! The survey against simulated machines (see tests/src/machines.rs) and open benchmarks with truth: what is
//! found, how true the parameters are, how long it takes.
//!
//! `cargo bench -p fitwright-benches --bench survey` prints the tables; `-- quick` leaves out the largest
//! scans. The Fit4CAD clouds (Romanengo et al. 2021, Fit4CAD: a point cloud benchmark for fitting simple
//! geometric primitives in CAD objects) are read from `../shared` where they are.
//! `-- beside` surveys the same points with CGAL's Efficient RANSAC in the same run instead.
#![allow(missing_docs)]

mod beside;

use std::collections::HashSet;
use std::path::Path;
use std::time::Instant;

use fitwright::associate::{Input, Request, fitter_by_id};
use fitwright::primitive::{Point3, Primitive};
use fitwright::scan::Scan;
use fitwright::survey::{Survey, SurveyOptions, Surveyed};
use fitwright_tests::machines::{Labelled, labelled, pump, separator, valve};

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    if std::env::args().any(|a| a == "beside") {
        return beside::beside();
    }
    let quick = std::env::args().any(|a| a == "quick");
    machines(quick)?;
    fit4cad(Path::new("../shared/data/fit4cad_test"))
        .or_else(|_| fit4cad(Path::new("../../shared/data/fit4cad_test")))
        .or_else(|e| {
            println!("Fit4CAD skipped: {e}");
            Ok(())
        })
}

/// Precision, recall, parameters and time over machines, noises, spacings and seeds.
fn machines(quick: bool) -> Result<(), Failure> {
    println!(
        "Machines: aims precision 0.97, recall 0.95, error ratio 1.2, 1 s at 1,000,000 triangles"
    );
    println!(
        "machine    noise  triangles   found  right  there   hit   error ratio    time, ms   peak, MB"
    );
    let mut sums = [0usize; 4];
    let mut ratios = Vec::new();
    // Spacings that give some 100,000 to 5,000,000 triangles on the pump.
    let spacings: &[f64] = if quick { &[2.0, 1.0] } else { &[2.0, 1.0, 0.64, 0.3] };
    for &spacing in spacings {
        for noise in [0.02, 0.05, 0.1] {
            for seed in 1..=if spacing < 0.5 { 1 } else { 2 } {
                for (name, machine) in
                    [("pump", pump()), ("valve", valve()), ("separator", separator())]
                {
                    let truth = labelled(machine, spacing, noise, seed)?;
                    let scan = truth.scan.to_scan()?;
                    forget_peak();
                    let start = Instant::now();
                    let found = Survey::of(&scan, &SurveyOptions::default())?;
                    let time = start.elapsed().as_secs_f64() * 1e3;
                    let memory = peak_memory();
                    let score = truth.judge(&found);
                    let own = error_ratios(&truth, &found, &score.matches);
                    println!(
                        "{name:<10} {noise:>5}  {:>9}  {:>6} {:>6} {:>6} {:>5}   {:>11.2}   {time:>9.0}  {:>9.0}",
                        scan.triangles().len(),
                        score.found,
                        score.right,
                        score.wanted,
                        score.hit,
                        root_mean_square(&own),
                        memory
                    );
                    score.faults.iter().for_each(|f| println!("    {f}"));
                    let all = [score.found, score.right, score.wanted, score.hit];
                    sums.iter_mut().zip(all).for_each(|(sum, n)| *sum += n);
                    ratios.extend(own);
                }
            }
        }
    }
    println!(
        "precision {:.3}, recall {:.3}, error ratio {:.2}\n",
        sums[1] as f64 / sums[0] as f64,
        sums[3] as f64 / sums[2] as f64,
        root_mean_square(&ratios)
    );
    Ok(())
}

/// Error of the size found over that of a fit to the points of the same surface, picked by its truth;
/// over the root mean square of the latter within the scan.
fn error_ratios(truth: &Labelled, found: &Survey, matches: &[(usize, usize)]) -> Vec<f64> {
    let size = |s: &Primitive| match s {
        Primitive::Cylinder(c) => Some(c.radius),
        Primitive::Sphere(c) => Some(c.radius),
        Primitive::Torus(c) => Some(c.minor_radius),
        _ => None,
    };
    let mut pairs = Vec::new();
    for &(surface, k) in matches {
        let shape = truth.true_shape(surface);
        let Some(is) = size(&shape) else { continue };
        let points = truth.points_of(surface);
        let fitter = fitter_by_id(&format!("builtin.{}", shape.kind().name()));
        let Some(picked) = fitter
            .and_then(|f| f.fit(&Input::new(&points), &Request::default()).ok())
            .and_then(|f| size(&f.shape))
        else {
            continue;
        };
        if let Some(own) = size(&found.primitives[k].feature.shape) {
            pairs.push((own - is, picked - is));
        }
    }
    let usual = root_mean_square(&pairs.iter().map(|p| p.1).collect::<Vec<_>>());
    pairs.iter().map(|p| p.0 / usual).collect()
}

/// Most memory that the process held since the last [`forget_peak`], scan and truth included, MB; NaN where
/// the system does not tell.
fn peak_memory() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    let kilobytes = line.and_then(|l| l.split_whitespace().next()?.parse::<f64>().ok());
    kilobytes.map_or(f64::NAN, |k| k / 1024.0)
}

/// Starts the count of [`peak_memory`] anew, where the system allows it.
fn forget_peak() {
    _ = std::fs::write("/proc/self/clear_refs", "5");
}

fn root_mean_square(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt()
}

/// Dice index of the best primitive for each true one, over all clouds.
fn fit4cad(folder: &Path) -> Result<(), Failure> {
    let mut all = Vec::new();
    println!(
        "Fit4CAD, 18 of its 35 test clouds; published best of all 35: mean Dice 0.857, median 0.954"
    );
    for k in 1..=18 {
        let read = |file: String| -> Result<String, Failure> {
            let run =
                std::process::Command::new("gzip").arg("-dc").arg(folder.join(file)).output()?;
            if run.status.success() {
                Ok(String::from_utf8(run.stdout)?)
            } else {
                Err(String::from_utf8_lossy(&run.stderr).into())
            }
        };
        let points = numbers(&read(format!("pointCloud/PC{k}.txt.gz"))?);
        let points: Vec<Point3> =
            points.chunks_exact(3).map(|c| Point3::new(c[0], c[1], c[2])).collect();
        let text = read(format!("pointCloud_primitives/PC{k}_primitives.txt.gz"))?;
        let truth: Vec<Vec<usize>> = text
            .split(":=[")
            .skip(1)
            .map(|list| numbers(list.split(']').next().unwrap_or_default()))
            .map(|ids| ids.iter().map(|i| *i as usize - 1).collect())
            .collect();
        let scan = Scan::from_points(points, None)?;
        let found = Survey::of(&scan, &SurveyOptions::default())?;
        let patches: Vec<HashSet<u32>> =
            found.primitives.iter().map(|p| with_edges(&scan, p)).collect();
        let dice: Vec<f64> = truth.iter().map(|ids| best_dice(&patches, ids)).collect();
        let mean = dice.iter().sum::<f64>() / dice.len() as f64;
        println!(
            "PC{k:<3} {:>6} points {:>4} primitives {:>4} found   mean Dice {mean:.3}",
            scan.points().len(),
            truth.len(),
            found.primitives.len()
        );
        all.extend(dice);
    }
    all.sort_by(f64::total_cmp);
    let good = all.iter().filter(|d| **d >= 0.9).count();
    println!(
        "all {}: mean {:.3}, median {:.3}, {:.1} % at 0.9 or more",
        all.len(),
        all.iter().sum::<f64>() / all.len() as f64,
        all[all.len() / 2],
        100.0 * good as f64 / all.len() as f64
    );
    Ok(())
}

/// A primitive's points and those beside them that lie on it as well: the survey gives a point at an edge to one
/// of the surfaces that meet there, the truth lists it for each of them.
fn with_edges(scan: &Scan, primitive: &Surveyed) -> HashSet<u32> {
    let reach = 4.0 * scan.noise() + 0.06 * scan.resolution();
    let own = primitive.region.ids();
    let beside = own.iter().flat_map(|&i| scan.neighbours(i)).copied();
    let on = |i: &u32| primitive.feature.shape.distance(&scan.points()[*i as usize]).abs() <= reach;
    own.iter().copied().chain(beside.filter(on)).collect()
}

fn best_dice(patches: &[HashSet<u32>], truth: &[usize]) -> f64 {
    let dice = |patch: &HashSet<u32>| {
        let common = truth.iter().filter(|i| patch.contains(&(**i as u32))).count();
        2.0 * common as f64 / (truth.len() + patch.len()) as f64
    };
    patches.iter().map(dice).fold(0.0, f64::max)
}

fn numbers(text: &str) -> Vec<f64> {
    let cut = |c: char| !(c.is_ascii_digit() || "+-.eE".contains(c));
    text.split(cut).filter_map(|word| word.parse().ok()).collect()
}
