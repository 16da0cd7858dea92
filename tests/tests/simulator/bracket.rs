//! The demo's bracket and the truth of its checks, by brute force on the mesh.

use std::collections::BTreeMap;
use std::f64::consts::{PI, TAU};

use fitwright::primitive::{Cylinder, Line, Point3, Primitive, Vec3, any_perpendicular};
use fitwright::simulate::TriangleMesh;
use fitwright::simulate::mill::mill;
use nalgebra::Rotation3;

use super::the_demo;

type Shell = Vec<[Point3; 3]>;

/// Closed shells of a mesh whose shells share no corners.
fn shells(mesh: &TriangleMesh) -> Vec<Shell> {
    let mut label: Vec<u32> = (0..mesh.points.len() as u32).collect();
    loop {
        let before = label.clone();
        for t in &mesh.triangles {
            let least = t.iter().map(|&i| label[i as usize]).min().unwrap();
            t.iter().for_each(|&i| label[i as usize] = least);
        }
        if before == label {
            break;
        }
    }
    let mut groups: BTreeMap<u32, Shell> = BTreeMap::new();
    for t in &mesh.triangles {
        let corners = t.map(|i| mesh.points[i as usize]);
        groups.entry(label[t[0] as usize]).or_default().push(corners);
    }
    groups.into_values().collect()
}

/// Solid angle of a closed shell over 4π: 1 inside, 0 outside (Van Oosterom and Strackee 1983).
fn winding(shell: &Shell, p: &Point3) -> f64 {
    let one = |t: &[Point3; 3]| {
        let [a, b, c] = t.map(|q| q - p);
        let (la, lb, lc) = (a.norm(), b.norm(), c.norm());
        let below = la * lb * lc + a.dot(&b) * lc + b.dot(&c) * la + c.dot(&a) * lb;
        2.0 * a.dot(&b.cross(&c)).atan2(below)
    };
    shell.iter().map(one).sum::<f64>() / (4.0 * PI)
}

/// Distance to a triangle, by its plane and its edges.
fn to_triangle([a, b, c]: &[Point3; 3], p: &Point3) -> f64 {
    let n = (b - a).cross(&(c - a));
    let edges = [(a, b), (b, c), (c, a)];
    if edges.iter().all(|(s, t)| n.dot(&(*t - *s).cross(&(p - *s))) >= 0.0) {
        return (n.dot(&(p - a)) / n.norm()).abs();
    }
    let to_edge = |(s, t): &(&Point3, &Point3)| {
        let e = *t - *s;
        let k = ((p - *s).dot(&e) / e.norm_squared()).clamp(0.0, 1.0);
        (p - (*s + e * k)).norm()
    };
    edges.iter().map(to_edge).fold(f64::INFINITY, f64::min)
}

/// Points on all triangles no farther apart than `step`.
fn samples(shells: &[Shell], step: f64) -> Vec<Point3> {
    let mut all = Vec::new();
    for [a, b, c] in shells.iter().flatten() {
        let n = ((b - a).norm().max((c - a).norm()).max((c - b).norm()) / step).ceil() as u32;
        for i in 0..=n {
            for j in 0..=n - i {
                let (u, v) = (f64::from(i) / f64::from(n), f64::from(j) / f64::from(n));
                all.push(a + (b - a) * u + (c - a) * v);
            }
        }
    }
    all
}

fn cylinder(name: &str) -> Cylinder {
    match mill().surface(name).unwrap().shape {
        Primitive::Cylinder(cylinder) => cylinder,
        ref other => panic!("{name} is {other:?}"),
    }
}

#[test]
fn bracket_is_closed_shells_and_seats_on_the_bosses() {
    let shells = shells(&the_demo().bracket);
    assert_eq!(shells.len(), 7);
    for shell in &shells {
        let mut edges: BTreeMap<[u64; 6], i32> = BTreeMap::new();
        for t in shell {
            for k in 0..3 {
                let key = |a: &Point3, b: &Point3| {
                    let [a, b] = [a, b].map(|p| [p.x, p.y, p.z].map(f64::to_bits));
                    [a[0], a[1], a[2], b[0], b[1], b[2]]
                };
                *edges.entry(key(&t[k], &t[(k + 1) % 3])).or_default() += 1;
                *edges.entry(key(&t[(k + 1) % 3], &t[k])).or_default() -= 1;
            }
        }
        assert!(edges.values().all(|n| *n == 0), "an edge has no partner");
        let volume = |[a, b, c]: &[Point3; 3]| a.coords.dot(&b.coords.cross(&c.coords)) / 6.0;
        assert!(shell.iter().map(volume).sum::<f64>() > 100.0);
    }
    for (hole, foot) in mill().holes.iter().zip(&shells) {
        // A foot's corners lie on the boss' plane or 10 mm above it.
        for p in foot.iter().flatten() {
            let height = hole.face.distance(p);
            assert!(height.abs() < 1e-12 || (height - 10.0).abs() < 1e-12, "{height}");
        }
    }
}

