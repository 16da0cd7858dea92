//! Clearance to other designed parts, on solids whose distance and overlap are known in closed form.
#![allow(missing_docs)]

use std::f64::consts::PI;

use fitwright::associate::Covariance;
use fitwright::exchange::Part;
use fitwright::fitcheck::{
    Checked, Finding, Guide, InsertionLimits, Limits, Motion, Move, Moving, OtherPart, Scene,
    ToolLimits, Verdict, all, part_clearance,
};
use fitwright::primitive::{Line, Point3, Vec3};
use fitwright::scan::Scan;
use fitwright::simulate::random::Random;
use fitwright::{Context, Error, Result};
use fitwright_tests::scenes::{Mesh, checked, deck, hole, number, one, placed, scene};

/// A floor far below everything.
fn far_floor() -> Scan {
    Mesh::sheet([-50.0, -50.0, -500.0], [[100.0, 0.0, 0.0], [0.0, 100.0, 0.0]], [10, 10]).scan()
}

fn cuboid(low: [f64; 3], high: [f64; 3]) -> Part {
    Mesh::cuboid(low, high).part()
}

fn other<'a>(name: &'a str, part: &'a Part) -> OtherPart<'a> {
    OtherPart { name, part, keep_clear: None, touches: false }
}

fn over<'a>(scan: &'a Scan, others: Vec<OtherPart<'a>>) -> Scene<'a> {
    Scene { scans: vec![placed("front", scan)], others, ..Scene::default() }
}

fn try_run(part: &Part, others: Vec<OtherPart<'_>>, clearance: f64) -> Result<Vec<Finding>> {
    let floor = far_floor();
    checked(part, &over(&floor, others), &[], &Limits::with_clearance(clearance), 2)
}

/// Findings about the other part "guard", the worst first.
fn against(part: &Part, guard: OtherPart<'_>, clearance: f64) -> Vec<Finding> {
    let mut all = try_run(part, vec![guard], clearance).expect("a scene");
    all.retain(|f| f.kind == "clearance" && f.name.starts_with("guard"));
    all.sort_by(|a, b| value(a).total_cmp(&value(b)));
    all
}

fn value(found: &Finding) -> f64 {
    found.value.expect("a value")
}

/// A sphere by `n` rings and twice as many meridians, corners on the sphere; poles along z.
fn sphere(centre: [f64; 3], radius: f64, n: u32) -> Part {
    let centre = Point3::from(centre);
    let at = |i: u32, j: u32| {
        let (t, p) = (PI * f64::from(i) / f64::from(n), PI * f64::from(j) / f64::from(n));
        centre + Vec3::new(t.sin() * p.cos(), t.sin() * p.sin(), t.cos()) * radius
    };
    let mut mesh = Mesh(vec![at(0, 0)], Vec::new());
    let m = 2 * n;
    for i in 1..n {
        mesh.0.extend((0..m).map(|j| at(i, j)));
    }
    mesh.0.push(at(n, 0));
    let last = mesh.0.len() as u32 - 1;
    let id = |i: u32, j: u32| 1 + (i - 1) * m + j % m;
    for j in 0..m {
        mesh.1.push([0, id(1, j), id(1, j + 1)]);
        mesh.1.push([last, id(n - 1, j + 1), id(n - 1, j)]);
        for i in 1..n - 1 {
            let (a, b, c, d) = (id(i, j), id(i + 1, j), id(i + 1, j + 1), id(i, j + 1));
            mesh.1.extend([[a, b, c], [a, c, d]]);
        }
    }
    mesh.part()
}

#[test]
fn boxes_apart_have_the_air_they_were_put_at() {
    let block = cuboid([0.0; 3], [30.0, 20.0, 10.0]);
    let guard = cuboid([32.0, 5.0, -40.0], [50.0, 60.0, 60.0]);
    for (limit, verdict) in [(3.0, Verdict::Fail), (2.0, Verdict::Pass), (1.0, Verdict::Pass)] {
        let found = against(&block, other("guard", &guard), limit);
        assert_eq!(found.len(), 1, "{found:#?}");
        // Exact meshes: nothing is uncertain, and what is just kept is kept.
        assert!((value(&found[0]) - 2.0).abs() < 1e-9 && found[0].uncertainty == Some(0.0));
        assert_eq!(found[0].verdict, verdict, "{:?}", found[0]);
        let (at, to) = (found[0].at.expect("a place"), found[0].to.expect("another"));
        assert!((at.x - 30.0).abs() < 1e-9 && (to.x - 32.0).abs() < 1e-9);
    }
    // Nearer than 3 mm is the part of the guard's face that the block's end faces, and 2.236 mm round it.
    let found = against(&block, other("guard", &guard), 3.0);
    let r = 5f64.sqrt();
    let face = 15.0 * 10.0 + 2.0 * 15.0 * r + 10.0 * r + PI * r * r / 2.0;
    // And of its side at y = 5 the first millimetre: 10 high, and above and below by √(9 − u²) from u = 2 to 3.
    let side = 10.0 + 2.0 * (4.5 * (PI / 2.0 - (2f64 / 3.0).asin()) - r);
    let area = face + side;
    assert!((number(&found[0], "area") - area).abs() < 0.01 * area, "{found:?} {area}");
    // Across a corner: 3, 4 and 12 away along the axes.
    let guard = cuboid([33.0, 24.0, 22.0], [60.0, 60.0, 60.0]);
    let found = against(&block, other("guard", &guard), 3.0);
    assert!((value(&found[0]) - 13.0).abs() < 1e-9 && found[0].verdict == Verdict::Pass);
    // A clearance of its own goes first.
    let asked = OtherPart { keep_clear: Some(13.5), ..other("guard", &guard) };
    assert_eq!(against(&block, asked, 3.0)[0].verdict, Verdict::Fail);
}

