//! The same questions put to general-purpose libraries in the same run.

use std::path::Path;

use fitwright::Context;
use fitwright::exchange::Part;
use fitwright::fitcheck::{PartBody, ScanSurface};
use fitwright::primitive::{Point3, Pose};
use fitwright::scan::Scan;
use fitwright_benches::{cpp, median_seconds, python};

/// What may be asked of the ratio to a library's time: the aims over the times that these libraries took where the
/// aims were set.
const ASKED: [(&str, &str, f64); 9] = [
    ("structure", "CGAL", 200.0 / 340.0),
    ("structure", "Coal", 200.0 / 2600.0),
    ("structure", "FCL", 200.0 / 3400.0),
    ("least distance", "FCL", 1.0),
    ("least distance", "Coal", 1.3 / 1.5),
    ("touching pairs", "Coal", 1.0),
    ("corners", "Open3D", 20.0 / 90.0),
    ("scan points", "libigl", 300.0 / 2700.0),
    // Nothing was asked against this one.
    ("scan points", "Open3D", f64::NAN),
];

/// Corners by CGAL are unsigned, so they stand apart.
const UNSIGNED: (&str, &str, f64) = ("corners unsigned", "CGAL", 20.0 / 65.0);

/// Question, seconds and answer.
type Answer = (&'static str, f64, f64);

/// Prints a table of times and ratios; of many distances the sum of their sizes, which says nothing of their signs.
pub(crate) fn beside(
    scan: &Scan,
    clear: &Part,
    sunk: &Part,
) -> Result<(), Box<dyn std::error::Error>> {
    let folder = tempfile::tempdir()?;
    write(folder.path(), "scan", scan.points(), scan.triangles())?;
    write(folder.path(), "clear", &clear.points, &clear.triangles)?;
    write(folder.path(), "sunk", &sunk.points, &sunk.triangles)?;
    let mut theirs = Vec::new();
    for found in [
        python("distances.py", &[folder.path()]),
        cpp("distances.cpp", folder.path(), &[folder.path()]),
    ] {
        match found {
            Ok(found) => theirs.push(found),
            Err(e) => println!("left out: {e}"),
        }
    }
    let ours = ours(scan, clear, sunk)?;
    println!("question           library    answer  ours       s, ours   library   ratio   asked");
    for (question, library, asked) in ASKED.into_iter().chain([UNSIGNED]) {
        let Some(found) = theirs.iter().find_map(|t| t.get(question)?.get(library)) else {
            continue;
        };
        let own = question.strip_suffix(" unsigned").unwrap_or(question);
        let Some((_, seconds, answer)) = ours.iter().find(|o| o.0 == own) else { continue };
        let number = |key: &str| found[key].as_f64().unwrap_or(f64::NAN);
        println!(
            "{question:<18} {library:<8} {:>10.3} {answer:>10.3} {seconds:>9.4} {:>9.4} {:>7.2} {asked:>7.2}",
            number("answer"),
            number("seconds"),
            seconds / number("seconds")
        );
    }
    Ok(())
}

fn ours(scan: &Scan, clear: &Part, sunk: &Part) -> Result<Vec<Answer>, Box<dyn std::error::Error>> {
    let pose = Pose::identity();
    // Two threads, as the others get.
    let found: Result<_, String> = Context::new(2)?.run(|| {
        let body = |part| PartBody::new(part).map_err(|e| e.to_string());
        let (structure, surface) =
            median_seconds(5, || (ScanSurface::new(scan, &pose), body(clear)));
        let (surface, clear_body, deep) = (surface.0, surface.1?, body(sunk)?);
        let (least, nearest) =
            median_seconds(21, || clear_body.least_distance(&surface, f64::INFINITY));
        let (pairs, touching) = median_seconds(11, || deep.touching_pairs(&surface).len());
        let (corners, distances) = median_seconds(11, || surface.signed_distances(&clear.points));
        let points = &scan.points()[..scan.points().len().min(527_000)];
        let (cloud, clearances) =
            median_seconds(5, || deep.signed_distances(points, f64::INFINITY));
        let nearest = nearest.map_or(f64::NAN, |t| t.distance);
        let sum = |all: &mut dyn Iterator<Item = f64>| all.map(f64::abs).sum::<f64>();
        Ok(vec![
            ("structure", structure, 0.0),
            ("least distance", least, nearest),
            ("touching pairs", pairs, touching as f64),
            ("corners", corners, sum(&mut distances.iter().copied())),
            ("scan points", cloud, sum(&mut clearances.iter().copied())),
        ])
    });
    Ok(found?)
}

fn write(
    folder: &Path,
    name: &str,
    points: &[Point3],
    triangles: &[[u32; 3]],
) -> std::io::Result<()> {
    let points: Vec<u8> = points
        .iter()
        .flat_map(|p| p.coords.iter().flat_map(|x| x.to_le_bytes()).collect::<Vec<_>>())
        .collect();
    let triangles: Vec<u8> = triangles.iter().flatten().flat_map(|i| i.to_le_bytes()).collect();
    std::fs::write(folder.join(format!("{name}.points")), points)?;
    std::fs::write(folder.join(format!("{name}.triangles")), triangles)
}
