//! Random features of every form with what must arrive: analytic area, centroid by quadrature, parameters.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use fitwright::associate::Covariance;
use fitwright::feature::{Feature, FeatureKind};
use nalgebra::DMatrix;

use fitwright::primitive::{
    Bounded, Circle, Composite, Cone, Cylinder, Direction, Extent, Line, Plane, Point3, Primitive,
    Sphere, Torus, Vec3,
};

/// What a feature must look like when it is read back.
#[derive(Default, Clone)]
pub(crate) struct Expected {
    pub(crate) layer: String,
    pub(crate) faces: Vec<Face>,
    pub(crate) edges: Vec<Edge>,
    pub(crate) points: Vec<Point3>,
    pub(crate) properties: Vec<(String, f64)>,
}

#[derive(Clone)]
pub(crate) struct Face {
    pub(crate) surface: &'static str,
    /// A point on the axis, and whether it is the location itself.
    pub(crate) location: (Point3, bool),
    /// Absent for a sphere, whose axis is free.
    pub(crate) axis: Option<Vec3>,
    pub(crate) sizes: Vec<(&'static str, f64)>,
    pub(crate) area: f64,
    pub(crate) centroid: Point3,
    pub(crate) reversed: bool,
}

#[derive(Clone)]
pub(crate) enum Edge {
    Segment(Point3, Point3),
    Circle { centre: Point3, normal: Vec3, radius: f64, ends: Option<(Point3, Point3)> },
}

/// Random numbers, the same everywhere (S. Vigna's SplitMix64, 2015).
pub(crate) struct Random(pub u64);

impl Random {
    pub(crate) fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn range(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    fn axes(&mut self) -> Axes {
        let turn = nalgebra::Rotation3::from_euler_angles(
            self.range(-PI, PI),
            self.range(-FRAC_PI_2, FRAC_PI_2),
            self.range(-PI, PI),
        );
        let o = Point3::new(
            self.range(-2000.0, 2000.0),
            self.range(-2000.0, 2000.0),
            self.range(-2000.0, 2000.0),
        );
        Axes { o, x: turn * Vec3::x(), y: turn * Vec3::y(), z: turn * Vec3::z() }
    }

    /// Part of a turn that may cross the zero angle, or the whole turn.
    fn angles(&mut self, full: bool) -> (f64, f64) {
        let from = self.range(-PI, PI);
        (from, if full { from + TAU } else { from + self.range(0.2, 6.0) })
    }
}

/// Right-handed axes somewhere.
#[derive(Clone, Copy)]
struct Axes {
    o: Point3,
    x: Vec3,
    y: Vec3,
    z: Vec3,
}

impl Axes {
    fn at(&self, x: f64, y: f64, z: f64) -> Point3 {
        self.o + self.x * x + self.y * y + self.z * z
    }

    fn radial(&self, u: f64) -> Vec3 {
        self.x * u.cos() + self.y * u.sin()
    }

    fn direction(v: Vec3) -> Direction {
        Direction::new_normalize(v)
    }

