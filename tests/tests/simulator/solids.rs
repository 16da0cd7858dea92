//! Bodies lie exactly on the ideal surfaces they are registered with.

use fitwright::primitive::{
    Cone, Cylinder, Direction, Plane, Point3, Primitive, Torus, Vec3, any_perpendicular,
};
use fitwright::simulate::mill::mill;
use fitwright::simulate::random::Random;
use fitwright::simulate::{Machine, Pipe, Solid};

use super::pose;

/// Random points of an ideal surface about `middle`, pushed off it by `off` along the normal.
fn near_surface(shape: &Primitive, middle: &Point3, off: f64, reach: f64) -> Vec<Point3> {
    let mut random = Random::new(5);
    let normal = |p: &Point3| match shape {
        Primitive::Plane(s) => s.normal,
        Primitive::Cylinder(s) => s.normal_at(p),
        Primitive::Cone(s) => s.normal_at(p),
        Primitive::Torus(s) => s.normal_at(p),
        other => panic!("not used here: {other:?}"),
    };
    let spread = |random: &mut Random| Vec3::from_fn(|_, _| 2.0 * random.uniform() - 1.0) * reach;
    (0..400)
        .map(|_| shape.project(&(middle + spread(&mut random))))
        .map(|p| p + normal(&p).into_inner() * off)
        .collect()
}

fn plane(machine: &Machine, name: &str) -> Plane {
    match machine.surface(name).unwrap().shape {
        Primitive::Plane(plane) => plane,
        ref other => panic!("{name} is {other:?}"),
    }
}

#[test]
fn bodies_have_the_distances_of_their_ideal_surfaces() {
    let pose = pose();
    let (z, origin) = (pose * Vec3::z_axis(), pose * Point3::origin());
    let frustum = Solid::turned(&pose, &[[15.0, 0.0], [20.0, 20.0]], 1.0);
    let half_angle = (5f64 / 20.0).atan();
    let cone = Cone { point: origin, axis: z, radius: 15.0, half_angle };
    let bar = Solid::cylinder(&pose, 8.0, -30.0, 30.0, 1.5);
    let round = Cylinder { point: origin, axis: z, radius: 8.0 };
    let tube = Solid::tube(&pose, [60.0, 40.0], 6.0, 3.0, 200.0);
    let outer = Plane { point: pose * Point3::new(30.0, 0.0, 0.0), normal: pose * Vec3::x_axis() };
    let inner = Plane { point: pose * Point3::new(0.0, 17.0, 0.0), normal: pose * -Vec3::y_axis() };
    let on_cone = pose * Point3::new(17.5, 0.0, 10.0);
    let cases: [(&str, Solid, Primitive, Point3); 4] = [
        ("frustum", frustum, cone.into(), on_cone),
        ("bar", bar, round.into(), origin),
        ("tube outside", tube.clone(), outer.into(), outer.point),
        ("tube inside", tube, inner.into(), inner.point),
    ];
    for (name, solid, shape, middle) in cases {
        for off in [-0.8, 0.0, 0.5, 3.0] {
            for p in near_surface(&shape, &middle, off, 5.0) {
                let found = solid.distance(&p);
                assert!((found - off).abs() < 1e-10, "{name}: {found} instead of {off}");
            }
        }
    }
}

#[test]
fn rounded_edges_are_arcs() {
    // A box' edge of radius 3 is an arc about the point 3 mm inside both faces.
    let cuboid = Solid::cuboid(&pose(), Vec3::new(40.0, 30.0, 20.0), 3.0);
    // A bore's mouth rounded with 0.5, and a fillet of 2 where a bar stands on a plate.
    let plate = Solid::cuboid(&pose(), Vec3::new(40.0, 40.0, 10.0), 0.0);
    let bored = plate.cut(&Solid::cylinder(&pose(), 4.0, -20.0, 20.0, 0.0), 0.5);
    let bar = Solid::cylinder(&pose(), 6.0, 0.0, 30.0, 0.0);
    let filleted = Solid::union(vec![plate, bar], 2.0);
    for angle in [0.1, 0.7, 1.5f64] {
        let (sin, cos) = angle.sin_cos();
        for (name, solid, p) in [
            ("box", &cuboid, Point3::new(17.0 + 3.0 * cos, 12.0 + 3.0 * sin, 1.0)),
            ("mouth", &bored, Point3::new(4.5 - 0.5 * cos, 0.0, 4.5 + 0.5 * sin)),
            ("fillet", &filleted, Point3::new(8.0 - 2.0 * cos, 0.0, 7.0 - 2.0 * sin)),
        ] {
            let distance = solid.distance(&(pose() * p));
            assert!(distance.abs() < 1e-12, "{name} at {angle}: {distance}");
        }
    }
}

