//! Regions and features on a simulated scan of a block with a bored boss, against its exact shapes;
//! constructions and relations against analytic answers.

use std::sync::OnceLock;

use fitwright::associate::{Covariance, Criterion, Request, fitter_by_id};
use fitwright::feature::{Feature, FeatureKind, HoleSearch, intersection, midplane, relation};
use fitwright::primitive::{Cylinder, Direction, Plane, Point3, Pose, Primitive, Sphere, Vec3};
use fitwright::region::{Grow, Region};
use fitwright::scan::Scan;
use fitwright::simulate::{Machine, Scanner, SimulatedScan, Solid, Surface, Viewpoint, scan};
use fitwright::{Error, associate};

const FACE: f64 = 22.0;
const BORE: f64 = 4.5;

/// A block 60 by 50 by 20 with a boss of 12 mm radius that carries a bore of 4.5 mm, all edges rounded.
fn machine() -> Machine {
    let block = Solid::cuboid(&Pose::identity(), Vec3::new(60.0, 50.0, 20.0), 1.0);
    let boss = Solid::cylinder(&Pose::translation(0.0, 0.0, 10.0), 12.0, -5.0, 12.0, 0.5);
    let bore = Solid::cylinder(&Pose::translation(0.0, 0.0, FACE), BORE, -25.0, 5.0, 0.0);
    let at = |z: f64| Point3::new(0.0, 0.0, z);
    let z = Vec3::z_axis();
    let round = |radius: f64| Cylinder { point: at(FACE), axis: z, radius };
    Machine {
        solid: Solid::union(vec![block, boss], 1.0).cut(&bore, 0.3),
        surfaces: vec![
            Surface::new("top", Plane { point: at(10.0), normal: z }, at(10.0), 40.0),
            Surface::new("face", Plane { point: at(FACE), normal: z }, at(FACE), 12.0),
            Surface::new("boss", round(12.0), at(16.0), 13.2),
        ],
        holes: Vec::new(),
    }
}

fn views(elevation: f64, count: usize) -> Vec<Viewpoint> {
    let target = Point3::new(0.0, 0.0, 10.0);
    (0..count)
        .map(|k| {
            let azimuth = std::f64::consts::TAU * k as f64 / count as f64;
            Viewpoint::around(target, azimuth, elevation, 400.0)
        })
        .collect()
}

struct Seen {
    truth: SimulatedScan,
    scan: Scan,
}

fn seen(views: &[Viewpoint], baseline: f64) -> Seen {
    let scanner =
        Scanner { resolution: 0.8, noise: 0.03, outliers: 0.002, baseline, ..Scanner::default() };
    let truth = scan(&machine(), views, &scanner, &Pose::identity()).expect("a scan");
    let scan = truth.to_scan().expect("a sound mesh");
    Seen { truth, scan }
}

/// From all round at 45 degrees.
fn round() -> &'static Seen {
    static SEEN: OnceLock<Seen> = OnceLock::new();
    SEEN.get_or_init(|| seen(&views(0.8, 8), 110.0))
}

/// From straight above, with both eyes together: no wall is seen.
fn above() -> &'static Seen {
    static SEEN: OnceLock<Seen> = OnceLock::new();
    SEEN.get_or_init(|| seen(&views(std::f64::consts::FRAC_PI_2, 1), 1.0))
}

fn found(seen: &Seen, kind: &str, region: &Region) -> Feature {
    let used = region.trimmed_at_most(2.0 * seen.scan.resolution()).0;
    let (points, normals) = (used.points(), used.normals());
    let mut input = associate::Input::new(&points);
    input.normals = Some(&normals);
    let fitter = fitter_by_id(&format!("builtin.{kind}")).expect("a fitter");
    let fit = fitter.fit(&input, &Request::default()).expect("a fit");
    Feature::associated(kind, fitter.id(), fit, region).expect("a feature")
}

