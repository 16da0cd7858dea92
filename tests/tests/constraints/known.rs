//! Data whose constrained least-squares answer is known beforehand (null-space method: Cox, Forbes
//! 1992, Strategies for testing assessment software, NPL DITC 211/92): errors orthogonal to the
//! columns of the Jacobian that the constraints leave, and not to the others, are added along the
//! normals of a shape that obeys. Nothing of the engine takes part.

use nalgebra::{DMatrix, DVector, Matrix3};

use fitwright::associate::{Constraint, Fit, Request};
use fitwright::primitive::{Direction, Kind, Point3, Primitive, Vec3};
use fitwright::simulate::random::Random;

use crate::common::{compare, fit, plain, primitive};

/// Foot on the shape with its normal, in the shape's own frame, and the derivative by the sizes.
struct Foot {
    x: Vec3,
    normal: Vec3,
    sizes: [f64; 2],
}

const COUNT: usize = 90;
const RADIUS: f64 = 25.0;
const HALF_ANGLE: f64 = 0.25;
const TORUS: [f64; 2] = [60.0, 12.0];

fn feet(kind: &str, arc: f64, family: usize) -> Vec<Foot> {
    let foot = |i: usize| {
        let s = 2.0 * (i as f64 + 0.5) / COUNT as f64 - 1.0;
        let fraction = (i as f64 * 0.618_033_988_749_894_9).fract();
        let (sin, cos) = (arc * (fraction - 0.5)).sin_cos();
        let (e, z) = (Vec3::new(cos, sin, 0.0), Vec3::z());
        let (x, normal, sizes) = match (kind, family) {
            ("plane", _) => (Vec3::new(50.0 * s, 80.0 * fraction, 0.0), z, [0.0; 2]),
            ("line", 0) => (z * (50.0 * s), Vec3::x(), [0.0; 2]),
            ("line", _) => (z * (50.0 * s), Vec3::y(), [0.0; 2]),
            ("circle", 0) => (e * RADIUS, e, [1.0, 0.0]),
            ("circle", _) => (e * RADIUS, z, [0.0; 2]),
            ("sphere", _) => {
                let up = 1.0 - (1.0 - (0.5 * arc).cos()) * 0.5 * (s + 1.0);
                let (sin, cos) = (std::f64::consts::TAU * fraction).sin_cos();
                let normal = Vec3::new(cos, sin, 0.0) * (1.0 - up * up).sqrt() + z * up;
                (normal * RADIUS, normal, [1.0, 0.0])
            }
            ("cylinder", _) => (e * RADIUS + z * (20.0 * s), e, [1.0, 0.0]),
            ("cone", _) => {
                let (sin, cos) = HALF_ANGLE.sin_cos();
                let rho = RADIUS + 20.0 * s * HALF_ANGLE.tan();
                (e * rho + z * (20.0 * s), e * cos - z * sin, [cos, 20.0 * s / cos])
            }
            _ => {
                let turn = std::f64::consts::TAU * (i as f64 * 0.754_877_666_246_692_7).fract();
                let normal = e * turn.cos() + z * turn.sin();
                (e * TORUS[0] + normal * TORUS[1], normal, [normal.dot(&e), 1.0])
            }
        };
        Foot { x, normal, sizes }
    };
    (0..COUNT).map(foot).collect()
}

/// What is held, in the shape's own frame: motions `[t, r, sizes]` about its origin may only be
/// those that all rows map to zero.
fn rows(kind: &str, constraint: &Held) -> Vec<[f64; 8]> {
    let unit = |k: usize| std::array::from_fn(|i| f64::from(i == k));
    match *constraint {
        Held::Size(k) => vec![unit(6 + k)],
        Held::Parallel => vec![unit(3), unit(4)],
        // The direction z turned by r moves by r × z = (r_y, -r_x, 0).
        Held::Perpendicular(u) => vec![[0.0, 0.0, 0.0, -u.y, u.x, 0.0, 0.0, 0.0]],
        Held::Through(p) => match kind {
            // The plane over p rises by t_z + (r × p)_z.
            "plane" => vec![[0.0, 0.0, 1.0, p.y, -p.x, 0.0, 0.0, 0.0]],
            "line" | "cylinder" | "cone" => vec![
                [1.0, 0.0, 0.0, 0.0, p.z, 0.0, 0.0, 0.0],
                [0.0, 1.0, 0.0, -p.z, 0.0, 0.0, 0.0, 0.0],
            ],
            _ => vec![unit(0), unit(1), unit(2)],
        },
    }
}

