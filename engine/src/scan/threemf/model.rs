//! The model part of a 3MF file: objects by id, and what of them is built.

use std::collections::BTreeMap;

use nalgebra::Matrix3x4;
use quick_xml::XmlVersion;
use quick_xml::events::{BytesStart, Event};

use super::super::source::Source;
use super::package::{Text, next};
use super::unsupported;
use crate::error::Result;
use crate::primitive::Point3;

/// Objects and the build.
#[derive(Default)]
pub(super) struct Model {
    /// Millimetres in one unit of the file.
    pub(super) unit: f64,
    pub(super) objects: BTreeMap<u64, Object>,
    pub(super) items: Vec<Instance>,
}

/// A mesh, or other objects in their places.
pub(super) struct Object {
    pub(super) body: Body,
}

pub(super) enum Body {
    /// Corners in the file's unit.
    Mesh {
        points: Vec<Point3>,
        triangles: Vec<[u32; 3]>,
    },
    Components(Vec<Instance>),
}

/// An object and where it is.
pub(super) struct Instance {
    pub(super) object: u64,
    pub(super) placed: Matrix3x4<f64>,
}

/// What is being read.
struct Parser<'a, 's> {
    source: &'a Source<'s>,
    part: &'a str,
    model: Model,
    /// The object whose element is open.
    open: Option<(u64, Body)>,
    /// Points and triangles so far, over all objects.
    counts: (u64, u64),
}

impl Model {
    pub(super) fn read(source: &Source, part: &str, text: &mut Text<'_>) -> Result<Model> {
        let model = Model { unit: 1.0, ..Model::default() };
        let mut parser = Parser { source, part, model, open: None, counts: (0, 0) };
        let mut buffer = Vec::new();
        let (mut depth, mut in_build) = (0usize, false);
        loop {
            match next(source, part, text, &mut buffer)? {
                Event::Eof if depth > 0 => {
                    return Err(parser.bad("the end of the text", "an end of every element"));
                }
                Event::Eof => return Ok(parser.model),
                Event::Start(e) => {
                    depth += 1;
                    if depth > DEEPEST {
                        return Err(parser.bad("elements without end", "at most 64 deep"));
                    }
                    in_build |= e.local_name().as_ref() == "build";
                    parser.begin(&e, in_build)?;
                }
                Event::Empty(e) => {
                    parser.begin(&e, in_build)?;
                    parser.end(e.local_name().as_ref())?;
                }
                Event::End(e) => {
                    depth = depth.saturating_sub(1);
                    in_build &= e.local_name().as_ref() != "build";
                    parser.end(e.local_name().as_ref())?;
                }
                _ => {}
            }
        }
    }
}

impl Parser<'_, '_> {
    fn begin(&mut self, e: &BytesStart<'_>, in_build: bool) -> Result<()> {
        match e.local_name().as_ref() {
            "model" => {
                let unit = self.attribute(e, "unit")?.unwrap_or_else(|| "millimeter".into());
                let known = UNITS.iter().find(|(name, _)| *name == unit);
                let known = known.ok_or_else(|| {
                    let names: Vec<&str> = UNITS.iter().map(|u| u.0).collect();
                    self.bad(&format!("unit {unit:?}"), &names.join(", "))
                })?;
                self.model.unit = known.1;
            }
            "object" => {
                let id = self.id(e, "id")?;
                if self.open.is_some() || self.model.objects.contains_key(&id) {
                    return Err(self.bad(&format!("object {id} again"), "ids used once"));
                }
                self.open = Some((id, Body::Components(Vec::new())));
            }
            "mesh" => {
                if let Some((_, body)) = &mut self.open {
                    *body = Body::Mesh { points: Vec::new(), triangles: Vec::new() };
                }
            }
            "vertex" => {
                let mut xyz = [0.0; 3];
                for (value, name) in xyz.iter_mut().zip(["x", "y", "z"]) {
                    *value = self.number(e, name)?;
                }
                self.counts.0 += 1;
                self.source.allow_points(self.counts.0)?;
                let (index, place) = (self.counts.0, self.part);
                let point =
                    self.source.point_mm(xyz.into(), || format!("{place}, vertex {index}"))?;
                match &mut self.open {
                    Some((_, Body::Mesh { points, .. })) => points.push(point),
                    _ => return Err(self.bad("a vertex outside a mesh", "vertices within <mesh>")),
                }
            }
            "triangle" => {
                let mut corners = [0u32; 3];
                for (corner, name) in corners.iter_mut().zip(["v1", "v2", "v3"]) {
                    let id = self.id(e, name)?;
                    *corner = u32::try_from(id).unwrap_or(u32::MAX);
                }
                self.counts.1 += 1;
                self.source.allow_triangles(self.counts.1)?;
                match &mut self.open {
                    Some((_, Body::Mesh { triangles, .. })) => triangles.push(corners),
                    _ => {
                        return Err(
                            self.bad("a triangle outside a mesh", "triangles within <mesh>")
                        );
                    }
                }
            }
            "component" => {
                let instance = self.instance(e)?;
                match &mut self.open {
                    Some((_, Body::Components(parts))) => parts.push(instance),
                    _ => {
                        return Err(self.bad("a component of no object", "components of an object"));
                    }
                }
            }
            "item" if in_build => {
                let instance = self.instance(e)?;
                self.model.items.push(instance);
            }
            _ => {}
        }
        Ok(())
    }