#[test]
fn a_region_is_the_surface_it_was_picked_on() {
    let seen = round();
    let machine = machine();
    let picks = [
        ("top", Grow::plane(&seen.scan), Point3::new(22.0, 18.0, 10.3)),
        ("face", Grow::plane(&seen.scan), Point3::new(8.0, 0.5, 22.2)),
        ("boss", Grow::cylinder(&seen.scan), Point3::new(0.4, 12.2, 15.0)),
    ];
    for (name, grow, pick) in picks {
        let region = seen.scan.grow_untrimmed(pick, &grow).expect("a region");
        let truth = seen.truth.points_on(machine.surface(name).expect("a surface"));
        let common = region.ids().iter().filter(|i| truth.binary_search(i).is_ok()).count();
        // What is not on the ideal surface is the start of a rounded edge, within the noise of it;
        // what is left out are points whose normal already takes part in that edge, and outliers.
        let precision = common as f64 / region.ids().len() as f64;
        let recall = common as f64 / truth.len() as f64;
        assert!(precision > 0.85 && recall > 0.9, "{name}: precision {precision}, recall {recall}");
        let trimmed = seen.scan.grow(pick, &grow).expect("a region");
        let on = trimmed.ids().iter().filter(|i| truth.binary_search(i).is_ok()).count();
        assert!(on as f64 / trimmed.ids().len() as f64 > 0.99, "{name}: trimmed");
    }
    // A region along a cylinder has no limit on how far the normal turns: all that was seen is one.
    let boss = seen.scan.grow(Point3::new(0.4, 12.2, 15.0), &Grow::cylinder(&seen.scan));
    let boss = found(seen, "cylinder", &boss.expect("a region"));
    let arc = boss.quality.expect("a quality").arc;
    assert!(arc > 5.2, "{arc}");
}

#[test]
fn regions_are_cut_by_box_sphere_and_shape() {
    let seen = round();
    let points = seen.scan.points();
    let (low, high) = (Point3::new(-30.0, -25.0, 9.0), Point3::new(0.0, 0.0, 11.0));
    let boxed = Region::in_box(&seen.scan, low, high).expect("points in the box");
    let inside = |p: &Point3| (0..3).all(|k| low[k] <= p[k] && p[k] <= high[k]);
    assert_eq!(boxed.ids().len(), points.iter().filter(|p| inside(p)).count());
    let centre = Point3::new(0.0, 0.0, FACE);
    let ball = Region::in_sphere(&seen.scan, centre, 7.0).expect("points in the sphere");
    assert_eq!(ball.ids().len(), points.iter().filter(|p| (*p - centre).norm() <= 7.0).count());
    let plane = Plane { point: centre, normal: Vec3::z_axis() }.into();
    let near = Region::near(&seen.scan, &plane, 0.2).expect("points near the plane");
    assert_eq!(near.ids().len(), points.iter().filter(|p| (p.z - FACE).abs() <= 0.2).count());
    let far = Region::in_sphere(&seen.scan, Point3::new(500.0, 0.0, 0.0), 1.0);
    assert!(matches!(far, Err(Error::EmptyRegion { .. })));
    let turned = Region::in_box(&seen.scan, high, low);
    assert!(matches!(turned, Err(Error::Argument { .. })));
}

#[test]
fn a_pick_that_is_off_or_on_another_shape_is_told() {
    let seen = round();
    let off = seen.scan.grow(Point3::new(0.0, 0.0, 90.0), &Grow::plane(&seen.scan));
    assert!(matches!(off, Err(Error::PickOffSurface { .. })), "{off:?}");
    let nan = seen.scan.grow(Point3::new(f64::NAN, 0.0, 0.0), &Grow::plane(&seen.scan));
    assert!(matches!(nan, Err(Error::Argument { .. })));
}

fn hole(seen: &Seen) -> (Feature, Region) {
    hole_by(seen, Criterion::LeastSquares)
}

fn hole_by(seen: &Seen, criterion: Criterion) -> (Feature, Region) {
    let whole = seen.scan.grow_untrimmed(Point3::new(8.0, 0.5, 22.2), &Grow::plane(&seen.scan));
    let whole = whole.expect("the face");
    let face = found(seen, "plane", &whole);
    let search = HoleSearch {
        noise_model: None,
        name: "hole",
        face: &face,
        face_region: &whole,
        pick: Point3::new(1.0, -1.5, FACE),
        largest_radius: None,
    };
    let mut request = Request::default();
    request.criterion = criterion;
    search.find(&request).expect("a hole")
}

fn cylinder(f: &Feature) -> Cylinder {
    let Primitive::Cylinder(c) = &f.shape else { panic!("a hole is a cylinder") };
    *c
}

