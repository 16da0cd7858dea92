//! Nothing that a plug-in says is believed: its description, then its answers, field by field.

use std::f64::consts::{FRAC_PI_2, TAU};

use fitwright_plugin_abi as abi;
use nalgebra::DMatrix;

use super::answer::{Answer, Description, RawOption, RawParameter, RawPiece, RawValue};
use crate::associate::{FitterOption, OptionSort};
use crate::primitive::{
    Bounded, Circle, Column, Composite, Cone, Cylinder, Direction, Extent, Kind, Line, Parameter,
    Plane, Point3, Primitive, Sphere, Table, Torus, Value, Vec3,
};
use crate::units::Quantity;

/// A field and what is wrong with it.
pub(super) type Wrong = (String, String);
pub(super) type Checked<T> = std::result::Result<T, Wrong>;

/// A fitter as the engine knows it.
#[derive(Debug, Clone)]
pub(super) struct Described {
    pub(super) id: String,
    pub(super) title: String,
    pub(super) kind: Kind,
    /// What a composite is called.
    pub(super) name: String,
    pub(super) minimum: usize,
    pub(super) options: Vec<FitterOption>,
}

/// Where the points of a call lie.
#[derive(Debug, Clone, Copy)]
pub(super) struct Region {
    pub(super) low: Point3,
    pub(super) high: Point3,
    pub(super) count: usize,
}

impl Region {
    pub(super) fn diagonal(&self) -> f64 {
        (self.high - self.low).norm()
    }
}

/// The shape of a standard kind's code.
pub(super) fn kind_of(shape: i32) -> Option<Kind> {
    Some(match shape {
        abi::FITW_PLUGIN_SHAPE_PLANE => Kind::Plane,
        abi::FITW_PLUGIN_SHAPE_LINE => Kind::Line,
        abi::FITW_PLUGIN_SHAPE_CIRCLE => Kind::Circle,
        abi::FITW_PLUGIN_SHAPE_SPHERE => Kind::Sphere,
        abi::FITW_PLUGIN_SHAPE_CYLINDER => Kind::Cylinder,
        abi::FITW_PLUGIN_SHAPE_CONE => Kind::Cone,
        abi::FITW_PLUGIN_SHAPE_TORUS => Kind::Torus,
        _ => return None,
    })
}

/// A fitter's description.
pub(super) fn description(raw: &Description) -> Checked<Described> {
    let composite = raw.shape == abi::FITW_PLUGIN_SHAPE_COMPOSITE;
    let kind = if composite { Some(Kind::Composite) } else { kind_of(raw.shape) };
    let kind = kind.ok_or_else(|| wrong("shape", format!("{} is no shape", raw.shape)))?;
    let words = raw.kind.split(' ').all(|w| is_name(w, "-"));
    if composite && !words {
        return Err(wrong("kind", format!("\"{}\" is no name of a shape", raw.kind)));
    }
    if raw.minimum == 0 || raw.minimum > MOST_MINIMUM {
        return Err(wrong("minimum_points", format!("{} is not 1 to {MOST_MINIMUM}", raw.minimum)));
    }
    let mut options: Vec<FitterOption> = Vec::new();
    for raw in &raw.options {
        let option = option(raw)?;
        if options.iter().any(|o| o.name == option.name) {
            return Err(wrong(&format!("option {}", option.name), "is there twice"));
        }
        options.push(option);
    }
    Ok(Described {
        id: raw.id.clone(),
        title: raw.title.clone(),
        kind,
        name: raw.kind.clone(),
        minimum: raw.minimum as usize,
        options,
    })
}

