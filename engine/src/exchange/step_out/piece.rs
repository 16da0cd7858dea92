//! One bounded piece as entities: a face in a shell of its own, or an item of a curve set.

use std::f64::consts::TAU;

use super::StepOptions;
use super::check;
use super::entity::{Id, Oriented, Placement, Writer, list};
use super::outline::cleaned;
use super::revolved::{Style, faces};
use super::text::string;
use crate::error::{Error, Result};
use crate::feature::{Feature, FeatureKind};
use crate::primitive::{
    Bounded, Circle, Direction, Extent, Line, Plane, Point3, Primitive, Sphere, any_perpendicular,
    unit,
};

/// What the pieces of a feature became.
#[derive(Default)]
pub(super) struct Items {
    /// `OPEN_SHELL`s, one a face piece.
    pub(super) shells: Vec<Id>,
    /// Curves and points.
    pub(super) curves: Vec<Id>,
    /// What was changed on the way.
    pub(super) notes: Vec<String>,
}

/// Writes all pieces of a feature.
///
/// # Errors
/// [`Error::Argument`] naming feature, piece and field.
pub(super) fn items(w: &mut Writer, feature: &Feature, options: &StepOptions) -> Result<Items> {
    let pieces = pieces_of(feature)?;
    let mut items = Items::default();
    for (i, piece) in pieces.iter().enumerate() {
        let place = check::place(feature, i, piece);
        check::piece(piece, &place)?;
        let style = Style {
            name: &feature.name,
            inside_out: feature.kind == FeatureKind::Hole,
            full: options.full,
            precision: options.precision,
            place: &place,
        };
        write(w, piece, &style, &mut items)?;
        if let Some(x) = w.not_finite() {
            return Err(Error::argument(place, x, "numbers whose results stay finite"));
        }
    }
    Ok(items)
}

/// The feature's pieces, those of its composites, or its shape where that is bounded by itself;
/// a hole also has the centre of its rim.
fn pieces_of(feature: &Feature) -> Result<Vec<Bounded>> {
    let mut pieces = Vec::new();
    for piece in &feature.pieces {
        match &piece.shape {
            Primitive::Composite(c) => pieces.extend(c.pieces.iter().cloned()),
            _ => pieces.push(piece.clone()),
        }
    }
    if feature.pieces.is_empty() {
        match &feature.shape {
            Primitive::Composite(c) => pieces.extend(c.pieces.iter().cloned()),
            shape => pieces.push(Bounded { shape: shape.clone(), extent: Extent::Whole }),
        }
    }
    if pieces.is_empty() {
        let name = format!("feature \"{}\": pieces", feature.name);
        return Err(Error::argument(name, "none", "at least one"));
    }
    let is_point = |b: &Bounded| matches!(&b.shape, Primitive::Sphere(s) if s.radius == 0.0);
    if feature.kind == FeatureKind::Hole && !pieces.iter().any(is_point) {
        let rim = pieces.iter().find(|b| matches!(b.shape, Primitive::Circle(_)));
        let centre = rim.map(|b| Sphere { centre: b.shape.point(), radius: 0.0 });
        pieces.extend(centre.map(|c| Bounded { shape: c.into(), extent: Extent::Whole }));
    }
    Ok(pieces)
}

fn write(w: &mut Writer, piece: &Bounded, style: &Style<'_>, items: &mut Items) -> Result<()> {
    match (&piece.shape, &piece.extent) {
        (Primitive::Plane(plane), Extent::Outline(loops)) => {
            let face = plane_face(w, plane, loops, style, &mut items.notes)?;
            items.shells.push(shell(w, style.name, &[face]));
        }
        (Primitive::Line(line), Extent::Segment(from, to)) => {
            items.curves.push(segment(w, line, *from, *to, style)?);
        }
        (Primitive::Circle(circle), Extent::Arc { zero, from, to }) => {
            items.curves.push(arc(w, circle, zero, (*from, *to), style)?);
        }
        (Primitive::Circle(c), Extent::Whole) => {
            let x = any_perpendicular(&c.normal);
            let at = Placement { origin: c.centre, z: c.normal, x };
            items.curves.push(w.circle(style.name, &at, c.radius));
        }
        (Primitive::Sphere(s), _) if s.radius == 0.0 => {
            items.curves.push(w.named_point(style.name, &s.centre));
        }
        (
            shape @ (Primitive::Cylinder(_)
            | Primitive::Cone(_)
            | Primitive::Sphere(_)
            | Primitive::Torus(_)),
            extent,
        ) => {
            let faces = faces(w, shape, extent, style)?;
            items.shells.push(shell(w, style.name, &faces));
        }
        (shape, _) => return Err(refuse(style, "extent", "another", bounds_of(shape))),
    }
    Ok(())
}