#[test]
fn the_true_air_to_a_sphere_is_within_the_uncertainty_of_its_chords() {
    let mut random = Random::new(5);
    for case in 0..25 {
        let radius = 5.0 + 10.0 * random.uniform();
        let n = 12 + (case % 4) * 8;
        let gap = 0.5 + 5.0 * random.uniform();
        let (y, z) = (10.0 * random.uniform() - 5.0, 10.0 * random.uniform() - 5.0);
        let mut ball = sphere([20.0 + gap + radius, y, z], radius, n);
        // A quarter of a step both ways is the farthest from all corners of a facet.
        ball.chord_error = radius * (1.0 - (PI / f64::from(n) / 2f64.sqrt()).cos());
        let wall = cuboid([0.0, -50.0, -50.0], [20.0, 50.0, 50.0]);
        for (part, guard) in [(&wall, &ball), (&ball, &wall)] {
            let found = &against(part, other("guard", guard), 3.0)[0];
            let error = value(found) - gap;
            let u = found.uncertainty.expect("one");
            // Chords lie inside the sphere; U takes them as evenly spread, 2/√3 of the largest.
            assert!(error >= -1e-9 && error <= u, "case {case}: off by {error}, said {u}");
            let (low, high) = (gap + error - u, gap + error + u);
            let verdict = match () {
                () if low >= 3.0 => Verdict::Pass,
                () if high < 3.0 => Verdict::Fail,
                () => Verdict::Undecided,
            };
            assert_eq!(found.verdict, verdict, "{found:?}");
        }
    }
}

#[test]
fn an_overlap_of_boxes_has_its_depth_area_and_volume() {
    let plate = cuboid([0.0; 3], [100.0, 100.0, 10.0]);
    let guard = cuboid([40.0, 20.0, 8.0], [70.0, 50.0, 30.0]);
    for (part, guard) in [(&plate, &guard), (&guard, &plate)] {
        let found = against(part, other("guard", guard), 3.0);
        assert_eq!(found.len(), 1, "{found:#?}");
        let found = &found[0];
        assert_eq!(found.verdict, Verdict::Fail);
        assert!((value(found) + 2.0).abs() < 1e-9, "{found:?}");
        // 30 by 30 by 2 are shared.
        assert!((number(found, "volume") - 1800.0).abs() < 9.0, "{found:?}");
        assert!((found.extent.expect("one") - 30.0).abs() < 0.5, "{found:?}");
    }
    let found = &against(&plate, other("guard", &guard), 3.0)[0];
    // Its underside and four strips of its sides.
    let area = 900.0 + 4.0 * 60.0;
    assert!((number(found, "area") - area).abs() < 0.02 * area, "{found:?}");
}

#[test]
fn overlaps_without_a_corner_inside_and_whole_ones_are_found() {
    // A bar of 6 by 6 through a plate of 10.
    let plate = cuboid([-50.0, -50.0, 0.0], [50.0, 50.0, 10.0]);
    let bar = cuboid([-3.0, -3.0, -20.0], [3.0, 3.0, 30.0]);
    let found = &against(&plate, other("guard", &bar), 3.0)[0];
    // The plate's faces lie 3 mm deep in the bar, the bar's sides 5 mm deep in the plate.
    assert!((value(found) + 5.0).abs() < 0.011, "{found:?}");
    assert!((number(found, "volume") - 360.0).abs() < 3.6, "{found:?}");
    assert!((number(found, "area") - 240.0).abs() < 4.8, "{found:?}");
    // A cube inside a larger one: all of its surface is 40 mm deep.
    let large = cuboid([-50.0; 3], [50.0; 3]);
    let small = cuboid([-10.0; 3], [10.0; 3]);
    for (part, guard) in [(&large, &small), (&small, &large)] {
        let found = &against(part, other("guard", guard), 3.0)[0];
        assert!((value(found) + 40.0).abs() < 1e-6, "{found:?}");
        assert!((number(found, "volume") - 8000.0).abs() < 40.0, "{found:?}");
        assert_eq!(found.verdict, Verdict::Fail);
    }
}

