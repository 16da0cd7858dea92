//! The grain mill: a cast gearbox on a frame of hollow section, with what stands round it.
//!
//! Machine coordinates are exactly the frame of the demo's datum system: the deck lies in z = 0 with
//! its normal along z, the side plane's normal projected onto the deck is x, and the axis of hole A
//! meets the deck at the origin.

use nalgebra::{Rotation3, Translation3, UnitQuaternion};

use super::super::machine::{Bore, Machine, Surface};
use super::super::solid::{Pipe, Solid};
use crate::primitive::{Cone, Cylinder, Direction, Plane, Point3, Pose, Vec3, frame_from_axis};

/// Places of the three bosses: name, where the hole's axis meets z = 0, height of the face, tilt
/// and azimuth of the tilt in degrees.
pub(super) const BOSSES: [(&str, [f64; 2], f64, f64, f64); 3] = [
    ("A", [0.0, 0.0], 2.0, 0.25, 40.0),
    ("B", [84.0, 14.0], 9.5, 0.80, 160.0),
    ("C", [26.0, 76.0], 5.2, 0.60, -70.0),
];
/// Radius of the machine's holes: clearance for M8.
pub(super) const HOLE_RADIUS: f64 = 4.5;
/// Radius of the lube filter.
pub(super) const FILTER_RADIUS: f64 = 38.0;
/// Radius of the tie bar, and the place in y of its axis.
pub(super) const BAR_RADIUS: f64 = 8.0;
pub(super) const BAR_Y: f64 = 46.0;

/// Builds the mill.
pub(super) fn machine() -> Machine {
    let mut m = Builder::default();
    let casting = gearbox(&mut m);
    m.bodies.push(casting);
    filter(&mut m);
    guard(&mut m);
    frame(&mut m);
    tie_bar(&mut m);
    pipe(&mut m);
    Machine { solid: Solid::union(m.bodies, 0.0), surfaces: m.surfaces, holes: m.holes }
}

/// Axis of the lube filter: leans a little, as cast.
pub(super) fn filter_axis() -> Cylinder {
    let axis = tilted(0.35, 250.0);
    Cylinder { point: Point3::new(53.0, -104.0, 30.0), axis, radius: FILTER_RADIUS }
}

/// Tie bar: parallel to the x-z plane, rising towards x.
pub(super) fn bar() -> Cylinder {
    let (sin, cos) = 5f64.to_radians().sin_cos();
    let axis = Direction::new_unchecked(Vec3::new(cos, 0.0, sin));
    Cylinder { point: Point3::new(37.0, BAR_Y, 90.0), axis, radius: BAR_RADIUS }
}

/// Frame of a boss: origin where the hole's axis meets the face, z out of the material.
pub(super) fn boss_frame(index: usize) -> Pose {
    let (_, [x, y], height, tilt, azimuth) = BOSSES[index];
    let axis = tilted(tilt, azimuth);
    along(Point3::new(x, y, 0.0) + axis.into_inner() * (height / axis.z), &axis)
}

#[derive(Default)]
struct Builder {
    bodies: Vec<Solid>,
    surfaces: Vec<Surface>,
    holes: Vec<Bore>,
}

impl Builder {
    fn plane(&mut self, name: &str, point: Point3, normal: Direction, reach: f64) {
        self.surfaces.push(Surface::new(name, Plane { point, normal }, point, reach));
    }
}

fn gearbox(m: &mut Builder) -> Solid {
    let mut parts = vec![
        block([-190.0, 110.0], [-60.0, 160.0], [-190.0, -8.0], 8.0),
        // Flange of the split housing.
        block([-202.0, 122.0], [-72.0, 172.0], [-158.0, -142.0], 3.0),
        // Head of the lube filter.
        block([13.0, 93.0], [-148.0, -50.0], [-62.0, -22.0], 6.0),
        // Bearing housings.
        Solid::cylinder(
            &along(Point3::new(-110.0, -60.0, -90.0), &-Vec3::y_axis()),
            62.0,
            -20.0,
            24.0,
            3.0,
        ),
        Solid::cylinder(
            &along(Point3::new(-110.0, 160.0, -90.0), &Vec3::y_axis()),
            54.0,
            -20.0,
            20.0,
            3.0,
        ),
        Solid::cylinder(
            &along(Point3::new(40.0, 160.0, -80.0), &Vec3::y_axis()),
            40.0,
            -20.0,
            14.0,
            3.0,
        ),
        // Foot of the bent pipe, breather.
        Solid::cylinder(&upright(80.0, 128.0, -8.0), 21.0, -10.0, 12.0, 2.0),
        Solid::cylinder(&upright(92.0, 74.0, -8.0), 11.0, -10.0, 18.0, 2.0),
        deck(m),
        side(m),
    ];
    for (index, (name, ..)) in BOSSES.iter().enumerate() {
        parts.push(boss(m, index, name));
    }
    let mut solid = Solid::union(parts, 4.0);
    for hole in &m.holes {
        solid = drilled(
            &solid,
            &along(hole.wall.point, &hole.wall.axis),
            hole.wall.radius,
            hole.depth,
            hole.edge,
        );
    }
    for [x, y] in [[-170.0, -18.0], [-68.0, -18.0], [-170.0, 118.0], [-68.0, 118.0]] {
        solid = drilled(&solid, &upright(x, y, 0.0), 3.3, 18.0, 0.4);
    }
    m.bodies.extend(bolt_heads());
    solid
}

