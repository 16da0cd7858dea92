//! The fit check on scenes whose answer is known by construction.
#![allow(missing_docs)]

#[path = "clearance/coverage.rs"]
mod coverage;
#[path = "clearance/made.rs"]
mod made;
#[path = "clearance/places.rs"]
mod places;

use fitwright::Context;
use fitwright::exchange::{Part, PartHole};
use fitwright::feature::{Feature, FeatureKind};
use fitwright::fitcheck::{
    Checked, Finding, Limits, Mount, PartBody, ScanSurface, Scene, SceneFeature, Verdict, all,
    part_clearance,
};
use fitwright::primitive::{Cylinder, Direction, Plane, Point3, Pose, Vec3};
use fitwright::scan::Scan;
use fitwright::simulate::random::Random;
use fitwright_tests::Draw;
use fitwright_tests::scenes::{feature, number, one, placed};

type Mesh = (Vec<Point3>, Vec<[u32; 3]>);

fn cuboid(low: [f64; 3], high: [f64; 3]) -> Mesh {
    let pick = |i: usize, k: usize| if i >> k & 1 == 1 { high[k] } else { low[k] };
    let points = (0..8).map(|i| Point3::new(pick(i, 0), pick(i, 1), pick(i, 2))).collect();
    let quads =
        [[0, 4, 6, 2], [1, 3, 7, 5], [0, 1, 5, 4], [2, 6, 7, 3], [0, 2, 3, 1], [4, 5, 7, 6]];
    let triangles = quads.iter().flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]).collect();
    (points, triangles)
}

fn part((points, triangles): Mesh) -> Part {
    Part::from_mesh(points, triangles, "part.stl", "STL").expect("a mesh")
}

/// Points over a grid of the plane z = 0, spacing 0.5, moved by `place`; facing up.
fn sheet(half: [f64; 2], mut place: impl FnMut(f64, f64) -> Point3) -> Mesh {
    let spacing = 0.5;
    let count = half.map(|h| (2.0 * h / spacing).round() as u32 + 1);
    let mut points = Vec::new();
    for j in 0..count[1] {
        for i in 0..count[0] {
            points.push(place(f64::from(i) * spacing - half[0], f64::from(j) * spacing - half[1]));
        }
    }
    let mut triangles = Vec::new();
    for j in 0..count[1] - 1 {
        for i in 0..count[0] - 1 {
            let a = j * count[0] + i;
            let b = a + count[0];
            triangles.push([a, a + 1, b]);
            triangles.push([a + 1, b + 1, b]);
        }
    }
    (points, triangles)
}

const NOISE: f64 = 0.03;

fn noisy_floor(seed: u64, half: f64) -> Mesh {
    let mut random = Random::new(seed);
    sheet([half, half], |x, y| Point3::new(x, y, NOISE * random.normal()))
}

fn scan(mesh: &Mesh) -> Scan {
    Scan::from_mesh(mesh.0.clone(), mesh.1.clone()).expect("a valid mesh")
}

fn up() -> Direction {
    Direction::new_normalize(Vec3::z())
}

fn floor_feature() -> Feature {
    let plane = Plane { point: Point3::origin(), normal: up() };
    feature("deck", FeatureKind::Plane, plane)
}

fn seat<'a>(feature: &'a Feature, surface: &'a [u32], is_seat: bool) -> SceneFeature<'a> {
    SceneFeature { feature, scan: Some(0), surface, keep_clear: None, is_seat, bolt: None }
}

fn run(part: &Part, scene: &Scene<'_>, mounts: &[Mount], limits: &Limits) -> Vec<Finding> {
    let context = Context::new(2).expect("threads");
    all(part, scene, mounts, limits, &context).expect("a valid scene").findings
}

fn over_floor(height: f64, mesh: &Mesh, limits: &Limits) -> Vec<Finding> {
    let scan = scan(mesh);
    let scene = Scene { scans: vec![placed("front", &scan)], ..Scene::default() };
    let block = part(cuboid([-5.0, -4.0, height], [5.0, 4.0, height + 6.0]));
    run(&block, &scene, &[], limits)
}

#[test]
fn clear_passes_short_fails_and_between_is_undecided() {
    let floor = noisy_floor(1, 20.0);
    let cases = [
        (10.0, Verdict::Pass),
        (3.3, Verdict::Pass),
        (3.0, Verdict::Undecided),
        (2.7, Verdict::Fail),
        (0.5, Verdict::Fail),
    ];
    for (height, verdict) in cases {
        let findings = over_floor(height, &floor, &Limits::default());
        let rest = one(&findings, "clearance", "rest of front");
        assert_eq!(rest.verdict, verdict, "{height}: {rest:?}");
        let error = rest.value.unwrap_or(f64::NAN) - height;
        let uncertainty = rest.uncertainty.unwrap_or(f64::NAN);
        assert!(error.abs() <= uncertainty, "{height}: off by {error}, said {uncertainty}");
        assert_eq!(one(&findings, "interference", "part").verdict, Verdict::Pass);
        assert_eq!(rest.remedy.is_empty(), verdict == Verdict::Pass);
    }
}

