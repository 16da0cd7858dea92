//! The arithmetic of a datum system: directions to axes, places to the origin.

use nalgebra::{Matrix3, Rotation3, Translation3, UnitQuaternion, Vector3};

use crate::error::{Error, Result};
use crate::feature::{axis_meets, axis_of};
use crate::primitive::{Direction, Point3, Pose, Primitive, unit};

/// A signed machine axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Axis {
    index: usize,
    negative: bool,
}

/// What a datum was asked to give, apart from its shape.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spec<'a> {
    pub(super) name: &'a str,
    pub(super) axis: Option<Axis>,
    pub(super) sets: Option<[bool; 3]>,
}

impl Axis {
    pub(super) fn parse(name: &str) -> Result<Self> {
        let wrong = || Error::argument("axis", name, "+x, -x, +y, -y, +z, -z");
        let (sign, letter) = name.split_at_checked(1).ok_or_else(wrong)?;
        let negative = match sign {
            "+" => false,
            "-" => true,
            _ => return Err(wrong()),
        };
        let index = AXES.iter().position(|a| *a == letter).ok_or_else(wrong)?;
        Ok(Axis { index, negative })
    }

    fn signed(self, d: Vector3<f64>) -> Vector3<f64> {
        if self.negative { -d } else { d }
    }
}

pub(super) fn parse_sets(name: &str) -> Result<[bool; 3]> {
    if name == "origin" {
        return Ok([true; 3]);
    }
    let mut sets = [false; 3];
    for letter in name.chars() {
        let index = AXES.iter().position(|a| a.starts_with(letter));
        match index {
            Some(k) if !sets[k] => sets[k] = true,
            _ => return Err(Error::argument("sets", name, "origin, or letters such as x, xy")),
        }
    }
    if name.is_empty() {
        return Err(Error::argument("sets", name, "origin, or letters such as x, xy"));
    }
    Ok(sets)
}

