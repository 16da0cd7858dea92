//! The piece of a shape that points cover, for CAD and pictures.
//!
//! Outline of a plane: convex hull by monotone chains (Andrew 1979, Another efficient algorithm for
//! convex hulls in two dimensions). Angles: see [`super::arc`].

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::arc::{Covered, Sectors};
use super::model::Frame;
use crate::primitive::{
    Bounded, Cone, Cylinder, Direction, Extent, Line, Plane, Point3, Primitive, Sphere, Torus,
    Vec3, unit,
};

/// The piece of `shape` covered by `points` (mm): a plane's convex outline, a line's segment, a
/// circle's arc, a patch of a curved surface. Points need not lie on the shape; their feet count.
///
/// A composite is returned whole; without points the piece is empty (zero length, no outline).
#[must_use]
pub fn extent(shape: &Primitive, points: &[Point3]) -> Bounded {
    let piece = match shape {
        Primitive::Plane(s) => outline(s, points),
        Primitive::Line(s) => segment(s, points),
        Primitive::Circle(s) => {
            let frame = Frame::along(s.centre, &s.normal);
            let around = about(&frame, points);
            if around.span >= TAU { Extent::Whole } else { arc(&frame, around) }
        }
        Primitive::Sphere(s) => cap(s, points),
        Primitive::Cylinder(s) => cylinder(s, points),
        Primitive::Cone(s) => cone(s, points),
        Primitive::Torus(s) => torus(s, points),
        Primitive::Composite(_) => Extent::Whole,
    };
    Bounded { shape: shape.clone(), extent: piece }
}

fn outline(plane: &Plane, points: &[Point3]) -> Extent {
    let frame = Frame::along(plane.point, &plane.normal);
    let mut flat: Vec<[f64; 2]> =
        points.iter().map(|p| frame.local(p)).map(|x| [x[0], x[1]]).collect();
    flat.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    flat.dedup();
    let mut hull = chain(flat.iter());
    hull.extend(chain(flat.iter().rev()));
    let lift = |x: &[f64; 2]| frame.origin + frame.axes * Vec3::new(x[0], x[1], 0.0);
    Extent::Outline(vec![hull.iter().map(lift).collect()])
}

/// One half of a convex hull, counter-clockwise, without its last point.
fn chain<'a>(points: impl Iterator<Item = &'a [f64; 2]>) -> Vec<[f64; 2]> {
    let mut out: Vec<[f64; 2]> = Vec::new();
    for p in points {
        while let [.., a, b] = out[..]
            && (b[0] - a[0]) * (p[1] - a[1]) <= (b[1] - a[1]) * (p[0] - a[0])
        {
            out.pop();
        }
        out.push(*p);
    }
    out.pop();
    out
}

fn segment(line: &Line, points: &[Point3]) -> Extent {
    let (from, to) = range(points.iter().map(|p| line.parameter(p)));
    Extent::Segment(from, to)
}

fn arc(frame: &Frame, around: Covered) -> Extent {
    Extent::Arc { zero: first_axis(frame), from: around.from, to: around.from + around.span }
}

fn cylinder(s: &Cylinder, points: &[Point3]) -> Extent {
    let frame = Frame::along(s.point, &s.axis);
    let v = range(points.iter().map(|p| s.axis_line().parameter(p)));
    patch(&frame, about(&frame, points), v)
}

fn cone(s: &Cone, points: &[Point3]) -> Extent {
    let frame = Frame::along(s.point, &s.axis);
    let foot = |p: &Point3| s.axis_line().parameter(&s.project(p));
    let apex = -s.radius / s.half_angle.tan();
    let (from, to) = range(points.iter().map(foot));
    patch(&frame, about(&frame, points), (from.max(apex), to.max(apex)))
}

fn torus(s: &Torus, points: &[Point3]) -> Extent {
    let frame = Frame::along(s.centre, &s.axis);
    let mut tube = Sectors::new();
    for p in points {
        let x = frame.local(p);
        tube.add(x[0].hypot(x[1]) - s.major_radius, x[2]);
    }
    let (around, tube) = (about(&frame, points), tube.covered());
    if around.span >= TAU && tube.span >= TAU {
        return Extent::Whole;
    }
    patch(&frame, around, (tube.from, tube.from + tube.span))
}