#[test]
fn a_sphere_that_dips_into_a_block_has_the_volume_of_its_cap() {
    let (radius, dip) = (20.0, 1.5);
    let block = cuboid([-40.0, -40.0, -30.0], [40.0, 40.0, 0.0]);
    let ball = sphere([3.0, -4.0, radius - dip], radius, 120);
    let found = &against(&block, other("guard", &ball), 3.0)[0];
    assert!((value(found) + dip).abs() < 1e-6, "{found:?}");
    let cap = PI * dip * dip * (3.0 * radius - dip) / 3.0;
    assert!((number(found, "volume") - cap).abs() < 0.02 * cap, "{found:?} {cap}");
    let area = 2.0 * PI * radius * dip;
    assert!((number(found, "area") - area).abs() < 0.03 * area, "{found:?} {area}");
}

#[test]
fn every_place_that_is_too_near_is_told() {
    // A block between the legs of a U, 1 mm from one and 2 mm from the other, far from its back.
    let block = cuboid([0.0; 3], [20.0, 20.0, 20.0]);
    let leg = |low: f64, high: f64| Mesh::cuboid([low, -5.0, -5.0], [high, 25.0, 60.0]);
    let back = Mesh::cuboid([-15.0, -5.0, 55.0], [40.0, 25.0, 65.0]);
    let guard = leg(-11.0, -1.0).and(&leg(22.0, 32.0)).and(&back).part();
    let found = against(&block, other("guard", &guard), 3.0);
    let seen: Vec<(&str, f64)> = found.iter().map(|f| (f.name.as_str(), value(f))).collect();
    assert_eq!(seen.len(), 2, "{seen:?}");
    assert!(seen[0].0 == "guard" && (seen[0].1 - 1.0).abs() < 1e-9, "{seen:?}");
    assert!(seen[1].0 == "guard, place 2" && (seen[1].1 - 2.0).abs() < 1e-9, "{seen:?}");
    // Two pegs in the block share 4 by 4 by 3 and 4 by 4 by 1 with it.
    let peg = |x: f64, depth: f64| Mesh::cuboid([x, 8.0, 20.0 - depth], [x + 4.0, 12.0, 40.0]);
    let guard = peg(1.0, 3.0).and(&peg(15.0, 1.0)).part();
    let found = against(&block, other("guard", &guard), 1.0);
    let volumes: Vec<f64> = found.iter().map(|f| number(f, "volume")).collect();
    assert_eq!(volumes.len(), 2, "{found:#?}");
    assert!((volumes[0] - 48.0).abs() < 0.5 && (volumes[1] - 16.0).abs() < 0.3, "{volumes:?}");
    // The block's top lies 2 mm deep in the peg, the peg's underside 3 mm deep in the block.
    assert!((value(&found[0]) + 3.0).abs() < 1e-6, "{found:?}");
}

#[test]
fn contact_is_fine_where_it_is_named_and_overlap_never() {
    let block = cuboid([0.0; 3], [20.0, 20.0, 20.0]);
    let at = |z: f64| cuboid([5.0, 5.0, z], [30.0, 15.0, 40.0]);
    let (flush, deep, apart) = (at(20.0), at(19.95), at(20.4));
    fn named(part: &Part) -> OtherPart<'_> {
        OtherPart { touches: true, ..other("guard", part) }
    }
    let found = against(&block, other("guard", &flush), 3.0);
    assert!(found[0].verdict == Verdict::Fail && value(&found[0]).abs() < 1e-9, "{found:?}");
    let found = against(&block, named(&flush), 3.0);
    assert_eq!((found.len(), found[0].verdict), (1, Verdict::Pass), "{found:#?}");
    assert_eq!(value(&found[0]), 0.0);
    let found = against(&block, named(&deep), 3.0);
    assert_eq!(found[0].verdict, Verdict::Fail, "{found:?}");
    assert!((value(&found[0]) + 0.05).abs() < 1e-9, "{found:?}");
    assert!((number(&found[0], "volume") - 15.0 * 10.0 * 0.05).abs() < 0.08, "{found:?}");
    let found = against(&block, named(&apart), 3.0);
    assert_eq!(found[0].verdict, Verdict::Pass);
    assert!(found[0].detail.contains("nowhere do"), "{found:?}");
    // What both meshes leave open is the contact that is wanted, more is not.
    for (chord, verdict) in [(0.1, Verdict::Pass), (0.01, Verdict::Fail)] {
        let mut deep = deep.clone();
        deep.chord_error = chord;
        assert_eq!(against(&block, named(&deep), 3.0)[0].verdict, verdict);
    }
}

