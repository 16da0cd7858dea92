//! Motions whose least distance is known in closed form, and random ones against dense sampling.

use std::f64::consts::{FRAC_PI_2, PI};

use nalgebra::Unit;

use super::{Joint, Least, Movement, pose_at};
use crate::primitive::{Line, Point3, Vec3};
use crate::solid::{Mesh, Solid};

/// G. Marsaglia 2003, Xorshift RNGs.
struct Random(u64);

impl Random {
    fn new(seed: u64) -> Self {
        Random(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    /// In 0..1.
    fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Each coordinate with a deviation of 1 (sum of twelve, less its mean).
    fn normal_vector(&mut self) -> Vec3 {
        Vec3::from_fn(|_, _| (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0)
    }
}

fn cuboid(low: [f64; 3], high: [f64; 3]) -> (Vec<Point3>, Vec<[u32; 3]>) {
    let pick = |i: usize, k: usize| if i >> k & 1 == 1 { high[k] } else { low[k] };
    let points = (0..8).map(|i| Point3::new(pick(i, 0), pick(i, 1), pick(i, 2))).collect();
    let quads =
        [[0, 4, 6, 2], [1, 3, 7, 5], [0, 1, 5, 4], [2, 6, 7, 3], [0, 2, 3, 1], [4, 5, 7, 6]];
    let triangles = quads.iter().flat_map(|q| [[q[0], q[1], q[2]], [q[0], q[2], q[3]]]).collect();
    (points, triangles)
}

fn solid((points, triangles): (Vec<Point3>, Vec<[u32; 3]>)) -> Solid {
    Solid::new(&points, &triangles).expect("closed")
}

/// Octahedron about (50, 0, 5): its apex at (40, 0, 5) points to −x.
fn octahedron() -> Solid {
    let c = Vec3::new(50.0, 0.0, 5.0);
    let tips = [Vec3::x(), -Vec3::x(), Vec3::y(), -Vec3::y(), Vec3::z(), -Vec3::z()];
    let points = tips.map(|t| Point3::from(c + t * 10.0)).to_vec();
    let around = [2, 4, 3, 5];
    let sides = (0..4).flat_map(|k| {
        let (p, q) = (around[k], around[(k + 1) % 4]);
        [[0, p, q], [1, q, p]]
    });
    solid((points, sides.collect()))
}

/// A thin triangle from one point to another.
fn needle(from: [f64; 3], to: [f64; 3]) -> Mesh {
    let (a, b) = (Point3::from(from), Point3::from(to));
    Mesh::new(vec![a, a, b], vec![[0, 1, 2]])
}

fn point(at: [f64; 3]) -> Mesh {
    Mesh::new(vec![Point3::from(at)], vec![[0; 3]])
}

fn turn(at: [f64; 3], along: Vec3, from: f64, to: f64) -> Movement {
    let line = Line { point: Point3::from(at), direction: Unit::new_normalize(along) };
    Movement { joint: Joint::Turn(line), from, to }
}

fn shift(along: Vec3, from: f64, to: f64) -> Movement {
    Movement { joint: Joint::Shift(Unit::new_normalize(along)), from, to }
}

fn least(solid: &Solid, mesh: &Mesh, movements: &[Movement]) -> Least {
    let found = solid.least_over(mesh, movements, TOLERANCE, &|| Ok(()));
    found.expect("not cancelled").expect("a mesh")
}

fn near(found: &Least, truth: f64) {
    let Least { distance, gap, .. } = found;
    assert!(*gap <= TOLERANCE, "gap {gap}");
    assert!((truth - 1e-9..=truth + gap + 1e-9).contains(distance), "{distance} for {truth}");
}

/// A rod of length 12 about (20, 20) passes the corner (10, 10) of a box.
#[test]
fn a_rod_swings_past_a_corner() {
    let block = solid(cuboid([-10.0, -10.0, 0.0], [10.0, 10.0, 10.0]));
    let rod = needle([22.0, 20.0, 5.0], [32.0, 20.0, 5.0]);
    let pivot = [20.0, 20.0, 0.0];
    let full = least(&block, &rod, &[turn(pivot, Vec3::z(), -PI, PI)]);
    near(&full, 200f64.sqrt() - 12.0);
    assert!((full.values[0] + 0.75 * PI).abs() < 0.01, "{:?}", full.values);
    // Stopped short of the corner: from the tip at 0.7 of the half turn to the corner.
    let stop = -0.7 * PI;
    let tip = Vec3::new(20.0 + 12.0 * stop.cos(), 20.0 + 12.0 * stop.sin(), 0.0);
    let short = least(&block, &rod, &[turn(pivot, Vec3::z(), stop, 0.2)]);
    near(&short, (tip - Vec3::new(10.0, 10.0, 0.0)).norm());
    assert!((short.values[0] - stop).abs() < 1e-4, "{:?}", short.values);
}

/// A pin 0.02 mm wide at 100 mm from the axis, between two whole degrees: a rod passes 0.1 mm above
/// it, or through it, for a hundredth of a degree. Whole degrees never see it nearer than 0.8 mm.
#[test]
fn a_thin_pin_between_samples_is_not_missed() {
    let (c, s) = 33.5f64.to_radians().sin_cos();
    let at = [100.0 * s, 100.0 * c];
    let pin = solid(cuboid([at[0] - 0.01, at[1] - 0.01, -20.0], [at[0] + 0.01, at[1] + 0.01, 0.0]));
    for (height, truth) in [(0.1, 0.1), (-3.0, 0.0)] {
        let rod = needle([80.0, 0.0, height], [120.0, 0.0, height]);
        let about = |from: f64, to: f64| turn([0.0; 3], Vec3::z(), from, to);
        near(&least(&pin, &rod, &[about(0.0, 2.0 * PI)]), truth);
        let sampled = (0..360).map(|d| {
            let at = f64::from(d).to_radians();
            least(&pin, &rod, &[about(at, at)]).distance
        });
        assert!(sampled.fold(f64::INFINITY, f64::min) > 0.8);
    }
}

/// A cam turned right round in front of a wall.
#[test]
fn a_full_turn_finds_the_cam() {
    let wall = solid(cuboid([50.0, -40.0, -40.0], [60.0, 40.0, 40.0]));
    let cam = Mesh::new(
        vec![Point3::new(-30.0, 0.5, 1.0), Point3::new(3.0, 9.0, 0.0), Point3::new(3.0, -9.0, 2.0)],
        vec![[0, 1, 2]],
    );
    let found = least(&wall, &cam, &[turn([0.0; 3], Vec3::z(), 0.0, 2.0 * PI)]);
    near(&found, 50.0 - 30f64.hypot(0.5));
}

/// A point on a circle that also rises: nearest inside the ranges, at an end of one, at a corner.
#[test]
fn two_movements_meet_inside_at_an_end_and_in_a_corner() {
    let part = octahedron();
    let tip = point([30.0, 0.0, -2.0]);
    let moves = |low: f64, high: f64, up: f64| {
        [turn([0.0; 3], Vec3::z(), low, high), shift(Vec3::z(), -3.0, up)]
    };
    let inside = least(&part, &tip, &moves(-1.0, 1.5, 20.0));
    near(&inside, 10.0);
    assert!(inside.values[0].abs() < 0.01 && (inside.values[1] - 7.0).abs() < 0.2, "{inside:?}");
    near(&least(&part, &tip, &moves(-1.0, 1.5, 3.0)), 116f64.sqrt());
    let (s, c) = 0.2f64.sin_cos();
    let apart = Vec3::new(40.0 - 30.0 * c, 30.0 * s, 4.0);
    let corner = least(&part, &tip, &moves(0.2, 1.5, 3.0));
    near(&corner, apart.norm());
    assert!((corner.values[0] - 0.2).abs() < 1e-4 && (corner.values[1] - 3.0).abs() < 1e-4);
}

/// The first movement acts first: a shift by 10 along x and a quarter turn about the origin take
/// (0, 0, 0) to (0, 10, 0); the other way round to (10, 0, 0).
#[test]
fn the_first_movement_acts_first() {
    let (slide, swing) =
        (shift(Vec3::x(), 10.0, 10.0), turn([0.0; 3], Vec3::z(), FRAC_PI_2, FRAC_PI_2));
    let end = |m: &[Movement]| {
        pose_at(
            m,
            &m.iter()
                .map(|m| m.to)
                .chain([0.0; 4])
                .take(4)
                .collect::<Vec<_>>()
                .try_into()
                .expect("four"),
        )
    };
    let origin = Point3::origin();
    assert!((end(&[slide, swing]) * origin - Point3::new(0.0, 10.0, 0.0)).norm() < 1e-12);
    assert!((end(&[swing, slide]) * origin - Point3::new(10.0, 0.0, 0.0)).norm() < 1e-12);
}

fn soup(random: &mut Random, count: usize, around: f64, size: f64) -> Mesh {
    let mut points = Vec::new();
    for _ in 0..count {
        let c = random.normal_vector() * around;
        points.extend((0..3).map(|_| Point3::from(c + random.normal_vector() * size)));
    }
    let triangles = (0..count as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
    Mesh::new(points, triangles)
}

fn lumps(random: &mut Random, count: usize) -> Solid {
    let (mut points, mut triangles) = (Vec::new(), Vec::new());
    for _ in 0..count {
        let low = Vec3::new(14.0, 0.0, 0.0) + random.normal_vector() * 5.0;
        let side = random.normal_vector().abs().add_scalar(0.3);
        let (p, t) = cuboid(low.into(), (low + side).into());
        let from = points.len() as u32;
        triangles.extend(t.iter().map(|t| t.map(|i| i + from)));
        points.extend(p);
    }
    solid((points, triangles))
}

fn moved(mesh: &Mesh, movements: &[Movement], values: &super::Values) -> Mesh {
    let pose = pose_at(movements, values);
    Mesh::new(mesh.points.iter().map(|p| pose * p).collect(), mesh.triangles.clone())
}

/// The bound holds against every one of many poses, and the place named is as near as said.
#[test]
fn no_pose_of_a_random_motion_is_nearer() {
    let mut random = Random::new(5);
    let mut apart = 0;
    for case in 0..24 {
        let part = lumps(&mut random, 4);
        let mesh = soup(&mut random, 40, 2.5, 0.6);
        let swing = turn(random.normal_vector().into(), random.normal_vector(), -0.6, 1.1);
        let lift = shift(random.normal_vector(), -1.0, 2.0);
        let rock = turn(random.normal_vector().into(), random.normal_vector(), -0.3, 0.2);
        let all = [swing, lift, rock];
        let movements = &all[..1 + case % 3];
        let found = least(&part, &mesh, movements);
        assert!(found.gap <= TOLERANCE);
        let there = part.least_distance(&moved(&mesh, movements, &found.values), f64::INFINITY);
        assert!((there.expect("a mesh").distance - found.distance).abs() < 1e-9);
        let bound = found.distance - found.gap;
        apart += u32::from(found.distance > 0.1);
        for _ in 0..400 {
            let mut values = [0.0; 4];
            for (v, m) in values.iter_mut().zip(movements) {
                *v = m.from + (m.to - m.from) * random.uniform();
            }
            let sampled = part.least_distance(&moved(&mesh, movements, &values), f64::INFINITY);
            let sampled = sampled.expect("a mesh").distance;
            assert!(sampled >= bound - 1e-9, "{sampled} below {bound}");
        }
    }
    assert!(apart >= 8, "only {apart} motions stay clear: the rest says little");
}

#[test]
fn no_range_is_the_distance_where_it_stands() {
    let mut random = Random::new(9);
    for _ in 0..20 {
        let part = lumps(&mut random, 5);
        let mesh = soup(&mut random, 60, 2.0, 0.5);
        let still = part.least_distance(&mesh, f64::INFINITY).expect("a mesh");
        let about = [turn([1.0, 2.0, 3.0], Vec3::y(), 0.0, 0.0), shift(Vec3::x(), 0.0, 0.0)];
        let found = least(&part, &mesh, &about);
        assert!((found.distance - still.distance).abs() < 1e-9);
        assert!(found.gap.abs() < 1e-9);
    }
}

#[test]
fn threads_do_not_change_the_answer() {
    let mut random = Random::new(3);
    let part = lumps(&mut random, 6);
    let mesh = soup(&mut random, 300, 2.5, 0.4);
    let moves = [turn([0.0; 3], Vec3::y(), -1.0, 1.0), shift(Vec3::x(), -1.0, 1.0)];
    let run = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        let l = pool.install(|| least(&part, &mesh, &moves));
        let d = pool.install(|| part.deepest(&mesh, &moves, 0.05, &|| Ok(())));
        let d = d.expect("not cancelled").expect("a mesh");
        [l.distance, l.gap, l.values[0], l.values[1], d.distance, d.gap, d.values[1]]
    };
    assert_eq!(run(1).map(f64::to_bits), run(2).map(f64::to_bits));
}

/// A corner driven straight in, and one swung through: 8 mm and 5 mm deep.
#[test]
fn the_deepest_place_is_found() {
    let block = solid(cuboid([25.0, -50.0, -50.0], [125.0, 50.0, 50.0]));
    let deepest = |mesh: &Mesh, m: &[Movement]| {
        block.deepest(mesh, m, 0.01, &|| Ok(())).expect("not cancelled").expect("a mesh")
    };
    let driven = deepest(&point([20.0, 1.0, 2.0]), &[shift(Vec3::x(), -5.0, 13.0)]);
    assert!((driven.distance + 8.0).abs() <= driven.gap.min(0.01), "{driven:?}");
    let swung = deepest(&point([0.0, 30.0, 0.0]), &[turn([0.0; 3], Vec3::z(), -PI, PI)]);
    assert!((swung.distance + 5.0).abs() <= swung.gap.min(0.01) + 1e-9, "{swung:?}");
    assert!((swung.values[0] + FRAC_PI_2).abs() < 0.05, "{swung:?}");
    let clear = deepest(&point([0.0, 20.0, 0.0]), &[turn([0.0; 3], Vec3::z(), -PI, PI)]);
    assert!((clear.distance - 5.0).abs() <= clear.gap.min(0.01) + 1e-9, "{clear:?}");
}

const TOLERANCE: f64 = 0.001;
