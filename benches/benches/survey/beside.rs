//! The same points put to CGAL's Efficient RANSAC in the same run.

use std::path::Path;
use std::time::Instant;

use fitwright::Context;
use fitwright::primitive::Kind;
use fitwright::scan::Scan;
use fitwright::survey::{Survey, SurveyOptions};
use fitwright_benches::cpp;
use fitwright_tests::machines::{LARGE, Labelled, Score, labelled, pump, separator, valve};

use crate::Failure;

const NOISE: f64 = 0.03;

/// Prints a table: machine, who, seconds, precision and recall of large features.
pub(crate) fn beside() -> Result<(), Failure> {
    println!(
        "Asked: a third of CGAL's time. Both judged alike; CGAL gets the scan's normals, not counted"
    );
    println!("machine    triangles   who        seconds   found  right  wanted   hit");
    for (name, machine) in [("pump", pump()), ("valve", valve()), ("separator", separator())] {
        let truth = labelled(machine, 0.64, NOISE, 1)?;
        let scan = truth.scan.to_scan()?;
        let count = scan.triangles().len();
        let row = |who: &str, seconds: f64, score: &Score| {
            println!(
                "{name:<10} {count:>9}   {who:<10} {seconds:>7.2}   {:>5}  {:>5}   {:>5} {:>5}",
                score.found, score.right, score.wanted, score.hit
            );
        };
        let start = Instant::now();
        let found = Context::new(2)?.run(|| Survey::of(&scan, &SurveyOptions::default()))?;
        row("Fitwright", start.elapsed().as_secs_f64(), &truth.judge(&found));
        match cgal(&truth, &scan) {
            Ok((seconds, score)) => row("CGAL", seconds, &score),
            Err(e) => println!("CGAL left out: {e}"),
        }
    }
    Ok(())
}

fn cgal(truth: &Labelled, scan: &Scan) -> Result<(f64, Score), Failure> {
    let folder = tempfile::tempdir()?;
    let write = |name: &str, numbers: &mut dyn Iterator<Item = f64>| {
        let bytes: Vec<u8> = numbers.flat_map(f64::to_le_bytes).collect();
        std::fs::write(folder.path().join(name), bytes)
    };
    write("scan.points", &mut scan.points().iter().flat_map(|p| [p.x, p.y, p.z]))?;
    write("scan.normals", &mut scan.normals().iter().flat_map(|n| [n.x, n.y, n.z]))?;
    let (epsilon, cluster) = ((4.0 * NOISE).to_string(), (3.0 * scan.resolution()).to_string());
    let least = (LARGE / 2).to_string();
    let arguments: [&Path; 4] = [folder.path(), epsilon.as_ref(), cluster.as_ref(), least.as_ref()];
    let found = cpp("ransac.cpp", folder.path(), &arguments)?;
    let shapes: Vec<(String, Vec<u32>)> = serde_json::from_value(found["shapes"].clone())?;
    let kind = |name: &str| match name {
        "plane" => Kind::Plane,
        "cylinder" => Kind::Cylinder,
        "cone" => Kind::Cone,
        "sphere" => Kind::Sphere,
        _ => Kind::Torus,
    };
    let score = truth.judge_all(shapes.iter().map(|(n, ids)| (n.clone(), kind(n), &ids[..])));
    Ok((found["seconds"].as_f64().unwrap_or(f64::NAN), score))
}