#[test]
fn corners_of_the_part_know_the_nearest_other_part() {
    let block = cuboid([0.0; 3], [10.0; 3]);
    let (guard, shoe) =
        (cuboid([12.0, 0.0, 0.0], [20.0, 10.0, 10.0]), cuboid([0.0, 0.0, -5.0], [10.0, 10.0, 0.0]));
    let floor = far_floor();
    let touched = OtherPart { touches: true, ..other("shoe", &shoe) };
    let scene = over(&floor, vec![other("guard", &guard), touched]);
    let context = Context::new(2).expect("threads");
    let near = part_clearance(&block, &scene, &[], &Limits::default(), &context).expect("a scene");
    for (p, d) in block.points.iter().zip(&near) {
        assert!((d - (12.0 - p.x)).abs() < 1e-9, "{p}: {d}");
    }
}

fn up(height: f64) -> Vec<Point3> {
    vec![Point3::new(0.0, 0.0, height)]
}

/// A cube of 10 on the floor of nothing, with a lid over it and a wall that it leans on.
#[test]
fn other_parts_stand_in_the_way_in() {
    let cube = cuboid([-5.0, -5.0, 2.0], [5.0, 5.0, 12.0]);
    let wall = |low: [f64; 3], high: [f64; 3]| Mesh::cuboid(low, high);
    let tub = wall([-20.0, -20.0, -5.0], [20.0, 20.0, 0.0])
        .and(&wall([-20.0, -20.0, 0.0], [-8.0, 20.0, 30.0]))
        .and(&wall([8.0, -20.0, 0.0], [20.0, 20.0, 30.0]))
        .and(&wall([-8.0, -20.0, 0.0], [8.0, -8.0, 30.0]))
        .and(&wall([-8.0, 8.0, 0.0], [8.0, 20.0, 30.0]))
        .part();
    let lid = cuboid([-20.0, -20.0, 40.0], [20.0, 20.0, 45.0]);
    let floor = far_floor();
    let run = |others: Vec<OtherPart<'_>>, without: &[usize]| {
        let mut way = InsertionLimits::default();
        (way.without_others, way.tries) = (without.to_vec(), 64);
        let mut limits = Limits::with_clearance(0.0);
        (limits.insertion, limits.unseen_reach) = (Some(way), 0.0);
        let findings = checked(&cube, &over(&floor, others), &[], &limits, 2).expect("a scene");
        one(&findings, "insertion", "part").clone()
    };
    let found = run(vec![other("tub", &tub)], &[]);
    assert_eq!(found.verdict, Verdict::Pass, "{found:?}");
    // Straight up it keeps the 2 mm that it has from the tub's floor.
    assert!((value(&found) - 2.0).abs() < 0.01, "{found:?}");
    let closed = run(vec![other("tub", &tub), other("lid", &lid)], &[]);
    assert!(closed.path.is_empty() && closed.verdict == Verdict::Undecided, "{closed:?}");
    assert_eq!(number(&closed, "free_directions"), 0.0);
    let opened = run(vec![other("tub", &tub), other("lid", &lid)], &[1]);
    assert_eq!(opened.verdict, Verdict::Pass, "{opened:?}");
    // Outside is beyond other parts too: the cube ends over the tub's rim at 30.
    let last = opened.path.first().expect("outside").machine_from_part * up(2.0)[0];
    assert!(last.z >= 30.0, "{last}");

    // A block that it touches below is no obstacle on the way up, and does not open a way down.
    let shoe = cuboid([-8.0, -8.0, -2.0], [8.0, 8.0, 2.0]);
    let touching = || vec![other("tub", &tub), OtherPart { touches: true, ..other("shoe", &shoe) }];
    let found = run(touching(), &[]);
    assert_eq!(found.verdict, Verdict::Pass, "{found:?}");
    let touched = run(vec![other("shoe", &shoe)], &[]);
    assert!(touched.verdict == Verdict::Undecided && touched.path.is_empty(), "{touched:?}");
}

/// A plate on the deck with one M8 bolt at the origin, and a post beside the socket.
#[test]
fn a_socket_must_not_hit_another_part() {
    let floor =
        Mesh::sheet([-150.0, -150.0, 0.0], [[300.0, 0.0, 0.0], [0.0, 300.0, 0.0]], [60, 60]);
    let scan = floor.scan();
    let surface: Vec<u32> = (0..floor.0.len() as u32).collect();
    let deck = deck();
    let (hole, mount) = hole("hole", [0.0, 0.0], 8.0, 1);
    let holes = [hole];
    let plate = Mesh::cuboid([-40.0, -40.0, 0.0], [40.0, 40.0, 8.0]).part();
    let post = cuboid([15.0, -30.0, 10.0], [20.0, 30.0, 200.0]);
    let mut tools = ToolLimits::default();
    tools.spanner = false;
    (tools.socket_diameter, tools.socket_length) = (Some(20.0), Some(40.0));
    let mut limits = Limits::with_clearance(0.0);
    (limits.tools, limits.unseen_reach) = (Some(tools), 0.0);
    let mut whole = scene(&[&scan], &deck, &surface, &holes);
    whole.others = vec![other("post", &post)];
    let findings = checked(&plate, &whole, &[mount], &limits, 2).expect("a scene");
    let found = one(&findings, "tool access", "hole, socket");
    // 15 mm from the axis, less the socket's radius of 10.
    assert!((value(found) - 5.0).abs() < 1e-9, "{found:?}");
    assert!(found.detail.contains("the other part \"post\""), "{found:?}");
}

