//! Time of association against the number of points, beside a plain reference in the same run.
//!
//! The reference is one pass of normal equations with nalgebra on one thread, at the true shape: what
//! a single linearised step costs, without start, convergence, outliers or quality.

use std::hint::black_box;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use fitwright::associate::{Input, Request};
use fitwright::primitive::{Cylinder, Plane, Point3, Vec3};
use fitwright::simulate::random::Random;
use nalgebra::{SMatrix, SVector};

/// Points on a cylinder of radius 25 and length 100, or on a plane of that size, with noise 0.03 and
/// a share of outliers up to 5 mm away; far from the origin.
fn cloud(count: usize, curved: bool, outliers: f64) -> Vec<Point3> {
    let mut random = Random::new(11);
    let point = |_| {
        let (angle, height) = (random.uniform() * std::f64::consts::TAU, 100.0 * random.uniform());
        let gross = random.uniform() < outliers;
        let error = if gross { 10.0 * random.uniform() - 5.0 } else { 0.03 * random.normal() };
        let local = if curved {
            let (sin, cos) = angle.sin_cos();
            Vec3::new((25.0 + error) * cos, (25.0 + error) * sin, height)
        } else {
            Vec3::new(25.0 * angle, height, error)
        };
        Point3::new(800.0, -300.0, 1200.0) + local
    };
    (0..count).map(point).collect()
}

/// One linearised step of a cylinder along z by normal equations.
fn normal_equations(points: &[Point3]) -> SVector<f64, 5> {
    let (mut a, mut b) = (SMatrix::<f64, 5, 5>::zeros(), SVector::<f64, 5>::zeros());
    for p in points {
        let (x, y, z) = (p.x - 800.0, p.y + 300.0, p.z - 1250.0);
        let rho = x.hypot(y);
        let (c, s) = (x / rho, y / rho);
        let row = SVector::<f64, 5>::new(-c, -s, z * s, -z * c, -1.0);
        a += row * row.transpose();
        b += row * (rho - 25.0);
    }
    a.cholesky().map_or(b, |c| c.solve(&b))
}

fn fits(criterion: &mut Criterion) {
    let plain = {
        let mut request = Request::default();
        request.reject_outliers = false;
        request
    };
    let mut group = criterion.benchmark_group("fit");
    group.sample_size(10);
    for count in [10_000, 100_000, 1_000_000] {
        group.throughput(Throughput::Elements(count as u64));
        let (round, flat) = (cloud(count, true, 0.0), cloud(count, false, 0.0));
        let (dirty, dirty_flat) = (cloud(count, true, 0.2), cloud(count, false, 0.2));
        let mut run = |name: &str, work: &mut dyn FnMut()| {
            group.bench_function(BenchmarkId::new(name, count), |b| b.iter(&mut *work));
        };
        run("reference, one step", &mut || {
            black_box(normal_equations(&round));
        });
        run("cylinder, least squares", &mut || {
            black_box(Cylinder::fit_points(&Input::new(&round), &plain).is_ok());
        });
        run("cylinder, default", &mut || {
            black_box(Cylinder::fit_points(&Input::new(&round), &Request::default()).is_ok());
        });
        run("cylinder, 20 % outliers", &mut || {
            black_box(Cylinder::fit_points(&Input::new(&dirty), &Request::default()).is_ok());
        });
        run("plane, least squares", &mut || {
            black_box(Plane::fit_points(&Input::new(&flat), &plain).is_ok());
        });
        run("plane, 20 % outliers", &mut || {
            black_box(Plane::fit_points(&Input::new(&dirty_flat), &Request::default()).is_ok());
        });
    }
    group.finish();
}

criterion_group!(benches, fits);
criterion_main!(benches);
