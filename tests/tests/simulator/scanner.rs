//! The virtual scanner: noise as stated, unseen places missing, the same bits for any number of threads.

use std::collections::{HashMap, HashSet};

use fitwright::primitive::{Point3, Vec3};
use fitwright::simulate::{Focus, Scanner, SimulatedScan, Surface, Viewpoint, scan};

use super::{ELEVATION, pose, ring, seen, small_machine, small_scan};

fn quiet() -> Scanner {
    Scanner { noise: 0.0, ..Scanner::default() }
}

/// Signed distance of each point from where it would be without error, mm.
fn errors(scan: &SimulatedScan) -> Vec<f64> {
    let error =
        |i: usize| (scan.machine_from_scan * scan.points[i] - scan.exact[i]).dot(&scan.normals[i]);
    (0..scan.points.len()).map(error).collect()
}

fn area(scan: &SimulatedScan) -> f64 {
    let one = |t: &[u32; 3]| {
        let [a, b, c] = t.map(|i| scan.exact[i as usize]);
        (b - a).cross(&(c - a)).norm() / 2.0
    };
    scan.triangles.iter().map(one).sum()
}

#[test]
fn scan_lies_on_the_surface_within_its_noise() {
    let scan = small_scan(&Scanner { noise: 0.04, seed: 3, ..Scanner::default() });
    let machine = small_machine();
    for name in ["top", "face", "boss", "bore"] {
        let surface = machine.surface(name).unwrap();
        let deviation =
            |&i: &u32| surface.shape.distance(&(scan.machine_from_scan * scan.points[i as usize]));
        let all: Vec<f64> = scan.points_on(surface).iter().map(deviation).collect();
        let n = all.len() as f64;
        assert!(n > 80.0, "{name}: {n}");
        assert!(all.iter().all(|d| d.abs() < 5.0 * 0.04), "{name}");
        let mean = all.iter().sum::<f64>() / n;
        let deviation = (all.iter().map(|d| d * d).sum::<f64>() / n).sqrt();
        // Four standard errors of mean and standard deviation.
        assert!(mean.abs() < 4.0 * 0.04 / n.sqrt(), "{name}: mean {mean}");
        assert!((deviation - 0.04).abs() < 4.0 * 0.04 / (2.0 * n).sqrt(), "{name}: {deviation}");
    }
}

#[test]
fn smooth_noise_is_smooth_and_of_the_stated_size() {
    let scan = small_scan(&Scanner { smooth_noise: Some((0.05, 15.0)), ..quiet() });
    let errors = errors(&scan);
    let rms = (errors.iter().map(|d| d * d).sum::<f64>() / errors.len() as f64).sqrt();
    // Some ten independent patches only: the rms of one seed scatters by a quarter.
    assert!((0.025..0.09).contains(&rms), "{rms}");
    // On a flat face two points at a distance d much under the correlation length L differ by a
    // normal deviate of standard deviation sigma d / L.
    let top: HashSet<u32> =
        scan.points_on(small_machine().surface("top").unwrap()).into_iter().collect();
    for t in scan.triangles.iter().filter(|t| t.iter().all(|i| top.contains(i))) {
        let step = (errors[t[0] as usize] - errors[t[1] as usize]).abs();
        let length = (scan.exact[t[0] as usize] - scan.exact[t[1] as usize]).norm();
        assert!(step < 5.0 * 0.05 * length / 15.0, "{step} over {length}");
    }
}

#[test]
fn outliers_have_the_stated_share_and_reach() {
    let scan = small_scan(&Scanner { outliers: 0.05, outlier_reach: 0.7, ..quiet() });
    let errors = errors(&scan);
    let n = errors.len() as f64;
    let share = errors.iter().filter(|d| d.abs() > 1e-9).count() as f64 / n;
    assert!((share - 0.05).abs() < 4.0 * (0.05f64 * 0.95 / n).sqrt(), "{share}");
    assert!(errors.iter().all(|d| d.abs() <= 0.7));
}

#[test]
fn triangles_face_outwards_and_make_one_manifold_surface() {
    let scan = small_scan(&quiet());
    let mut edges: HashMap<(u32, u32), u32> = HashMap::new();
    let machine = small_machine();
    let smooth = |t: &[u32; 3]| {
        let on = |s: &Surface| t.iter().all(|&i| s.holds(&scan.exact[i as usize]));
        machine.surfaces.iter().any(on)
    };
    let mut folded = 0.0;
    for t in &scan.triangles {
        let [a, b, c] = t.map(|i| scan.exact[i as usize]);
        let out: Vec3 = t.iter().map(|&i| scan.normals[i as usize]).sum();
        let normal = (b - a).cross(&(c - a));
        if normal.dot(&out) <= 0.0 {
            assert!(!smooth(t), "{t:?}");
            folded += normal.norm() / 2.0;
        }
        for k in 0..3 {
            *edges.entry((t[k], t[(k + 1) % 3])).or_default() += 1;
        }
    }
    assert!(edges.values().all(|n| *n == 1), "an edge runs twice the same way");
    // Only on roundings narrower than the spacing may a sliver fold over.
    assert!(folded < 1e-4 * area(&scan), "{folded}");
    let solid = machine.solid;
    for (p, n) in scan.exact.iter().zip(&scan.normals) {
        assert!(solid.distance(p).abs() < 1e-9, "{}", solid.distance(p));
        assert!(solid.distance(&(p + n * 0.05)) > 0.0);
    }
}