/// Holes 0.3 mm off the bolts: the plate goes on only where they are.
#[test]
fn a_part_moved_for_its_bolts_takes_along_what_it_touches() {
    let floor =
        Mesh::sheet([-60.0, -60.0, 0.0], [[120.0, 0.0, 0.0], [0.0, 120.0, 0.0]], [120, 120]);
    let scan = floor.scan();
    let surface: Vec<u32> = (0..floor.0.len() as u32).collect();
    let deck = deck();
    let made: Vec<_> = [[-20.0, 0.0], [20.0, 0.0]]
        .into_iter()
        .enumerate()
        .map(|(k, at)| {
            let (feature, mut mount) = hole(["a", "b"][k], at, 8.0, k + 1);
            // Play is 0.5 mm; the part's holes are 0.7 mm off.
            mount.part_hole.point.x -= 0.7;
            (feature, mount)
        })
        .collect();
    let holes: Vec<_> = made.iter().map(|m| m.0.clone()).collect();
    let mounts: Vec<_> = made.iter().map(|m| m.1.clone()).collect();
    let plate = Mesh::cuboid([-40.0, -20.0, 0.0], [40.0, 20.0, 8.0]).part();
    let shoe = cuboid([40.0, -10.0, 3.0], [50.0, 10.0, 6.0]);
    let guard = cuboid([45.0, -10.0, 10.0], [50.0, 10.0, 30.0]);
    let covariance = {
        let mut c = Covariance::zero(Point3::origin());
        c.matrix[(0, 0)] = 0.01f64.powi(2);
        c
    };
    let mut whole = scene(&[&scan], &deck, &surface, &holes);
    whole.frame_covariance = Some(&covariance);
    whole.others =
        vec![OtherPart { touches: true, ..other("shoe", &shoe) }, other("guard", &guard)];
    let context = Context::new(2).expect("threads");
    let run = |scene: &Scene<'_>, mounts: &[_]| {
        all(&plate, scene, mounts, &Limits::with_clearance(1.0), &context).expect("a scene")
    };
    let Checked { findings, checked_from_designed } = run(&whole, &mounts);
    let moved = checked_from_designed.translation.vector;
    assert!(moved.x > 0.15, "{moved}");
    let found = one(&findings, "clearance", "shoe");
    assert!(found.verdict == Verdict::Pass && value(found).abs() < 1e-6, "{found:?}");
    let found = one(&findings, "clearance", "guard");
    let expected = (5.0 - moved.x).hypot(2.0 - moved.z);
    assert!((value(found) - expected).abs() < 0.02, "{found:?} {expected}");
    // The bolts stand where the machine's frame says: now its uncertainty counts.
    assert!(found.budget.iter().any(|c| c.cause == "frame"), "{found:?}");
    // Where it was designed it does not.
    let Checked { findings, .. } = run(&whole, &[]);
    assert!(one(&findings, "clearance", "guard").budget.is_empty());
}

/// A door of 2 mm that swings about a line 100 mm away, past a block.
#[test]
fn another_part_moves_past() {
    let block = cuboid([-10.0, -10.0, 0.0], [10.0, 10.0, 10.0]);
    let door = cuboid([100.0, -5.0, 20.0], [220.0, 5.0, 22.0]);
    let hinge = Line { point: Point3::new(100.0, 0.0, 20.0), direction: Vec3::y_axis() };
    let swing = |to: f64| Motion {
        name: "door".into(),
        moving: Moving::OtherPart(0),
        moves: vec![Move::Turn { about: Guide::Line(hinge), from: to.min(0.0), to: to.max(0.0) }],
        clearance: None,
    };
    let floor = far_floor();
    let run = |motion: Motion| {
        let scene = Scene { motions: vec![motion], ..over(&floor, vec![other("guard", &door)]) };
        checked(&block, &scene, &[], &Limits::with_clearance(3.0), 2)
    };
    // Half a turn up and over it lies over the block, from z = 18 to 20: 8 mm.
    let findings = run(swing(-PI)).expect("a scene");
    let found = one(&findings, "motion", "door");
    assert!((value(found) - 8.0).abs() < 2e-3, "{found:?}");
    assert_eq!(found.verdict, Verdict::Pass);
    // Farther it strikes the block.
    let findings = run(swing(-PI - 0.3)).expect("a scene");
    let found = one(&findings, "motion", "door");
    assert!(value(found) <= 0.0 && found.verdict == Verdict::Fail, "{found:?}");
    let gone = Motion { moving: Moving::OtherPart(1), ..swing(1.0) };
    assert!(matches!(run(gone), Err(Error::Argument { .. })));
}

