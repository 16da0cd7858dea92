//! Side by side with a general-purpose optimiser: the same orthogonal-distance problems, the same
//! minimum, and the time.
//!
//! The optimiser (SciPy, in `python/least_squares.py`) starts near the truth, so it has no start to
//! find; ours has no start given. Digits are -log10 of the largest difference of an unknown, mm or
//! rad; lines are no orthogonal-distance problem of interest (a singular value decomposition).

use std::path::Path;
use std::process::Command;
use std::time::Instant;

use fitwright::primitive::{Kind, Point3, Vec3};
use fitwright::simulate::random::Random;
use serde_json::{Value, json};

use crate::options::Options;
use crate::published::difference;
use crate::scene::{self, Noise, SIGMA, SIZE};
use crate::shape::Truth;
use crate::table::Table;

/// Prints the shape's table.
pub(crate) fn print(kind: Kind, options: &Options) {
    if kind == Kind::Line {
        return;
    }
    let mut problems = Vec::new();
    for arc in options.arcs(kind, &[360.0, 90.0, 30.0]) {
        for count in [200, 2000, 20_000] {
            let truth = Truth::new(kind, arc, SIZE, scene::place());
            let feet = scene::random_feet(&truth, count, &mut Random::stream(count as u64, 0));
            let scan = scene::scan(&truth, feet, SIGMA, Noise::White, 5);
            problems.push((arc, truth, scan.points));
        }
    }
    let answers = match solve(&problems) {
        Ok(answers) => answers,
        Err(reason) => {
            println!("\n  side by side with a general-purpose optimiser: skipped, {reason}");
            return;
        }
    };
    let mut table = Table::new([
        "arc",
        "points",
        "difference",
        "digits",
        "sum of squares, ours - theirs",
        "ours ms",
        "theirs ms",
        "theirs / ours",
    ]);
    for ((arc, truth, points), answer) in problems.iter().zip(&answers) {
        let ours = ours(truth.kind, points);
        let Some(theirs) = read(truth.kind, answer) else { continue };
        let (Some((shape, time)), Some(seconds)) = (ours, answer["seconds"].as_f64()) else {
            table.row([format!("{arc}"), format!("{}", points.len()), "no answer".into()]);
            continue;
        };
        let apart = difference(&shape, &theirs);
        let square: f64 = points.iter().map(|p| shape.distance(p).powi(2)).sum();
        let other = answer["cost"].as_f64().unwrap_or(f64::NAN);
        table.row([
            format!("{arc}"),
            format!("{}", points.len()),
            format!("{apart:.1e}"),
            format!("{:.1}", -apart.max(1e-17).log10()),
            format!("{:.1e}", (square - other) / other),
            format!("{:.2}", 1e3 * time),
            format!("{:.2}", 1e3 * seconds),
            format!("{:.1}", seconds / time),
        ]);
    }
    table.print("side by side with a general-purpose optimiser (scipy.optimize.least_squares)");
}

/// Least squares of all points; the shortest of five runs, s.
fn ours(kind: Kind, points: &[Point3]) -> Option<(fitwright::primitive::Primitive, f64)> {
    let mut best: Option<(fitwright::primitive::Primitive, f64)> = None;
    for _ in 0..5 {
        let begin = Instant::now();
        let fit = scene::fit(kind, points, false).ok()?;
        let time = begin.elapsed().as_secs_f64();
        if best.as_ref().is_none_or(|b| time < b.1) {
            best = Some((fit.shape, time));
        }
    }
    best
}

/// Hands the problems to Python and reads its answers.
fn solve(problems: &[(f64, Truth, Vec<Point3>)]) -> Result<Vec<Value>, String> {
    let python = std::env::var("FITWRIGHT_PYTHON")
        .map_err(|_| "FITWRIGHT_PYTHON is not set (needs numpy, scipy)".to_owned())?;
    let has = Command::new(&python).args(["-c", "import numpy, scipy.optimize"]).output();
    if !has.is_ok_and(|o| o.status.success()) {
        return Err(format!("{python} cannot import numpy and scipy"));
    }
    let text = |e: &dyn std::fmt::Display| e.to_string();
    let folder = tempfile::tempdir().map_err(|e| text(&e))?;
    let file = folder.path().join("problems.json");
    let all: Vec<Value> =
        problems.iter().map(|(_, truth, points)| problem(truth, points)).collect();
    std::fs::write(&file, Value::from(all).to_string()).map_err(|e| text(&e))?;
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python/least_squares.py");
    let output = Command::new(python).arg(script).arg(&file).output().map_err(|e| text(&e))?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned());
    }
    serde_json::from_slice(&output.stdout).map_err(|e| text(&e))
}

/// The problem with a start a little off the truth.
fn problem(truth: &Truth, points: &[Point3]) -> Value {
    let sizes = truth.sizes();
    let off = truth.scan_from_local * Point3::new(0.02, -0.01, 0.01).map(|c| c * truth.size);
    let axis = truth.scan_from_local * Vec3::new(0.01, 0.02, 1.0);
    let coordinates = |p: &Point3| json!([p.x, p.y, p.z]);
    json!({
        "kind": truth.kind.name(),
        "points": points.iter().map(coordinates).collect::<Vec<_>>(),
        "start": {
            "point": [off.x, off.y, off.z],
            "axis": [axis.x, axis.y, axis.z],
            "sizes": [1.02 * sizes[0], 0.98 * sizes[1]],
        },
    })
}

fn read(kind: Kind, answer: &Value) -> Option<fitwright::primitive::Primitive> {
    let three = |key: &str| {
        let v: Vec<f64> = answer[key].as_array()?.iter().filter_map(Value::as_f64).collect();
        Some(Vec3::new(*v.first()?, *v.get(1)?, *v.get(2)?))
    };
    let axis = fitwright::primitive::unit(three("axis")?)?;
    let sizes = [answer["sizes"][0].as_f64()?, answer["sizes"][1].as_f64()?];
    Some(Truth::shape(kind, Point3::from(three("point")?), axis, sizes))
}
