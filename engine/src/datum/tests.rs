//! Frames with answers known by construction.

use super::*;
use crate::feature::FeatureKind;
use crate::primitive::{Cylinder, Direction, Plane, Sphere, Vec3};

fn feature(name: &str, shape: Primitive) -> Feature {
    Feature {
        name: name.into(),
        kind: FeatureKind::Plane,
        fitter: "test".into(),
        covariance: Covariance::zero(shape.point()),
        shape,
        pieces: vec![],
        quality: None,
        noise: None,
        notes: vec![],
    }
}

fn plane(point: [f64; 3], normal: [f64; 3]) -> Primitive {
    Plane { point: point.into(), normal: Direction::new_normalize(Vec3::from(normal)) }.into()
}

fn axis(point: [f64; 3], direction: [f64; 3]) -> Primitive {
    let axis = Direction::new_normalize(Vec3::from(direction));
    Cylinder { point: point.into(), axis, radius: 4.0 }.into()
}

fn moved(shape: Primitive) -> (Primitive, Pose) {
    let pose = Pose::new(Vec3::new(310.0, -42.0, 95.0), Vec3::new(0.4, -1.1, 2.0));
    (shape.transformed(&pose), pose)
}

fn system(datums: &[Datum<'_>]) -> Pose {
    DatumSystem::new(datums).expect("a complete datum system").machine_from_scan
}

fn assert_identity(pose: &Pose) {
    let off = (pose.to_homogeneous() - nalgebra::Matrix4::identity()).amax();
    assert!(off < 1e-11, "{off}");
}

#[test]
fn three_planes_give_the_frame_they_were_made_in() {
    let (a, pose) = moved(plane([50.0, 60.0, 0.0], [0.0, 0.0, 1.0]));
    let (b, _) = moved(plane([0.0, 20.0, 10.0], [1.0, 0.0, 0.0]));
    let (c, _) = moved(plane([30.0, 0.0, 15.0], [0.0, 1.0, 0.0]));
    let (a, b, c) = (feature("a", a), feature("b", b), feature("c", c));
    let found = system(&[
        Datum::new(&a).axis("+z").expect("axis"),
        Datum::new(&b).axis("+x").expect("axis"),
        Datum::new(&c).axis("+y").expect("axis"),
    ]);
    assert_identity(&(found * pose));
}

#[test]
fn plane_and_two_holes_turn_towards_the_second_hole() {
    let (a, pose) = moved(plane([50.0, 60.0, 0.0], [0.0, 0.0, 1.0]));
    let (b, _) = moved(axis([0.0, 0.0, 5.0], [0.0, 0.0, 1.0]));
    let (c, _) = moved(axis([0.0, 80.0, 5.0], [0.0, 0.0, 1.0]));
    let (a, b, c) = (feature("deck", a), feature("hole 1", b), feature("hole 2", c));
    let found = system(&[
        Datum::new(&a).axis("+z").expect("axis"),
        Datum::new(&b),
        Datum::new(&c).axis("+y").expect("axis"),
    ]);
    assert_identity(&(found * pose));
}

#[test]
fn a_datum_that_sets_the_origin_leaves_direction_only_to_the_secondary() {
    let (a, pose) = moved(plane([50.0, 60.0, 0.0], [0.0, 0.0, 1.0]));
    let (b, _) = moved(plane([-70.0, 20.0, 10.0], [1.0, 0.0, 0.0]));
    // Leaning 1 in 100 in y and crossing the primary at the origin.
    let (c, _) = moved(axis([0.0, 0.1, 10.0], [0.0, 0.01, 1.0]));
    let (a, b, c) = (feature("deck", a), feature("side", b), feature("hole", c));
    let found = system(&[
        Datum::new(&a).axis("+z").expect("axis"),
        Datum::new(&b).axis("+x").expect("axis"),
        Datum::new(&c).sets("origin").expect("sets"),
    ]);
    assert_identity(&(found * pose));
}

#[test]
fn squareness_is_the_angle_the_faces_really_have() {
    let tilt = 0.4f64.to_radians();
    let a = feature("deck", plane([0.0; 3], [0.0, 0.0, 1.0]));
    let b = feature("side", plane([0.0; 3], [tilt.cos(), 0.0, tilt.sin()]));
    let c = feature("hole", axis([0.0; 3], [0.0, 0.0, 1.0]));
    let found = DatumSystem::new(&[
        Datum::new(&a).axis("+z").expect("axis"),
        Datum::new(&b).axis("+x").expect("axis"),
        Datum::new(&c).sets("origin").expect("sets"),
    ])
    .expect("a complete datum system");
    assert!((found.squareness[0].deviation + tilt).abs() < 1e-12);
    assert_eq!(found.squareness.len(), 3);
}

#[test]
fn what_is_left_is_named() {
    let a = feature("deck", plane([0.0; 3], [0.0, 0.0, 1.0]));
    let b = feature("lid", plane([0.0, 0.0, 9.0], [0.0, 0.0, 1.0]));
    let c = feature("side", plane([0.0; 3], [1.0, 0.0, 0.0]));
    let ball = feature("ball", Sphere { centre: Point3::origin(), radius: 5.0 }.into());
    let message = |d: &[Datum<'_>]| DatumSystem::new(d).expect_err("incomplete").to_string();
    let z = |f| Datum::new(f).axis("+z").expect("axis");
    let parallel = message(&[z(&a), Datum::new(&b).axis("+x").expect("axis")]);
    assert!(parallel.contains("rotation about z") && parallel.contains("\"lid\""), "{parallel}");
    let open = message(&[z(&a), Datum::new(&c).axis("+x").expect("axis")]);
    assert!(open.contains("position along y"), "{open}");
    assert!(message(&[Datum::new(&ball)]).contains("all three rotations"));
    assert!(message(&[z(&a), z(&c)]).contains("earlier datum"));
    let nothing = message(&[z(&a), Datum::new(&c).axis("+x").expect("axis"), Datum::new(&b)]);
    assert!(nothing.contains("position along y") || nothing.contains("adds nothing"), "{nothing}");
}

#[test]
fn frame_uncertainty_grows_with_the_lever() {
    let mut deck = feature("deck", plane([0.0; 3], [0.0, 0.0, 1.0]));
    // A tilt about y of 1 mrad: heights 400 mm away move by 0.4 mm (1 mrad times 400).
    deck.covariance.matrix[(4, 4)] = 1e-6;
    let side = feature("side", plane([0.0; 3], [1.0, 0.0, 0.0]));
    let hole = feature("hole", axis([0.0; 3], [0.0, 0.0, 1.0]));
    let found = DatumSystem::new(&[
        Datum::new(&deck).axis("+z").expect("axis"),
        Datum::new(&side).axis("+x").expect("axis"),
        Datum::new(&hole).sets("origin").expect("sets"),
    ])
    .expect("a complete datum system");
    let at = Point3::new(400.0, 0.0, 0.0);
    let up = Direction::new_normalize(Vec3::z());
    assert!((found.covariance.variance_along(&at, &up).sqrt() - 0.4).abs() < 1e-6);
}