#[test]
fn what_is_no_solid_or_no_length_is_refused() {
    let block = cuboid([0.0; 3], [10.0; 3]);
    let mut open = cuboid([20.0, 0.0, 0.0], [30.0, 10.0, 10.0]);
    open.triangles.pop();
    open.file = "open.stl".into();
    let refused = try_run(&block, vec![other("guard", &open)], 3.0).expect_err("an open mesh");
    assert!(matches!(&refused, Error::OpenPart { path, .. } if path.ends_with("open.stl")));
    let good = cuboid([20.0, 0.0, 0.0], [30.0, 10.0, 10.0]);
    for bad in [-1.0, f64::NAN, f64::INFINITY] {
        let asked = OtherPart { keep_clear: Some(bad), ..other("guard", &good) };
        let message = try_run(&block, vec![asked], 3.0).expect_err("no length").to_string();
        assert!(message.contains("keep_clear of the other part \"guard\""), "{message}");
    }
    let mut wild = good.clone();
    wild.triangles[0][0] = 99;
    assert!(matches!(
        try_run(&block, vec![other("guard", &wild)], 3.0),
        Err(Error::Argument { .. })
    ));
}

/// A speck over a large plate, far smaller than the air asked for, and a part that is no more than a point: both are
/// done at once.
#[test]
fn small_parts_are_no_more_work_than_large_ones() {
    let plate = cuboid([-500.0, -500.0, 0.0], [500.0, 500.0, 10.0]);
    let speck = cuboid([0.0, 0.0, 11.0], [0.01, 0.01, 11.01]);
    let found = &against(&plate, other("guard", &speck), 50.0)[0];
    assert!((value(found) - 1.0).abs() < 1e-9 && found.verdict == Verdict::Fail, "{found:?}");
    let found = &against(&speck, other("guard", &plate), 50.0)[0];
    assert!((value(found) - 1.0).abs() < 1e-9, "{found:?}");
    let point = cuboid([0.0, 0.0, 10.0], [0.0, 0.0, 10.0]);
    let found = &against(&plate, other("guard", &point), 0.0)[0];
    assert!(value(found).abs() < 1e-9, "{found:?}");
}

#[test]
fn findings_are_the_same_on_one_thread_and_two() {
    let block = cuboid([-40.0, -40.0, -30.0], [40.0, 40.0, 0.0]);
    let ball = sphere([3.0, -4.0, 18.0], 20.0, 40);
    let floor = far_floor();
    let run = |threads| {
        let scene = over(&floor, vec![other("guard", &ball)]);
        checked(&block, &scene, &[], &Limits::default(), threads).expect("a scene")
    };
    assert_eq!(run(1), run(2));
}

/// Writes a part as an STL file.
fn write(folder: &std::path::Path, name: &str, part: &Part) {
    let body = fitwright::exchange::MeshBody {
        name: "part",
        points: &part.points,
        triangles: &part.triangles,
        colour: None,
    };
    fitwright::exchange::write_meshes(folder.join(name), &[body]).expect("written");
}

/// An angle 80 wide, 60 long and 50 high, its foot 8 thick.
fn angle(thickness: f64) -> Part {
    let t = thickness;
    let outline = [[0.0, 0.0], [80.0, 0.0], [80.0, 8.0], [t, 8.0], [t, 50.0], [0.0, 50.0]];
    let at = |y: f64| outline.map(|[x, z]| Point3::new(x, y, z));
    let mut mesh = Mesh([at(0.0), at(60.0)].concat(), Vec::new());
    for [a, b, c] in [[3, 4, 5], [3, 5, 0], [3, 0, 1], [3, 1, 2]] {
        mesh.1.extend([[a, b, c], [a + 6, c + 6, b + 6]]);
    }
    for i in 0..6 {
        let j = (i + 1) % 6;
        mesh.1.extend([[i, j + 6, j], [i, i + 6, j + 6]]);
    }
    mesh.part()
}

