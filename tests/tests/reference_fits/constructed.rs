//! Data sets built here so that their least-squares answer is known beforehand (null-space method:
//! Cox, Forbes 1992, Strategies for testing assessment software, NPL DITC 211/92). Nothing of the
//! engine takes part: errors are made orthogonal to the columns of the Jacobian, then added along
//! the normals of the chosen shape.

use nalgebra::{DVector, Matrix3};

use fitwright::primitive::{Direction, Point3, Primitive, Vec3};
use fitwright::simulate::random::Random;

use crate::common::{KINDS, compare, fit, plain, primitive};

struct Foot {
    x: Vec3,
    normal: Vec3,
    sizes: [f64; 2],
}

const COUNT: usize = 120;
const HALF_ANGLE: f64 = 0.25;

/// Feet of one residual family, spread evenly over an arc about the local z axis (centred on x).
fn feet(kind: &str, arc: f64, second: bool) -> Vec<Foot> {
    let golden = 0.618_033_988_749_894_9;
    (0..COUNT)
        .map(|i| {
            let s = 2.0 * (i as f64 + 0.5) / COUNT as f64 - 1.0;
            let fraction = (i as f64 * golden).fract();
            let (sin, cos) = (arc * (fraction - 0.5)).sin_cos();
            let (e, z) = (Vec3::new(cos, sin, 0.0), Vec3::z());
            match kind {
                "plane" => foot(Vec3::new(50.0 * s, 80.0 * fraction, 0.0), z, [0.0; 2]),
                "line" => {
                    foot(z * (50.0 * s), if second { Vec3::y() } else { Vec3::x() }, [0.0; 2])
                }
                "circle" if second => foot(e * 25.0, z, [0.0; 2]),
                "circle" => foot(e * 25.0, e, [1.0, 0.0]),
                "sphere" => {
                    let lowest = (0.5 * arc).cos();
                    let up = 1.0 - (1.0 - lowest) * (i as f64 + 0.5) / COUNT as f64;
                    let (s, c) = (std::f64::consts::TAU * fraction).sin_cos();
                    let normal = Vec3::new(c, s, 0.0) * (1.0 - up * up).sqrt() + z * up;
                    foot(normal * 25.0, normal, [1.0, 0.0])
                }
                "cylinder" => foot(e * 25.0 + z * (20.0 * s), e, [1.0, 0.0]),
                "cone" => {
                    let (sin, cos) = HALF_ANGLE.sin_cos();
                    let rho = 25.0 + 20.0 * s * HALF_ANGLE.tan();
                    foot(e * rho + z * (20.0 * s), e * cos - z * sin, [cos, 20.0 * s / cos])
                }
                _ => {
                    let turn = std::f64::consts::TAU * (i as f64 * 0.754_877_666_246_692_7).fract();
                    let normal = e * turn.cos() + z * turn.sin();
                    foot(e * 60.0 + normal * 12.0, normal, [normal.dot(&e), 1.0])
                }
            }
        })
        .collect()
}

fn foot(x: Vec3, normal: Vec3, sizes: [f64; 2]) -> Foot {
    Foot { x, normal, sizes }
}

/// Orthonormal columns that span the Jacobian about `centre`: Gram-Schmidt, twice, skipping what depends.
fn range(feet: &[Foot], centre: Vec3) -> Vec<DVector<f64>> {
    let mut basis: Vec<DVector<f64>> = Vec::new();
    for k in 0..8 {
        let entry = |f: &Foot| match k {
            0..3 => f.normal[k],
            3..6 => (f.x - centre).cross(&f.normal)[k - 3] / 25.0,
            _ => f.sizes[k - 6],
        };
        let column = DVector::from_iterator(feet.len(), feet.iter().map(entry));
        let length = column.norm();
        let rest = without(&basis, column);
        if rest.norm() > 1e-9 * length.max(1.0) {
            basis.push(rest.normalize());
        }
    }
    basis
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

fn build(kind: &str, arc: f64, form: f64, origin: Vec3, seed: u64) -> (Vec<Point3>, Primitive) {
    let mut numbers = Random::new(seed);
    let families = if matches!(kind, "line" | "circle") { 2 } else { 1 };
    let all: Vec<Foot> = (0..families).flat_map(|k| feet(kind, arc, k == 1)).collect();
    // Rotations about the middle of the points keep the columns apart on short arcs.
    let centre = all.iter().map(|f| f.x).sum::<Vec3>() / all.len() as f64;
    let errors = DVector::from_fn(all.len(), |_, _| numbers.normal());
    let errors = without(&range(&all, centre), errors);
    let errors = &errors * (form / (errors.norm() / (all.len() as f64).sqrt()));
    let axis = Direction::new_normalize(Vec3::new(1.0, 2.0, -3.0));
    let x = axis.cross(&Vec3::y()).normalize();
    let turn = Matrix3::from_columns(&[x, axis.cross(&x), axis.into_inner()]);
    let point = |i: usize| {
        let moved = (0..families).map(|k| all[k * COUNT + i].normal * errors[k * COUNT + i]);
        Point3::from(turn * (all[i].x + moved.sum::<Vec3>()) + origin)
    };
    let sizes = match kind {
        "torus" => [60.0, 12.0],
        _ => [25.0, HALF_ANGLE],
    };
    let points = (0..COUNT).map(point).collect();
    (points, primitive(kind, Point3::from(origin), Some(axis), &sizes))
}

/// 1e-9 mm and 1e-9 rad on all shapes, arcs from 360 down to 20 degrees, up to 10 m away.
#[test]
fn exact_answers_on_every_shape_arc_and_place() {
    let mut worst = crate::common::Difference::default();
    for kind in KINDS {
        for (arc, form) in
            [(360.0f64, 0.02), (180.0, 0.02), (90.0, 0.02), (45.0, 0.004), (20.0, 0.0008)]
        {
            for origin in
                [Vec3::zeros(), Vec3::new(900.0, -20.0, 350.0), Vec3::new(-9e3, 3e3, 3.1e3)]
            {
                let (points, answer) = build(kind, arc.to_radians(), form, origin, 17);
                let found = fit(kind, &points, &plain())
                    .unwrap_or_else(|e| panic!("{kind}, arc {arc}, {origin:?}: {e}"));
                let difference = compare(&found.shape, &answer);
                worst = worst.or(difference);
                assert!(
                    difference.length < 1e-9 && difference.angle < 1e-9,
                    "{kind}, arc {arc}, {origin:?}: {difference:?}"
                );
            }
        }
    }
    println!("{worst:?}");
}