/// Pose from scan to machine coordinates, and what each datum took.
pub(super) fn frame(specs: &[Spec<'_>], shapes: &[Primitive]) -> Result<(Pose, Vec<String>)> {
    let mut taken = vec![Vec::new(); specs.len()];
    let rotation = rotation(specs, shapes, &mut taken)?;
    let origin = origin(specs, shapes, &rotation, &mut taken)?;
    for (spec, took) in specs.iter().zip(&taken) {
        if took.is_empty() {
            return Err(Error::Datum {
                reason: format!(
                    "\"{}\" adds nothing: the datums before it took every freedom it can give; \
                     leave it out or take one that lies across them",
                    spec.name
                ),
            });
        }
    }
    let pose = Pose::from_parts(Translation3::from(-origin), UnitQuaternion::from(rotation));
    let lines = specs.iter().zip(taken);
    Ok((pose, lines.map(|(s, t)| format!("{}: {}", s.name, t.join(", "))).collect()))
}

/// Rotation that takes the first direction to its axis and the second as near as it can be.
fn rotation(
    specs: &[Spec<'_>],
    shapes: &[Primitive],
    taken: &mut [Vec<String>],
) -> Result<Rotation3<f64>> {
    let mut first: Option<(Axis, Direction)> = None;
    let mut second: Option<(Axis, Direction)> = None;
    for (k, (spec, shape)) in specs.iter().zip(shapes).enumerate() {
        let Some(axis) = spec.axis else { continue };
        let Some((main, d)) = first else {
            if let Some(direction) = shape.direction() {
                first = Some((axis, Direction::new_unchecked(axis.signed(*direction))));
                taken[k].push(format!("direction {}", axis_name(axis)));
            }
            continue;
        };
        if second.is_some() {
            continue;
        }
        let Some(across) = across(&d, shape, &shapes[..k]) else { continue };
        if axis.index == main.index {
            return Err(Error::Datum {
                reason: format!(
                    "\"{}\" names the axis {} that an earlier datum has; name another",
                    spec.name, AXES[axis.index]
                ),
            });
        }
        second = Some((axis, Direction::new_unchecked(axis.signed(*across))));
        taken[k].push(format!("direction {} (perpendicular to the first)", axis_name(axis)));
    }
    let Some((main, d)) = first else {
        return Err(Error::Datum {
            reason: "all three rotations are left: no datum gives a direction; name `axis` on a \
                     plane, hole, cylinder or line"
                .into(),
        });
    };
    let Some((other, e)) = second else {
        let parallel = specs
            .iter()
            .zip(shapes)
            .filter(|(s, x)| s.axis.is_some_and(|a| a != main) && x.direction().is_some());
        let because = parallel
            .map(|(s, _)| format!("\"{}\" is parallel to the first datum; ", s.name))
            .collect::<String>();
        return Err(Error::Datum {
            reason: format!(
                "the rotation about {} is left: {because}add a plane or axis across it, or a \
                 second hole or point, with `axis` named",
                AXES[main.index]
            ),
        });
    };
    let mut rows = Matrix3::zeros();
    rows.set_row(main.index, &d.transpose());
    rows.set_row(other.index, &e.transpose());
    let third = 3 - main.index - other.index;
    let (a, b) = ((third + 1) % 3, (third + 2) % 3);
    let cross = rows.row(a).transpose().cross(&rows.row(b).transpose());
    rows.set_row(third, &cross.transpose());
    Ok(Rotation3::from_matrix_unchecked(rows))
}

/// Direction a datum gives perpendicular to the first: its own, or from the first placed datum to it.
fn across(first: &Direction, shape: &Primitive, before: &[Primitive]) -> Option<Direction> {
    let perpendicular = |v: Vector3<f64>| v - first.into_inner() * first.dot(&v);
    if let Some(own) = shape.direction() {
        let v = perpendicular(own.into_inner());
        if v.norm() > PARALLEL {
            return unit(v);
        }
    }
    let from = before.iter().find_map(place)?;
    let v = perpendicular(place(shape)? - from);
    if v.norm() > 0.0 { unit(v) } else { None }
}

/// Where a shape is, if it is an axis or a point; a plane is everywhere.
fn place(shape: &Primitive) -> Option<Point3> {
    match shape {
        Primitive::Plane(_) | Primitive::Composite(_) => None,
        other => Some(other.point()),
    }
}

/// Origin in the turned coordinates.
fn origin(
    specs: &[Spec<'_>],
    shapes: &[Primitive],
    rotation: &Rotation3<f64>,
    taken: &mut [Vec<String>],
) -> Result<Vector3<f64>> {
    let mut origin = Vector3::zeros();
    let mut open = [true; 3];
    let named_first = |k: &usize| *k > 0 && specs[*k].sets.is_none();
    let mut order: Vec<usize> = (0..specs.len()).collect();
    order.sort_by_key(named_first);
    for k in order {
        let (at, gives) = placed(&shapes[k], specs[k].axis, rotation, &shapes[0]);
        for c in 0..3 {
            if open[c] && gives[c] && specs[k].sets.is_none_or(|s| s[c]) {
                open[c] = false;
                origin[c] = at[c];
                taken[k].push(format!("{} = 0", AXES[c]));
            }
        }
    }
    let left: Vec<&str> = (0..3).filter(|c| open[*c]).map(|c| AXES[c]).collect();
    if !left.is_empty() {
        return Err(Error::Datum {
            reason: format!(
                "the position along {} is left; add a datum that lies across it (a plane, a hole, \
                 a point)",
                left.join(" and ")
            ),
        });
    }
    Ok(origin)
}

/// Where a datum is in turned coordinates, and which of them it can fix.
fn placed(
    shape: &Primitive,
    axis: Option<Axis>,
    rotation: &Rotation3<f64>,
    primary: &Primitive,
) -> (Vector3<f64>, [bool; 3]) {
    let mut gives = [true; 3];
    let mut at = shape.point();
    match (shape, shape.direction()) {
        (Primitive::Plane(_), Some(normal)) => {
            let along =
                axis.map_or_else(|| largest(&(rotation * normal.into_inner())), |a| a.index);
            gives = [along == 0, along == 1, along == 2];
        }
        (Primitive::Circle(_) | Primitive::Torus(_), _) | (_, None) => {}
        (_, Some(direction)) => {
            gives[largest(&(rotation * direction.into_inner()))] = false;
            // An axis that is not quite square to the primary plane is placed where it meets it.
            if let (Some(line), Primitive::Plane(plane)) = (axis_of(shape), primary) {
                at = axis_meets(&line, plane).unwrap_or(at);
            }
        }
    }
    (rotation * at.coords, gives)
}

fn largest(v: &Vector3<f64>) -> usize {
    v.iamax()
}

fn axis_name(axis: Axis) -> String {
    format!("{}{}", if axis.negative { '-' } else { '+' }, AXES[axis.index])
}

const AXES: [&str; 3] = ["x", "y", "z"];

/// Sine of one degree: nearer to parallel than this, a second direction is only noise.
const PARALLEL: f64 = 0.01745;