/// A constraint in the shape's own frame.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Held {
    Size(usize),
    Parallel,
    Perpendicular(Vec3),
    Through(Vec3),
}

/// Points, the shape they must give, and the constraints, all in a turned and shifted frame.
pub(crate) fn build(
    kind: &str,
    held: &[Held],
    arc: f64,
    form: f64,
    origin: Vec3,
) -> (Vec<Point3>, Primitive, Vec<Constraint>) {
    let families = if matches!(kind, "line" | "circle") { 2 } else { 1 };
    let all: Vec<Foot> = (0..families).flat_map(|k| feet(kind, arc, k)).collect();
    let rows: Vec<_> = held.iter().flat_map(|h| rows(kind, h)).collect();
    // The error also has a part in the columns that the constraints forbid: a free fit would move.
    let mut numbers = Random::new(31);
    let errors = DVector::from_fn(all.len(), |i, _| {
        numbers.normal() + 0.5 + 0.02 * all[i].x.z + 0.03 * all[i].x.x
    });
    let errors = without(&allowed(&all, &rows), errors);
    let errors = &errors * (form / (errors.norm() / (all.len() as f64).sqrt()));
    let axis = Direction::new_normalize(Vec3::new(1.0, 2.0, -3.0));
    let x = axis.cross(&Vec3::y()).normalize();
    let turn = Matrix3::from_columns(&[x, axis.cross(&x), axis.into_inner()]);
    let point = |i: usize| {
        let moved = (0..families).map(|k| all[k * COUNT + i].normal * errors[k * COUNT + i]);
        Point3::from(turn * (all[i].x + moved.sum::<Vec3>()) + origin)
    };
    let sizes = if kind == "torus" { TORUS } else { [RADIUS, HALF_ANGLE] };
    let constraint = |h: &Held| match (*h, kind) {
        (Held::Size(0), "torus") => Constraint::MajorRadius(TORUS[0]),
        (Held::Size(_), "torus") => Constraint::MinorRadius(TORUS[1]),
        (Held::Size(1), _) => Constraint::HalfAngle(HALF_ANGLE),
        (Held::Size(_), _) => Constraint::Radius(RADIUS),
        (Held::Parallel, _) => Constraint::Parallel(-axis),
        (Held::Perpendicular(u), _) => {
            Constraint::Perpendicular(Direction::new_normalize(turn * u))
        }
        (Held::Through(p), _) => Constraint::Through(Point3::from(turn * p + origin)),
    };
    let points = (0..COUNT).map(point).collect();
    let answer = primitive(kind, Point3::from(origin), Some(axis), &sizes);
    (points, answer, held.iter().map(constraint).collect())
}

/// Orthonormal columns that span the Jacobian of the motions allowed.
fn allowed(feet: &[Foot], rows: &[[f64; 8]]) -> Vec<DVector<f64>> {
    // Lengths in units of the radius, so that rotations and shifts are alike.
    let scale = |k: usize| if (3..6).contains(&k) { 1.0 / RADIUS } else { 1.0 };
    let column = |f: &Foot, k: usize| match k {
        0..3 => f.normal[k],
        3..6 => f.x.cross(&f.normal)[k - 3] * scale(k),
        _ => f.sizes[k - 6],
    };
    let jacobian = DMatrix::from_fn(feet.len(), 8, |i, k| column(&feet[i], k));
    let mut held = Vec::new();
    for row in rows {
        extend(&mut held, DVector::from_fn(8, |k, _| row[k] * scale(k)));
    }
    let mut motions = held.clone();
    for k in 0..8 {
        extend(&mut motions, DVector::from_fn(8, |i, _| f64::from(i == k)));
    }
    let mut basis = Vec::new();
    for motion in &motions[held.len()..] {
        extend(&mut basis, &jacobian * motion);
    }
    basis
}

/// Gram-Schmidt: adds what is new in a vector, unless that is rounding.
fn extend(basis: &mut Vec<DVector<f64>>, v: DVector<f64>) {
    let length = v.norm();
    let rest = without(basis, v);
    if rest.norm() > 1e-9 * length.max(1.0) {
        basis.push(rest.normalize());
    }
}