/// A piece of a line from one point to another.
pub(super) fn trimmed_line(
    w: &mut Writer,
    name: &str,
    from: &Point3,
    along: &Direction,
    length: f64,
) -> Id {
    let to = from + along.into_inner() * length;
    let line = w.line(from, along);
    let ends = [w.point(from), w.point(&to)];
    trimmed(w, name, line, ends, (0.0, length))
}

fn plane_face(
    w: &mut Writer,
    plane: &Plane,
    loops: &[Vec<Point3>],
    style: &Style<'_>,
    notes: &mut Vec<String>,
) -> Result<Id> {
    let outline = cleaned(plane, loops, style.precision)
        .map_err(|why| refuse(style, "outline", &why, "at least three corners round an area"))?;
    notes.extend(outline.notes.into_iter().map(|n| format!("{}: {n}", style.place)));
    let mut rings = Vec::with_capacity(outline.loops.len());
    for corners in &outline.loops {
        rings.push(polygon(w, corners, style)?);
    }
    let at =
        Placement { origin: plane.point, z: plane.normal, x: any_perpendicular(&plane.normal) };
    let at = w.placement(&at);
    let surface = w.add(format_args!("PLANE('',{at})"));
    Ok(w.face(style.name, &rings, surface, true))
}

fn polygon(w: &mut Writer, corners: &[Point3], style: &Style<'_>) -> Result<Id> {
    let vertices: Vec<Id> = corners.iter().map(|p| w.vertex(p)).collect();
    let mut ring: Vec<Oriented> = Vec::with_capacity(corners.len());
    for i in 0..corners.len() {
        let j = (i + 1) % corners.len();
        let along = unit(corners[j] - corners[i])
            .ok_or_else(|| refuse(style, "outline", "a repeated corner", "separate corners"))?;
        let line = w.line(&corners[i], &along);
        ring.push((w.edge(vertices[i], vertices[j], line), true));
    }
    Ok(w.edge_loop(&ring))
}

fn segment(w: &mut Writer, line: &Line, from: f64, to: f64, style: &Style<'_>) -> Result<Id> {
    if (to - from).abs() <= style.precision {
        return Err(refuse(style, "segment", &format!("{from} to {to}"), "two separate ends"));
    }
    let start = line.point + line.direction.into_inner() * from;
    let along = if to > from { line.direction } else { -line.direction };
    Ok(trimmed_line(w, style.name, &start, &along, (to - from).abs()))
}

fn arc(
    w: &mut Writer,
    circle: &Circle,
    zero: &Direction,
    (from, to): (f64, f64),
    style: &Style<'_>,
) -> Result<Id> {
    let n = circle.normal.into_inner();
    let x = unit(zero.into_inner() - n * n.dot(zero))
        .filter(|_| n.cross(zero).norm() > style.precision)
        .ok_or_else(|| refuse(style, "zero", "along the normal", "perpendicular to it"))?;
    let at = Placement { origin: circle.centre, z: circle.normal, x };
    let gap = (TAU - (to - from)) * circle.radius;
    if !(gap >= -style.precision && (to - from) * circle.radius > style.precision) {
        let found = format!("{from} to {to}");
        return Err(refuse(style, "arc", &found, "from < to ≤ from + 2π"));
    }
    if style.full || gap <= style.precision {
        return Ok(w.circle(style.name, &at, circle.radius));
    }
    let basis = w.circle("", &at, circle.radius);
    let ends = [from, to].map(|t| w.point(&(circle.centre + at.radial(t) * circle.radius)));
    Ok(trimmed(w, style.name, basis, ends, (from, to)))
}

/// Both trims as point and as parameter: readers differ in which they take.
fn trimmed(w: &mut Writer, name: &str, curve: Id, ends: [Id; 2], (from, to): (f64, f64)) -> Id {
    let (from, to, name) = (w.real(from), w.real(to), string(name));
    w.add(format_args!(
        "TRIMMED_CURVE({name},{curve},({},PARAMETER_VALUE({from})),({},PARAMETER_VALUE({to})),.T.,.PARAMETER.)",
        ends[0], ends[1]
    ))
}

fn shell(w: &mut Writer, name: &str, faces: &[Id]) -> Id {
    w.add(format_args!("OPEN_SHELL({},{})", string(name), list(faces)))
}

fn refuse(style: &Style<'_>, field: &str, found: &str, allowed: &str) -> Error {
    Error::argument(format!("{}: {field}", style.place), found, allowed)
}

/// How a shape is bounded.
fn bounds_of(shape: &Primitive) -> &'static str {
    match shape {
        Primitive::Plane(_) => "an outline",
        Primitive::Line(_) => "a segment",
        Primitive::Circle(_) => "an arc, or whole",
        Primitive::Cylinder(_) | Primitive::Cone(_) => "a patch",
        Primitive::Sphere(_) | Primitive::Torus(_) => "a patch, or whole",
        Primitive::Composite(_) => "pieces that are no composites",
    }
}
