//! Stated uncertainties against simulated truth, and shapes against their neighbours.
//!
//! The truth is drawn here, so every share has a known binomial scatter; limits are where chance would
//! go beyond in one of some ten thousand runs.

use fitwright::associate::{Fit, Input, NoiseModel, Request};
use fitwright::primitive::{Circle, Cylinder, Direction, Plane, Point3, Vec3};
use fitwright::simulate::random::{Random, SmoothField};

/// Noise of a simulated scan: independent part, smooth part and its length, mm.
#[derive(Clone, Copy)]
struct Noise(f64, f64, f64);

/// Points on a patch of a cylinder of radius 25 about z, 40 long and `arc` degrees round, whose half-angle
/// and flattening can be off.
fn patch(run: u64, arc: f64, noise: Noise, taper: f64, oval: f64) -> Vec<Point3> {
    let mut random = Random::stream(31, run);
    let field = SmoothField::new(700 + run, noise.2);
    let point = |_| {
        let angle = (random.uniform() - 0.5) * arc.to_radians();
        let height = 40.0 * (random.uniform() - 0.5);
        let out = Vec3::new(angle.cos(), angle.sin(), 0.0);
        let radius = 25.0 + taper * height + oval * (2.0 * angle).cos();
        let p = Point3::from(out * radius + Vec3::z() * height);
        p + out * (noise.0 * random.normal() + noise.1 * field.at(&p))
    };
    (0..1500).map(point).collect()
}

fn cylinder(points: &[Point3]) -> Fit<Cylinder> {
    Cylinder::fit_points(&Input::new(points), &Request::default()).expect("a cylinder")
}

/// Which of place along and across the bisector, radius and tilt lie within two stated deviations.
fn covered(fit: &Fit<Cylinder>) -> [bool; 4] {
    let (origin, axis) = (Point3::origin(), fit.shape.axis);
    let at = fit.shape.axis_line().project(&origin);
    let within = |d: Vec3, off: f64| {
        let direction = Direction::new_unchecked(d);
        off.abs() <= 2.0 * fit.covariance.variance_along(&origin, &direction).sqrt()
    };
    let lean = axis.x / axis.z;
    [
        within(Vec3::x(), at.x),
        within(Vec3::y(), at.y),
        (fit.shape.radius - 25.0).abs() <= 2.0 * fit.covariance.size(0),
        lean.abs() <= 2.0 * fit.covariance.rotation()[(1, 1)].sqrt(),
    ]
}

fn coverage(arc: f64, noise: Noise) -> [f64; 4] {
    let mut inside = [0.0; 4];
    for run in 0..RUNS {
        let hit = covered(&cylinder(&patch(run, arc, noise, 0.0, 0.0)));
        inside.iter_mut().zip(hit).for_each(|(sum, hit)| *sum += f64::from(u8::from(hit)));
    }
    inside.map(|n| n / RUNS as f64)
}

/// 95.45 % of 150 fall short of 0.88 or reach beyond what can be seen once in some ten thousand times.
#[test]
fn two_stated_deviations_hold_the_truth_with_independent_noise() {
    for arc in [360.0, 60.0] {
        let found = coverage(arc, Noise(0.03, 0.0, 1.0));
        assert!(found.iter().all(|c| *c >= 0.88), "{arc} degrees: {found:?}");
    }
}

#[test]
fn two_stated_deviations_hold_the_truth_with_noise_that_neighbours_share() {
    for (arc, length) in [(360.0, 3.0), (180.0, 6.0), (60.0, 2.0)] {
        let found = coverage(arc, Noise(0.03, 0.02, length));
        assert!(found.iter().all(|c| *c >= 0.88), "{arc} degrees, {length} mm: {found:?}");
    }
}

/// Taken as independent, the same noise is understated by this much: the root of the number of points
/// over the number of independent ones, of which a field of 6 mm leaves some dozens on this patch.
#[test]
fn shared_noise_is_worth_fewer_points() {
    let shared = cylinder(&patch(1, 180.0, Noise(0.03, 0.02, 6.0), 0.0, 0.0)).quality;
    let independent = cylinder(&patch(1, 180.0, Noise(0.03, 0.0, 1.0), 0.0, 0.0)).quality;
    assert!(shared.effective_points < 300.0, "{}", shared.effective_points);
    assert!(independent.effective_points > 1000.0, "{}", independent.effective_points);
    // A field of 6 mm has 14 independent patches here, 40 · 78.5 / (2π 6²): its deviation shows to 19 %.
    assert!((shared.smooth / 0.02 - 1.0).abs() < 3.5 * 0.19, "{}", shared.smooth);
    assert!((3.0..12.0).contains(&shared.smooth_length), "{}", shared.smooth_length);
    // The fine detail of rough fields, which are not ruled out, takes some of it.
    assert!((shared.independent / 0.03 - 1.0).abs() < 0.1, "{}", shared.independent);
    assert_eq!(independent.smooth_length, 0.0);
}