/// A pipe of radius 20 along y, its top at z = 0, seen from above over 120 degrees, and a part 3.02 mm
/// above it; one point in the nearest place stands 0.6 mm off towards the part.
#[test]
fn one_spike_does_not_fail_a_tight_clearance_to_a_cylinder() {
    let truth = 3.02;
    let mut within = 0;
    for seed in 0..30 {
        let mut random = Random::new(1000 + seed);
        let mut mesh = sheet([20.0, 15.0], |x, y| {
            let (r, angle) = (20.0 + NOISE * random.normal(), x / 20.0);
            Point3::new(r * angle.sin(), y, r * angle.cos() - 20.0)
        });
        let spike = 30 * 81 + 40;
        assert!(mesh.0[spike].coords.xy().norm() < 0.1, "the spike belongs under the part");
        mesh.0[spike].z += 0.6;
        let scan = scan(&mesh);
        let axis = Direction::new_normalize(Vec3::y());
        let pipe = Cylinder { point: Point3::new(0.0, 0.0, -20.0), axis, radius: 20.0 };
        let pipe = feature("pipe", FeatureKind::Cylinder, pipe);
        let ids: Vec<u32> = (0..mesh.0.len() as u32).collect();
        let scene = Scene {
            scans: vec![placed("front", &scan)],
            features: vec![seat(&pipe, &ids, false)],
            ..Scene::default()
        };
        let block = part(cuboid([-5.0, -4.0, truth], [5.0, 4.0, 9.0]));
        let findings = run(&block, &scene, &[], &Limits::with_clearance(3.0));
        let found = one(&findings, "clearance", "pipe");
        assert_eq!(found.verdict, Verdict::Undecided, "seed {seed}: {found:?}");
        let error = found.value.unwrap_or(f64::NAN) - truth;
        within += usize::from(error.abs() <= found.uncertainty.unwrap_or(0.0));
        let raw = PartBody::new(&block)
            .map(|b| {
                let near = b.least_distance(&ScanSurface::new(&scan, &Pose::identity()), 10.0);
                near.map_or(f64::NAN, |n| n.distance)
            })
            .expect("closed");
        assert!(raw < 2.5, "the raw distance is the spike's: {raw}");
    }
    // k = 2 promises 95 %; 27 of 30 leaves room for chance (binomial, p < 0.06 below it).
    assert!(within >= 27, "{within} of 30 within the stated uncertainty");
}

#[test]
fn a_named_seat_is_contact_and_an_unnamed_one_is_not_silently_ok() {
    let floor = noisy_floor(2, 20.0);
    let scan = scan(&floor);
    let deck = floor_feature();
    let ids: Vec<u32> = (0..floor.0.len() as u32).collect();
    let with = |is_seat| Scene {
        scans: vec![placed("front", &scan)],
        features: vec![seat(&deck, &ids, is_seat)],
        ..Scene::default()
    };
    let on = |low| part(cuboid([-5.0, -4.0, low], [5.0, 4.0, 6.0]));

    let findings = run(&on(0.0), &with(true), &[], &Limits::default());
    assert!(findings.iter().all(|f| f.verdict == Verdict::Pass), "{findings:#?}");
    let seated = one(&findings, "seat", "deck");
    assert!(seated.points > Some(300), "{seated:?}");
    assert!(findings.iter().all(|f| f.kind != "clearance"), "nothing but the seat is there");

    let findings = run(&on(0.0), &with(false), &[], &Limits::default());
    assert_eq!(one(&findings, "clearance", "deck").verdict, Verdict::Fail);

    for (low, word) in [(-0.5, "overlap"), (0.5, "gap")] {
        let findings = run(&on(low), &with(true), &[], &Limits::default());
        let seated = one(&findings, "seat", "deck");
        assert_eq!(seated.verdict, Verdict::Fail, "{word}");
        let size = seated.value.unwrap_or(f64::NAN);
        assert!((size - 0.5).abs() <= seated.uncertainty.unwrap_or(0.0), "{seated:?}");
        assert!(findings.iter().all(|f| f.kind != "interference" || f.verdict == Verdict::Pass));
    }
    let findings = run(&on(0.2), &with(true), &[], &Limits::default());
    assert_eq!(one(&findings, "seat", "deck").verdict, Verdict::Undecided);
}