/// What is left of a vector beside the basis; three rounds reach rounding.
fn without(basis: &[DVector<f64>], mut v: DVector<f64>) -> DVector<f64> {
    for _ in 0..3 {
        for b in basis {
            let part = b.dot(&v);
            v.axpy(-part, b, 1.0);
        }
    }
    v
}

pub(crate) fn request(constraints: Vec<Constraint>) -> Request {
    let mut request = plain();
    request.constraints = constraints;
    request
}

/// Everything that can be held of each shape, alone and together.
pub(crate) fn cases() -> Vec<(&'static str, Vec<Held>)> {
    use Held::{Parallel, Perpendicular, Size, Through};
    let (ux, uxy) = (Vec3::x(), Vec3::new(0.6, 0.8, 0.0));
    let along = Vec3::z() * 37.0;
    vec![
        ("plane", vec![Parallel]),
        ("plane", vec![Perpendicular(ux)]),
        ("plane", vec![Through(Vec3::new(90.0, -70.0, 0.0))]),
        ("plane", vec![Perpendicular(uxy), Through(Vec3::new(0.0, 300.0, 0.0))]),
        ("line", vec![Parallel]),
        ("line", vec![Perpendicular(uxy)]),
        ("line", vec![Through(along)]),
        ("line", vec![Perpendicular(ux), Through(along)]),
        ("circle", vec![Size(0)]),
        ("circle", vec![Parallel]),
        ("circle", vec![Perpendicular(uxy), Size(0)]),
        ("circle", vec![Through(Vec3::zeros())]),
        ("circle", vec![Parallel, Size(0)]),
        ("sphere", vec![Size(0)]),
        ("sphere", vec![Through(Vec3::zeros())]),
        ("cylinder", vec![Size(0)]),
        ("cylinder", vec![Parallel]),
        ("cylinder", vec![Perpendicular(uxy)]),
        ("cylinder", vec![Through(along)]),
        ("cylinder", vec![Size(0), Parallel]),
        ("cylinder", vec![Size(0), Through(along)]),
        ("cylinder", vec![Parallel, Through(along)]),
        ("cylinder", vec![Size(0), Perpendicular(ux), Through(along)]),
        ("cone", vec![Size(1)]),
        ("cone", vec![Parallel]),
        ("cone", vec![Perpendicular(uxy), Size(1)]),
        ("cone", vec![Through(along)]),
        ("cone", vec![Parallel, Size(1), Through(along)]),
        ("torus", vec![Size(0)]),
        ("torus", vec![Size(1)]),
        ("torus", vec![Size(0), Size(1), Parallel]),
        ("torus", vec![Perpendicular(ux)]),
        ("torus", vec![Through(Vec3::zeros())]),
    ]
}

/// How far a fit is from a constraint, relative to the size of the numbers it is made of.
pub(crate) fn violation(fit: &Fit<Primitive>, constraint: &Constraint) -> f64 {
    let shape = &fit.shape;
    let size = |name: &str| {
        let found = shape.parameters().into_iter().find(|p| p.name == name);
        match found.map(|p| p.value) {
            Some(fitwright::primitive::Value::Scalar(x, _)) => x,
            other => panic!("{name}: {other:?}"),
        }
    };
    let direction = || shape.direction().expect("a direction");
    match constraint {
        Constraint::Radius(r) => (size("radius") / r - 1.0).abs(),
        Constraint::MajorRadius(r) => (size("major_radius") / r - 1.0).abs(),
        Constraint::MinorRadius(r) => (size("minor_radius") / r - 1.0).abs(),
        Constraint::HalfAngle(a) => (size("half_angle") / a - 1.0).abs(),
        Constraint::Parallel(d) => d.cross(&direction()).norm(),
        Constraint::Perpendicular(d) => d.dot(&direction()).abs(),
        Constraint::Through(p) => {
            let at = shape.point();
            let between = p - at;
            let off = match shape.kind() {
                Kind::Plane => between.dot(&direction()).abs(),
                Kind::Line | Kind::Cylinder | Kind::Cone => between.cross(&direction()).norm(),
                _ => between.norm(),
            };
            off / p.coords.norm().max(at.coords.norm()).max(between.norm())
        }
        other => panic!("{other:?}"),
    }
}

