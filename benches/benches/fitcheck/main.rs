//! A part of 50,000 triangles against a scan of 1,000,000: what the fit check asks of geometry, and
//! a whole check. Aims on two cores: structure 200 ms, least distance 1.3 ms, all touching pairs
//! 3.4 ms, 25,000 signed corner clearances 20 ms, 527,000 scan points to the part 300 ms.
//! `-- beside` puts the same questions to CGAL, Coal, FCL, Open3D and libigl in the same run instead.
#![allow(missing_docs)]

mod beside;

use std::hint::black_box;
use std::time::Duration;

use criterion::{Criterion, criterion_group};
use fitwright::Context;
use fitwright::exchange::Part;
use fitwright::fitcheck::{Limits, PartBody, ScanSurface, Scene, SceneScan, all, part_clearance};
use fitwright::primitive::{Point3, Pose, Vec3};
use fitwright::scan::Scan;

fn bench(c: &mut Criterion) {
    let scan = scan(708);
    let (clear, sunk) = (part(6.0), part(-1.5));
    let identity = Pose::identity();
    println!("part {} triangles, scan {}", clear.triangles.len(), scan.triangles().len());
    let mut group = c.benchmark_group("fitcheck");
    group.sample_size(10).warm_up_time(Duration::from_millis(500));
    group.measurement_time(Duration::from_secs(3));

    group.bench_function("structure, aim 200 ms", |b| {
        b.iter(|| (ScanSurface::new(&scan, &identity), PartBody::new(&clear).expect("closed")));
    });
    let surface = ScanSurface::new(&scan, &identity);
    let (body, deep) =
        (PartBody::new(&clear).expect("closed"), PartBody::new(&sunk).expect("closed"));
    group.bench_function("least distance, aim 1.3 ms", |b| {
        b.iter(|| body.least_distance(black_box(&surface), f64::INFINITY));
    });
    let pairs = deep.touching_pairs(&surface).len();
    group.bench_function(format!("all {pairs} touching pairs, aim 3.4 ms"), |b| {
        b.iter(|| deep.touching_pairs(black_box(&surface)));
    });
    // The normals of corners and edges are prepared at the first question.
    std::hint::black_box(surface.signed_distances(&clear.points));
    group.bench_function("25,000 corner clearances, aim 20 ms", |b| {
        b.iter(|| surface.signed_distances(black_box(&clear.points)));
    });
    let points = &scan.points()[..scan.points().len().min(527_000)];
    group.bench_function(format!("{} scan points, aim 300 ms", points.len()), |b| {
        b.iter(|| deep.signed_distances(black_box(points), f64::INFINITY));
    });
    group.bench_function("same within 10 mm", |b| {
        b.iter(|| deep.signed_distances(black_box(points), 10.0));
    });
    whole(&mut group, &scan, &clear);
    group.finish();
}

fn whole(
    group: &mut criterion::BenchmarkGroup<'_, criterion::measurement::WallTime>,
    scan: &Scan,
    part: &Part,
) {
    let placed = SceneScan {
        name: "scan",
        scan,
        machine_from_scan: Pose::identity(),
        join_covariance: None,
        length_error: None,
    };
    let scene = Scene { scans: vec![placed], ..Scene::default() };
    let context = Context::new(0).expect("threads");
    let limits = Limits::default();
    // Noise, neighbours and normals of the scan are its own and computed once.
    all(part, &scene, &[], &limits, &context).expect("valid");
    group.bench_function("whole check, aim 2 s", |b| {
        b.iter(|| all(part, &scene, &[], &limits, &context));
    });
    group.bench_function("part clearance", |b| {
        b.iter(|| part_clearance(part, &scene, &[], &limits, &context));
    });
}

/// Rolling ground of 500 by 500 mm with noise of 0.03 mm.
fn scan(n: u32) -> Scan {
    let mut state = 1u64;
    let mut noise = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        0.1 * ((state >> 40) as f64 / f64::from(1u32 << 24) - 0.5)
    };
    let mut points = Vec::new();
    for j in 0..n {
        for i in 0..n {
            let (x, y) = (f64::from(i) * 500.0 / f64::from(n), f64::from(j) * 500.0 / f64::from(n));
            points.push(Point3::new(x, y, 3.0 * (x * 0.05).sin() * (y * 0.07).cos() + noise()));
        }
    }
    let mut triangles = Vec::new();
    for j in 0..n - 1 {
        for i in 0..n - 1 {
            let a = j * n + i;
            triangles.extend([[a, a + 1, a + n], [a + 1, a + n + 1, a + n]]);
        }
    }
    Scan::from_mesh(points, triangles).expect("valid")
}

/// A bumpy ring of 50,000 triangles, 90 mm across, its least height over the ground's crests.
fn part(height: f64) -> Part {
    let (n, m) = (250u32, 100u32);
    let mut points = Vec::new();
    for i in 0..n {
        for j in 0..m {
            let u = std::f64::consts::TAU * f64::from(i) / f64::from(n);
            let v = std::f64::consts::TAU * f64::from(j) / f64::from(m);
            let r = 15.0 + 0.8 * (5.0 * u).sin() * (3.0 * v).cos();
            let out = 30.0 + r * v.cos();
            let centre = Vec3::new(250.0, 250.0, 18.8 + height);
            points
                .push(Point3::from(centre + Vec3::new(out * u.cos(), out * u.sin(), r * v.sin())));
        }
    }
    let id = |i: u32, j: u32| (i % n) * m + j % m;
    let mut triangles = Vec::new();
    for i in 0..n {
        for j in 0..m {
            let (a, b, c, d) = (id(i, j), id(i + 1, j), id(i + 1, j + 1), id(i, j + 1));
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    Part::from_mesh(points, triangles, "ring.stl", "STL").expect("a mesh")
}

criterion_group!(benches, bench);

fn main() -> Result<(), Box<dyn std::error::Error>> {
    if std::env::args().any(|a| a == "beside") {
        return beside::beside(&scan(708), &part(6.0), &part(-1.5));
    }
    benches();
    Criterion::default().configure_from_args().final_summary();
    Ok(())
}