#[test]
fn truth_of_the_bolt_holes_is_what_the_mesh_shows() {
    let demo = the_demo();
    let machine = mill();
    for (truth, expected) in demo.truth.holes.iter().zip([0.05, 1.5, 0.1]) {
        let hole = machine.hole(&truth.name).unwrap();
        // The bracket's corners on a circle of 4.5 mm about the stated axis.
        let axis = Line { point: truth.part_point, direction: hole.wall.axis };
        let wall =
            |p: &&Point3| (axis.distance(p) - 4.5).abs() < 1e-9 && axis.parameter(p).abs() < 6.0;
        let on: Vec<Vec3> = demo.bracket.points.iter().filter(wall).map(|p| p.coords).collect();
        assert!(on.len() >= 128, "{}", on.len());
        let centre = Point3::from(on.iter().sum::<Vec3>() / on.len() as f64);
        let offset = hole.wall.axis_line().distance(&centre);
        assert!((offset - expected).abs() < 1e-9, "{}: {offset}", truth.name);
        assert!((truth.offset - expected).abs() < 1e-12);
        // Play of an M8 bolt in a 9 mm hole: 0.5 mm (ISO 273).
        assert!((truth.margin - (0.5 - expected)).abs() < 1e-12);
        assert_eq!(truth.angle, 0.0);
    }
}

#[test]
fn truth_of_the_interference_is_the_deepest_point_inside() {
    let shells = shells(&the_demo().bracket);
    let bar = cylinder("tie bar");
    let zero = any_perpendicular(&bar.axis);
    let mut deepest = 0f64;
    for (along, step) in (-30..=30).flat_map(|a| (0..360).map(move |s| (a, s))) {
        let turn = Rotation3::from_axis_angle(&bar.axis, TAU * f64::from(step) / 360.0);
        let out = (turn * zero).into_inner();
        let p = bar.point + bar.axis.into_inner() * f64::from(along) + out * bar.radius;
        for shell in shells.iter().filter(|s| winding(s, &p) > 0.5) {
            let depth = shell.iter().map(|t| to_triangle(t, &p)).fold(f64::MAX, f64::min);
            deepest = deepest.max(depth);
        }
    }
    // The step of one degree misses the deepest line by at most r (1 - cos 0.5°) = 0.0003 mm.
    assert!((deepest - 2.0).abs() < 4e-4, "{deepest}");
    assert!((the_demo().truth.interference.depth - 2.0).abs() < 1e-12);
}

#[test]
fn truth_of_the_least_clearance_is_the_least_sampled() {
    let filter = cylinder("lube filter");
    let clearance = &the_demo().truth.clearances[0];
    let all = samples(&shells(&the_demo().bracket), 0.5);
    let sampled = all.iter().map(|p| filter.distance(p)).fold(f64::MAX, f64::min);
    assert!(sampled >= clearance.value - 1e-12, "{sampled}");
    assert!(sampled < clearance.value + 0.005, "{sampled}");
    assert!((clearance.value - 3.01).abs() < 1e-9);
    assert!((filter.distance(&clearance.at) - clearance.value).abs() < 1e-9);
    // The machine's own surface says the same as the ideal cylinder.
    assert!((mill().solid.distance(&clearance.at) - clearance.value).abs() < 1e-9);
}

#[test]
fn bracket_clears_everything_else_by_more_than_required() {
    let machine = mill();
    let (bar, filter) = (cylinder("tie bar"), cylinder("lube filter"));
    for p in samples(&shells(&the_demo().bracket), 1.0) {
        if machine.solid.distance(&p) >= 3.5 {
            continue;
        }
        // Only the seats, the tie bar and the lube filter come closer.
        let seat = machine.holes.iter().any(|h| {
            h.wall.axis_line().distance(&p) < 14.0 + 3.5 && h.face.distance(&p).abs() < 3.5
        });
        assert!(seat || bar.distance(&p) < 3.5 || filter.distance(&p) < 3.5, "{p}");
    }
}