fn option(raw: &RawOption) -> Checked<FitterOption> {
    let place = format!("option \"{}\"", raw.name);
    if !is_name(&raw.name, "_") {
        return Err(wrong(&place, "its name is not lower case letters, digits and _"));
    }
    let sort = match raw.sort {
        abi::FITW_PLUGIN_OPTION_NUMBER => OptionSort::Number(quantity(raw.unit, &place)?),
        abi::FITW_PLUGIN_OPTION_WHOLE => OptionSort::Whole,
        abi::FITW_PLUGIN_OPTION_SWITCH => OptionSort::Switch,
        other => return Err(wrong(&place, format!("{other} is no sort of option"))),
    };
    let (least, standard, most) = (raw.least, raw.standard, raw.most);
    if !(least.is_finite() && most.is_finite() && least <= standard && standard <= most) {
        let found = format!("standard {standard} is not between {least} and {most}");
        return Err(wrong(&place, found));
    }
    Ok(FitterOption {
        name: raw.name.clone(),
        description: raw.description.clone(),
        sort,
        standard,
        least,
        most,
    })
}

/// An answer that says that it is one.
pub(super) struct Believed {
    pub(super) shape: Primitive,
    /// By point; empty if none is.
    pub(super) rejected: Vec<bool>,
}

/// The shape of an answer, if it can be one.
pub(super) fn answer(raw: &Answer, of: &Described, region: &Region) -> Checked<Believed> {
    let rejected = rejected(&raw.rejected, of.minimum, region.count)?;
    if raw.pieces.is_empty() {
        return Err(wrong("pieces", "there is none"));
    }
    let mut pieces = Vec::with_capacity(raw.pieces.len());
    for (k, piece) in raw.pieces.iter().enumerate() {
        let at = |(field, reason): Wrong| (format!("piece {k} {field}"), reason);
        let bounded = self::piece(piece).map_err(at)?;
        near(&bounded, region).map_err(at)?;
        pieces.push(bounded);
    }
    if of.kind != Kind::Composite {
        return standard(of, pieces, rejected);
    }
    let mut parameters: Vec<Parameter> = Vec::new();
    for p in &raw.parameters {
        let parameter = parameter(p)?;
        if parameters.iter().any(|other| other.name == parameter.name) {
            return Err(wrong(&place_of(&parameter.name), "is there twice"));
        }
        parameters.push(parameter);
    }
    let size = parameters.iter().map(|p| p.value.components()).sum();
    let covariance = covariance(raw.covariance.as_deref(), size)?;
    let kind = of.name.clone();
    let shape = Composite { kind, parameters, covariance, pieces }.into();
    Ok(Believed { shape, rejected })
}

/// One piece says all; parameters are the engine's own.
fn standard(of: &Described, pieces: Vec<Bounded>, rejected: Vec<bool>) -> Checked<Believed> {
    match <[Bounded; 1]>::try_from(pieces) {
        Ok([piece]) if piece.shape.kind() == of.kind => {
            Ok(Believed { shape: piece.shape, rejected })
        }
        Ok([piece]) => {
            let found = piece.shape.kind().name();
            Err(wrong("pieces", format!("it is a {found}; {} was announced", of.kind.name())))
        }
        Err(pieces) => {
            Err(wrong("pieces", format!("{} instead of one {}", pieces.len(), of.kind.name())))
        }
    }
}

fn rejected(raw: &[u32], minimum: usize, count: usize) -> Checked<Vec<bool>> {
    if raw.is_empty() {
        return Ok(Vec::new());
    }
    let mut out = vec![false; count];
    for &i in raw {
        match out.get_mut(i as usize) {
            None => return Err(wrong("rejected", format!("point {i} of {count}"))),
            Some(true) => return Err(wrong("rejected", format!("point {i} is there twice"))),
            Some(free) => *free = true,
        }
    }
    let left = count - raw.len();
    if left < minimum {
        let reason = format!("{left} of {count} points are left; its fit needs {minimum}");
        return Err(wrong("rejected", reason));
    }
    Ok(out)
}