/// 1e-11 mm and rad near the origin on whole turns; farther away and on arcs of 20 degrees the
/// rounding of the points times the condition of the case.
#[test]
fn exact_answers_under_every_constraint() {
    let mut worst = crate::common::Difference::default();
    for (kind, held) in cases() {
        for arc in [360.0f64, 90.0] {
            let (points, answer, constraints) =
                build(kind, &held, arc.to_radians(), 0.01, Vec3::new(3.0, -2.0, 5.0));
            let found = fit(kind, &points, &request(constraints.clone()))
                .unwrap_or_else(|e| panic!("{kind} {held:?}, arc {arc}: {e}"));
            let difference = compare(&found.shape, &answer);
            worst = worst.or(difference);
            assert!(
                difference.length < 1e-11 && difference.angle < 1e-11,
                "{kind} {held:?}, arc {arc}: {difference:?}"
            );
            for constraint in &constraints {
                let violation = violation(&found, constraint);
                assert!(violation < 1e-14, "{kind} {constraint:?}: {violation:e}");
            }
            let cost = found.cost.expect("a cost");
            let sigma = cost.free_sigma.expect("a free fit");
            assert!(sigma < cost.sigma * 1.2 && cost.freedoms > 0, "{kind} {held:?}: {cost:?}");
        }
    }
    println!("{worst:?}");
}

/// Where a free fit has no answer or a poor one: 20 and 10 degrees of arc, with the radius known.
#[test]
fn exact_answers_on_short_arcs() {
    let mut worst = crate::common::Difference::default();
    for (kind, held) in [
        ("cylinder", vec![Held::Size(0)]),
        ("cylinder", vec![Held::Size(0), Held::Parallel]),
        ("circle", vec![Held::Size(0)]),
        ("circle", vec![Held::Size(0), Held::Parallel]),
        ("sphere", vec![Held::Size(0)]),
        ("cone", vec![Held::Size(1), Held::Parallel]),
    ] {
        for arc in [20.0f64, 10.0] {
            let (points, answer, constraints) =
                build(kind, &held, arc.to_radians(), 0.002, Vec3::zeros());
            let found = fit(kind, &points, &request(constraints))
                .unwrap_or_else(|e| panic!("{kind} {held:?}, arc {arc}: {e}"));
            let difference = compare(&found.shape, &answer);
            worst = worst.or(difference);
            assert!(
                difference.length < 1e-10 && difference.angle < 1e-11,
                "{kind} {held:?}, arc {arc}: {difference:?}"
            );
        }
    }
    println!("{worst:?}");
}

/// Ten metres from the origin: to the rounding of the points there (1.8e-12) times the condition.
#[test]
fn far_from_the_origin_too() {
    for (kind, held) in cases() {
        let (points, answer, constraints) =
            build(kind, &held, std::f64::consts::TAU, 0.01, Vec3::new(-9e3, 3e3, 3.1e3));
        let found = fit(kind, &points, &request(constraints.clone())).expect(kind);
        let difference = compare(&found.shape, &answer);
        assert!(
            difference.length < 1e-10 && difference.angle < 1e-11,
            "{kind} {held:?}: {difference:?}"
        );
        for constraint in &constraints {
            let violation = violation(&found, constraint);
            assert!(violation < 1e-14, "{kind} {constraint:?}: {violation:e}");
        }
    }
}

/// A second point holds a direction as well, and a plane has room for three.
#[test]
fn further_points_hold_directions() {
    let (points, answer, _) = build("plane", &[Held::Parallel], 6.0, 0.01, Vec3::zeros());
    let n = answer.direction().expect("normal");
    let u = n.cross(&Vec3::x()).normalize();
    let constraints = vec![
        Constraint::Through(Point3::from(u * 30.0 + n.into_inner() * 0.1)),
        Constraint::Through(Point3::from(u * -80.0)),
    ];
    let found = fit("plane", &points, &request(constraints.clone())).expect("plane");
    assert!(constraints.iter().all(|c| violation(&found, c) < 1e-14));
    assert_eq!(found.cost.expect("a cost").freedoms, 2);
    let (points, answer, _) = build("cylinder", &[Held::Parallel], 6.0, 0.01, Vec3::zeros());
    let a = answer.direction().expect("axis").into_inner();
    let constraints = vec![
        Constraint::Through(Point3::from(a * 30.0 + u * 0.1)),
        Constraint::Through(Point3::from(a * -80.0)),
    ];
    let found = fit("cylinder", &points, &request(constraints.clone())).expect("cylinder");
    assert!(constraints.iter().all(|c| violation(&found, c) < 1e-14));
    assert_eq!(found.cost.expect("a cost").freedoms, 4);
}