/// A boss 40 mm square, its top at z = 0, on a deck `depth` below, under a plate 70 mm square.
fn boss(depth: f64, known: f64) -> Vec<Finding> {
    let mut random = Random::new(9);
    let mesh = sheet([50.0, 50.0], |x, y| {
        let outside = (x.abs().max(y.abs()) - 20.0).clamp(0.0, 1.0);
        Point3::new(x, y, -depth * outside + NOISE * random.normal())
    });
    let scan = scan(&mesh);
    // The region was trimmed: it ends short of the edge.
    let inside = |p: &Point3| p.x.abs().max(p.y.abs()) <= known;
    let ids: Vec<u32> = (0..mesh.0.len() as u32).filter(|&i| inside(&mesh.0[i as usize])).collect();
    let top = floor_feature();
    let scene = Scene {
        scans: vec![placed("front", &scan)],
        features: vec![seat(&top, &ids, true)],
        ..Scene::default()
    };
    let plate = part(cuboid([-35.0, -35.0, 0.0], [35.0, 35.0, 5.0]));
    run(&plate, &scene, &[], &Limits::default())
}

#[test]
fn air_beside_a_seat_is_not_held_against_the_part_but_a_deck_near_it_is() {
    let deep = boss(10.0, 17.0);
    assert!(deep.iter().all(|f| f.verdict == Verdict::Pass), "{deep:#?}");
    let shallow = boss(2.0, 17.0);
    let rest = one(&shallow, "clearance", "rest of front");
    assert_eq!(rest.verdict, Verdict::Fail);
    let error = rest.value.unwrap_or(f64::NAN) - 2.0;
    assert!(error.abs() <= rest.uncertainty.unwrap_or(0.0), "{rest:?}");
    assert!(shallow.iter().all(|f| f.kind != "interference" || f.verdict == Verdict::Pass));
}

#[test]
fn a_seat_seen_by_two_scans_is_contact_in_both() {
    let (a, b) = (noisy_floor(3, 20.0), noisy_floor(4, 15.0));
    // The second scanner stood elsewhere.
    let pose = Pose::new(Vec3::new(40.0, -7.0, 12.0), Vec3::new(0.3, -0.2, 1.1));
    let (a_scan, b_scan) = (scan(&a), scan(&b).transformed(&pose.inverse()));
    let deck = floor_feature();
    let ids: Vec<u32> = (0..a.0.len() as u32).collect();
    let mut rear = placed("rear", &b_scan);
    rear.machine_from_scan = pose;
    let scene = Scene {
        scans: vec![placed("front", &a_scan), rear],
        features: vec![seat(&deck, &ids, true)],
        ..Scene::default()
    };
    let block = part(cuboid([-5.0, -4.0, 0.0], [5.0, 4.0, 6.0]));
    let findings = run(&block, &scene, &[], &Limits::default());
    assert!(findings.iter().all(|f| f.verdict == Verdict::Pass), "{findings:#?}");
    assert!(one(&findings, "seat", "deck").points > Some(600), "points of both scans");
}

/// Caps of a sphere of radius 10 that stand 2 mm proud of the floor, under a part at 0.5 mm.
#[test]
fn each_overlap_is_a_patch_with_depth_extent_and_points() {
    let mut random = Random::new(5);
    let centres = [(-12.0, 0.0), (12.0, 3.0)];
    let mesh = sheet([30.0, 20.0], |x, y| {
        let cap = |(a, b): &(f64, f64)| {
            let r2 = (x - a).powi(2) + (y - b).powi(2);
            if r2 < 36.0 { (100.0 - r2).sqrt() - 8.0 } else { 0.0 }
        };
        let height = centres.iter().map(cap).fold(0.0, f64::max);
        Point3::new(x, y, height + NOISE * random.normal())
    });
    let scan = scan(&mesh);
    let scene = Scene { scans: vec![placed("front", &scan)], ..Scene::default() };
    let block = part(cuboid([-25.0, -15.0, 0.5], [25.0, 15.0, 10.0]));
    let findings = run(&block, &scene, &[], &Limits::default());
    let patches: Vec<&Finding> = findings.iter().filter(|f| f.kind == "interference").collect();
    assert_eq!(patches.len(), 2, "{patches:#?}");
    // At height 0.5 the cap's circle has radius √(10² − 8.5²).
    let radius = (100.0f64 - 8.5 * 8.5).sqrt();
    let expected = std::f64::consts::PI * radius * radius / 0.25;
    for (patch, centre) in patches.iter().zip(centres) {
        assert_eq!(patch.verdict, Verdict::Fail);
        let depth = patch.value.unwrap_or(f64::NAN);
        assert!((depth - 1.5).abs() <= patch.uncertainty.unwrap_or(0.0), "{patch:?}");
        let extent = patch.extent.unwrap_or(f64::NAN);
        assert!((extent - 2.0 * radius).abs() <= 1.0, "two spacings: {extent} {radius}");
        let points = patch.points.unwrap_or(0) as f64;
        assert!((points / expected - 1.0).abs() < 0.05, "{points} of {expected}");
        let at = patch.to.unwrap_or(Point3::origin());
        assert!((at.x - centre.0).hypot(at.y - centre.1) < 2.0, "{at}");
        // A cap 1.5 mm high of a sphere of radius 10: area 2πRh, volume πh²(3R − h)/3.
        let (area, volume) = (number(patch, "area"), number(patch, "volume"));
        let (cap, under) = (2.0 * 10.0 * 1.5, 1.5 * 1.5 * (30.0 - 1.5) / 3.0);
        // The noise of 0.03 at a spacing of 0.5 alone adds a hundredth or two to the area.
        assert!((area / (std::f64::consts::PI * cap) - 1.0).abs() < 0.04, "{area}");
        assert!((volume / (std::f64::consts::PI * under) - 1.0).abs() < 0.02, "{volume}");
    }
    let rest = one(&findings, "clearance", "rest of front");
    assert_eq!(rest.verdict, Verdict::Fail);
    assert!(
        (rest.value.unwrap_or(f64::NAN) + 1.5).abs() < 0.1,
        "overlap is negative air: {rest:?}"
    );
}

