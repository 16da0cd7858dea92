//! Uncertainty and scan date as properties of products.
//!
//! The expanded uncertainty (coverage factor 2, JCGM 100) of what a feature's kind has: position,
//! direction, sizes.

use std::borrow::Cow;

use super::entity::{Id, Writer};
use super::product::Frame;
use super::text::string;
use crate::error::{Error, Result};
use crate::feature::Feature;
use crate::primitive::{Primitive, Value};
use crate::units::Quantity;

/// Attaches the feature's uncertainty; nothing where it is zero throughout.
///
/// # Errors
/// [`Error::Argument`] naming the feature when its covariance is not finite.
pub(super) fn uncertainty(
    w: &mut Writer,
    frame: &Frame,
    definition: Id,
    feature: &Feature,
) -> Result<()> {
    let entries = expanded(feature);
    if let Some((name, x, _)) = entries.iter().find(|(_, x, _)| !x.is_finite()) {
        let field = format!("feature \"{}\", uncertainty: {name}", feature.name);
        return Err(Error::argument(field, x, "a finite number"));
    }
    if entries.iter().all(|(_, x, _)| *x == 0.0) {
        return Ok(());
    }
    for (name, x, unit) in entries {
        let (measure, unit) = match unit {
            Unit::Length => ("LENGTH_MEASURE", frame.length),
            Unit::Angle => ("PLANE_ANGLE_MEASURE", frame.angle),
        };
        let name = format!("{name} uncertainty (k = 2)");
        let (title, x) = (string(&name), w.real(x));
        let item =
            w.add(format_args!("MEASURE_REPRESENTATION_ITEM({title},{measure}({x}),{unit})"));
        attach(w, frame, definition, &name, item);
    }
    Ok(())
}

/// Attaches the date of the scan.
pub(super) fn scan_date(w: &mut Writer, frame: &Frame, definition: Id, date: &str) {
    let item = w.add(format_args!("DESCRIPTIVE_REPRESENTATION_ITEM('scan date',{})", string(date)));
    attach(w, frame, definition, "scan date", item);
}

#[derive(Clone, Copy)]
enum Unit {
    Length,
    Angle,
}

fn expanded(feature: &Feature) -> Vec<(Cow<'static, str>, f64, Unit)> {
    let (shape, covariance) = (&feature.shape, &feature.covariance);
    let mut entries: Vec<(Cow<'static, str>, f64, Unit)> =
        vec![("position".into(), covariance.deviation_at(&shape.point()), Unit::Length)];
    if let Some(d) = shape.direction() {
        entries.push(("direction".into(), covariance.tilt(&d), Unit::Angle));
    }
    let sizes: &[(&'static str, Unit)] = match shape {
        Primitive::Circle(_) | Primitive::Cylinder(_) => &[("radius", Unit::Length)],
        Primitive::Sphere(s) if s.radius > 0.0 => &[("radius", Unit::Length)],
        Primitive::Cone(_) => &[("radius", Unit::Length), ("half angle", Unit::Angle)],
        Primitive::Torus(_) => &[("major radius", Unit::Length), ("minor radius", Unit::Length)],
        Primitive::Plane(_)
        | Primitive::Line(_)
        | Primitive::Sphere(_)
        | Primitive::Composite(_) => &[],
    };
    for (i, (name, unit)) in sizes.iter().enumerate() {
        entries.push(((*name).into(), covariance.size(i), *unit));
    }
    if let Primitive::Composite(shape) = shape {
        for (k, p) in shape.parameters.iter().enumerate() {
            let unit = match p.value {
                Value::Scalar(_, Quantity::Angle) | Value::Direction(_) => Unit::Angle,
                Value::Scalar(_, Quantity::Length) | Value::Point(_) => Unit::Length,
                Value::Scalar(_, Quantity::Number) | Value::Table(_) => continue,
            };
            let name = format!("{} of the fit", p.name.replace('_', " ")).into();
            entries.extend(shape.deviation(k).map(|deviation| (name, deviation, unit)));
        }
    }
    entries.iter_mut().for_each(|(_, x, _)| *x *= COVERAGE);
    entries
}

/// One property a value: readers keep one value under a property's name.
fn attach(w: &mut Writer, frame: &Frame, definition: Id, name: &str, item: Id) {
    let name = string(name);
    let general = w.add(format_args!("GENERAL_PROPERTY('',{name},'')"));
    let property = w.add(format_args!("PROPERTY_DEFINITION({name},'',{definition})"));
    w.add(format_args!("GENERAL_PROPERTY_ASSOCIATION('','',{general},{property})"));
    let values = w.add(format_args!("REPRESENTATION({name},({item}),{})", frame.context));
    w.add(format_args!("PROPERTY_DEFINITION_REPRESENTATION({property},{values})"));
}

/// Coverage factor: about 95 % for a normal distribution.
const COVERAGE: f64 = 2.0;