fn deck(m: &mut Builder) -> Solid {
    m.plane("deck", Point3::new(-119.0, 50.0, 0.0), Vec3::z_axis(), 110.0);
    block([-182.0, -56.0], [-30.0, 130.0], [-30.0, 0.0], 1.0)
}

fn side(m: &mut Builder) -> Solid {
    // Off square from the deck by 0.4 degrees; its normal still projects onto x.
    let turn = UnitQuaternion::from_axis_angle(&Vec3::y_axis(), -0.4f64.to_radians());
    let face = Point3::new(116.0, 40.0, -85.0);
    let middle = face - turn * Vec3::x() * 15.0;
    m.plane("side", face, Direction::new_normalize(turn * Vec3::x()), 90.0);
    let pose = Pose::from_parts(Translation3::from(middle.coords), turn);
    Solid::cuboid(&pose, Vec3::new(30.0, 140.0, 100.0), 1.0)
}

fn boss(m: &mut Builder, index: usize, name: &str) -> Solid {
    let frame = boss_frame(index);
    let normal = Direction::new_normalize(frame * Vec3::z());
    let point = Point3::from(frame.translation.vector);
    let face = Plane { point, normal };
    m.plane(&format!("boss {name}"), point, normal, 15.0);
    let wall = Cylinder { point, axis: normal, radius: HOLE_RADIUS };
    let (name, depth) = (format!("hole {name}"), 32.0);
    let middle = point - normal.into_inner() * (depth / 2.0);
    m.surfaces.push(Surface::new(&name, wall, middle, depth / 2.0 + 5.0));
    m.holes.push(Bore { name, wall, face, depth, edge: 0.4 });
    Solid::cylinder(&frame, 14.0, -30.0, 0.0, 1.0)
}

fn filter(m: &mut Builder) {
    let wall = filter_axis();
    let pose = along(wall.point, &wall.axis);
    m.surfaces.push(Surface::new("lube filter", wall, wall.point, 60.0));
    m.bodies.push(Solid::cylinder(&pose, FILTER_RADIUS, -56.0, 52.0, 8.0));
    m.bodies.push(Solid::cylinder(&pose, FILTER_RADIUS + 2.5, -54.0, -44.0, 2.0));
    m.bodies.push(Solid::extruded(
        &(pose * Pose::translation(0.0, 0.0, 52.0)),
        &hexagon(13.0),
        16.0,
        1.0,
    ));
}

fn guard(m: &mut Builder) {
    let half_angle = 20f64.to_radians();
    let base = Point3::new(-110.0, -84.0, -90.0);
    let pose = along(base, &-Vec3::y_axis());
    let (large, length) = (56.0, 86.0);
    let small = large - length * half_angle.tan();
    let middle = base - Vec3::y() * (length / 2.0);
    let cone = Cone { point: base, axis: Vec3::y_axis(), radius: large, half_angle };
    m.surfaces.push(Surface::new("guard cone", cone, middle, 75.0));
    // The shaft turns free in the guard's mouth.
    let mouth = Solid::cylinder(&pose, 18.0, 60.0, 100.0, 0.0);
    m.bodies.push(Solid::turned(&pose, &[[large, 0.0], [small, length]], 1.0).cut(&mouth, 1.0));
    let shaft = Cylinder { point: base - Vec3::y() * 110.0, axis: -Vec3::y_axis(), radius: 14.0 };
    m.surfaces.push(Surface::new("shaft", shaft, shaft.point, 30.0));
    m.bodies.push(Solid::cylinder(&pose, 14.0, 0.0, 136.0, 1.0));
}

