//! Uncertainty of what is constructed from fitted shapes: linear propagation by small motions (JCGM 100, 5.1).
//!
//! Each input shape is moved by each component of its covariance in turn, the construction is
//! repeated, and the change of the result is a column of the Jacobian. Inputs count as
//! independent of each other.

use nalgebra::{SMatrix, SVector, Translation3, UnitQuaternion, Vector3};

use crate::associate::Covariance;
use crate::primitive::{Point3, Pose, Primitive};

/// A shape with its covariance, as an input of a construction.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Uncertain<'a> {
    pub(crate) shape: &'a Primitive,
    pub(crate) covariance: &'a Covariance,
}

/// Covariance of a construction's result about the point it is located by.
pub(crate) fn shape_covariance(
    inputs: &[Uncertain<'_>],
    construct: impl Fn(&[Primitive]) -> Option<Primitive>,
) -> Option<Covariance> {
    let base = construct(&shapes(inputs))?;
    let at = base.point();
    let matrix = propagate(inputs, |s| construct(s).map(|moved| motion(&base, &moved, &at)))?;
    Some(Covariance { at, matrix })
}

/// Standard deviation of a number computed from shapes.
pub(crate) fn number_deviation(
    inputs: &[Uncertain<'_>],
    compute: impl Fn(&[Primitive]) -> Option<f64>,
) -> Option<f64> {
    let base = compute(&shapes(inputs))?;
    let matrix = propagate(inputs, |s| compute(s).map(|x| SVector::<f64, 1>::new(x - base)))?;
    Some(matrix[(0, 0)].max(0.0).sqrt())
}

/// Covariance of `D` numbers that are zero for the unmoved inputs.
pub(crate) fn propagate<const D: usize>(
    inputs: &[Uncertain<'_>],
    change: impl Fn(&[Primitive]) -> Option<SVector<f64, D>>,
) -> Option<SMatrix<f64, D, D>> {
    let mut sum = SMatrix::<f64, D, D>::zeros();
    let mut moved = shapes(inputs);
    for (k, input) in inputs.iter().enumerate() {
        let mut jacobian = SMatrix::<f64, D, 8>::zeros();
        for column in 0..8 {
            if input.covariance.matrix[(column, column)] <= 0.0 {
                continue;
            }
            let step = if (3..6).contains(&column) { ANGLE_STEP } else { LENGTH_STEP };
            moved[k] = perturbed(input.shape, &input.covariance.at, column, step);
            let ahead = change(&moved)?;
            moved[k] = perturbed(input.shape, &input.covariance.at, column, -step);
            let behind = change(&moved)?;
            jacobian.set_column(column, &((ahead - behind) / (2.0 * step)));
        }
        moved[k] = input.shape.clone();
        sum += jacobian * input.covariance.matrix * jacobian.transpose();
    }
    Some(sum)
}

fn shapes(inputs: &[Uncertain<'_>]) -> Vec<Primitive> {
    inputs.iter().map(|i| i.shape.clone()).collect()
}

/// A shape moved by `step` along one component of the covariance layout.
fn perturbed(shape: &Primitive, at: &Point3, component: usize, step: f64) -> Primitive {
    let mut unit = Vector3::zeros();
    unit[component % 3] = step;
    match component {
        0..=2 => shape.transformed(&Pose::from_parts(unit.into(), UnitQuaternion::identity())),
        3..=5 => {
            let turn = UnitQuaternion::from_scaled_axis(unit);
            let stay = Translation3::from(at.coords - turn * at.coords);
            shape.transformed(&Pose::from_parts(stay, turn))
        }
        _ => resized(shape, component - 6, step),
    }
}

/// A shape with one of its sizes changed.
fn resized(shape: &Primitive, size: usize, step: f64) -> Primitive {
    let mut shape = shape.clone();
    match (&mut shape, size) {
        (Primitive::Circle(s), 0) => s.radius += step,
        (Primitive::Sphere(s), 0) => s.radius += step,
        (Primitive::Cylinder(s), 0) => s.radius += step,
        (Primitive::Cone(s), 0) => s.radius += step,
        (Primitive::Cone(s), 1) => s.half_angle += step,
        (Primitive::Torus(s), 0) => s.major_radius += step,
        (Primitive::Torus(s), 1) => s.minor_radius += step,
        (Primitive::Plane(_) | Primitive::Line(_) | Primitive::Composite(_), _) => {}
        (
            Primitive::Circle(_)
            | Primitive::Sphere(_)
            | Primitive::Cylinder(_)
            | Primitive::Cone(_)
            | Primitive::Torus(_),
            _,
        ) => {}
    }
    shape
}

/// The small motion that takes one shape to another, as it is seen at a point.
fn motion(base: &Primitive, moved: &Primitive, at: &Point3) -> SVector<f64, 8> {
    let mut out = SVector::<f64, 8>::zeros();
    let shift = locate(moved, at) - at;
    out.fixed_rows_mut::<3>(0).copy_from(&shift);
    if let (Some(a), Some(b)) = (base.direction(), moved.direction()) {
        out.fixed_rows_mut::<3>(3).copy_from(&a.cross(&b));
    }
    let (a, b) = (sizes(base), sizes(moved));
    out[6] = b[0] - a[0];
    out[7] = b[1] - a[1];
    out
}

/// The point of a moved shape that corresponds to the point the base shape is located by.
fn locate(shape: &Primitive, at: &Point3) -> Point3 {
    match shape {
        Primitive::Plane(s) => s.project(at),
        Primitive::Line(s) => s.project(at),
        Primitive::Cylinder(s) => s.axis_line().project(at),
        Primitive::Cone(s) => s.axis_line().project(at),
        Primitive::Circle(s) => s.centre,
        Primitive::Sphere(s) => s.centre,
        Primitive::Torus(s) => s.centre,
        Primitive::Composite(s) => s.point(),
    }
}

fn sizes(shape: &Primitive) -> [f64; 2] {
    match shape {
        Primitive::Circle(s) => [s.radius, 0.0],
        Primitive::Sphere(s) => [s.radius, 0.0],
        Primitive::Cylinder(s) => [s.radius, 0.0],
        Primitive::Cone(s) => [s.radius, s.half_angle],
        Primitive::Torus(s) => [s.major_radius, s.minor_radius],
        Primitive::Plane(_) | Primitive::Line(_) | Primitive::Composite(_) => [0.0, 0.0],
    }
}

/// Steps of the central difference: far above rounding at coordinates of 10 m, far below any curvature.
const LENGTH_STEP: f64 = 1e-4;
const ANGLE_STEP: f64 = 1e-6;