/// Cap about the mean direction of the points; all of the sphere if they leave no cap free.
fn cap(s: &Sphere, points: &[Point3]) -> Extent {
    let directions = points.iter().filter_map(|p| unit(p - s.centre));
    let mean: Vec3 = directions.clone().map(Direction::into_inner).sum();
    let Some(pole) = unit(mean) else { return Extent::Whole };
    let least = directions.map(|d| d.dot(&pole)).fold(1.0, f64::min);
    let lowest = FRAC_PI_2 - least.clamp(-1.0, 1.0).acos();
    // What is left below the lowest point must be more than the points' own spacing.
    let spacing = PI / (points.len().max(1) as f64).sqrt();
    if lowest + FRAC_PI_2 <= spacing * 2.0 {
        return Extent::Whole;
    }
    let zero = first_axis(&Frame::along(s.centre, &pole));
    Extent::Patch { zero, pole, u: (0.0, TAU), v: (lowest, FRAC_PI_2) }
}

fn patch(frame: &Frame, around: Covered, v: (f64, f64)) -> Extent {
    let pole = Direction::new_unchecked(frame.axes.column(2).into_owned());
    let u = (around.from, around.from + around.span);
    Extent::Patch { zero: first_axis(frame), pole, u, v }
}

fn about(frame: &Frame, points: &[Point3]) -> Covered {
    let mut sectors = Sectors::new();
    for p in points {
        let x = frame.local(p);
        sectors.add(x[0], x[1]);
    }
    sectors.covered()
}

fn first_axis(frame: &Frame) -> Direction {
    Direction::new_unchecked(frame.axes.column(0).into_owned())
}

/// Least and greatest value; zero and zero for none.
fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let all = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)));
    if all.0 <= all.1 { all } else { (0.0, 0.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(radius: f64, z: f64, degrees: std::ops::Range<i32>) -> impl Iterator<Item = Point3> {
        degrees.map(move |i| {
            let (sin, cos) = f64::from(i).to_radians().sin_cos();
            Point3::new(radius * cos, radius * sin, z)
        })
    }

    fn up() -> Direction {
        Direction::new_unchecked(Vec3::z())
    }

    #[test]
    fn a_square_keeps_its_four_corners_counter_clockwise() {
        let grid = (0..25).map(|i| Point3::new(f64::from(i % 5), f64::from(i / 5), 0.0));
        let plane = Plane { point: Point3::origin(), normal: up() };
        let piece = extent(&plane.into(), &grid.collect::<Vec<_>>());
        let Extent::Outline(loops) = piece.extent else { panic!("an outline") };
        assert_eq!(loops[0].len(), 4);
        let area: f64 =
            (0..4).map(|i| loops[0][i].coords.cross(&loops[0][(i + 1) % 4].coords).z / 2.0).sum();
        assert!((area - 16.0).abs() < 1e-12);
    }

    #[test]
    fn a_half_pipe_has_its_arc_and_length() {
        let points: Vec<_> = ring(2.0, -1.0, 30..211).chain(ring(2.0, 4.0, 30..211)).collect();
        let shape = Cylinder { point: Point3::origin(), axis: up(), radius: 2.0 };
        let Extent::Patch { zero, u, v, .. } = extent(&shape.into(), &points).extent else {
            panic!("a patch")
        };
        assert_eq!(v, (-1.0, 4.0));
        assert!((u.1 - u.0 - PI).abs() < 1e-12);
        let y = up().cross(&zero);
        let start = zero.into_inner() * u.0.cos() + y * u.0.sin();
        assert!((start - points[0].coords.xy().push(0.0) / 2.0).norm() < 1e-12);
    }

    #[test]
    fn full_shapes_are_whole() {
        let circle =
            crate::primitive::Circle { centre: Point3::origin(), normal: up(), radius: 1.0 };
        let points: Vec<_> = ring(1.0, 0.0, 0..360).collect();
        assert_eq!(extent(&circle.into(), &points).extent, Extent::Whole);
        let half: Vec<_> = ring(1.0, 0.0, 0..181).collect();
        assert!(matches!(extent(&circle.into(), &half).extent, Extent::Arc { .. }));
    }

    #[test]
    fn a_dome_is_a_cap_about_its_pole() {
        let points: Vec<_> = (0..10)
            .flat_map(|i| {
                let (sin, cos) = (0.1 * f64::from(i)).sin_cos();
                ring(3.0 * sin, 3.0 * cos, 0..360).step_by(10)
            })
            .collect();
        let sphere = Sphere { centre: Point3::origin(), radius: 3.0 };
        let Extent::Patch { pole, v, .. } = extent(&sphere.into(), &points).extent else {
            panic!("a patch")
        };
        assert!((pole.z - 1.0).abs() < 1e-9);
        assert!((v.0 - (FRAC_PI_2 - 0.9)).abs() < 1e-9 && v.1 == FRAC_PI_2);
    }
}
