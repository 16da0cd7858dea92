//! What must hold of a feature before anything of it is written; a bad number is named by feature, piece and field.

use std::f64::consts::FRAC_PI_2;

use crate::error::{Error, Result};
use crate::feature::Feature;
use crate::primitive::{Bounded, Direction, Extent, Parameter, Point3, Primitive, Value};
use crate::units::Quantity;

/// Checks numbers, directions and sizes of one piece; `place` names feature and piece.
pub(super) fn piece(piece: &Bounded, place: &str) -> Result<()> {
    for p in piece.shape.parameters() {
        parameter(&p, place)?;
    }
    sizes(&piece.shape, place)?;
    extent(&piece.extent, place)
}

/// Name that can stand in a file: not empty, without NUL, which readers cut at.
pub(super) fn name(field: &str, text: &str) -> Result<()> {
    if text.trim().is_empty() || text.contains('\0') {
        return Err(Error::argument(
            field,
            format!("{text:?}"),
            "a text that is not empty, without NUL",
        ));
    }
    Ok(())
}

/// Date as ISO 8601: `2026-03-01` or `2026-03-01T12:00:00` with or without zone.
pub(super) fn date(field: &str, text: &str) -> Result<()> {
    let fits = |part: &str, pattern: &str| {
        part.len() == pattern.len()
            && part.bytes().zip(pattern.bytes()).all(|(b, p)| match p {
                b'0' => b.is_ascii_digit(),
                _ => b == p,
            })
    };
    let (day, time) = text.split_once('T').unwrap_or((text, "00:00:00"));
    let clock = time.get(..8).unwrap_or("");
    let zone = time.get(8..).unwrap_or("");
    let zone_fits = zone.bytes().all(|b| b.is_ascii_digit() || b"+-.:Z".contains(&b));
    if fits(day, "0000-00-00") && fits(clock, "00:00:00") && zone_fits {
        return Ok(());
    }
    Err(Error::argument(field, format!("{text:?}"), "YYYY-MM-DD or YYYY-MM-DDThh:mm:ss"))
}

/// Unique id of a feature's piece in messages.
pub(super) fn place(feature: &Feature, index: usize, piece: &Bounded) -> String {
    format!("feature \"{}\", piece {} ({})", feature.name, index + 1, piece.shape.kind().name())
}

fn parameter(p: &Parameter, place: &str) -> Result<()> {
    let field = format!("{place}: {}", p.name);
    match &p.value {
        Value::Point(x) => point(x, &field),
        Value::Direction(d) => direction(d, &field),
        Value::Scalar(x, Quantity::Length | Quantity::Angle | Quantity::Number) => {
            finite(&[*x], &field)
        }
        Value::Table(table) => finite(&table.values, &field),
    }
}

fn sizes(shape: &Primitive, place: &str) -> Result<()> {
    let refuse = |field: &str, found: f64, allowed: &str| {
        Err(Error::argument(format!("{place}: {field}"), found, allowed))
    };
    match shape {
        Primitive::Circle(s) if s.radius <= 0.0 => refuse("radius", s.radius, "more than 0 mm"),
        Primitive::Cylinder(s) if s.radius <= 0.0 => refuse("radius", s.radius, "more than 0 mm"),
        Primitive::Sphere(s) if s.radius < 0.0 => refuse("radius", s.radius, "0 mm or more"),
        Primitive::Cone(s) if s.half_angle <= 0.0 || s.half_angle >= FRAC_PI_2 => {
            refuse("half_angle", s.half_angle, "between 0 and π/2")
        }
        Primitive::Torus(s) if s.minor_radius <= 0.0 => {
            refuse("minor_radius", s.minor_radius, "more than 0 mm")
        }
        Primitive::Torus(s) if s.major_radius <= s.minor_radius => {
            refuse("major_radius", s.major_radius, "more than the minor radius")
        }
        _ => Ok(()),
    }
}

fn extent(extent: &Extent, place: &str) -> Result<()> {
    let at = |field: &str| format!("{place}: {field}");
    match extent {
        Extent::Outline(loops) => loops.iter().flatten().try_for_each(|p| point(p, &at("outline"))),
        Extent::Segment(a, b) => finite(&[*a, *b], &at("segment")),
        Extent::Arc { zero, from, to } => {
            direction(zero, &at("zero"))?;
            finite(&[*from, *to], &at("arc"))
        }
        Extent::Patch { zero, pole, u, v } => {
            direction(zero, &at("zero"))?;
            direction(pole, &at("pole"))?;
            finite(&[u.0, u.1], &at("u"))?;
            finite(&[v.0, v.1], &at("v"))
        }
        Extent::Whole => Ok(()),
    }
}

fn point(p: &Point3, field: &str) -> Result<()> {
    finite(p.coords.as_slice(), field)
}

fn direction(d: &Direction, field: &str) -> Result<()> {
    finite(d.as_slice(), field)?;
    if (d.norm() - 1.0).abs() > UNIT_LENGTH {
        return Err(Error::argument(field, format!("length {}", d.norm()), "a unit direction"));
    }
    Ok(())
}

fn finite(numbers: &[f64], field: &str) -> Result<()> {
    match numbers.iter().find(|x| !x.is_finite()) {
        Some(x) => Err(Error::argument(field, x, "a finite number")),
        None => Ok(()),
    }
}

/// How far from 1 the length of a unit direction may be by rounding.
const UNIT_LENGTH: f64 = 1e-6;
