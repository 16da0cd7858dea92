//! Noise and resolution against simulated scans whose noise and sampling are known exactly.

use spade::{DelaunayTriangulation, Point2, Triangulation};

use super::Scan;
use super::testing::Random;
use crate::primitive::{Point3, Vec3};

#[derive(Clone, Copy, Debug)]
enum Sampling {
    Grid,
    Jittered,
    Random,
}

/// Parameters over a rectangle, about one in a square of side `spacing`.
fn sample(
    width: f64,
    height: f64,
    spacing: f64,
    kind: Sampling,
    random: &mut Random,
) -> Vec<[f64; 2]> {
    let (columns, rows) = ((width / spacing) as usize, (height / spacing) as usize);
    let mut out = Vec::new();
    for i in 0..rows {
        for j in 0..columns {
            let jitter = |r: &mut Random| 0.5 * (r.uniform() - 0.5);
            let (x, y) = match kind {
                Sampling::Grid => (j as f64 + 0.5, i as f64 + 0.5),
                Sampling::Jittered => {
                    (j as f64 + 0.5 + jitter(random), i as f64 + 0.5 + jitter(random))
                }
                Sampling::Random => {
                    (columns as f64 * random.uniform(), rows as f64 * random.uniform())
                }
            };
            out.push([x * spacing, y * spacing]);
        }
    }
    out
}

/// Triangulates in the parameters and lifts to the surface, with noise along its normal and 2 % outliers.
fn scan(
    parameters: &[[f64; 2]],
    surface: impl Fn([f64; 2]) -> (Point3, Vec3),
    sigma: f64,
    outliers: bool,
    random: &mut Random,
) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let points = parameters
        .iter()
        .map(|&at| {
            let (p, n) = surface(at);
            let gross = outliers && random.uniform() < 0.02;
            let off = if gross { 40.0 * sigma * (random.uniform() - 0.5) } else { 0.0 };
            p + n * (sigma * random.normal() + off)
        })
        .collect();
    let mut net = DelaunayTriangulation::<Point2<f64>>::new();
    for p in parameters {
        net.insert(Point2::new(p[0], p[1])).expect("finite parameters");
    }
    let triangles = net
        .inner_faces()
        .map(|f| f.vertices().map(|v| v.index() as u32))
        // Slivers along the hull are no scan.
        .filter(|t| {
            let side = |a: u32, b: u32| {
                let (a, b) = (parameters[a as usize], parameters[b as usize]);
                (a[0] - b[0]).hypot(a[1] - b[1])
            };
            side(t[0], t[1]).max(side(t[1], t[2])).max(side(t[2], t[0])) < 6.0
        })
        .collect();
    (points, triangles)
}

fn plane([x, y]: [f64; 2]) -> (Point3, Vec3) {
    (Point3::new(x, y, 0.0), Vec3::z())
}

fn cylinder(radius: f64) -> impl Fn([f64; 2]) -> (Point3, Vec3) {
    move |[arc, along]| {
        let (s, c) = (arc / radius).sin_cos();
        (Point3::new(radius * c, radius * s, along), Vec3::new(c, s, 0.0))
    }
}

/// Sphere in parameters of equal area: the belt between 60 degrees south and north.
fn sphere(radius: f64) -> impl Fn([f64; 2]) -> (Point3, Vec3) {
    move |[arc, height]| {
        let (s, c) = (arc / radius).sin_cos();
        let z = height / radius - 0.866;
        let ring = (1.0 - z * z).sqrt();
        let n = Vec3::new(ring * c, ring * s, z);
        (Point3::from(n * radius), n)
    }
}

/// A step profile folded along x: 12 mm treads and risers.
fn stairs([arc, y]: [f64; 2]) -> (Point3, Vec3) {
    let (step, rest) = ((arc / 12.0).floor(), arc.rem_euclid(12.0));
    let (tread, riser) = ((step / 2.0).ceil() * 12.0, (step / 2.0).floor() * 12.0);
    if step.rem_euclid(2.0) < 0.5 {
        (Point3::new(tread + rest, y, riser), Vec3::z())
    } else {
        (Point3::new(tread, y, riser + rest), -Vec3::x())
    }
}