#[test]
fn an_isolated_spike_in_the_part_is_undecided_not_failed() {
    let mut floor = noisy_floor(6, 20.0);
    let middle = floor.0.len() / 2;
    floor.0[middle].z += 4.5;
    let findings = over_floor(4.0, &floor, &Limits::default());
    let spikes = one(&findings, "interference", "isolated points of front");
    assert_eq!(spikes.verdict, Verdict::Undecided);
    assert_eq!(spikes.points, Some(1));
    assert!(spikes.value.is_some_and(|d| (d - 0.5).abs() < 0.2), "{spikes:?}");
    let rest = one(&findings, "clearance", "rest of front");
    assert_eq!(rest.verdict, Verdict::Pass, "{rest:?}");
    assert!((rest.value.unwrap_or(f64::NAN) - 4.0).abs() <= rest.uncertainty.unwrap_or(0.0));
}

#[test]
fn a_corner_through_a_coarse_triangle_is_found_without_a_point_inside() {
    let p = Point3::new;
    let large =
        (vec![p(-50.0, -50.0, 0.0), p(50.0, -50.0, 0.0), p(0.0, 80.0, 0.0)], vec![[0, 1, 2]]);
    let tip = (
        vec![p(0.0, 0.0, -0.7), p(4.0, 0.0, 9.0), p(0.0, 4.0, 9.0), p(-4.0, -4.0, 9.0)],
        vec![[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]],
    );
    let scan = scan(&large);
    let scene = Scene { scans: vec![placed("front", &scan)], ..Scene::default() };
    let findings = run(&part(tip), &scene, &[], &Limits::default());
    let patch = one(&findings, "interference", "front");
    assert_eq!(patch.verdict, Verdict::Fail);
    assert!((patch.value.unwrap_or(f64::NAN) - 0.7).abs() < 1e-9, "{patch:?}");
    assert_eq!(patch.points, Some(0));
}

#[test]
fn beyond_the_border_of_the_scan_a_near_pass_is_undecided() {
    let floor = noisy_floor(7, 20.0);
    let scan = scan(&floor);
    let scene = Scene { scans: vec![placed("front", &scan)], ..Scene::default() };
    for (gap, verdict) in [(2.0, Verdict::Fail), (5.0, Verdict::Undecided), (12.0, Verdict::Pass)] {
        let beside = part(cuboid([20.0 + gap, -5.0, -5.0], [40.0 + gap, 5.0, 5.0]));
        let findings = run(&beside, &scene, &[], &Limits::default());
        let rest = one(&findings, "clearance", "rest of front");
        assert_eq!(rest.verdict, verdict, "{gap}: {rest:?}");
        assert!((rest.value.unwrap_or(f64::NAN) - gap).abs() < 0.2, "{rest:?}");
        assert!(rest.detail.contains("not seen"), "{}", rest.detail);
    }
}

#[test]
fn bare_points_are_judged_too() {
    let floor = noisy_floor(8, 20.0);
    let cloud = Scan::from_points(floor.0.clone(), None).expect("points");
    let scene = Scene { scans: vec![placed("cloud", &cloud)], ..Scene::default() };
    for (height, verdict) in [(4.0, Verdict::Pass), (2.0, Verdict::Fail)] {
        let block = part(cuboid([-5.0, -4.0, height], [5.0, 4.0, 9.0]));
        let findings = run(&block, &scene, &[], &Limits::default());
        let rest = one(&findings, "clearance", "rest of cloud");
        assert_eq!(rest.verdict, verdict, "{rest:?}");
        assert!((rest.value.unwrap_or(f64::NAN) - height).abs() <= rest.uncertainty.unwrap_or(0.0));
    }
    let sunk = part(cuboid([-5.0, -4.0, -1.0], [5.0, 4.0, 9.0]));
    let findings = run(&sunk, &scene, &[], &Limits::default());
    let patch = one(&findings, "interference", "cloud");
    assert_eq!(patch.verdict, Verdict::Fail);
    assert!((patch.value.unwrap_or(f64::NAN) - 1.0).abs() <= patch.uncertainty.unwrap_or(0.0));
    // 10 by 8 mm hold 19 by 15 points well inside; the outermost lie on the part's sides.
    assert!(patch.points >= Some(19 * 15), "{patch:?}");
}