/// An angle over a floor, with a sensor that sits on it, a guard beside it, and itself as it was made: its upright 0.3
/// mm too thick. With `FITWRIGHT_LOOK=DIR` in the environment the page is left in DIR, to be looked at.
#[test]
fn a_job_reads_other_parts_and_its_page_shows_them() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let mut random = Random::new(7);
    let mut floor =
        Mesh::sheet([-30.0, -30.0, 0.0], [[140.0, 0.0, 0.0], [0.0, 120.0, 0.0]], [140, 120]);
    floor.0.iter_mut().for_each(|p| p.z += 0.02 * random.normal());
    let scan = Part { triangles: floor.1.clone(), points: floor.0.clone(), ..floor.part() };
    write(at, "front.stl", &scan);
    write(at, "angle.stl", &angle(8.0));
    // As made, seen every 1.5 mm from all sides but below.
    let mut seen = Mesh::default();
    let mut face = |corner: [f64; 3], u: [f64; 3], v: [f64; 3]| {
        let cells = [u, v].map(|e| (Vec3::from(e).norm() / 1.5).ceil() as u32);
        seen = std::mem::take(&mut seen).and(&Mesh::sheet(corner, [u, v], cells));
    };
    let x = 8.3;
    face([x, 0.0, 8.0], [80.0 - x, 0.0, 0.0], [0.0, 60.0, 0.0]);
    face([80.0, 0.0, 0.0], [0.0, 60.0, 0.0], [0.0, 0.0, 8.0]);
    face([x, 0.0, 8.0], [0.0, 60.0, 0.0], [0.0, 0.0, 42.0]);
    face([0.0, 0.0, 0.0], [0.0, 0.0, 50.0], [0.0, 60.0, 0.0]);
    face([0.0, 0.0, 50.0], [x, 0.0, 0.0], [0.0, 60.0, 0.0]);
    face([0.0, 0.0, 0.0], [80.0, 0.0, 0.0], [0.0, 0.0, 8.0]);
    face([0.0, 0.0, 8.0], [x, 0.0, 0.0], [0.0, 0.0, 42.0]);
    face([0.0, 60.0, 8.0], [0.0, 0.0, 42.0], [x, 0.0, 0.0]);
    face([0.0, 60.0, 0.0], [0.0, 0.0, 8.0], [80.0, 0.0, 0.0]);
    write(
        at,
        "made.stl",
        &Part { points: seen.0.clone(), triangles: seen.1.clone(), ..floor.part() },
    );
    write(at, "sensor.stl", &cuboid([8.0, 20.0, 25.0], [30.0, 40.0, 45.0]));
    let guard = Mesh::cuboid([79.0, -10.0, -5.0], [84.0, 70.0, 6.0])
        .and(&Mesh::cuboid([-20.0, 62.0, 10.0], [40.0, 66.0, 70.0]));
    write(at, "guard.stl", &guard.part());
    let hostile = "guard </td><script>alert(1)</script>";
    let text = format!(
        "[job]\nname = \"angle\"\n[[scan]]\nname = \"front\"\nfile = \"front.stl\"\n\
         [[feature]]\nname = \"floor\"\nfit = \"plane\"\nregion = \"all\"\n\
         [part]\nfile = \"angle.stl\"\nmade = {{ file = \"made.stl\", tolerance = 0.2, start = [ \
         {{ scan = [0, 0, 0], part = [0, 0, 0] }}, {{ scan = [80, 0, 0], part = [80, 0, 0] }}, \
         {{ scan = [0, 60, 0], part = [0, 60, 0] }} ] }}\n\
         [[other_part]]\nname = \"sensor\"\nfile = \"sensor.stl\"\ntouches = true\n\
         [[other_part]]\nname = \"{hostile}\"\nfile = \"guard.stl\"\nkeep_clear = 3\n\
         [check]\nclearance = 2.0\ninsertion = {{ without = [\"{hostile}\", \"floor\"], directions = 200 }}\n\
         [[output.mesh]]\nfile = \"all.ply\"\nof = [\"part\", \"sensor\"]\n"
    );
    let job = fitwright::job::Job::parse(&text).expect("a job");
    let context = Context::new(2).expect("threads");
    let outcome = job.run(&fitwright::job::Folder::of(&at.join("job.toml")), &context);
    let outcome = outcome.expect("it runs");
    let sensor = one(&outcome.findings, "clearance", "sensor");
    assert!(sensor.verdict == Verdict::Pass && value(sensor) == 0.0, "{sensor:?}");
    // As made, the upright is 0.3 mm into the sensor.
    let made = one(&outcome.findings, "clearance", "sensor, as made");
    assert!((value(made) + 0.3).abs() < 0.05 && made.verdict == Verdict::Fail, "{made:?}");
    // 1 mm of the foot's 8 lies in the guard over 6 mm of height and 60 of length; elsewhere 2 mm are left.
    let guard = one(&outcome.findings, "clearance", hostile);
    assert!((value(guard) + 1.0).abs() < 1e-6, "{guard:?}");
    assert!((number(guard, "volume") - 360.0).abs() < 7.0, "{guard:?}");
    let beside = one(&outcome.findings, "clearance", &format!("{hostile}, place 2"));
    assert!((value(beside) - 2.0).abs() < 1e-6 && beside.verdict == Verdict::Fail, "{beside:?}");

    let json: serde_json::Value =
        serde_json::from_str(&outcome.to_json().expect("a result")).expect("JSON");
    let named: Vec<&str> = json["other_parts"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|o| o["name"].as_str())
        .collect();
    assert_eq!(named, ["sensor", hostile]);
    assert_eq!(json["other_parts"][0]["touches"], true);
    assert_eq!(json["other_parts"][1]["keep_clear"], 3.0);
    let kinds = json["checks"].as_array().expect("a list").iter();
    let mine = kinds.filter(|c| c["kind"] == "clearance" && c["name"] == "sensor");
    assert_eq!(mine.count(), 1);

    let page = fitwright::report::html(&outcome, &fitwright::report::ReportOptions::default());
    let page = page.expect("a page");
    // Two of data, one of ours.
    assert_eq!(page.matches("<script").count(), 3);
    assert!(page.contains("guard &lt;/td&gt;&lt;script&gt;"));
    for words in [
        "Other parts",
        "Way in",
        "Made part",
        "may touch, not overlap",
        "not seen",
        "tolerance -0.200",
    ] {
        assert!(page.contains(words), "{words}");
    }
    let written = outcome.write(at, &page, Default::default()).expect("written");
    assert!(written.iter().any(|p| p.ends_with("all.ply")));
    if let Some(dir) = std::env::var_os("FITWRIGHT_LOOK") {
        std::fs::write(std::path::Path::new(&dir).join("report.html"), &page).expect("written");
    }
}