/// Of more than some 262,000 points a part is asked for the noise. Shared noise of 0.02 mm outweighs the
/// independent part of so many points by far, so three times as many must not state less, nor does their
/// independent part count for more than theory has it.
#[test]
fn very_many_points_state_what_a_third_of_them_does() {
    let plane = |noise: Noise, count: usize| {
        let (mut random, field) = (Random::stream(3, 1), SmoothField::new(4, noise.2));
        let point = |_| {
            let p = Point3::new(120.0 * random.uniform(), 90.0 * random.uniform(), 0.0);
            p + Vec3::z() * (noise.0 * random.normal() + noise.1 * field.at(&p))
        };
        (0..count).map(point).collect::<Vec<_>>()
    };
    let middle = Point3::new(60.0, 45.0, 0.0);
    let stated = |points: &[Point3]| {
        let fit = Plane::fit_points(&Input::new(points), &Request::default()).expect("a plane");
        fit.covariance.variance_along(&middle, &Direction::new_unchecked(Vec3::z())).sqrt()
    };
    let points = plane(Noise(0.03, 0.02, 8.0), 600_000);
    let third: Vec<Point3> = points.iter().copied().step_by(3).collect();
    let ratio = stated(&points) / stated(&third);
    assert!((ratio - 1.0).abs() < 0.1, "{ratio}");
    // The deviation of a mean of independent values (JCGM 100, 4.2.3).
    let theory = 0.03 / 600_000_f64.sqrt();
    let ratio = stated(&plane(Noise(0.03, 0.0, 8.0), 600_000)) / theory;
    assert!((0.97..1.3).contains(&ratio), "{ratio}");
}

/// A hole of 6 mm cannot show noise that hangs together over 8 mm: it learns it from the large faces.
#[test]
fn a_small_feature_learns_the_noise_of_its_scan() {
    let mut plane = Vec::new();
    let noise = Noise(0.02, 0.02, 8.0);
    let mut random = Random::stream(5, 0);
    let field = SmoothField::new(9, noise.2);
    for _ in 0..4000 {
        let (x, y) = (120.0 * random.uniform(), 90.0 * random.uniform());
        let p = Point3::new(x, y, 0.0);
        plane.push(p + Vec3::z() * (noise.0 * random.normal() + noise.1 * field.at(&p)));
    }
    let face = Plane::fit_points(&Input::new(&plane), &Request::default()).expect("a plane");
    let model = NoiseModel::pooled(face.noise.as_ref()).expect("enough points");
    let small: Vec<Point3> = (0..200)
        .map(|i| {
            let (angle, out) = (f64::from(i) * 0.31, 0.02 * random.normal());
            Point3::new(
                (3.0 + out) * angle.cos(),
                (3.0 + out) * angle.sin(),
                0.02 * random.normal(),
            )
        })
        .collect();
    let alone = Circle::fit_points(&Input::new(&small), &Request::default()).expect("a circle");
    let mut input = Input::new(&small);
    input.noise_model = Some(&model);
    let told = Circle::fit_points(&input, &Request::default()).expect("a circle");
    assert_eq!(alone.shape, told.shape);
    // The field moves the whole hole by about its own deviation: stating less would be wrong. What is
    // stated is up to three times that, since a face does not tell a weak field from a shorter strong one.
    let (before, after) = (alone.covariance.size(0), told.covariance.size(0));
    assert!(before < 0.005 && (0.015..0.06).contains(&after), "{before} {after}");
}

/// A taper of 0.1 mm and an ovality of 0.05 mm stand out of 0.03 mm of noise; nothing stands out of a
/// true cylinder more often than chance has it.
#[test]
fn a_cone_and_an_oval_are_told_from_a_cylinder() {
    let least = |points: &[Point3], against: &str| {
        let evidence = cylinder(points).quality.evidence;
        evidence.iter().find(|e| e.against == against).map(|e| (e.probability, e.amplitude))
    };
    let clean = Noise(0.03, 0.0, 1.0);
    let (p, amplitude) = least(&patch(3, 360.0, clean, 0.0025, 0.0), "cone").expect("tested");
    assert!(p < 1e-6 && (amplitude - 0.05).abs() < 0.02, "{p} {amplitude}");
    let (p, amplitude) = least(&patch(3, 360.0, clean, 0.0, 0.05), "ellipse").expect("tested");
    assert!(p < 1e-6 && (amplitude - 0.05).abs() < 0.01, "{p} {amplitude}");
    for noise in [clean, Noise(0.03, 0.02, 4.0)] {
        let low = (0..100)
            .filter(|&run| {
                let points = patch(run, 200.0, noise, 0.0, 0.0);
                least(&points, "ellipse").is_some_and(|(p, _)| p < 0.05)
            })
            .count();
        // 5 of 100 by chance; 15 once in some ten thousand times.
        assert!(low <= 15, "{low} of 100 true cylinders look oval");
    }
}

/// Simulated scans for a share.
const RUNS: u64 = 150;