/// Two bolt holes of a plate against scanned axes with the given shifts and tilts (rad about y).
fn bolted(
    shifts: [f64; 2],
    tilt: f64,
    deviation: f64,
    bolt: &str,
) -> fitwright::Result<Vec<Finding>> {
    let floor = noisy_floor(10, 40.0);
    let ids: Vec<u32> = (0..floor.0.len() as u32).collect();
    bolted_on(&floor, &ids, shifts, tilt, deviation, bolt).map(|c| c.findings)
}

/// The same on a machine whose deck is given by its points.
fn bolted_on(
    machine: &Mesh,
    ids: &[u32],
    shifts: [f64; 2],
    tilt: f64,
    deviation: f64,
    bolt: &str,
) -> fitwright::Result<Checked> {
    let scan = scan(machine);
    let deck = floor_feature();
    let hole = |k: usize| {
        let point = Point3::new([-20.0, 20.0][k] + shifts[k], 0.0, 0.0);
        let axis = Direction::new_normalize(Vec3::new(tilt.sin(), 0.0, -tilt.cos()));
        let cylinder = Cylinder { point, axis, radius: 3.4 };
        let mut hole = feature(["A", "B"][k], FeatureKind::Hole, cylinder);
        for i in 0..3 {
            hole.covariance.matrix[(i, i)] = deviation * deviation;
        }
        hole
    };
    let holes = [hole(0), hole(1)];
    let mut features = vec![seat(&deck, ids, true)];
    features.extend(holes.iter().map(|h| SceneFeature {
        feature: h,
        scan: Some(0),
        surface: &[],
        keep_clear: None,
        is_seat: false,
        bolt: Some(bolt),
    }));
    let scene = Scene { scans: vec![placed("front", &scan)], features, ..Scene::default() };
    let mount = |k: usize| {
        let near = Point3::new([-20.0, 20.0][k], 0.0, 0.0);
        let point = near + Vec3::z() * 6.0;
        let part_hole = PartHole { point, axis: up(), radius: 4.5, depth: 12.0 };
        Mount { hole: 1 + k, seat: Some(0), near, part_hole }
    };
    let plate = part(cuboid([-30.0, -10.0, 0.0], [30.0, 10.0, 12.0]));
    let context = Context::new(1)?;
    all(&plate, &scene, &[mount(0), mount(1)], &Limits::default(), &context)
}

#[test]
fn bolt_margins_with_offset_tilt_and_pitch() {
    let value = |f: &[Finding], name: &str| one(f, "hole", name).value.unwrap_or(f64::NAN);
    // M8 in 9.0 mm: 0.5 mm of play.
    let good = bolted([0.3, -0.1], 0.0, 0.02, "M8").expect("valid");
    assert!((value(&good, "A") - 0.2).abs() < 1e-9);
    assert!((value(&good, "B") - 0.4).abs() < 1e-9);
    // The pitch is 0.4 mm short of 40; the play of both is 1.
    assert!((value(&good, "A to B") - 0.6).abs() < 1e-9);
    assert!(good.iter().all(|f| f.verdict == Verdict::Pass), "{good:#?}");
    assert!((one(&good, "hole", "A").uncertainty.unwrap_or(0.0) - 0.04).abs() < 1e-12);

    // Where it was designed to be it does not go in; moved by half of what is wrong it does.
    let off = bolted([0.8, 0.0], 0.0, 0.02, "M8").expect("valid");
    // The noisy seat lets the plate lean by some hundredths of a millimetre over its length.
    let lean = 5e-3;
    assert!((value(&off, "all bolts together") - 0.1).abs() < lean, "{off:#?}");
    // Every check is made there, that of each bolt too.
    assert!((value(&off, "A") - 0.1).abs() < lean && (value(&off, "B") - 0.1).abs() < lean);
    assert_eq!(one(&off, "hole", "A").verdict, Verdict::Pass);
    let together = one(&off, "hole", "all bolts together");
    assert_eq!(together.verdict, Verdict::Pass);
    assert!(together.detail.contains("every check is made there"), "{}", together.detail);
    // Half of either axis' uncertainty, of independent holes: 2 · 0.02 · √(¼ + ¼).
    let u = one(&off, "hole", "all bolts together").uncertainty.unwrap_or(0.0);
    assert!((u - 0.04 * 0.5f64.sqrt()).abs() < 1e-4, "{u}");
    let close = bolted([0.98, 0.0], 0.0, 0.02, "M8").expect("valid");
    assert_eq!(one(&close, "hole", "A").verdict, Verdict::Fail);
    assert_eq!(one(&close, "hole", "all bolts together").verdict, Verdict::Undecided);
    let never = bolted([1.2, 0.0], 0.0, 0.02, "M8").expect("valid");
    let together = one(&never, "hole", "all bolts together");
    assert_eq!(together.verdict, Verdict::Fail);
    assert!((together.value.unwrap_or(0.0) + 0.1).abs() < lean);
    // Either hole wider by twice what is missing and the uncertainty, or elsewhere.
    assert!(
        together.remedy.contains("widen") && together.remedy.contains("move \""),
        "{}",
        together.remedy
    );
    assert_eq!(one(&never, "hole", "A").verdict, Verdict::Fail);

    // A tilt of 1 degree through 12 mm: 12·tan 1° off at the other end, the bolt's section grows.
    let tilt = 1f64.to_radians();
    let tilted = bolted([0.0, 0.0], tilt, 0.0, "m 8").expect("valid");
    let expected = 0.5 * (9.0 - 8.0 / tilt.cos()) - 12.0 * tilt.tan();
    assert!((value(&tilted, "A") - expected).abs() < 1e-9);

    let unknown = bolted([0.0, 0.0], 0.0, 0.0, "M9").expect_err("no such bolt").to_string();
    assert!(unknown.contains("M9") && unknown.contains("M8, M10"), "{unknown}");
}

