//! Every place that is too near, and every check where the bolts let the part be.

use super::*;

/// Caps of spheres that come up to 1, 2 and 2.8 mm under a plate at 5 mm; 3 mm of air are asked.
#[test]
fn each_place_that_is_too_near_is_listed() {
    let mut random = Random::new(41);
    let caps = [(-20.0, 4.0), (0.0, 3.0), (20.0, 2.2)];
    let mesh = sheet([30.0, 15.0], |x, y| {
        let cap = |(a, top): &(f64, f64)| {
            let r2 = (x - a).powi(2) + y * y;
            (if r2 < 64.0 { (144.0 - r2).sqrt() } else { 0.0 }) - 12.0 + top
        };
        let height = caps.iter().map(cap).fold(-1.0, f64::max);
        Point3::new(x, y, height + NOISE * random.normal())
    });
    let scan = scan(&mesh);
    let scene = Scene { scans: vec![placed("front", &scan)], ..Scene::default() };
    let block = part(cuboid([-28.0, -12.0, 5.0], [28.0, 12.0, 10.0]));
    let findings = run(&block, &scene, &[], &Limits::default());
    let names = ["rest of front", "rest of front, place 2", "rest of front, place 3"];
    for (name, (x, top)) in names.iter().zip(caps) {
        let found = one(&findings, "clearance", name);
        let air = 5.0 - top;
        assert_eq!(found.verdict, Verdict::Fail, "{found:?}");
        let error = found.value.unwrap_or(f64::NAN) - air;
        assert!(error.abs() <= found.uncertainty.unwrap_or(0.0), "{found:?}");
        assert!((found.to.unwrap_or(Point3::origin()).x - x).abs() < 2.0);
        // Nearer than 3 mm is what lies above z = 2: a cap of area 2πRh.
        let area = std::f64::consts::TAU * 12.0 * (top - 2.0);
        assert!((number(found, "area") / area - 1.0).abs() < 0.25, "{area}: {found:?}");
    }
    assert_eq!(findings.iter().filter(|f| f.kind == "clearance").count(), 3, "{findings:#?}");
}

#[test]
fn noise_round_the_limit_makes_no_crowd_of_places() {
    let floor = noisy_floor(42, 20.0);
    let findings = over_floor(3.0, &floor, &Limits::default());
    assert_eq!(findings.iter().filter(|f| f.kind == "clearance").count(), 1, "{findings:#?}");
}

/// A wall faces the plate's end at x = 30: bolts that want the plate 0.4 mm nearer leave as much less air.
#[test]
fn clearances_are_taken_where_the_bolts_let_the_part_be() {
    for (wall, verdict) in [(34.0, Verdict::Pass), (33.2, Verdict::Fail)] {
        let checked = bolted_before(wall, [0.8, 0.0]);
        let moved = checked.checked_from_designed * Point3::origin();
        assert!((moved.x - 0.4).abs() < 0.01, "{moved}");
        let air = one(&checked.findings, "clearance", "rest of front");
        assert!((air.value.unwrap_or(f64::NAN) - (wall - 30.4)).abs() < 0.05, "{air:?}");
        assert_eq!(air.verdict, verdict, "{air:?}");
        // Each bolt is off its hole's middle by half of what one was.
        for bolt in ["A", "B"] {
            let found = one(&checked.findings, "hole", bolt);
            assert!((found.value.unwrap_or(f64::NAN) - 0.1).abs() < 0.01, "{found:?}");
            assert_eq!(found.verdict, Verdict::Pass);
        }
    }
    let checked = bolted_before(34.0, [0.1, 0.0]);
    assert_eq!(checked.checked_from_designed, Pose::identity(), "it goes on as designed");
}

/// Plate of [`bolted`] on a floor, with a wall across its end.
fn bolted_before(wall: f64, shifts: [f64; 2]) -> Checked {
    let (mut points, mut triangles) = noisy_floor(10, 40.0);
    let mut random = Random::new(43);
    let count = points.len() as u32;
    let up = sheet([15.0, 15.0], |a, b| Point3::new(wall + NOISE * random.normal(), a, 10.0 + b));
    points.extend(up.0);
    // Turned so that it faces the plate.
    triangles.extend(up.1.iter().map(|t| [t[0] + count, t[2] + count, t[1] + count]));
    let deck: Vec<u32> = (0..count).collect();
    bolted_on(&(points, triangles), &deck, shifts, 0.0, 0.02, "M8").expect("valid")
}
