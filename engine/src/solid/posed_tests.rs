//! Moved meshes against meshes that were moved corner by corner, and against many places on the way.

use super::*;
use crate::numeric::random::Random;
use crate::primitive::Pose;

fn uniform(random: &mut Random) -> f64 {
    (random.bits() >> 11) as f64 / (1u64 << 53) as f64
}

fn vector(random: &mut Random, size: f64) -> Vec3 {
    Vec3::from_fn(|_, _| size * (2.0 * uniform(random) - 1.0))
}

/// Closed box of the given half sides.
fn cuboid(half: &Vec3) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let side = |i: usize, k: usize| if i >> k & 1 == 1 { half[k] } else { -half[k] };
    let points = (0..8).map(|i| Point3::new(side(i, 0), side(i, 1), side(i, 2))).collect();
    let quads =
        [[0, 4, 6, 2], [1, 3, 7, 5], [0, 1, 5, 4], [2, 6, 7, 3], [0, 2, 3, 1], [4, 5, 7, 6]];
    let split = |q: &[u32; 4]| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]];
    (points, quads.iter().flat_map(split).collect())
}

/// Loose triangles in a cube.
fn loose(random: &mut Random, count: u32) -> Mesh {
    let points = (0..count)
        .flat_map(|_| {
            let at = vector(random, 40.0);
            [0; 3].map(|_| Point3::from(at + vector(random, 4.0)))
        })
        .collect();
    Mesh::new(points, (0..count).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect())
}

fn pose(random: &mut Random) -> Pose {
    Pose::new(vector(random, 30.0), vector(random, 3.0))
}

#[test]
fn a_pose_is_the_same_as_moved_corners() {
    let mut random = Random::new(3);
    for _ in 0..60 {
        let (points, triangles) = cuboid(&Vec3::from_fn(|_, _| 1.0 + 6.0 * uniform(&mut random)));
        let (other, at) = (loose(&mut random, 60), pose(&mut random));
        let solid = Solid::new(&points, &triangles).expect("closed");
        let moved: Vec<Point3> = points.iter().map(|p| at * p).collect();
        let there = Solid::new(&moved, &triangles).expect("closed");
        let a = solid.least_distance_at(&at, &other, f64::INFINITY).expect("some");
        let b = there.least_distance(&other, f64::INFINITY).expect("some");
        assert!((a.distance - b.distance).abs() < 1e-10, "{} {}", a.distance, b.distance);
        let nearer = a.distance * (1.0 - 1e-9);
        assert!(solid.least_distance_at(&at, &other, nearer).is_none());
    }
}

#[test]
fn a_straight_way_meets_what_some_place_on_it_is_near_to() {
    let mut random = Random::new(9);
    let (mut met, mut free) = (0, 0);
    for k in 0..600 {
        let (points, triangles) = cuboid(&Vec3::from_fn(|_, _| 1.0 + 4.0 * uniform(&mut random)));
        let solid = Solid::new(&points, &triangles).expect("closed");
        let other = loose(&mut random, if k % 2 == 0 { 3 } else { 40 });
        let (at, way) = (pose(&mut random), vector(&mut random, 60.0));
        let gap = 2.0 * uniform(&mut random);
        // The way begins where the air is kept.
        if solid.least_distance_at(&at, &other, gap).is_some() {
            continue;
        }
        let steps = 400;
        let near = |i: i32| {
            let place = nalgebra::Translation3::from(way * (f64::from(i) / f64::from(steps))) * at;
            solid.least_distance_at(&place, &other, 1e3).map_or(1e3, |w| w.distance)
        };
        let least = (0..=steps).map(near).fold(f64::INFINITY, f64::min);
        let step = way.norm() / f64::from(steps);
        if solid.meets_on(&at, &way, gap, &other) {
            met += 1;
            assert!(
                least <= gap + step,
                "met, but {least} at the nearest of many places, gap {gap}"
            );
        } else {
            free += 1;
            assert!(least >= gap - 1e-9, "free, but {least} at some place, gap {gap}");
        }
    }
    assert!(met > 50 && free > 50, "{met} {free}");
}

#[test]
fn a_body_that_swallows_a_speck_on_its_way_meets_it() {
    let (points, triangles) = cuboid(&Vec3::repeat(10.0));
    let solid = Solid::new(&points, &triangles).expect("closed");
    let at = Point3::new(30.0, 0.3, 0.7);
    let speck = Mesh::new(vec![at, at + Vec3::y() * 1e-3, at + Vec3::z() * 1e-3], vec![[0, 1, 2]]);
    let meets = |way: Vec3| solid.meets_on(&Pose::identity(), &way, 0.5, &speck);
    // Ends well before, ends with the speck inside, passes over it.
    assert!(!meets(Vec3::x() * 19.0) && meets(Vec3::x() * 25.0) && meets(Vec3::x() * 90.0));
    assert!(meets(Vec3::x() * 19.6) && !meets(Vec3::x() * 19.4) && !meets(-Vec3::x() * 90.0));
}