fn parameter(raw: &RawParameter) -> Checked<Parameter> {
    let place = place_of(&raw.name);
    if !is_name(&raw.name, "_") {
        return Err(wrong(&place, "its name is not lower case letters, digits and _"));
    }
    let value = match &raw.value {
        RawValue::Number { unit, value } => {
            Value::Scalar(within(*value, &place)?, quantity(*unit, &place)?)
        }
        RawValue::Point(x) => Value::Point(point(*x, &place)?),
        RawValue::Direction(x) => Value::Direction(direction(*x, &place)?),
        RawValue::Table { columns, values } => {
            let mut named = Vec::new();
            for (name, unit) in columns {
                if !is_name(name, "_") {
                    return Err(wrong(&place, format!("column \"{name}\" is no name")));
                }
                let coordinate = *unit == abi::FITW_PLUGIN_UNIT_PLACE;
                let quantity = if coordinate { Quantity::Length } else { quantity(*unit, &place)? };
                named.push(Column { name: name.clone(), quantity, place: coordinate });
            }
            let mut places = named.iter().map(|c| c.place);
            while let Some(place_begins) = places.next() {
                if place_begins && (places.next(), places.next()) != (Some(true), Some(true)) {
                    let reason = "coordinates of a place are three columns side by side";
                    return Err(wrong(&place, reason));
                }
            }
            values.iter().try_for_each(|x| within(*x, &place).map(|_| ()))?;
            Value::Table(Table { columns: named, values: values.clone() })
        }
    };
    Ok(Parameter { name: raw.name.clone(), value })
}

/// Symmetric and positive semi-definite, judged on the correlations: units and sizes differ.
fn covariance(raw: Option<&[f64]>, size: usize) -> Checked<DMatrix<f64>> {
    let place = "covariance";
    let raw = raw.ok_or_else(|| wrong(place, "there is none; a composite needs one"))?;
    if raw.len() != size * size {
        let rows = raw.len().isqrt();
        return Err(wrong(place, format!("{rows} rows; the parameters have {size} components")));
    }
    if let Some(bad) = raw.iter().find(|x| !x.is_finite()) {
        return Err(wrong(place, format!("{bad} is in it")));
    }
    let matrix = DMatrix::from_row_slice(size, size, raw);
    if let Some(k) = (0..size).find(|&k| matrix[(k, k)] < 0.0) {
        return Err(wrong(place, format!("variance {} of component {k}", matrix[(k, k)])));
    }
    let deviation = matrix.diagonal().map(f64::sqrt);
    let scaled = |r: usize, c: usize| {
        let both = deviation[r] * deviation[c];
        let x = matrix[(r, c)];
        if both > 0.0 {
            x / both
        } else if x == 0.0 {
            0.0
        } else {
            f64::INFINITY
        }
    };
    let correlation = DMatrix::from_fn(size, size, scaled);
    if let Some(k) = (0..size * size).find(|&k| {
        let (r, c) = (k / size, k % size);
        (correlation[(r, c)] - correlation[(c, r)]).abs() > ASYMMETRY
            || correlation[(r, c)].abs() > 1.0 + ASYMMETRY
    }) {
        let (r, c) = (k / size, k % size);
        return Err(wrong(
            place,
            format!(
                "components {r} and {c}: {} and {} beside variances {} and {}",
                matrix[(r, c)],
                matrix[(c, r)],
                matrix[(r, r)],
                matrix[(c, c)]
            ),
        ));
    }
    let least = correlation.symmetric_eigenvalues().min();
    if least < -INDEFINITE * size as f64 {
        return Err(wrong(
            place,
            format!("not positive: its correlations have eigenvalue {least:.3e}"),
        ));
    }
    Ok(0.5 * (&matrix + matrix.transpose()))
}

/// A piece whose numbers are ones.
fn piece(raw: &RawPiece) -> Checked<Bounded> {
    let shape = standard_shape(raw.shape, raw.point, raw.direction, raw.sizes)?;
    let extent = extent(raw, &shape)?;
    Ok(Bounded { shape, extent })
}