#[test]
fn a_hole_whose_wall_was_seen_has_its_axis_from_there() {
    let (hole, wall) = hole(round());
    let c = cylinder(&hole);
    assert_eq!(hole.kind, FeatureKind::Hole);
    assert!(!wall.ids().is_empty());
    assert!(hole.notes.iter().any(|n| n.contains("wall")), "{:?}", hole.notes);
    assert!((c.radius - BORE).abs() < 3.0 * hole.covariance.size(0), "{}", c.radius);
    let off = c.point.coords.xy().norm();
    assert!(off < 3.0 * hole.covariance.deviation_at(&c.point), "{off}");
    assert!(c.axis.z > 0.99, "out of the material");
    assert!((c.point.z - FACE).abs() < 0.05, "at the face: {}", c.point.z);
}

/// The largest pin that enters the bore that was seen, and the smallest ring round its points: each
/// touches the points that it names and no point of the wall is on the wrong side.
#[test]
fn a_hole_has_its_largest_pin() {
    for seen in [round(), above()] {
        let least = cylinder(&hole(seen).0);
        for (criterion, side) in
            [(Criterion::MaximumInscribed, 1.0), (Criterion::MinimumCircumscribed, -1.0)]
        {
            let (found, wall) = hole_by(seen, criterion);
            let (c, quality) = (cylinder(&found), found.quality.expect("a fit"));
            assert!(side * (least.radius - c.radius) > 0.0, "{} {}", least.radius, c.radius);
            assert_eq!(quality.criterion, criterion);
            assert!(quality.contacts.len() >= 3, "{}", quality.contacts.len());
            for p in &quality.contacts {
                assert!(c.distance(p).abs() < 1e-9, "{}", c.distance(p));
            }
            let beyond = wall.points().iter().filter(|p| side * c.distance(p) < -1e-9).count();
            assert!(beyond <= quality.rejected, "{beyond} beyond, {} rejected", quality.rejected);
        }
    }
}

#[test]
fn a_hole_seen_from_above_is_placed_by_its_rim_and_says_so() {
    let (hole, wall) = hole(above());
    let c = cylinder(&hole);
    assert!(wall.ids().is_empty());
    assert!(hole.notes.iter().any(|n| n.contains("rim alone")), "{:?}", hole.notes);
    // The rim lies short of the edge: the place is far better than the size.
    assert!(c.point.coords.xy().norm() < 0.2, "{:?}", c.point);
    assert!((c.radius - BORE).abs() < 2.0 * hole.covariance.size(0), "{}", c.radius);
    assert!(c.radius > BORE, "a rim reads large, not {}", c.radius);
}

fn made(name: &str, kind: FeatureKind, shape: Primitive) -> Feature {
    let mut covariance = Covariance::zero(shape.point());
    for k in 0..3 {
        covariance.matrix[(k, k)] = 1e-4;
        covariance.matrix[(k + 3, k + 3)] = 1e-8;
    }
    Feature {
        noise: None,
        name: name.into(),
        kind,
        fitter: "made".into(),
        shape,
        pieces: vec![],
        covariance,
        quality: None,
        notes: vec![],
    }
}

fn plane(name: &str, point: [f64; 3], normal: [f64; 3]) -> Feature {
    let normal = Direction::new_normalize(Vec3::from(normal));
    made(name, FeatureKind::Plane, Plane { point: point.into(), normal }.into())
}

fn axis(name: &str, point: [f64; 3], axis: [f64; 3]) -> Feature {
    let axis = Direction::new_normalize(Vec3::from(axis));
    made(name, FeatureKind::Cylinder, Cylinder { point: point.into(), axis, radius: 5.0 }.into())
}

#[test]
fn planes_meet_in_the_line_that_lies_on_both() {
    let (a, b) = (
        plane("a", [0.0, 0.0, 2.0], [0.0, 0.1, 1.0]),
        plane("b", [7.0, 1.0, 0.0], [1.0, 0.0, 0.3]),
    );
    let line = intersection("edge", &a, &b).expect("a line");
    let Primitive::Line(l) = &line.shape else { panic!("a line") };
    for t in [-100.0, 0.0, 100.0] {
        let p = l.point + l.direction.into_inner() * t;
        assert!(a.shape.distance(&p).abs() < 1e-12 && b.shape.distance(&p).abs() < 1e-12);
    }
    let parallel = plane("c", [0.0, 0.0, 9.0], [0.0, 0.1, 1.0]);
    let error = intersection("edge", &a, &parallel).expect_err("parallel planes do not meet");
    assert!(error.to_string().contains("parallel"), "{error}");
}