#[test]
fn spacing_follows_the_options() {
    let middle = Point3::new(0.0, 0.0, 22.0);
    let spacing = |scan: &SimulatedScan, from: f64, to: f64| {
        let start =
            |t: &&[u32; 3]| (from..to).contains(&(scan.exact[t[0] as usize] - middle).norm());
        let length = |t: &[u32; 3]| (scan.exact[t[1] as usize] - scan.exact[t[0] as usize]).norm();
        let mut all: Vec<f64> = scan.triangles.iter().filter(start).map(length).collect();
        all.sort_by(f64::total_cmp);
        all[all.len() / 2]
    };
    let scanner = Scanner { resolution: 0.8, ..quiet() };
    let even = small_scan(&scanner);
    let found = spacing(&even, 0.0, 100.0);
    assert!((0.6..1.0).contains(&found), "{found}");
    let focus = Some(Focus { centre: middle, radius: 14.0, coarse: 2.0 });
    let uneven = small_scan(&Scanner { focus, ..scanner });
    let ratio = spacing(&uneven, 30.0, 100.0) / spacing(&uneven, 0.0, 14.0);
    assert!((1.4..2.1).contains(&ratio), "{ratio}");
}

#[test]
fn what_no_viewpoint_sees_is_missing() {
    let machine = small_machine();
    let scan = small_scan(&quiet());
    assert_eq!(seen(&scan, &machine, "bottom"), 0);
    // The bore's wall is seen down to where a sight line past the opposite rim (9 mm across, 0.4
    // rounded on both sides) ends; the eyes stand at one elevation, the mouth 22 mm above the target.
    let bore = scan.points_on(machine.surface("bore").unwrap());
    let depth = |&i: &u32| 22.0 - scan.exact[i as usize].z;
    let deepest = bore.iter().map(depth).fold(0.0, f64::max);
    let steepest = (9.0 + 2.0 * 0.4) * ELEVATION.tan();
    assert!(deepest > 4.0 && deepest < steepest, "{deepest} of {steepest}");
}

#[test]
fn walls_are_too_grazing_from_straight_above() {
    let machine = small_machine();
    let above =
        Viewpoint { eye: Point3::new(0.0, 0.0, 400.0), target: Point3::origin(), roll: 0.3 };
    let top = scan(&machine, &[above], &quiet(), &pose()).unwrap();
    assert!(seen(&top, &machine, "top") > 500 && seen(&top, &machine, "face") > 80);
    for name in ["bore", "boss", "bottom"] {
        assert_eq!(seen(&top, &machine, name), 0, "{name}");
    }
}

#[test]
fn every_point_seen_is_in_a_free_line_of_sight() {
    // By walking along the exact distance; a graze of the depth to which the mesh's chords cut
    // into a rounding is left to the mesh.
    let machine = small_machine();
    let scan = small_scan(&quiet());
    for p in scan.exact.iter().step_by(17) {
        let free = |eye: &Point3| {
            (1..800).all(|k| {
                let q = p + (eye - p) * (f64::from(k) / 3200.0);
                machine.solid.distance(&q) > -0.3
            })
        };
        assert!(ring().iter().any(|v| free(&v.eye)), "{p}");
    }
}

#[test]
fn dots_and_spots_leave_holes() {
    let dot = Point3::new(22.0, 16.0, 10.0);
    let whole = small_scan(&quiet());
    let dotted = small_scan(&Scanner { dots: vec![dot], dot_radius: 3.0, ..quiet() });
    assert!(whole.exact.iter().any(|p| (p - dot).norm() < 3.0));
    assert!(dotted.exact.iter().all(|p| (p - dot).norm() >= 3.0));
    assert!(dotted.exact.iter().any(|p| (p - dot).norm() < 5.0));
    let spotted = small_scan(&Scanner { spots: 5, ..quiet() });
    let lost = area(&whole) - area(&spotted);
    // Five spots of 0.6 to 1.4 times 4 mm, wider by a triangle; they may overlap.
    let disc = |r: f64| std::f64::consts::PI * r * r;
    assert!(lost > disc(2.4) && lost < 5.0 * disc(5.6 + 1.5), "{lost}");
}

#[test]
fn same_seed_same_bits_for_any_number_of_threads() {
    let smooth_noise = Some((0.01, 8.0));
    let scanner = Scanner { smooth_noise, spots: 3, flying: 0.1, ..Scanner::default() };
    let with =
        |threads: usize| fitwright::Context::new(threads).unwrap().run(|| small_scan(&scanner));
    let first = with(1);
    for threads in [2, 8] {
        let other = with(threads);
        assert_eq!(first.points, other.points);
        assert_eq!(first.triangles, other.triangles);
    }
    let other = small_scan(&Scanner { seed: 2, ..scanner.clone() });
    assert_ne!(first.points, other.points);
}

#[test]
fn unusable_options_are_refused() {
    let code = |views: &[Viewpoint], scanner: Scanner| {
        scan(&small_machine(), views, &scanner, &pose()).unwrap_err().code()
    };
    for bad in [0.0, -1.0, f64::NAN] {
        assert_eq!(code(&ring(), Scanner { resolution: bad, ..quiet() }), 100);
    }
    let focus = Some(Focus { centre: Point3::origin(), radius: 10.0, coarse: 0.5 });
    assert_eq!(code(&ring(), Scanner { focus, ..quiet() }), 100);
    assert_eq!(code(&[], quiet()), 100);
    assert_eq!(code(&ring(), Scanner { resolution: 1e-6, ..quiet() }), 340);
    let away = Viewpoint { target: Point3::new(0.0, 0.0, 900.0), ..ring()[0] };
    assert_eq!(code(&[away], quiet()), 440);
}