#[test]
fn a_job_with_bad_other_parts_says_where() {
    let head = "[job]\nname = \"n\"\n[[scan]]\nname = \"front\"\nfile = \"front.stl\"\n\
                [[feature]]\nname = \"deck\"\nfit = \"plane\"\nregion = \"all\"\n";
    let part = "[part]\nfile = \"part.stl\"\n";
    let other =
        |more: &str| format!("[[other_part]]\nname = \"guard\"\nfile = \"guard.stl\"\n{more}");
    let refused =
        |text: String| fitwright::job::Job::parse(&text).expect_err("must be refused").to_string();
    let with = |more: &str| refused(format!("{head}{part}{}", other(more)));
    let place = "[[other_part]] \"guard\"";
    for (more, words) in [
        ("keep_clear = -1\n", "not negative"),
        ("keep_clear = 1\ntouches = true\n", "contradict"),
        ("chord_error = 0\n", "positive"),
        ("unit = \"furlong\"\n", "furlong"),
        (
            "[check]\nmotion = [ { other_part = \"gard\", about = \"deck\", by = 1 } ]\n",
            "\"guard\"",
        ),
        ("[check]\ninsertion = { without = [\"gard\"] }\n", "\"guard\""),
        ("touch = true\n", "did you mean `touches`"),
    ] {
        let message = with(more);
        assert!(message.contains(words), "{more}: {message}");
        let named = message.contains(place) || more.starts_with('[') || more.starts_with("touch ");
        assert!(named, "{message}");
    }
    assert!(refused(format!("{head}{}", other(""))).contains("needs a [part]"));
    let twice = refused(format!("{head}{part}{}{}", other(""), other("")));
    assert!(twice.contains("guard") && twice.contains("other part"), "{twice}");
    for taken in ["front", "deck"] {
        let text =
            format!("{head}{part}{}", other("")).replace("\"guard\"", &format!("\"{taken}\""));
        assert!(refused(text).contains("has this name already"));
    }
    // Files that are not there, or no solid.
    let folder = tempfile::tempdir().expect("a folder");
    let at = folder.path();
    let floor = Mesh::sheet([-20.0, -20.0, 0.0], [[40.0, 0.0, 0.0], [0.0, 40.0, 0.0]], [40, 40]);
    write(
        at,
        "front.stl",
        &Part { points: floor.0.clone(), triangles: floor.1.clone(), ..floor.part() },
    );
    write(at, "part.stl", &cuboid([0.0, 0.0, 5.0], [10.0, 10.0, 15.0]));
    let job = fitwright::job::Job::parse(&format!("{head}{part}{}", other(""))).expect("a job");
    let run = || {
        let place = fitwright::job::Folder::of(&at.join("job.toml"));
        job.run(&place, &Context::new(2).expect("threads")).expect_err("must fail").to_string()
    };
    let message = run();
    assert!(message.contains(place) && message.contains("guard.stl"), "{message}");
    let mut open = cuboid([20.0, 0.0, 5.0], [30.0, 10.0, 15.0]);
    open.triangles.pop();
    write(at, "guard.stl", &open);
    let message = run();
    assert!(message.contains(place) && message.contains("open"), "{message}");
}