#[test]
fn square_planes_hand_their_uncertainty_to_their_line() {
    // Each plane is sure to 0.01 mm; their line is as sure across each of them, and free along itself.
    let (a, b) = (
        plane("a", [0.0, 0.0, 0.0], [0.0, 0.0, 1.0]),
        plane("b", [0.0, 0.0, 0.0], [1.0, 0.0, 0.0]),
    );
    let line = intersection("edge", &a, &b).expect("a line");
    let at = line.shape.point();
    for across in [Vec3::x_axis(), Vec3::z_axis()] {
        assert!((line.covariance.variance_along(&at, &across).sqrt() - 0.01).abs() < 1e-6);
    }
    assert!(line.covariance.variance_along(&at, &Vec3::y_axis()) < 1e-12);
}

#[test]
fn an_axis_meets_a_plane_in_the_point_on_both() {
    let (a, b) = (
        plane("a", [0.0, 0.0, 2.0], [0.0, 0.1, 1.0]),
        axis("b", [3.0, 4.0, 50.0], [0.1, 0.0, 1.0]),
    );
    for (x, y) in [(&a, &b), (&b, &a)] {
        let point = intersection("point", x, y).expect("a point");
        assert_eq!(point.kind, FeatureKind::Point);
        let p = point.shape.point();
        assert!(a.shape.distance(&p).abs() < 1e-12);
        assert!(
            (b.shape.distance(&p) + 5.0).abs() < 1e-12,
            "on the axis, 5 mm inside the cylinder"
        );
    }
}

#[test]
fn a_midplane_is_as_far_from_either() {
    let (a, b) = (
        plane("a", [0.0, 0.0, 0.0], [0.0, 0.0, 1.0]),
        plane("b", [0.0, 0.0, 10.0], [0.0, 0.02, -1.0]),
    );
    let middle = midplane("middle", &a, &b).expect("a midplane");
    let Primitive::Plane(m) = &middle.shape else { panic!("a plane") };
    for q in [Point3::new(3.0, 0.0, 0.0), Point3::new(-40.0, 90.0, 0.0)] {
        let p = m.project(&q);
        assert!((a.shape.distance(&p).abs() - b.shape.distance(&p).abs()).abs() < 1e-12);
    }
    let square = plane("c", [0.0; 3], [1.0, 0.0, 0.0]);
    assert!(matches!(midplane("none", &a, &square), Err(Error::Construction { .. })));
}

#[test]
fn distances_and_angles_are_what_they_were_made() {
    let deck = plane("deck", [0.0, 0.0, 0.0], [0.0, 0.0, 1.0]);
    let tilt = 0.7f64.to_radians();
    let boss = plane("boss", [40.0, 30.0, 12.0], [tilt.sin(), 0.0, tilt.cos()]);
    let r = relation(&deck, &boss).expect("a relation");
    assert!((r.distance - 12.0).abs() < 1e-12 && (r.angle.expect("an angle") - tilt).abs() < 1e-12);
    // At the boss, 50 mm from the deck's middle: 0.01 mm and 50 x 1e-4 rad of the deck, 0.01 of the boss.
    let expected = 2.0 * (2e-4 + (50.0f64 * 1e-4).powi(2)).sqrt();
    assert!((r.distance_uncertainty - expected).abs() < 1e-6, "{}", r.distance_uncertainty);
    let (a, b) =
        (axis("a", [0.0; 3], [0.0, 0.0, 1.0]), axis("b", [30.0, 40.0, 7.0], [0.0, 0.0, -1.0]));
    let r = relation(&a, &b).expect("a relation");
    assert!((r.distance - 50.0).abs() < 1e-12 && r.angle.expect("an angle").abs() < 1e-12);
    let c = axis("c", [0.0, 9.0, 0.0], [1.0, 0.0, 0.0]);
    let r = relation(&a, &c).expect("a relation");
    assert!((r.distance - 9.0).abs() < 1e-12, "{}", r.distance);
    let ball = made(
        "ball",
        FeatureKind::Sphere,
        Sphere { centre: Point3::new(3.0, 4.0, 8.0), radius: 2.0 }.into(),
    );
    let r = relation(&a, &ball).expect("a relation");
    assert!((r.distance - 5.0).abs() < 1e-12 && r.angle.is_none());
}
