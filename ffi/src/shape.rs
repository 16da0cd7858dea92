//! Poses and ideal shapes as plain structs.

use std::fmt::Display;

use engine::primitive::{
    Circle, Cone, Cylinder, Direction, Kind, Line, Plane, Point3, Pose, Primitive, Sphere, Torus,
    Vec3,
};
use nalgebra::{Matrix3, Rotation3, Translation3, UnitQuaternion};

use crate::call::call;
use crate::context::fitw_context;
use crate::error::{Fault, fitw_status};
use crate::kind;
use crate::pointer::{self, Array, SizedOut, grows, items};

/// A rigid motion: p becomes rotation × p + translation.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_pose {
    /// Rotation matrix, row by row.
    pub rotation: [f64; 9],
    /// Translation, mm.
    pub translation_mm: [f64; 3],
}

items! { fitw_pose, 96 }

/// An unbounded ideal shape.
#[repr(C)]
#[derive(Clone, Copy)]
pub struct fitw_shape {
    /// sizeof(fitw_shape), set by the caller.
    pub struct_size: u32,
    /// FITW_KIND_PLANE to FITW_KIND_TORUS; FITW_KIND_COMPOSITE as a result only, with nothing but `point_mm`.
    pub kind: i32,
    /// On the plane, line or axis; centre of circle, sphere, torus; mm.
    pub point_mm: [f64; 3],
    /// Unit normal of plane and circle, direction of a line, axis of cylinder, cone (towards growing
    /// radius), torus; zero for a sphere. As an argument of any length but 0.
    pub direction: [f64; 3],
    /// Circle, sphere, cylinder: radius, mm. Cone: radius at `point_mm`, mm. Torus: major radius, mm. Else 0.
    pub size_1: f64,
    /// Torus: minor radius, mm. Cone: half-angle, rad. Else 0.
    pub size_2: f64,
}

grows! { fitw_shape 72 }

/// SHAPES. Distance of each of `count` points from a shape, mm, into `distances_mm` (`count` doubles):
/// signed for surfaces, positive on the side their normal points to (plane) or outside; for curves unsigned.
///
/// Points are double, mm, x, y, z side by side; `stride` in bytes from point to point, 0: side by side.
/// Errors: FITW_E_ARGUMENT. [any-thread]
#[unsafe(no_mangle)]
pub unsafe extern "C" fn fitw_shape_distances(
    context: *const fitw_context,
    shape: *const fitw_shape,
    points_mm: *const f64,
    count: usize,
    stride: usize,
    distances_mm: *mut f64,
) -> fitw_status {
    call(context, "fitw_shape_distances", |c| {
        let shape = to_primitive(&pointer::read_sized(shape, "shape")?, "shape")?;
        let points = Array::<[f64; 3]>::new(points_mm.cast(), count, stride, "points_mm")?;
        c.engine.check()?;
        let distances = points.collect(|p| shape.distance(&Point3::from(p)))?;
        if count == 0 {
            return Ok(());
        }
        pointer::fill(distances_mm, count, std::ptr::null_mut(), &distances)
    })
}

/// A pose of the caller.
pub(crate) fn pose(pointer: *const fitw_pose, name: &str) -> Result<Pose, Fault> {
    let given = Array::new(pointer, 1, 0, name)?.get(0);
    given.map_or_else(|| Ok(Pose::identity()), |given| to_pose(&given, name))
}

/// A pose of the caller; NULL is the identity.
pub(crate) fn optional_pose(pointer: *const fitw_pose, name: &str) -> Result<Pose, Fault> {
    if pointer.is_null() { Ok(Pose::identity()) } else { pose(pointer, name) }
}

/// A rigid motion of numbers that may be rounded to single precision, but not more.
pub(crate) fn to_pose(given: &fitw_pose, name: &str) -> Result<Pose, Fault> {
    let matrix = Matrix3::from_row_slice(&given.rotation);
    let finite = given.rotation.iter().chain(&given.translation_mm).all(|v| v.is_finite());
    let off = (matrix * matrix.transpose() - Matrix3::identity()).abs().max();
    if !finite || off > ROUNDED || matrix.determinant() < 0.0 {
        let found =
            format!("rotation {:?}, translation {:?}", given.rotation, given.translation_mm);
        return Err(Fault::argument(name, found, "a rotation matrix and a finite translation"));
    }
    // A matrix that is one to double precision is taken as it is, so that poses come back unchanged.
    let rotation = match off < EXACT {
        true => Rotation3::from_matrix_unchecked(matrix),
        false => Rotation3::from_matrix(&matrix),
    };
    Ok(Pose::from_parts(
        Translation3::from(Vec3::from(given.translation_mm)),
        UnitQuaternion::from_rotation_matrix(&rotation),
    ))
}

