//! What a call through the C interface costs beyond the work itself, and that a lent mesh is not copied.
//!
//! `tests/c/cost.c` is compiled against the library of this build and times its calls, the best of nine
//! rounds of 100,000; beside each stands the same done in Rust here. Ends with 1 if a call costs 200 ns more
//! or a lent mesh of a million triangles grows the memory by a tenth of itself.

use std::hint::black_box;
use std::process::Command;
use std::time::Instant;

use fitwright::associate::{Fit, Input, Request, fitter_by_id};
use fitwright::primitive::{Point3, Primitive};
use fitwright::region::Region;
use fitwright::scan::Scan;
use fitwright_tests::c::build::{Linked, compiler, program, succeeded};
use fitwright_tests::c::root;

fn main() {
    let Some(cc) = compiler("CC", "cc") else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let source = root().join("tests/c/cost.c");
    let cost = program(&cc, &source, &["-std=c99", "-O2"], Linked::Shared, folder.path());
    let out = succeeded(&mut Command::new(cost));
    let printed = String::from_utf8_lossy(&out.stdout).into_owned();
    let number = |name: &str| -> f64 {
        let mut words = printed.split_whitespace().skip_while(|w| *w != name);
        words.nth(1).and_then(|w| w.parse().ok()).unwrap_or_else(|| panic!("no {name}: {printed}"))
    };
    let mut dear = false;
    println!("{:<28}{:>10}{:>10}{:>10}  ns", "call", "C", "Rust", "beyond");
    for (name, rust) in in_rust() {
        let c = number(name);
        println!("{name:<28}{c:>10.1}{rust:>10.1}{:>10.1}", c - rust);
        dear |= c - rust > MOST;
    }
    let (triangles, lent, copied) =
        (number("triangles"), number("borrowed-bytes"), number("copied-bytes"));
    println!(
        "mesh of {triangles} triangles: memory grows by {:.2} MB lent, {:.2} MB copied",
        lent / 1e6,
        copied / 1e6
    );
    if dear || lent > 0.1 * copied {
        std::process::exit(1);
    }
}

/// The calls of `cost.c` on the same mesh, without the C interface; nanoseconds.
fn in_rust() -> Vec<(&'static str, f64)> {
    let scan = mesh();
    let region = Region::in_sphere(&scan, Point3::new(353.0, 353.0, 0.0), 20.0).expect("points");
    let fit = plane(&region);
    let place = Point3::new(100.2, 200.3, 0.1);
    let normal = || fit.shape.parameters().into_iter().find(|p| p.name == "normal");
    vec![
        ("fitw_scan_describe", time(|| (scan.points().len(), scan.triangles().len()))),
        ("fitw_scan_points_view", time(|| scan.points())),
        ("fitw_fit_shape", time(|| black_box(&fit).shape.point())),
        ("fitw_fit_quality", time(|| black_box(&fit).quality.rms)),
        ("fitw_fit_parameter_named", time(normal)),
        ("fitw_shape_distances", time(|| fit.shape.distance(black_box(&place)))),
        ("fitw_scan_nearest", time(|| scan.nearest(black_box(&place)))),
    ]
}

fn time<T>(mut call: impl FnMut() -> T) -> f64 {
    let mut best = f64::INFINITY;
    for _ in 0..ROUNDS {
        let start = Instant::now();
        (0..CALLS).for_each(|_| drop(black_box(call())));
        best = best.min(start.elapsed().as_secs_f64());
    }
    best * 1e9 / f64::from(CALLS)
}

fn mesh() -> Scan {
    let point = |k: u32| Point3::new(f64::from(k % GRID), f64::from(k / GRID), 0.0);
    let cell = |k: u32| {
        let a = k / (GRID - 1) * GRID + k % (GRID - 1);
        [[a, a + 1, a + GRID + 1], [a, a + GRID + 1, a + GRID]]
    };
    let triangles = (0..(GRID - 1) * (GRID - 1)).flat_map(cell).collect();
    Scan::from_mesh((0..GRID * GRID).map(point).collect(), triangles).expect("a sound mesh")
}

fn plane(region: &Region) -> Fit<Primitive> {
    let points = region.points();
    let fitter = fitter_by_id("builtin.plane").expect("a built-in fitter");
    fitter.fit(&Input::new(&points), &Request::default()).expect("a plane")
}

const GRID: u32 = 708;
const ROUNDS: usize = 9;
const CALLS: u32 = 100_000;
/// Most that a call may cost beyond the work itself, ns.
const MOST: f64 = 200.0;