    fn end(&mut self, name: &str) -> Result<()> {
        if name != "object" {
            return Ok(());
        }
        let Some((id, body)) = self.open.take() else { return Ok(()) };
        if let Body::Mesh { points, triangles } = &body {
            let outside = triangles.as_flattened().iter().find(|c| **c as usize >= points.len());
            if let Some(corner) = outside {
                let found = format!("object {id}: corner {corner}");
                return Err(self.bad(&found, &format!("below {}", points.len())));
            }
        }
        self.model.objects.insert(id, Object { body });
        Ok(())
    }

    fn instance(&self, e: &BytesStart<'_>) -> Result<Instance> {
        if e.attributes().flatten().any(|a| a.key.local_name().as_ref() == "path") {
            let place = format!("{}, <{}>", self.part, e.name().as_ref());
            let remedy = "export it as one model, or as STL";
            return Err(unsupported(self.source, place, "an object in another part", remedy));
        }
        let object = self.id(e, "objectid")?;
        let Some(text) = self.attribute(e, "transform")? else {
            return Ok(Instance { object, placed: Matrix3x4::identity() });
        };
        let numbers: Option<Vec<f64>> = text.split_ascii_whitespace().map(finite).collect();
        match numbers {
            // The file has row vectors: its rows are the columns here.
            Some(m) if m.len() == 12 => {
                Ok(Instance { object, placed: Matrix3x4::from_column_slice(&m) })
            }
            _ => Err(self.bad(&format!("transform {text:?}"), "twelve numbers")),
        }
    }

    fn attribute(&self, e: &BytesStart<'_>, name: &str) -> Result<Option<String>> {
        let found =
            e.try_get_attribute(name).map_err(|e| self.bad(&e.to_string(), "attributes"))?;
        let value = found
            .map(|a| a.normalized_value(XmlVersion::Explicit1_0).map(String::from))
            .transpose();
        value.map_err(|e| self.bad(&e.to_string(), "text of XML"))
    }

    fn number(&self, e: &BytesStart<'_>, name: &str) -> Result<f64> {
        let text = self.raw(e, name)?;
        let drop = self.source.options.drop_invalid;
        let number = finite(&text).or_else(|| text.parse().ok().filter(|_| drop));
        number.ok_or_else(|| self.bad(&format!("{name} = {text:?}"), "a finite number"))
    }

    fn id(&self, e: &BytesStart<'_>, name: &str) -> Result<u64> {
        let text = self.raw(e, name)?;
        text.parse().map_err(|_| self.bad(&format!("{name} = {text:?}"), "a whole number"))
    }

    /// An attribute that must be there, as it stands.
    fn raw<'e>(&self, e: &'e BytesStart<'_>, name: &str) -> Result<std::borrow::Cow<'e, str>> {
        let mut attributes = e.attributes();
        let found = attributes.with_checks(false).flatten().find(|a| a.key.as_ref() == name);
        found.map(|a| a.value).ok_or_else(|| {
            self.bad(&format!("<{}> without {name}", e.name().as_ref()), "all of its attributes")
        })
    }

    fn bad(&self, found: &str, allowed: &str) -> crate::error::Error {
        let (points, triangles) = self.counts;
        let place = match self.open {
            Some((id, _)) => {
                format!(
                    "{}, object {id}, after {points} vertices and {triangles} triangles",
                    self.part
                )
            }
            None => self.part.to_owned(),
        };
        self.source.bad(place, found, allowed)
    }
}

fn finite(text: &str) -> Option<f64> {
    text.parse().ok().filter(|x: &f64| x.is_finite())
}

/// Names of the core specification, in mm.
const UNITS: [(&str, f64); 6] = [
    ("micron", 1e-3),
    ("millimeter", 1.0),
    ("centimeter", 10.0),
    ("inch", 25.4),
    ("foot", 304.8),
    ("meter", 1000.0),
];
/// Elements in elements.
const DEEPEST: usize = 64;