/// A standard shape of its numbers.
pub(super) fn standard_shape(
    code: i32,
    at: [f64; 3],
    along: [f64; 3],
    sizes: [f64; 2],
) -> Checked<Primitive> {
    let kind =
        kind_of(code).ok_or_else(|| wrong("shape", format!("{code} is no standard shape")))?;
    let point = point(at, "point_mm")?;
    let axis = || direction(along, "direction");
    let size = |k: usize| radius(sizes[k], ["size_1", "size_2"][k]);
    Ok(match kind {
        Kind::Plane => Plane { point, normal: axis()? }.into(),
        Kind::Line => Line { point, direction: axis()? }.into(),
        Kind::Circle => Circle { centre: point, normal: axis()?, radius: size(0)? }.into(),
        Kind::Sphere => Sphere { centre: point, radius: size(0)? }.into(),
        Kind::Cylinder => Cylinder { point, axis: axis()?, radius: size(0)? }.into(),
        Kind::Cone => {
            let half_angle = size(1)?;
            if half_angle >= FRAC_PI_2 {
                return Err(wrong("size_2", format!("half-angle {half_angle} is not below pi/2")));
            }
            Cone { point, axis: axis()?, radius: size(0)?, half_angle }.into()
        }
        Kind::Torus => {
            let (major_radius, minor_radius) = (size(0)?, size(1)?);
            if minor_radius >= major_radius {
                return Err(wrong(
                    "size_2",
                    format!("tube {minor_radius} of a ring {major_radius}"),
                ));
            }
            Torus { centre: point, axis: axis()?, major_radius, minor_radius }.into()
        }
        Kind::Composite => return Err(wrong("shape", "a composite")),
    })
}

/// A radius, or a length of that order.
pub(super) fn radius(x: f64, place: &str) -> Checked<f64> {
    let good = x > 0.0 && x < LARGEST_RADIUS;
    if good {
        return Ok(x);
    }
    Err(wrong(place, format!("{x} is not over 0 and below {LARGEST_RADIUS}")))
}

fn extent(raw: &RawPiece, shape: &Primitive) -> Checked<Extent> {
    let curved = matches!(shape.kind(), Kind::Cylinder | Kind::Cone | Kind::Sphere | Kind::Torus);
    let whole = matches!(shape.kind(), Kind::Circle | Kind::Sphere | Kind::Torus);
    match raw.extent {
        abi::FITW_PLUGIN_EXTENT_OUTLINE if shape.kind() == Kind::Plane => outline(raw, shape),
        abi::FITW_PLUGIN_EXTENT_SEGMENT if shape.kind() == Kind::Line => {
            let [from, to] = ordered(raw.u, "u", LARGEST)?;
            Ok(Extent::Segment(from, to))
        }
        abi::FITW_PLUGIN_EXTENT_ARC if shape.kind() == Kind::Circle => {
            let [from, to] = ordered(raw.u, "u", TAU)?;
            Ok(Extent::Arc { zero: square(raw.zero, shape.direction())?, from, to })
        }
        abi::FITW_PLUGIN_EXTENT_PATCH if curved => {
            let pole = match shape.direction() {
                Some(axis) => axis,
                None => direction(raw.pole, "pole")?,
            };
            let zero = square(raw.zero, Some(pole))?;
            let [u0, u1] = ordered(raw.u, "u", TAU)?;
            let most = if shape.kind() == Kind::Torus { TAU } else { LARGEST };
            let [mut v0, mut v1] = ordered(raw.v, "v", most)?;
            if shape.kind() == Kind::Sphere {
                (v0, v1) = (v0.max(-FRAC_PI_2), v1.min(FRAC_PI_2));
            }
            Ok(Extent::Patch { zero, pole, u: (u0, u1), v: (v0, v1) })
        }
        abi::FITW_PLUGIN_EXTENT_WHOLE if whole => Ok(Extent::Whole),
        other => {
            Err(wrong("extent", format!("{other} does not go with a {}", shape.kind().name())))
        }
    }
}