pub(crate) fn of_pose(pose: &Pose) -> fitw_pose {
    let m = pose.rotation.to_rotation_matrix();
    let mut rotation = [0.0; 9];
    for (k, value) in rotation.iter_mut().enumerate() {
        *value = m[(k / 3, k % 3)];
    }
    fitw_pose { rotation, translation_mm: pose.translation.vector.into() }
}

pub(crate) fn of_primitive(shape: &Primitive) -> fitw_shape {
    let (size_1, size_2) = match shape {
        Primitive::Circle(s) => (s.radius, 0.0),
        Primitive::Sphere(s) => (s.radius, 0.0),
        Primitive::Cylinder(s) => (s.radius, 0.0),
        Primitive::Cone(s) => (s.radius, s.half_angle),
        Primitive::Torus(s) => (s.major_radius, s.minor_radius),
        Primitive::Plane(_) | Primitive::Line(_) | Primitive::Composite(_) => (0.0, 0.0),
    };
    fitw_shape {
        struct_size: 0,
        kind: kind::of_kind(shape.kind()),
        point_mm: shape.point().into(),
        direction: shape.direction().map_or([0.0; 3], |d| d.into_inner().into()),
        size_1,
        size_2,
    }
}

pub(crate) fn to_primitive(given: &fitw_shape, name: &str) -> Result<Primitive, Fault> {
    let kind = kind::kind(given.kind, format_args!("{name}.kind"))?;
    let numbers = given.point_mm.iter().chain(&given.direction);
    if !numbers.chain([&given.size_1, &given.size_2]).all(|v| v.is_finite()) {
        return Err(Fault::argument(name, "a number that is not finite", "finite numbers"));
    }
    let point = Point3::from(given.point_mm);
    let way = || direction(given.direction, format_args!("{name}.direction"));
    let size = |value: f64, which: &str, most: f64| match value > 0.0 && value < most {
        true => Ok(value),
        false => Err(Fault::argument(&format!("{name}.{which}"), value, "a size over 0")),
    };
    let size_1 = || size(given.size_1, "size_1", f64::INFINITY);
    Ok(match kind {
        Kind::Plane => Plane { point, normal: way()? }.into(),
        Kind::Line => Line { point, direction: way()? }.into(),
        Kind::Circle => Circle { centre: point, normal: way()?, radius: size_1()? }.into(),
        Kind::Sphere => Sphere { centre: point, radius: size_1()? }.into(),
        Kind::Cylinder => Cylinder { point, axis: way()?, radius: size_1()? }.into(),
        Kind::Cone => {
            let half_angle = size(given.size_2, "size_2", std::f64::consts::FRAC_PI_2)?;
            Cone { point, axis: way()?, radius: given.size_1, half_angle }.into()
        }
        Kind::Torus => {
            let minor_radius = size(given.size_2, "size_2", f64::INFINITY)?;
            Torus { centre: point, axis: way()?, major_radius: size_1()?, minor_radius }.into()
        }
        _ => return Err(Fault::argument(&format!("{name}.kind"), given.kind, "an ideal shape")),
    })
}

/// A direction of the caller, brought to unit length.
pub(crate) fn direction(xyz: [f64; 3], name: impl Display) -> Result<Direction, Fault> {
    let unit = xyz.iter().all(|v| v.is_finite()).then(|| engine::primitive::unit(Vec3::from(xyz)));
    let allowed = "finite numbers, not all zero";
    unit.flatten().ok_or_else(|| Fault::argument(&name.to_string(), format!("{xyz:?}"), allowed))
}

/// A shape into the caller's struct.
pub(crate) fn hand_out(shape: &Primitive, out: *mut fitw_shape) -> Result<(), Fault> {
    SizedOut::new(out, "out").map(|out| out.set(of_primitive(shape)))
}

/// How far a rotation may be from one: that of a matrix kept in single precision.
const ROUNDED: f64 = 1e-5;
/// Rounding of a matrix product in double precision.
const EXACT: f64 = 1e-14;