fn check(name: &str, points: Vec<Point3>, triangles: Vec<[u32; 3]>, sigma: f64) {
    let mesh = Scan::from_mesh(points.clone(), triangles).expect("sound mesh");
    let cloud = Scan::from_points(points, None).expect("sound points");
    for (kind, found) in [("mesh", mesh.noise()), ("cloud", cloud.noise())] {
        let ratio = found / sigma;
        println!("{name} {kind}: noise {found:.4}, {ratio:.3} of the truth");
        assert!((0.85..1.15).contains(&ratio), "{name} {kind}: {found} for {sigma}");
    }
}

const SAMPLINGS: [Sampling; 3] = [Sampling::Grid, Sampling::Jittered, Sampling::Random];

#[test]
fn noise_of_a_plane() {
    let mut random = Random::new(11);
    for kind in SAMPLINGS {
        for (spacing, sigma) in [(0.3, 0.01), (0.3, 0.1), (0.7, 0.03), (1.5, 0.01), (1.5, 0.1)] {
            let at = sample(60.0 * spacing, 50.0 * spacing, spacing, kind, &mut random);
            for outliers in [false, true] {
                let (points, triangles) = scan(&at, plane, sigma, outliers, &mut random);
                let name = format!("plane {kind:?} {spacing} outliers {outliers}");
                check(&name, points, triangles, sigma);
            }
        }
    }
}

#[test]
fn noise_of_narrow_holes_and_spheres() {
    let mut random = Random::new(12);
    for kind in SAMPLINGS {
        for (spacing, sigma) in [(0.5, 0.01), (0.5, 0.05), (0.8, 0.02), (1.0, 0.03), (1.0, 0.1)] {
            for outliers in [false, true] {
                let at = sample(24.0, 40.0, spacing, kind, &mut random);
                let (points, triangles) = scan(&at, cylinder(4.0), sigma, outliers, &mut random);
                let name = format!("cylinder r 4 {kind:?} {spacing} outliers {outliers}");
                check(&name, points, triangles, sigma);
                let at = sample(60.0, 17.0, spacing, kind, &mut random);
                let (points, triangles) = scan(&at, sphere(10.0), sigma, outliers, &mut random);
                let name = format!("sphere r 10 {kind:?} {spacing} outliers {outliers}");
                check(&name, points, triangles, sigma);
            }
        }
    }
}

#[test]
fn noise_is_not_fooled_by_edges() {
    let mut random = Random::new(13);
    for kind in SAMPLINGS {
        for (spacing, sigma) in [(0.5, 0.01), (0.5, 0.1), (1.0, 0.02), (1.0, 0.1)] {
            for outliers in [false, true] {
                let at = sample(96.0, 40.0, spacing, kind, &mut random);
                let (points, triangles) = scan(&at, stairs, sigma, outliers, &mut random);
                let name = format!("stairs {kind:?} {spacing} outliers {outliers}");
                check(&name, points, triangles, sigma);
            }
        }
    }
}

#[test]
fn noise_of_an_exact_mesh_is_nothing() {
    let mut random = Random::new(14);
    let at = sample(40.0, 40.0, 1.0, Sampling::Jittered, &mut random);
    let (points, triangles) = scan(&at, plane, 0.0, false, &mut random);
    assert!(Scan::from_mesh(points, triangles).expect("sound mesh").noise() < 1e-12);
    let few = vec![Point3::origin(), Point3::new(1.0, 0.0, 0.0), Point3::new(0.0, 1.0, 0.0)];
    let few = Scan::from_points(few, None).expect("sound points");
    assert_eq!((few.noise(), few.resolution()), (0.0, 1.0));
}

/// The grid's spacing is its pitch; for other samplings mesh and cloud must agree.
#[test]
fn resolution_of_mesh_and_cloud_agree() {
    let mut random = Random::new(15);
    for kind in SAMPLINGS {
        let at = sample(60.0, 60.0, 0.8, kind, &mut random);
        let (points, triangles) = scan(&at, plane, 0.02, false, &mut random);
        let mesh = Scan::from_mesh(points.clone(), triangles).expect("sound mesh").resolution();
        let cloud = Scan::from_points(points, None).expect("sound points").resolution();
        println!("{kind:?}: mesh {mesh:.3}, cloud {cloud:.3}");
        assert!((mesh / cloud - 1.0).abs() < 0.1, "{kind:?}: mesh {mesh}, cloud {cloud}");
        if matches!(kind, Sampling::Grid) {
            assert!((mesh - 0.8).abs() < 0.01 && (cloud - 0.8).abs() < 0.01);
        }
    }
}