fn outline(raw: &RawPiece, shape: &Primitive) -> Checked<Extent> {
    if raw.loops.is_empty() {
        return Err(wrong("outline", "no loop"));
    }
    let mut loops = Vec::new();
    for (k, points) in raw.loops.iter().enumerate() {
        if points.len() < 3 {
            return Err(wrong("outline", format!("loop {k} has {} points", points.len())));
        }
        let points: Vec<Point3> =
            points.iter().map(|x| point(*x, "outline")).collect::<Checked<_>>()?;
        let size = points.iter().map(|p| (p - points[0]).norm()).fold(0.0, f64::max);
        let off = points.iter().map(|p| shape.distance(p).abs()).fold(0.0, f64::max);
        if off > ROUNDING * (1.0 + size) {
            return Err(wrong("outline", format!("loop {k} lies up to {off} mm off its plane")));
        }
        loops.push(points);
    }
    Ok(Extent::Outline(loops))
}

fn ordered([from, to]: [f64; 2], name: &str, most: f64) -> Checked<[f64; 2]> {
    let good = from.abs() < LARGEST && to.abs() < LARGEST && from < to;
    if good && to - from <= most * (1.0 + ROUNDING) {
        // A full turn that rounding made a little more.
        return Ok([from, to.min(from + most)]);
    }
    Err(wrong(&format!("{name}_from, {name}_to"), format!("from {from} to {to}")))
}

/// No part of a piece may lie farther from the data than the data are large.
fn near(piece: &Bounded, region: &Region) -> Checked<()> {
    let reach = region.diagonal();
    let (low, high) = (region.low.coords.add_scalar(-reach), region.high.coords.add_scalar(reach));
    for p in corners(piece) {
        if !(0..3).all(|k| (low[k]..=high[k]).contains(&p[k])) {
            return Err(wrong(
                "place",
                format!(
                    "({:.3}, {:.3}, {:.3}) is outside the data, which lie from ({:.3}, {:.3}, {:.3}) to ({:.3}, {:.3}, {:.3})",
                    p.x,
                    p.y,
                    p.z,
                    region.low.x,
                    region.low.y,
                    region.low.z,
                    region.high.x,
                    region.high.y,
                    region.high.z
                ),
            ));
        }
    }
    Ok(())
}

/// Points that show how far a piece reaches.
fn corners(piece: &Bounded) -> Vec<Point3> {
    let round = |centre: Point3, zero: &Direction, pole: &Direction, from: f64, to: f64| {
        let (x, y) = (zero.into_inner(), pole.cross(zero));
        (0..=8).map(move |i| {
            let (sin, cos) = (from + (to - from) * f64::from(i) / 8.0).sin_cos();
            (centre, x * cos + y * sin)
        })
    };
    match (&piece.shape, &piece.extent) {
        (_, Extent::Outline(loops)) => loops.iter().flatten().copied().collect(),
        (Primitive::Line(s), Extent::Segment(a, b)) => {
            [*a, *b].map(|t| s.point + s.direction.into_inner() * t).to_vec()
        }
        (Primitive::Circle(s), Extent::Arc { zero, from, to }) => {
            round(s.centre, zero, &s.normal, *from, *to).map(|(c, d)| c + d * s.radius).collect()
        }
        (Primitive::Cylinder(s), Extent::Patch { zero, u, v, .. }) => {
            round(s.point, zero, &s.axis, u.0, u.1)
                .flat_map(|(c, d)| [v.0, v.1].map(|h| c + d * s.radius + s.axis.into_inner() * h))
                .collect()
        }
        (Primitive::Cone(s), Extent::Patch { zero, u, v, .. }) => {
            round(s.point, zero, &s.axis, u.0, u.1)
                .flat_map(|(c, d)| {
                    let at = |h: f64| {
                        c + d * (s.radius + h * s.half_angle.tan()) + s.axis.into_inner() * h
                    };
                    [v.0, v.1].map(at)
                })
                .collect()
        }
        (Primitive::Torus(s), Extent::Patch { zero, u, .. }) => {
            round(s.centre, zero, &s.axis, u.0, u.1).map(|(c, d)| c + d * s.major_radius).collect()
        }
        (shape, _) => {
            let size = match shape {
                Primitive::Circle(s) => s.radius,
                Primitive::Sphere(s) => s.radius,
                Primitive::Torus(s) => s.major_radius,
                _ => 0.0,
            };
            let centre = shape.point();
            let ends = [Vec3::x(), Vec3::y(), Vec3::z()].map(|d| d * size);
            ends.iter().flat_map(|d| [centre + d, centre - d]).collect()
        }
    }
}

