//! What a worker process costs beside the same plug-in in process: a small call, and a million points.
//!
//! Plug-in: the README's example, whose work is one robust cylinder. Ends with 1 if a worker adds more than
//! 5 ms to a small call, or 5 ms and a tenth to a large one; or if the answers differ in a bit.

use std::time::Instant;

use fitwright::associate::{Fit, Fitter, Input, Request};
use fitwright::plugin::{LoadOptions, Registry};
use fitwright::primitive::{Point3, Primitive, Vec3};
use fitwright::simulate::random::Random;
use fitwright_tests::c::build::library_of;
use fitwright_tests::plugins::built_here;

fn main() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let plugin = built_here("fitwright-stud", "plugins/stud", folder.path());
    let worker = library_of("fitwright").join("fitwright-worker");
    let load = |trusted: bool| {
        let mut options = LoadOptions::default();
        options.worker = Some(worker.clone());
        options.trusted = if trusted { vec!["acme.studs".into()] } else { vec![] };
        let mut registry = Registry::new();
        registry.load(&plugin, &options).expect("a folder");
        registry.fitter("acme.stud").expect("a fitter")
    };
    let (here, there) = (load(true), load(false));
    let mut dear = false;
    println!(
        "{:>9}{:>15}{:>15}{:>12}  ms, shortest of {ROUNDS}",
        "points", "in process", "worker", "added"
    );
    for count in [200, 10_000, 1_000_000] {
        let (points, normals) = stud(count);
        let mut input = Input::new(&points);
        (input.normals, input.resolution) = (Some(normals.as_slice()), Some(0.5));
        // In turns, so that what else the machine does touches both alike.
        let (mut a, mut b) = (f64::INFINITY, f64::INFINITY);
        for _ in 0..ROUNDS {
            let (own, time) = timed(&*here, &input);
            let (other, far) = timed(&*there, &input);
            (a, b) = (a.min(time), b.min(far));
            let bits = |f: &Fit<Primitive>| format!("{:?}", (&f.shape, &f.covariance, &f.quality));
            assert_eq!(bits(&own), bits(&other), "the answers differ");
        }
        println!("{count:>9}{:>15.2}{:>15.2}{:>12.2}", a * 1e3, b * 1e3, (b - a) * 1e3);
        dear |= b - a > 5e-3 + if count > 500_000 { 0.1 * a } else { 0.0 };
    }
    if dear {
        std::process::exit(1);
    }
}

fn timed(fitter: &dyn Fitter, input: &Input<'_>) -> (Fit<Primitive>, f64) {
    let begin = Instant::now();
    let fit = fitter.fit(input, &Request::default()).expect("a stud");
    (fit, begin.elapsed().as_secs_f64())
}

/// Half a stud with noise.
fn stud(count: usize) -> (Vec<Point3>, Vec<Vec3>) {
    let mut random = Random::new(1);
    let one = |_| {
        let (sin, cos) = (std::f64::consts::PI * random.uniform()).sin_cos();
        let out = Vec3::new(cos, sin, 0.0);
        let up = Vec3::z() * (40.0 * random.uniform());
        (Point3::from(out * (6.0 + 0.02 * random.normal()) + up), out)
    };
    (0..count).map(one).unzip()
}

const ROUNDS: usize = 9;