#[test]
fn an_open_part_and_indices_out_of_range_are_refused() {
    let floor = noisy_floor(11, 5.0);
    let scan = scan(&floor);
    let deck = floor_feature();
    let context = Context::new(1).expect("threads");
    let mut open = part(cuboid([0.0; 3], [1.0; 3]));
    open.triangles.pop();
    let scene = Scene { scans: vec![placed("front", &scan)], ..Scene::default() };
    let refused = |p: &Part, s: &Scene<'_>, l: &Limits| {
        all(p, s, &[], l, &context).expect_err("must be refused").code()
    };
    assert_eq!(refused(&open, &scene, &Limits::default()), 480);
    let good = part(cuboid([0.0; 3], [1.0; 3]));
    let bad = [u32::MAX];
    let outside = Scene { features: vec![seat(&deck, &bad, true)], ..scene.clone() };
    assert_eq!(refused(&good, &outside, &Limits::default()), 100);
    assert_eq!(refused(&good, &scene, &Limits::with_clearance(f64::NAN)), 100);
    let mut broken = good.clone();
    broken.triangles[0][0] = 99;
    assert_eq!(refused(&broken, &scene, &Limits::default()), 100);
    broken = good.clone();
    broken.points[0].x = f64::INFINITY;
    assert_eq!(refused(&broken, &scene, &Limits::default()), 100);
    context.cancel();
    assert_eq!(refused(&good, &scene, &Limits::default()), 200);
}

#[test]
fn clearance_of_each_corner_is_signed_and_leaves_the_seat_out() {
    let floor = noisy_floor(12, 20.0);
    let flat: Mesh =
        (floor.0.iter().map(|p| Point3::new(p.x, p.y, 0.0)).collect(), floor.1.clone());
    let scan = scan(&flat);
    let scene = Scene { scans: vec![placed("front", &scan)], ..Scene::default() };
    let context = Context::new(2).expect("threads");
    let corners = |scene: &Scene<'_>, low: f64| {
        let block = part(cuboid([-5.0, -4.0, low], [5.0, 4.0, 7.0]));
        let found = part_clearance(&block, scene, &[], &Limits::default(), &context);
        (block, found.expect("valid"))
    };
    let (block, found) = corners(&scene, -2.0);
    for (p, d) in block.points.iter().zip(found) {
        assert!((d - p.z).abs() < 1e-12, "{p}: {d}");
    }
    let deck = floor_feature();
    let ids: Vec<u32> = (0..flat.0.len() as u32).collect();
    let seated = Scene { features: vec![seat(&deck, &ids, true)], ..scene };
    assert!(corners(&seated, 0.0).1.iter().all(|d| d.is_infinite()), "all of it is the seat");
}

#[test]
fn same_findings_on_any_number_of_threads() {
    let floor = noisy_floor(13, 20.0);
    let scan = scan(&floor);
    let scene = Scene { scans: vec![placed("front", &scan)], ..Scene::default() };
    let block = part(cuboid([-5.0, -4.0, -0.1], [5.0, 4.0, 6.0]));
    let on = |n| {
        let context = Context::new(n).expect("threads");
        all(&block, &scene, &[], &Limits::default(), &context).expect("valid")
    };
    assert_eq!(on(1), on(3));
}

