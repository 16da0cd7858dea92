//! Are the verdicts right? Random scenes whose truth is known by construction, checked and counted.
//!
//! ISO 14253-1 lets a verdict be wrong only by chance: where the truth lies beyond the limit by more than U, in 2.3 % at
//! the very border (one side of k = 2) and ever less away from it. Three shares are printed for each check: wrong
//! verdicts among all scenes; decided and right where the truth is more than U from the limit; the same from 2 U on.
//! Aims: wrong at most 1 %; from 2 U on at least 99 % right. `--runs N` scenes a check (default 300).
#![allow(missing_docs)]

use fitwright::Context;
use fitwright::associate::Covariance;
use fitwright::exchange::{Part, PartHole};
use fitwright::feature::{Feature, FeatureKind};
use fitwright::fitcheck::{Finding, Limits, Mount, Scene, SceneFeature, SceneScan, Verdict, all};
use fitwright::primitive::{Cylinder, Direction, Plane, Point3, Pose, Primitive, Vec3};
use fitwright::scan::Scan;
use fitwright::simulate::random::Random;

type Mesh = (Vec<Point3>, Vec<[u32; 3]>);

type Check = fn(&mut Random) -> Answer;

/// One scene's answer.
struct Answer {
    /// How far the truth is on the good side of the limit, mm.
    margin: f64,
    verdict: Verdict,
    uncertainty: f64,
}

fn main() {
    let mut arguments = std::env::args();
    let runs = arguments.by_ref().find(|a| a == "--runs").and_then(|_| arguments.next());
    let runs: u64 = runs.and_then(|n| n.parse().ok()).unwrap_or(300);
    println!(
        "{runs} random scenes a check; shares in %; aims: wrong <= 1, right from 2 U on >= 99"
    );
    println!(
        "{:<38} {:>7} {:>14} {:>16} {:>14}",
        "check", "wrong", "right from U", "right from 2 U", "mean U, mm"
    );
    let checks: [(&str, Check); 6] = [
        ("clearance over a flat", |r| clearance(r, None)),
        ("clearance over a bump of radius 15", |r| clearance(r, Some(15.0))),
        ("interference with a flat", interference),
        ("seat", seat),
        ("bolt hole", |r| bolts(r, false)),
        ("all bolts together", |r| bolts(r, true)),
    ];
    let mut good = true;
    for (k, (name, check)) in checks.iter().enumerate() {
        let one = |i| check(&mut Random::stream(900 + k as u64, i));
        let answers: Vec<Answer> = (0..runs).map(one).collect();
        good &= print(name, &answers);
    }
    assert!(good, "a check decides wrongly more often than chance allows");
}

fn print(name: &str, answers: &[Answer]) -> bool {
    let truth = |a: &Answer| if a.margin >= 0.0 { Verdict::Pass } else { Verdict::Fail };
    let wrong = |a: &&Answer| a.verdict != Verdict::Undecided && a.verdict != truth(a);
    let share = |k: usize, n: usize| if n == 0 { f64::NAN } else { 100.0 * k as f64 / n as f64 };
    let wrong = share(answers.iter().filter(wrong).count(), answers.len());
    let from = |times: f64| {
        let far: Vec<&Answer> =
            answers.iter().filter(|a| a.margin.abs() > times * a.uncertainty).collect();
        share(far.iter().filter(|a| a.verdict == truth(a)).count(), far.len())
    };
    let mean = answers.iter().map(|a| a.uncertainty).sum::<f64>() / answers.len() as f64;
    println!("{name:<38} {wrong:>7.1} {:>14.1} {:>16.1} {mean:>14.4}", from(1.0), from(2.0));
    wrong <= 1.0 && from(2.0) >= 99.0
}

/// Between -0.3 and 0.3 mm.
fn off(random: &mut Random) -> f64 {
    0.6 * (random.uniform() - 0.5)
}

fn clearance(random: &mut Random, bump: Option<f64>) -> Answer {
    let margin = off(random);
    let limits = Limits::default();
    let top = 2.0;
    let floor = sheet(random, 15.0, |x, y| match bump {
        Some(r) => (r * r - (x * x + y * y).min(r * r)).sqrt().max(r - 4.0) - r + top,
        None => top,
    });
    let bottom = top + limits.clearance + margin;
    let findings = check(&block(bottom), &floor, Vec::new(), &[], &limits);
    answer(&findings, "clearance", "rest of front", margin)
}

fn interference(random: &mut Random) -> Answer {
    let margin = off(random);
    let floor = sheet(random, 15.0, |_, _| 0.0);
    let findings = check(&block(margin), &floor, Vec::new(), &[], &Limits::default());
    // No patch at all is a pass without a value.
    let patch = findings.iter().find(|f| f.kind == "interference");
    let verdict = patch.map_or(Verdict::Pass, |f| f.verdict);
    let uncertainty = patch.and_then(|f| f.uncertainty).unwrap_or(2.0 * NOISE);
    Answer { margin, verdict, uncertainty }
}

fn seat(random: &mut Random) -> Answer {
    let limits = Limits::default();
    let margin = 0.5 * off(random);
    let gap = limits.seat_tolerance - margin;
    let floor = sheet(random, 15.0, |_, _| 0.0);
    let deck = deck();
    let ids: Vec<u32> = (0..floor.0.len() as u32).collect();
    let findings = check(&block(gap), &floor, vec![on_deck(&deck, &ids)], &[], &limits);
    answer(&findings, "seat", "deck", margin)
}