    fn patch(&self, u: (f64, f64), v: (f64, f64)) -> Extent {
        Extent::Patch { zero: Self::direction(self.x), pole: Self::direction(self.z), u, v }
    }
}

/// Area and centroid of a patch of revolution whose profile gives radius, height and, per unit
/// of v, length; Simpson's rule in v, the integral over u being elementary.
fn centroid(
    a: &Axes,
    u: (f64, f64),
    v: (f64, f64),
    profile: impl Fn(f64) -> (f64, f64, f64),
) -> Point3 {
    let n = 2000;
    let (mut area, mut out, mut up) = (0.0, 0.0, 0.0);
    for i in 0..=n {
        let weight = if i == 0 || i == n {
            1.0
        } else if i % 2 == 1 {
            4.0
        } else {
            2.0
        };
        let (r, h, length) = profile(v.0 + (v.1 - v.0) * f64::from(i) / f64::from(n));
        area += weight * r * length;
        out += weight * r * r * length;
        up += weight * r * h * length;
    }
    let du = u.1 - u.0;
    let mean = (a.x * (u.1.sin() - u.0.sin()) + a.y * (u.0.cos() - u.1.cos())) / du;
    a.o + mean * (out / area) + a.z * (up / area)
}

pub(crate) fn cylinder(r: &mut Random, full: bool, reversed: bool) -> (Bounded, Expected) {
    let (a, radius, u) = (r.axes(), r.range(0.5, 300.0), r.angles(full));
    let from = r.range(-200.0, 200.0);
    let v = (from, from + r.range(0.5, 400.0));
    let shape = Cylinder { point: a.o, axis: Axes::direction(a.z), radius };
    let face = Face {
        surface: "cylinder",
        location: (a.o, false),
        axis: Some(a.z),
        sizes: vec![("radius", radius)],
        area: radius * (u.1 - u.0) * (v.1 - v.0),
        centroid: centroid(&a, u, v, |v| (radius, v, 1.0)),
        reversed,
    };
    one_face(shape.into(), a.patch(u, v), face)
}

/// `to_tip`: the patch begins at the tip (a full one is cut 0.001 mm before it).
pub(crate) fn cone(r: &mut Random, full: bool, to_tip: bool) -> (Bounded, Expected) {
    let (a, half_angle, u) = (r.axes(), r.range(0.05, 1.4), r.angles(full));
    let (tan, cos) = (half_angle.tan(), half_angle.cos());
    // The tip lies at a.o; the cone is located further up its axis.
    let shift = r.range(1.0, 100.0);
    let start = if to_tip { 0.0 } else { r.range(0.5, 50.0) };
    let z = (if to_tip && full { 0.001 } else { start }, start + r.range(1.0, 200.0));
    let axis = Axes::direction(a.z);
    let shape = Cone { point: a.at(0.0, 0.0, shift), axis, radius: shift * tan, half_angle };
    let face = Face {
        surface: "cone",
        location: (a.o, false),
        axis: Some(a.z),
        sizes: vec![("half_angle", half_angle)],
        area: (u.1 - u.0) * tan / cos * (z.1 * z.1 - z.0 * z.0) / 2.0,
        centroid: centroid(&a, u, z, |z| (z * tan, z, 1.0 / cos)),
        reversed: false,
    };
    one_face(shape.into(), a.patch(u, (start - shift, z.1 - shift)), face)
}

/// `poles`: whether the patch reaches the south and the north pole.
pub(crate) fn sphere(r: &mut Random, full: bool, poles: (bool, bool)) -> (Bounded, Expected) {
    let (a, radius, u) = (r.axes(), r.range(1.0, 200.0), r.angles(full));
    let low = if poles.0 { -FRAC_PI_2 } else { r.range(-1.4, 0.3) };
    let high = if poles.1 { FRAC_PI_2 } else { low + r.range(0.2, 1.0) };
    let v = (low, high);
    let shape = Sphere { centre: a.o, radius };
    let profile = |v: f64| (radius * v.cos(), radius * v.sin(), radius);
    let face = Face {
        surface: "sphere",
        location: (a.o, true),
        axis: None,
        sizes: vec![("radius", radius)],
        area: radius * radius * (u.1 - u.0) * (v.1.sin() - v.0.sin()),
        centroid: centroid(&a, u, v, profile),
        reversed: false,
    };
    one_face(shape.into(), a.patch(u, v), face)
}

pub(crate) fn whole_sphere(r: &mut Random) -> (Bounded, Expected) {
    let (mut bounded, expected) = sphere(r, true, (true, true));
    bounded.extent = Extent::Whole;
    (bounded, expected)
}

pub(crate) fn torus(r: &mut Random, full_u: bool, full_v: bool) -> (Bounded, Expected) {
    let (a, minor) = (r.axes(), r.range(0.5, 40.0));
    let major = minor + r.range(1.0, 200.0);
    let (u, v) = (r.angles(full_u), r.angles(full_v));
    let shape =
        Torus { centre: a.o, axis: Axes::direction(a.z), major_radius: major, minor_radius: minor };
    let profile = |v: f64| (major + minor * v.cos(), minor * v.sin(), minor);
    let area = |u: (f64, f64)| {
        (u.1 - u.0) * minor * (major * (v.1 - v.0) + minor * (v.1.sin() - v.0.sin()))
    };
    let face = |u| Face {
        surface: "torus",
        location: (a.o, true),
        axis: Some(a.z),
        sizes: vec![("major_radius", major), ("minor_radius", minor)],
        area: area(u),
        centroid: centroid(&a, u, v, profile),
        reversed: false,
    };
    // Whole tori come as two halves, the first beginning where the patch does.
    let middle = u.0 + PI;
    let faces = if full_u && full_v {
        vec![face((u.0, middle)), face((middle, u.1))]
    } else {
        vec![face(u)]
    };
    let bounded = Bounded { shape: shape.into(), extent: a.patch(u, v) };
    (bounded, Expected { faces, ..Expected::default() })
}

/// What a piece seen in part must look like when it is written complete.
pub(crate) fn completed(piece: &Bounded, mut meant: Expected) -> Expected {
    if let [Edge::Circle { ends, .. }] = &mut meant.edges[..] {
        *ends = None;
    }
    let (Extent::Patch { zero, u, .. }, [face]) = (&piece.extent, &mut meant.faces[..]) else {
        return meant;
    };
    match &piece.shape {
        Primitive::Sphere(s) => {
            (face.area, face.centroid) = (4.0 * PI * s.radius * s.radius, s.centre);
        }
        // Once round the tube, over the same part of the turn; the mean of r² over the tube is R² + r²/2.
        Primitive::Torus(t) => {
            let (big, small, turn) = (t.major_radius, t.minor_radius, u.1 - u.0);
            let (x, y) = (zero.into_inner(), t.axis.cross(zero));
            let mean = (x * (u.1.sin() - u.0.sin()) + y * (u.0.cos() - u.1.cos())) / turn;
            face.area = turn * TAU * big * small;
            face.centroid = t.centre + mean * ((big * big + small * small / 2.0) / big);
        }
        // Once round the axis, on which the centroid comes to lie.
        _ => {
            let (at, axis) = (face.location.0, face.axis.unwrap_or_default());
            face.area *= TAU / (u.1 - u.0);
            face.centroid = at + axis * axis.dot(&(face.centroid - at));
        }
    }
    meant
}

/// A star-shaped outline, with openings on two sides of its centre if wanted.
pub(crate) fn plane(r: &mut Random, holes: bool) -> (Bounded, Expected) {
    let a = r.axes();
    let n = 3 + (r.unit() * 40.0) as usize;
    let size = r.range(5.0, 500.0);
    let mut flat = vec![star(r, n, [0.0, 0.0], 0.6 * size, size)];
    if holes {
        // Inside the circle that lies inside every outline of four corners or more.
        let n = 4 + (r.unit() * 40.0) as usize;
        flat[0] = star(r, n, [0.0, 0.0], 0.9 * size, size);
        for side in [-1.0, 1.0] {
            let mut hole = star(r, 7, [side * 0.25 * size, 0.0], 0.05 * size, 0.15 * size);
            hole.reverse();
            flat.push(hole);
        }
    }
    let plane = Plane { point: a.at(r.range(-9.0, 9.0), 3.0, 0.0), normal: Axes::direction(a.z) };
    let (mut area, mut moment) = (0.0, [0.0, 0.0]);
    for (p, q) in flat.iter().flat_map(|l| l.iter().zip(l.iter().cycle().skip(1))) {
        let cross = p[0] * q[1] - q[0] * p[1];
        area += cross / 2.0;
        (0..2).for_each(|k| moment[k] += (p[k] + q[k]) * cross / 6.0);
    }
    // Measured points lie off the fitted plane; they have to be put on it.
    let mut lift = |l: &Vec<[f64; 2]>| -> Vec<Point3> {
        l.iter().map(|p| a.at(p[0], p[1], r.range(-0.05, 0.05))).collect()
    };
    let extent = Extent::Outline(flat.iter().map(&mut lift).collect());
    let face = Face {
        surface: "plane",
        location: (plane.point, true),
        axis: Some(a.z),
        sizes: vec![],
        area,
        centroid: a.at(moment[0] / area, moment[1] / area, 0.0),
        reversed: false,
    };
    one_face(plane.into(), extent, face)
}

fn star(r: &mut Random, n: usize, centre: [f64; 2], low: f64, high: f64) -> Vec<[f64; 2]> {
    let corner = |i: usize| {
        let angle = TAU * (i as f64 + 0.4 * r.unit()) / n as f64;
        let radius = r.range(low, high);
        [centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()]
    };
    (0..n).map(corner).collect()
}

pub(crate) fn segment(r: &mut Random) -> (Bounded, Expected) {
    let a = r.axes();
    let (from, to) = (r.range(-500.0, 500.0), r.range(600.0, 700.0));
    let shape = Line { point: a.o, direction: Axes::direction(a.z) };
    let ends = Edge::Segment(a.at(0.0, 0.0, from), a.at(0.0, 0.0, to));
    let bounded = Bounded { shape: shape.into(), extent: Extent::Segment(from, to) };
    (bounded, Expected { edges: vec![ends], ..Expected::default() })
}

pub(crate) fn circle(r: &mut Random, whole: bool) -> (Bounded, Expected) {
    let (a, radius, (from, to)) = (r.axes(), r.range(0.5, 500.0), r.angles(false));
    let shape = Circle { centre: a.o, normal: Axes::direction(a.z), radius };
    let zero = Axes::direction(a.x);
    let on = |t: f64| a.o + a.radial(t) * radius;
    let ends = (!whole).then(|| (on(from), on(to)));
    let extent = if whole { Extent::Whole } else { Extent::Arc { zero, from, to } };
    let edge = Edge::Circle { centre: a.o, normal: a.z, radius, ends };
    let bounded = Bounded { shape: shape.into(), extent };
    (bounded, Expected { edges: vec![edge], ..Expected::default() })
}

pub(crate) fn point(r: &mut Random) -> (Bounded, Expected) {
    let centre = r.axes().o;
    let shape = Sphere { centre, radius: 0.0 };
    let bounded = Bounded { shape: shape.into(), extent: Extent::Whole };
    (bounded, Expected { points: vec![centre], ..Expected::default() })
}

/// Wall, rim and axis; the centre of the rim must arrive as a point.
pub(crate) fn hole(r: &mut Random) -> (Vec<Bounded>, Expected) {
    let (wall, mut expected) = cylinder(r, true, true);
    let (Primitive::Cylinder(c), Extent::Patch { v, .. }) = (&wall.shape, &wall.extent) else {
        unreachable!("cylinder() makes a cylinder's patch")
    };
    let end = |t: f64| c.point + c.axis.into_inner() * t;
    let (centre, normal, radius) = (end(v.1), c.axis, c.radius);
    let rim = Circle { centre, normal, radius };
    let axis = Line { point: c.point, direction: c.axis };
    expected.edges = vec![
        Edge::Circle { centre, normal: normal.into_inner(), radius, ends: None },
        Edge::Segment(end(v.0), end(v.1)),
    ];
    expected.points = vec![centre];
    let rim = Bounded { shape: rim.into(), extent: Extent::Whole };
    let axis = Bounded { shape: axis.into(), extent: Extent::Segment(v.0, v.1) };
    (vec![wall, rim, axis], expected)
}

/// What a plug-in may return: planes, a cylinder and an axis in one.
pub(crate) fn composite(r: &mut Random) -> (Vec<Bounded>, Expected) {
    let parts =
        [plane(r, false), plane(r, true), cylinder(r, false, false), segment(r), circle(r, true)];
    let mut all = Expected::default();
    for (_, e) in &parts {
        all.faces.extend(e.faces.clone());
        all.edges.extend(e.edges.clone());
    }
    let pieces = parts.map(|(b, _)| b).to_vec();
    let shape = Composite {
        kind: "profile".into(),
        parameters: vec![],
        covariance: DMatrix::zeros(0, 0),
        pieces,
    };
    (vec![Bounded { shape: shape.into(), extent: Extent::Whole }], all)
}

/// A feature around its pieces, every other one with an uncertainty and the properties that say it.
pub(crate) fn feature(
    r: &mut Random,
    name: &str,
    kind: FeatureKind,
    pieces: Vec<Bounded>,
) -> (Feature, Vec<(String, f64)>) {
    let shape = pieces[0].shape.clone();
    let mut covariance = Covariance::zero(shape.point());
    let mut properties = vec![];
    if r.unit() < 0.5 {
        // The same in all directions, so that the largest deviation is the root of any diagonal entry.
        let variances = [r.range(1e-6, 1e-4), r.range(1e-9, 1e-7), r.range(1e-6, 1e-4), 4e-8];
        (0..8).for_each(|i| covariance.matrix[(i, i)] = variances[[0, 0, 0, 1, 1, 1, 2, 3][i]]);
        let sizes: &[(&str, usize)] = match &shape {
            Primitive::Plane(_) | Primitive::Line(_) => &[("direction", 1)],
            Primitive::Circle(_) | Primitive::Cylinder(_) => &[("direction", 1), ("radius", 2)],
            Primitive::Sphere(s) if s.radius > 0.0 => &[("radius", 2)],
            Primitive::Sphere(_) | Primitive::Composite(_) => &[],
            Primitive::Cone(_) => &[("direction", 1), ("radius", 2), ("half angle", 3)],
            Primitive::Torus(_) => &[("direction", 1), ("major radius", 2), ("minor radius", 3)],
        };
        for (what, i) in [("position", 0)].iter().chain(sizes) {
            let expanded = 2.0 * variances[*i].sqrt();
            properties.push((format!("{what} uncertainty (k = 2)"), expanded));
        }
    }
    let feature = Feature {
        noise: None,
        name: name.into(),
        kind,
        fitter: "builtin.test".into(),
        shape,
        pieces,
        covariance,
        quality: None,
        notes: vec!["small arc".into()],
    };
    (feature, properties)
}

fn one_face(shape: Primitive, extent: Extent, face: Face) -> (Bounded, Expected) {
    (Bounded { shape, extent }, Expected { faces: vec![face], ..Expected::default() })
}