/// Boxes that overlap by the separating axis theorem (S. Gottschalk 1996).
fn boxes_overlap(a: &Pose, ha: &Vec3, b: &Pose, hb: &Vec3) -> (bool, f64) {
    let ra = a.rotation.to_rotation_matrix().into_inner();
    let rb = b.rotation.to_rotation_matrix().into_inner();
    let d = b.translation.vector - a.translation.vector;
    let mut axes: Vec<Vec3> = Vec::new();
    for i in 0..3 {
        axes.extend([ra.column(i).into_owned(), rb.column(i).into_owned()]);
        axes.extend((0..3).map(|j| ra.column(i).cross(&rb.column(j))));
    }
    let slack = |axis: &Vec3| {
        let reach = |r: &nalgebra::Matrix3<f64>, h: &Vec3| {
            (0..3).map(|k| h[k] * r.column(k).dot(axis).abs()).sum::<f64>()
        };
        (reach(&ra, ha) + reach(&rb, hb) - d.dot(axis).abs()) / axis.norm()
    };
    let least = axes.iter().filter(|x| x.norm() > 1e-9).map(slack).fold(f64::INFINITY, f64::min);
    (least > 0.0, least)
}

#[test]
fn random_boxes_touch_exactly_when_no_axis_separates_them() {
    let mut random = Random::new(21);
    let (mut overlaps, mut contained) = (0, 0);
    for _ in 0..3000 {
        let (a, b) = (random.pose(4.0), random.pose(4.0));
        let mut half = || Vec3::zeros().map(|_| random.between(0.3, 4.0));
        let (ha, hb) = (half(), half());
        let body = |pose: &Pose, h: &Vec3| {
            let (points, triangles) = cuboid((-h).into(), (*h).into());
            (points.iter().map(|p| pose * p).collect::<Vec<_>>(), triangles)
        };
        let (solid, other) = (part(body(&a, &ha)), scan(&body(&b, &hb)));
        let solid = PartBody::new(&solid).expect("closed");
        let surface = ScanSurface::new(&other, &Pose::identity());
        let (overlap, slack) = boxes_overlap(&a, &ha, &b, &hb);
        let touching = !solid.touching_pairs(&surface).is_empty();
        let distance = solid.least_distance(&surface, f64::INFINITY).map(|t| t.distance);
        let inside = solid.contains(&other.points()[0])
            || PartBody::new(&part(body(&b, &hb)))
                .is_ok_and(|s| s.contains(&(a * Point3::from(ha))));
        if slack.abs() < 1e-9 {
            continue;
        }
        assert_eq!(touching || inside, overlap, "slack {slack}");
        assert_eq!(touching, distance == Some(0.0));
        // The gap is at least the largest separation along any one axis.
        assert!(overlap || distance.is_some_and(|d| d >= -slack - 1e-9));
        overlaps += usize::from(overlap);
        contained += usize::from(inside && !touching);
    }
    assert!(overlaps > 500 && contained > 3, "{overlaps} {contained}");
}

#[test]
fn least_distances_of_known_positions() {
    let p = Point3::new;
    let block = part(cuboid([0.0; 3], [10.0, 20.0, 30.0]));
    let body = PartBody::new(&block).expect("closed");
    let distance = |mesh: &Mesh| {
        let surface = ScanSurface::new(&scan(mesh), &Pose::identity());
        body.least_distance(&surface, f64::INFINITY).map_or(f64::NAN, |t| t.distance)
    };
    // Faces, edges and corners of two boxes: 3; 3-4-5; 1-2-2-3.
    assert!((distance(&cuboid([13.0, 5.0, 5.0], [20.0; 3])) - 3.0).abs() < 1e-9);
    assert!((distance(&cuboid([13.0, 24.0, 5.0], [30.0; 3])) - 5.0).abs() < 1e-9);
    assert!((distance(&cuboid([11.0, 22.0, 32.0], [40.0; 3])) - 3.0).abs() < 1e-9);
    // A corner over the middle of a face, and two skew edges 1.25 apart.
    let corner = (vec![p(5.0, 9.0, 30.75), p(5.0, 12.0, 44.0), p(9.0, 9.0, 44.0)], vec![[0, 1, 2]]);
    assert!((distance(&corner) - 0.75).abs() < 1e-9);
    // The box's edge along y at x = 10, z = 30; a segment across it in the plane x + z = 42.5.
    let t = 2.5 / 2f64.sqrt();
    let across = (
        vec![p(11.25, 5.0, 31.25), p(11.25 + 9.0, 14.0, 31.25 - 9.0), p(40.0, 9.0, 40.0)],
        vec![[0, 1, 2]],
    );
    assert!((distance(&across) - t).abs() < 1e-9, "{} {t}", distance(&across));
}