#[test]
fn bent_pipe_is_tangent_legs_and_bends() {
    let path = [[0.0, 0.0, 0.0], [0.0, 0.0, 100.0], [120.0, 0.0, 100.0]].map(Point3::from);
    let pipe = Pipe::new(&path, 40.0, 11.0);
    // A right angle: the bend's centre lies one bend radius inside both legs.
    let centre = Point3::new(40.0, 0.0, 60.0);
    let bend = Torus { centre, axis: Vec3::y_axis(), major_radius: 40.0, minor_radius: 11.0 };
    let surfaces = pipe.surfaces();
    let Primitive::Torus(torus) = &surfaces[1] else { panic!("the bend is no torus") };
    assert!((torus.centre - bend.centre).norm() < 1e-12);
    assert!(torus.axis.cross(&bend.axis).norm() < 1e-12);
    assert_eq!((torus.major_radius, torus.minor_radius), (40.0, 11.0));
    let on_bend = Point3::new(40.0 - 40.0 / 2f64.sqrt(), 0.0, 60.0 + 40.0 / 2f64.sqrt());
    for off in [-2.0, 0.0, 7.0] {
        for p in near_surface(&bend.into(), &on_bend, off, 3.0) {
            assert!((pipe.distance(&p) - off).abs() < 1e-10);
        }
        assert!((pipe.distance(&Point3::new(11.0 + off, 0.0, 20.0)) - off).abs() < 1e-12);
        assert!((pipe.distance(&Point3::new(90.0, 11.0 + off, 100.0)) - off).abs() < 1e-12);
    }
    // Beyond the end, the round cap.
    assert!((pipe.distance(&Point3::new(140.0, 0.0, 100.0)) - 9.0).abs() < 1e-12);
}

#[test]
fn the_part_of_a_solid_near_a_place_is_the_same_to_the_bit() {
    let machine = mill();
    let mut random = Random::new(8);
    for centre in [[0.0, 0.0, 0.0], [80.0, 128.0, 20.0], [-110.0, -84.0, -90.0], [53.0, -66.0, 0.0]]
    {
        let centre = Point3::from(centre);
        let (_, part) = machine.solid.near(&centre, 9.0);
        for _ in 0..300 {
            let step = random.normal_vector().normalize() * (9.0 * random.uniform());
            let p = centre + step;
            assert_eq!(part.distance(&p), machine.solid.distance(&p), "{p}");
        }
    }
}

#[test]
fn mill_lies_exactly_on_its_registered_surfaces() {
    let machine = mill();
    for (name, middle, spread) in [
        ("deck", [-119.0, 50.0, 0.0], 30.0),
        ("side", [116.0, 40.0, -85.0], 30.0),
        ("lube filter", [90.0, -104.0, 30.0], 15.0),
        ("guard cone", [-110.0, -130.0, -50.0], 12.0),
        ("shaft", [-110.0, -200.0, -76.0], 8.0),
        ("pipe 1", [80.0, 117.0, 25.0], 8.0),
        ("pipe 2", [66.0, 128.0, 80.0], 3.0),
        ("pipe 3", [-25.0, 123.0, 85.0], 12.0),
        ("tie bar", [37.0, 38.0, 90.0], 40.0),
        ("post front face", [230.0, 16.0, 20.0], 10.0),
        ("rail top", [180.0, -30.0, -189.0], 8.0),
    ] {
        let middle = Point3::from(middle);
        let surface = machine.surface(name).unwrap();
        for off in [-1.0, 0.0, 2.0] {
            for p in near_surface(&surface.shape, &middle, off, spread) {
                let found = machine.solid.distance(&p);
                assert!((found - off).abs() < 1e-9, "{name}: {found} instead of {off} at {p}");
            }
        }
    }
}

#[test]
fn mill_has_its_holes() {
    let machine = mill();
    assert_eq!(machine.holes.len(), 3);
    for hole in &machine.holes {
        // In the bore the outward direction is towards the axis.
        let axis = hole.wall.axis.into_inner();
        let across = any_perpendicular(&hole.wall.axis).into_inner();
        for depth in [1.0, 5.0, 20.0] {
            let p = hole.wall.point - axis * depth + across * (hole.wall.radius - 0.25);
            assert!((machine.solid.distance(&p) - 0.25).abs() < 1e-9, "{}", hole.name);
        }
        assert!(machine.solid.distance(&(hole.wall.point - axis * (hole.depth + 0.5))) < 0.0);
        // The face, half way between the mouth's and the boss' rounding.
        assert!(machine.solid.distance(&(hole.wall.point + across * 9.0)).abs() < 1e-9);
    }
}

#[test]
fn datum_recipe_on_the_true_surfaces_gives_the_machine_frame() {
    let machine = mill();
    let (deck, side) = (plane(&machine, "deck"), plane(&machine, "side"));
    let axis = machine.hole("hole A").unwrap().wall.axis_line();
    let z = deck.normal;
    let x = side.normal.into_inner() - z.into_inner() * side.normal.dot(&z);
    let t = -deck.distance(&axis.point) / z.dot(&axis.direction);
    let origin = axis.point + axis.direction.into_inner() * t;
    assert!((z.into_inner() - Vec3::z()).norm() < 1e-15);
    assert!((Direction::new_normalize(x).into_inner() - Vec3::x()).norm() < 1e-15);
    assert!(origin.coords.norm() < 1e-14);
    // The faces are as far from square and from parallel as the scenario says.
    let angle = side.normal.angle(&z).to_degrees();
    assert!((angle - 89.6).abs() < 1e-9, "{angle}");
    for (name, height, tilt) in [("A", 2.0, 0.25), ("B", 9.5, 0.8), ("C", 5.2, 0.6)] {
        let face = machine.hole(&format!("hole {name}")).unwrap().face;
        assert!((face.point.z - height).abs() < 1e-12);
        assert!((face.normal.angle(&z).to_degrees() - tilt).abs() < 1e-9);
    }
}