/// Two M8 bolts in holes of 9 mm, the second scanned axis off along the pitch.
fn bolts(random: &mut Random, together: bool) -> Answer {
    let deviation = 0.03;
    let play = 0.5;
    // Alone the second bolt may be off by its play, together the pitch by both.
    let reach = if together { 2.0 * play } else { play };
    let margin = off(random);
    let shift = reach - if together { 2.0 * margin } else { margin };
    let floor = sheet(random, 40.0, |_, _| 0.0);
    let deck = deck();
    let ids: Vec<u32> = (0..floor.0.len() as u32).collect();
    let mut hole = |name: &str, x: f64| {
        let seen = Vec3::new(deviation * random.normal(), deviation * random.normal(), 0.0);
        let axis = -Vec3::z_axis();
        let cylinder = Cylinder { point: Point3::new(x, 0.0, 0.0) + seen, axis, radius: 3.4 };
        let mut hole = feature(name, FeatureKind::Hole, cylinder.into());
        (0..3).for_each(|i| hole.covariance.matrix[(i, i)] = deviation * deviation);
        hole
    };
    let holes = [hole("A", -20.0), hole("B", 20.0 + shift)];
    let mut features = vec![on_deck(&deck, &ids)];
    features.extend(holes.iter().map(|h| SceneFeature {
        feature: h,
        scan: Some(0),
        surface: &[],
        keep_clear: None,
        is_seat: false,
        bolt: Some("M8"),
    }));
    let mount = |k: usize| {
        let near = Point3::new([-20.0, 20.0][k], 0.0, 0.0);
        let axis = Vec3::z_axis();
        let part_hole = PartHole { point: near + Vec3::z() * 4.0, axis, radius: 4.5, depth: 8.0 };
        Mount { hole: 1 + k, seat: Some(0), near, part_hole }
    };
    let plate = cuboid([-30.0, -10.0, 0.0], [30.0, 10.0, 8.0]);
    // One bolt alone may be off by its own play; two let the part move between them.
    let mounts = [mount(0), mount(1)];
    let asked = if together { &mounts[..] } else { &mounts[1..] };
    let findings = check(&plate, &floor, features, asked, &Limits::default());
    answer(&findings, "hole", if together { "all bolts together" } else { "B" }, margin)
}

fn answer(findings: &[Finding], kind: &str, name: &str, margin: f64) -> Answer {
    let found = findings.iter().find(|f| f.kind == kind && f.name == name);
    let found = found.unwrap_or_else(|| panic!("no {kind} {name} in {findings:#?}"));
    let uncertainty = found.uncertainty.unwrap_or(f64::NAN);
    Answer { margin, verdict: found.verdict, uncertainty }
}

fn check(
    part: &Part,
    floor: &Mesh,
    features: Vec<SceneFeature<'_>>,
    mounts: &[Mount],
    limits: &Limits,
) -> Vec<Finding> {
    let scan = Scan::from_mesh(floor.0.clone(), floor.1.clone()).expect("a mesh");
    let front = SceneScan {
        name: "front",
        scan: &scan,
        machine_from_scan: Pose::identity(),
        join_covariance: None,
        length_error: None,
    };
    let scene = Scene { scans: vec![front], features, ..Scene::default() };
    let context = Context::new(2).expect("threads");
    all(part, &scene, mounts, limits, &context).expect("a valid scene").findings
}

/// Heights over a grid of 0.5 mm, facing up, with noise.
fn sheet(random: &mut Random, half: f64, height: impl Fn(f64, f64) -> f64) -> Mesh {
    let count = (2.0 * half / SPACING).round() as u32 + 1;
    let mut points = Vec::new();
    for j in 0..count {
        for i in 0..count {
            let (x, y) = (f64::from(i) * SPACING - half, f64::from(j) * SPACING - half);
            points.push(Point3::new(x, y, height(x, y) + NOISE * random.normal()));
        }
    }
    let mut triangles = Vec::new();
    for j in 0..count - 1 {
        for i in 0..count - 1 {
            let a = j * count + i;
            triangles.extend([[a, a + 1, a + count], [a + 1, a + count + 1, a + count]]);
        }
    }
    (points, triangles)
}

fn block(bottom: f64) -> Part {
    cuboid([-5.0, -4.0, bottom], [5.0, 4.0, bottom + 6.0])
}

fn cuboid(low: [f64; 3], high: [f64; 3]) -> Part {
    let pick = |i: usize, k: usize| if i >> k & 1 == 1 { high[k] } else { low[k] };
    let points = (0..8).map(|i| Point3::new(pick(i, 0), pick(i, 1), pick(i, 2))).collect();
    let quads =
        [[0, 4, 6, 2], [1, 3, 7, 5], [0, 1, 5, 4], [2, 6, 7, 3], [0, 2, 3, 1], [4, 5, 7, 6]];
    let triangles = quads.iter().flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]).collect();
    Part::from_mesh(points, triangles, "block", "arrays").expect("a mesh")
}

fn deck() -> Feature {
    let normal: Direction = Vec3::z_axis();
    feature("deck", FeatureKind::Plane, Plane { point: Point3::origin(), normal }.into())
}

fn on_deck<'a>(deck: &'a Feature, ids: &'a [u32]) -> SceneFeature<'a> {
    SceneFeature {
        feature: deck,
        scan: Some(0),
        surface: ids,
        keep_clear: None,
        is_seat: true,
        bolt: None,
    }
}

fn feature(name: &str, kind: FeatureKind, shape: Primitive) -> Feature {
    let covariance = Covariance::zero(shape.point());
    Feature {
        noise: None,
        name: name.into(),
        kind,
        fitter: "test".into(),
        shape,
        pieces: vec![],
        covariance,
        quality: None,
        notes: vec![],
    }
}

const SPACING: f64 = 0.5;
const NOISE: f64 = 0.03;