/// Against FCL (general-purpose collision library, Pan, Chitta, Manocha 2012) through PyPI's
/// `python-fcl`: set FITWRIGHT_PYTHON to an interpreter that has it and numpy.
#[test]
fn random_meshes_agree_with_another_collision_library() {
    let Some(python) = fitwright_tests::python_with(&["fcl", "numpy"]) else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let mut random = Random::new(31);
    let mut ours = Vec::new();
    for case in 0..20 {
        let closed = blob(&mut random, 24, std::f64::consts::PI);
        // Every second counterpart is open: a bowl.
        let reach = if case % 2 == 0 { std::f64::consts::PI } else { 1.2 };
        let mut other = blob(&mut random, 20, reach);
        let pose = random.pose(1.0);
        let away = Vec3::new(22.0 + 10.0 * random.uniform(), 0.0, 0.0);
        other.0.iter_mut().for_each(|q| *q = pose * *q + away);
        for (name, mesh) in [("a", &closed), ("b", &other)] {
            let rows: String =
                mesh.0.iter().map(|q| format!("v {:?} {:?} {:?}\n", q.x, q.y, q.z)).collect();
            let faces: String =
                mesh.1.iter().map(|t| format!("f {} {} {}\n", t[0], t[1], t[2])).collect();
            std::fs::write(folder.path().join(format!("{case}{name}.txt")), rows + &faces)
                .expect("written");
        }
        let body = PartBody::new(&part(closed)).expect("closed");
        let surface = ScanSurface::new(&scan(&other), &Pose::identity());
        ours.push(body.least_distance(&surface, f64::INFINITY).map_or(f64::NAN, |t| t.distance));
    }
    let program = "
import sys, fcl, numpy as np
def load(f):
    rows = [l.split() for l in open(f)]
    m = fcl.BVHModel()
    v = np.array([r[1:] for r in rows if r[0] == 'v'], float)
    t = np.array([r[1:] for r in rows if r[0] == 'f'], int)
    m.beginModel(len(v), len(t)); m.addSubModel(v, t); m.endModel()
    return fcl.CollisionObject(m, fcl.Transform())
for k in range(20):
    a, b = (load(f'{sys.argv[1]}/{k}{n}.txt') for n in 'ab')
    print(repr(float(fcl.distance(a, b, fcl.DistanceRequest(), fcl.DistanceResult()))))
";
    let output = std::process::Command::new(python)
        .args(["-c", program])
        .arg(folder.path())
        .output()
        .expect("python runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8_lossy(&output.stdout);
    let theirs: Vec<f64> = text.lines().filter_map(|l| l.parse().ok()).collect();
    assert_eq!(theirs.len(), ours.len(), "{text}");
    for (k, (a, b)) in ours.iter().zip(&theirs).enumerate() {
        assert!((a - b.max(0.0)).abs() < 1e-6, "case {k}: {a} here, {b} there");
    }
    assert!(ours.iter().filter(|d| **d > 0.0).count() >= 10);
}

/// A bumpy ball of radius about 10, open beyond the polar angle `reach` if that is below π.
fn blob(random: &mut Random, n: u32, reach: f64) -> Mesh {
    let phase = [0; 4].map(|_| random.between(0.0, std::f64::consts::TAU));
    let at = |theta: f64, phi: f64| {
        let bump = (3.0 * theta + phase[0]).sin() * theta.sin() * (2.0 * phi + phase[1]).cos();
        let r = 10.0 + 1.5 * bump + 0.7 * (4.0 * theta + phase[2]).cos();
        Point3::new(r * theta.sin() * phi.cos(), r * theta.sin() * phi.sin(), r * theta.cos())
    };
    let mut points = vec![at(0.0, 0.0)];
    let closed = reach >= std::f64::consts::PI;
    let rings = if closed { n - 1 } else { n };
    for i in 1..=rings {
        let theta = reach * f64::from(i) / f64::from(n);
        points
            .extend((0..n).map(|j| at(theta, std::f64::consts::TAU * f64::from(j) / f64::from(n))));
    }
    let id = |i: u32, j: u32| 1 + (i - 1) * n + j % n;
    let mut triangles: Vec<[u32; 3]> = (0..n).map(|j| [0, id(1, j), id(1, j + 1)]).collect();
    for i in 1..rings {
        for j in 0..n {
            let (a, b, c, d) = (id(i, j), id(i + 1, j), id(i + 1, j + 1), id(i, j + 1));
            triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    if closed {
        let pole = points.len() as u32;
        points.push(at(std::f64::consts::PI, 0.0));
        triangles.extend((0..n).map(|j| [pole, id(rings, j + 1), id(rings, j)]));
    }
    (points, triangles)
}