pub(super) fn point(x: [f64; 3], place: &str) -> Checked<Point3> {
    x.iter().try_for_each(|c| within(*c, place).map(|_| ()))?;
    Ok(Point3::from(x))
}

pub(super) fn direction(x: [f64; 3], place: &str) -> Checked<Direction> {
    let v = Vec3::from(x);
    // Not `>`: what is not a number must not pass.
    if (v.norm() - 1.0).abs() <= ROUNDING {
        return Ok(Direction::new_normalize(v));
    }
    Err(wrong(place, format!("({}, {}, {}) is no unit direction", x[0], x[1], x[2])))
}

fn square(zero: [f64; 3], axis: Option<Direction>) -> Checked<Direction> {
    let zero = direction(zero, "zero")?;
    let Some(axis) = axis else { return Ok(zero) };
    let along = zero.dot(&axis);
    if along.abs() > ROUNDING {
        return Err(wrong(
            "zero",
            format!("it is not perpendicular to the axis (cosine {along:.2e})"),
        ));
    }
    Ok(Direction::new_normalize(zero.into_inner() - axis.into_inner() * along))
}

pub(super) fn within(x: f64, place: &str) -> Checked<f64> {
    if x.abs() < LARGEST {
        Ok(x)
    } else {
        Err(wrong(place, format!("{x} is no number below {LARGEST}")))
    }
}

fn quantity(unit: i32, place: &str) -> Checked<Quantity> {
    match unit {
        abi::FITW_PLUGIN_UNIT_NONE => Ok(Quantity::Number),
        abi::FITW_PLUGIN_UNIT_MM => Ok(Quantity::Length),
        abi::FITW_PLUGIN_UNIT_RAD => Ok(Quantity::Angle),
        other => Err(wrong(place, format!("{other} is no unit"))),
    }
}

fn is_name(name: &str, also: &str) -> bool {
    let good = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || also.contains(c);
    !name.is_empty() && name.len() <= LONGEST_NAME && name.chars().all(good)
}

fn place_of(name: &str) -> String {
    format!("parameter \"{}\"", name.escape_debug())
}

pub(super) fn wrong(place: &str, reason: impl Into<String>) -> Wrong {
    (place.into(), reason.into())
}

/// Largest number of an answer, mm: ten kilometres.
const LARGEST: f64 = 1e7;
/// Largest radius, mm: ten metres.
const LARGEST_RADIUS: f64 = 1e4;
/// Rounding that is forgiven in directions, full turns and outlines.
const ROUNDING: f64 = 1e-6;
/// Difference of two correlations that ought to be the same, and excess over 1.
const ASYMMETRY: f64 = 1e-6;
/// Negative eigenvalue of correlations that rounding explains, by component.
const INDEFINITE: f64 = 1e-6;
/// Longest name.
const LONGEST_NAME: usize = 64;
/// Most points that a fitter may ask for at least.
const MOST_MINIMUM: u64 = 1_000_000;