fn frame(m: &mut Builder) {
    let section = [60.0, 40.0];
    let mut tube = |middle: Point3, axis: Direction, wide: Direction, length: f64| {
        let x = wide.into_inner();
        let rotation = Rotation3::from_basis_unchecked(&[x, axis.cross(&x), axis.into_inner()]);
        let pose = Pose::from_parts(middle.into(), UnitQuaternion::from_rotation_matrix(&rotation));
        m.bodies.push(Solid::tube(&pose, section, 8.0, 5.0, length));
    };
    let (x, y, z) = (Vec3::x_axis(), Vec3::y_axis(), Vec3::z_axis());
    for side in [-30.0, 130.0] {
        tube(Point3::new(-20.0, side, -219.0), x, z, 540.0);
    }
    for end in [-270.0, 230.0] {
        tube(Point3::new(end, 50.0, -219.0), y, z, 122.0);
        tube(Point3::new(end, 50.0, -278.0), y, z, 300.0);
        tube(Point3::new(end, BAR_Y, -15.0), z, y, 350.0);
    }
    m.plane("post inner face", Point3::new(210.0, BAR_Y, 20.0), -x, 150.0);
    m.plane("post front face", Point3::new(230.0, BAR_Y - 30.0, 20.0), -y, 150.0);
    m.plane("rail top", Point3::new(180.0, -30.0, -189.0), z, 66.0);
}

fn tie_bar(m: &mut Builder) {
    let bar = bar();
    m.surfaces.push(Surface::new("tie bar", bar, bar.point, 270.0));
    m.bodies.push(Solid::cylinder(&along(bar.point, &bar.axis), BAR_RADIUS, -296.0, 182.0, 1.0));
    let nut = |at: f64| along(bar.axis_line().point + bar.axis.into_inner() * at, &bar.axis);
    m.bodies.extend([-283.8, 169.4].map(|at| Solid::extruded(&nut(at), &hexagon(14.0), 12.0, 1.0)));
}

fn pipe(m: &mut Builder) {
    let path = [
        Point3::new(80.0, 128.0, -30.0),
        Point3::new(80.0, 128.0, 85.0),
        Point3::new(-130.0, 140.0, 85.0),
        Point3::new(-160.0, 300.0, 10.0),
    ];
    let pipe = Pipe::new(&path, 45.0, 11.0);
    m.surfaces.extend(Surface::of_pipe("pipe", &pipe, 110.0));
    m.bodies.push(Solid::pipe(&pipe));
    let out = Direction::new_normalize(path[3] - path[2]);
    m.bodies.push(Solid::extruded(&along(path[3], &out), &hexagon(16.0), 36.0, 2.0));
}

/// Heads of the bolts through the flange and round the bearing housings.
fn bolt_heads() -> Vec<Solid> {
    let mut places = Vec::new();
    for x in [-150.0, -50.0, 20.0, 80.0] {
        places.push(along(Point3::new(x, 166.0, -142.0), &Vec3::z_axis()));
    }
    for y in [0.0, 50.0, 100.0] {
        places.push(along(Point3::new(-196.0, y, -142.0), &Vec3::z_axis()));
    }
    for k in 0..6 {
        let (sin, cos) = (f64::from(k) * 60f64.to_radians() + 0.3).sin_cos();
        places.push(along(
            Point3::new(-110.0 + 42.0 * cos, 180.0, -90.0 + 42.0 * sin),
            &Vec3::y_axis(),
        ));
        places.push(along(
            Point3::new(40.0 + 29.0 * cos, 174.0, -80.0 + 29.0 * sin),
            &Vec3::y_axis(),
        ));
    }
    places.iter().map(|pose| Solid::extruded(pose, &hexagon(5.5), 11.0, 0.5)).collect()
}

fn drilled(solid: &Solid, face: &Pose, radius: f64, depth: f64, edge: f64) -> Solid {
    // Ends well above the face, so that the tool's own end takes no part in the mouth's rounding.
    solid.cut(&Solid::cylinder(face, radius, -depth, 10.0, 0.0), edge)
}

fn block(x: [f64; 2], y: [f64; 2], z: [f64; 2], edge: f64) -> Solid {
    let (low, high) = (Vec3::new(x[0], y[0], z[0]), Vec3::new(x[1], y[1], z[1]));
    let middle = (low + high) / 2.0;
    Solid::cuboid(&Pose::translation(middle.x, middle.y, middle.z), high - low, edge)
}

fn upright(x: f64, y: f64, z: f64) -> Pose {
    Pose::translation(x, y, z)
}

/// Frame at a point with z along an axis.
pub(super) fn along(point: Point3, axis: &Direction) -> Pose {
    let rotation = UnitQuaternion::from_rotation_matrix(&frame_from_axis(axis));
    Pose::from_parts(Translation3::from(point.coords), rotation)
}

/// z leaning by `tilt` towards an azimuth from x, both in degrees.
fn tilted(tilt: f64, azimuth: f64) -> Direction {
    let (s, c) = tilt.to_radians().sin_cos();
    let (sa, ca) = azimuth.to_radians().sin_cos();
    Direction::new_normalize(Vec3::new(s * ca, s * sa, c))
}

/// Hexagon of the given radius of its inscribed circle.
fn hexagon(inscribed: f64) -> Vec<[f64; 2]> {
    let r = inscribed / 30f64.to_radians().cos();
    (0..6)
        .map(|k| (f64::from(k) * 60f64.to_radians()).sin_cos())
        .map(|(s, c)| [r * c, r * s])
        .collect()
}
