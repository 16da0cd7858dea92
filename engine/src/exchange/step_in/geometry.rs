//! Points, directions, placements, curves and surfaces of a STEP file, in mm and rad.

use super::curve::{Curve, Frame};
use super::file::StepFile;
use super::record::{Attributes, Record};
use super::spline::{Knots, SplineCurve, SplineSurface, weighted};
use super::surface::Surface;
use super::units::Units;
use crate::error::{Error, Result};
use crate::primitive::{Direction, Point3, Vec3, unit};

/// Reads the geometry of one representation context.
#[derive(Clone, Copy)]
pub(super) struct Geometry<'f, 'a> {
    pub file: &'f StepFile<'a>,
    pub units: Units,
}

impl<'f, 'a> Geometry<'f, 'a> {
    pub(super) fn point(&self, id: u64) -> Result<Point3> {
        let record = self.file.record(id)?;
        let attributes = record.expect(self.file, "CARTESIAN_POINT")?;
        let x: Vec<f64> = attributes.numbers(1)?.iter().map(|x| x * self.units.length).collect();
        match x.as_slice() {
            [x, y, z] if x.abs().max(y.abs()).max(z.abs()) <= LARGEST => {
                Ok(Point3::new(*x, *y, *z))
            }
            [_, _, _] => Err(attributes.fault(1, format!("{x:?} mm"), "at most 1e7 mm")),
            _ => Err(attributes.fault(1, format!("{} coordinates", x.len()), "3")),
        }
    }

    pub(super) fn direction(&self, id: u64) -> Result<Direction> {
        let record = self.file.record(id)?;
        let attributes = record.expect(self.file, "DIRECTION")?;
        let x = attributes.numbers(1)?;
        let direction = match x.as_slice() {
            [x, y, z] => unit(Vec3::new(*x, *y, *z)),
            _ => None,
        };
        direction.ok_or_else(|| attributes.fault(1, format!("{x:?}"), "3 ratios, not all 0"))
    }

    pub(super) fn placement(&self, id: u64) -> Result<Frame> {
        let record = self.file.record(id)?;
        let attributes = record.expect(self.file, "AXIS2_PLACEMENT_3D")?;
        let axis = match attributes.optional_reference(2)? {
            Some(axis) => self.direction(axis)?,
            None => Vec3::z_axis(),
        };
        let towards = match attributes.optional_reference(3)? {
            Some(direction) => self.direction(direction)?,
            None => Vec3::x_axis(),
        };
        Ok(Frame::new(self.point(attributes.reference(1)?)?, axis, Some(towards.into_inner())))
    }

    /// The curve, and whether the instance runs with it.
    pub(super) fn curve(&self, id: u64) -> Result<(Curve, bool)> {
        self.curve_at(id, 0)
    }

    /// The surface, and whether the instance's normal is the surface's own.
    pub(super) fn surface(&self, id: u64) -> Result<(Surface, bool)> {
        self.surface_at(id, 0)
    }

    pub(super) fn curve_at(&self, id: u64, depth: usize) -> Result<(Curve, bool)> {
        let record = self.file.record(id)?;
        if depth > DEEPEST {
            return Err(record.fault(
                self.file,
                "curves that refer to each other",
                "a basis curve",
            ));
        }
        if record.parts.iter().any(|(name, _)| SPLINE_CURVES.contains(name)) {
            return Ok((Curve::Spline(self.spline_curve(&record)?), true));
        }
        let a = record.first(self.file)?;
        let curve = match a.name {
            "LINE" => {
                let vector = self.file.record(a.reference(2)?)?;
                let vector = vector.expect(self.file, "VECTOR")?;
                let direction = self.direction(vector.reference(1)?)?.into_inner();
                Curve::Line { point: self.point(a.reference(1)?)?, direction }
            }
            "CIRCLE" => {
                let radius = self.length(&a, 2)?;
                Curve::Ellipse { frame: self.placement(a.reference(1)?)?, a: radius, b: radius }
            }
            "ELLIPSE" | "HYPERBOLA" => {
                let frame = self.placement(a.reference(1)?)?;
                let (x, y) = (self.length(&a, 2)?, self.length(&a, 3)?);
                if a.name == "ELLIPSE" {
                    Curve::Ellipse { frame, a: x, b: y }
                } else {
                    Curve::Hyperbola { frame, a: x, b: y }
                }
            }
            "PARABOLA" => Curve::Parabola {
                frame: self.placement(a.reference(1)?)?,
                focal: self.length(&a, 2)?,
            },
            "POLYLINE" => Curve::Spline(self.polyline(&a)?),
            "COMPOSITE_CURVE"
            | "COMPOSITE_CURVE_ON_SURFACE"
            | "BOUNDARY_CURVE"
            | "OUTER_BOUNDARY_CURVE" => self.composite(&a, depth)?,
            "OFFSET_CURVE_3D" => self.offset_curve(&a, depth)?,
            "SURFACE_CURVE" | "SEAM_CURVE" | "INTERSECTION_CURVE" | "BOUNDED_SURFACE_CURVE" => {
                return self.curve_at(a.reference(1)?, depth + 1);
            }
            "TRIMMED_CURVE" => {
                let (curve, with) = self.curve_at(a.reference(1)?, depth + 1)?;
                return Ok((curve, with == a.flag(4)?));
            }
            _ => return Err(record.unsupported(self.file, "a curve of this type")),
        };
        Ok((curve, true))
    }

    fn surface_at(&self, id: u64, depth: usize) -> Result<(Surface, bool)> {
        let record = self.file.record(id)?;
        if depth > DEEPEST {
            return Err(record.fault(
                self.file,
                "surfaces that refer to each other",
                "a basis surface",
            ));
        }
        if record.parts.iter().any(|(name, _)| SPLINE_SURFACES.contains(name)) {
            return Ok((Surface::spline(self.spline_surface(&record)?), true));
        }
        let a = record.first(self.file)?;
        let frame = |a: &Attributes<'_, '_>| self.placement(a.reference(1)?);
        let surface = match a.name {
            "PLANE" => Surface::Plane(frame(&a)?),
            "CYLINDRICAL_SURFACE" => {
                Surface::Cylinder { frame: frame(&a)?, radius: self.length(&a, 2)? }
            }
            "CONICAL_SURFACE" => self.cone(&a)?,
            "SPHERICAL_SURFACE" => {
                Surface::Sphere { frame: frame(&a)?, radius: self.length(&a, 2)? }
            }
            "TOROIDAL_SURFACE" | "DEGENERATE_TOROIDAL_SURFACE" => {
                let (major, minor) = (self.length(&a, 2)?, self.length(&a, 3)?);
                if a.name == "DEGENERATE_TOROIDAL_SURFACE" && !a.flag(4)? {
                    let what = "the inner part of a torus that meets its axis";
                    return Err(record.unsupported(self.file, what));
                }
                Surface::Torus { frame: frame(&a)?, major, minor }
            }
            "SURFACE_OF_LINEAR_EXTRUSION" => {
                let (curve, with) = self.curve_at(a.reference(1)?, depth + 1)?;
                let vector = self.file.record(a.reference(2)?)?;
                let vector = vector.expect(self.file, "VECTOR")?;
                let direction = self.direction(vector.reference(1)?)?.into_inner();
                return Ok((Surface::Extrusion { curve, direction }, with));
            }
            "SURFACE_OF_REVOLUTION" => {
                let (curve, with) = self.curve_at(a.reference(1)?, depth + 1)?;
                let axis = self.file.record(a.reference(2)?)?;
                let axis = axis.expect(self.file, "AXIS1_PLACEMENT")?;
                let point = self.point(axis.reference(1)?)?;
                let axis = match axis.optional_reference(2)? {
                    Some(axis) => self.direction(axis)?.into_inner(),
                    None => Vec3::z(),
                };
                return Ok((Surface::Revolution { curve, point, axis, arc: None }, with));
            }
            "OFFSET_SURFACE" => {
                let (basis, with) = self.surface_at(a.reference(1)?, depth + 1)?;
                let distance = a.number(2)? * self.units.length;
                if distance.abs() > LARGEST {
                    return Err(a.fault(2, format!("{distance} mm"), "at most 1e7 mm"));
                }
                let what = "an offset that turns its surface inside out";
                let surface = basis.offset(if with { distance } else { -distance });
                let surface = surface.ok_or_else(|| record.unsupported(self.file, what))?;
                return Ok((surface, with));
            }
            "RECTANGULAR_TRIMMED_SURFACE" => {
                let (surface, with) = self.surface_at(a.reference(1)?, depth + 1)?;
                // Both senses turned leave the normal as it was.
                return Ok((surface, with == (a.flag(6)? == a.flag(7)?)));
            }
            _ => return Err(record.unsupported(self.file, "a surface of this type")),
        };
        Ok((surface, true))
    }

    fn cone(&self, a: &Attributes<'_, '_>) -> Result<Surface> {
        let radius = a.number(2)? * self.units.length;
        let half_angle = a.number(3)? * self.units.angle;
        if !(0.0..=LARGEST).contains(&radius) {
            return Err(a.fault(2, radius.to_string(), "0 to 1e7 mm"));
        }
        // The bounds keep the tangent finite; cones flatter or steeper are planes or cylinders.
        if !(1e-9..std::f64::consts::FRAC_PI_2 - 1e-9).contains(&half_angle) {
            return Err(a.fault(3, format!("{half_angle} rad"), "between 0 and a right angle"));
        }
        Ok(Surface::Cone { frame: self.placement(a.reference(1)?)?, radius, half_angle })
    }

    fn polyline(&self, a: &Attributes<'_, '_>) -> Result<SplineCurve> {
        let corners = a.references(1)?;
        limited(corners.len())?;
        let mut points = Vec::new();
        for id in corners {
            points.push(weighted(&self.point(id)?, 1.0));
        }
        let knots: Vec<f64> = (0..points.len()).map(|i| i as f64).collect();
        let multiplicities = clamped(2, 1, points.len());
        let knots = Knots::new(1, &multiplicities, &knots, points.len())
            .map_err(|found| a.fault(1, found, "at least 2 points"))?;
        Ok(SplineCurve { knots, points })
    }

    fn spline_curve(&self, record: &Record<'a>) -> Result<SplineCurve> {
        // A simple instance starts with its name; in a complex one the name stands in a part of its own.
        let (base, skip) = base_part(record, self.file, "B_SPLINE_CURVE")?;
        let degree = base.count(skip)?;
        let controls = base.references(skip + 1)?;
        limited(controls.len())?;
        let mut points = Vec::new();
        for id in controls {
            points.push(self.point(id)?);
        }
        let weights = match record.part(self.file, "RATIONAL_B_SPLINE_CURVE") {
            Some(part) => self.weights(&part, part.numbers(0)?, points.len())?,
            None => vec![1.0; points.len()],
        };
        let knots = match record.part(self.file, "B_SPLINE_CURVE_WITH_KNOTS") {
            Some(k) => {
                let at = if record.parts.len() > 1 { 0 } else { skip + 5 };
                knots(&k, degree, [at, at + 1], points.len())?
            }
            None => implied_knots(&base, record, degree, points.len())?,
        };
        let points = points.iter().zip(weights).map(|(p, w)| weighted(p, w)).collect();
        Ok(SplineCurve { knots, points })
    }

    fn spline_surface(&self, record: &Record<'a>) -> Result<SplineSurface> {
        let (base, skip) = base_part(record, self.file, "B_SPLINE_SURFACE")?;
        let degrees = [base.count(skip)?, base.count(skip + 1)?];
        let rows = base.reference_rows(skip + 2)?;
        let columns = rows.first().map_or(0, Vec::len);
        if columns == 0 || rows.iter().any(|row| row.len() != columns) {
            return Err(base.fault(skip + 2, "rows of different length", "a full grid"));
        }
        let count = rows.len() * columns;
        limited(count)?;
        let weights = match record.part(self.file, "RATIONAL_B_SPLINE_SURFACE") {
            Some(part) => self.weights(&part, part.number_rows(0)?.concat(), count)?,
            None => vec![1.0; count],
        };
        let mut points = Vec::new();
        for (id, weight) in rows.iter().flatten().zip(weights) {
            points.push(weighted(&self.point(*id)?, weight));
        }
        let (u, v) = match record.part(self.file, "B_SPLINE_SURFACE_WITH_KNOTS") {
            Some(k) => {
                let at = if record.parts.len() > 1 { 0 } else { skip + 7 };
                (
                    knots(&k, degrees[0], [at, at + 2], rows.len())?,
                    knots(&k, degrees[1], [at + 1, at + 3], columns)?,
                )
            }
            None => (
                implied_knots(&base, record, degrees[0], rows.len())?,
                implied_knots(&base, record, degrees[1], columns)?,
            ),
        };
        Ok(SplineSurface { u, v, points })
    }

    fn weights(
        &self,
        part: &Attributes<'_, '_>,
        weights: Vec<f64>,
        count: usize,
    ) -> Result<Vec<f64>> {
        let usable = weights.iter().all(|w| (1e-9..=1e9).contains(w));
        if usable && weights.len() == count {
            return Ok(weights);
        }
        let found = format!("{} weights", weights.len());
        Err(part.fault(0, found, &format!("{count} weights from 1e-9 to 1e9")))
    }

    /// A length over 0 and not absurd, in mm.
    fn length(&self, a: &Attributes<'_, '_>, at: usize) -> Result<f64> {
        let length = a.positive(at)? * self.units.length;
        if length <= LARGEST {
            Ok(length)
        } else {
            Err(a.fault(at, format!("{length} mm"), "at most 1e7 mm"))
        }
    }
}

/// The part that holds degree and control points, and the index of the degree in it.
fn base_part<'r, 'a>(
    record: &'r Record<'a>,
    file: &'r StepFile<'a>,
    name: &str,
) -> Result<(Attributes<'r, 'a>, usize)> {
    if record.parts.len() > 1 {
        return Ok((record.expect(file, name)?, 0));
    }
    Ok((record.first(file)?, 1))
}

fn knots(
    part: &Attributes<'_, '_>,
    degree: usize,
    [multiplicities, values]: [usize; 2],
    controls: usize,
) -> Result<Knots> {
    Knots::new(degree, &part.counts(multiplicities)?, &part.numbers(values)?, controls).map_err(
        |found| part.fault(multiplicities, found, "knots that fit degree and control points"),
    )
}

/// Knots that the type implies (ISO 10303-42: uniform, quasi-uniform, Bezier).
fn implied_knots(
    base: &Attributes<'_, '_>,
    record: &Record<'_>,
    degree: usize,
    controls: usize,
) -> Result<Knots> {
    if degree >= controls {
        return Err(base.fault(0, format!("degree {degree}"), "less than the control points"));
    }
    let spans = controls - degree;
    let is = |kind: &str| record.parts.iter().any(|(name, _)| name.starts_with(kind));
    let (multiplicities, count) = if is("UNIFORM") {
        (vec![1; controls + degree + 1], controls + degree + 1)
    } else if is("QUASI_UNIFORM") {
        (clamped(degree + 1, 1, spans + 1), spans + 1)
    } else {
        let pieces = controls.saturating_sub(1) / degree.max(1);
        (clamped(degree + 1, degree, pieces + 1), pieces + 1)
    };
    let values: Vec<f64> = (0..count).map(|i| i as f64).collect();
    Knots::new(degree, &multiplicities, &values, controls)
        .map_err(|found| base.fault(0, found, "control points that fit the degree"))
}

pub(super) fn limited(controls: usize) -> Result<()> {
    if controls <= MOST_CONTROLS {
        return Ok(());
    }
    let what = "control points or segments of one curve or surface".into();
    Err(Error::Limit { what, found: controls as u64, limit: MOST_CONTROLS as u64 })
}

fn clamped(ends: usize, inner: usize, count: usize) -> Vec<usize> {
    (0..count).map(|i| if i == 0 || i + 1 == count { ends } else { inner }).collect()
}

const SPLINE_CURVES: [&str; 5] = [
    "B_SPLINE_CURVE",
    "B_SPLINE_CURVE_WITH_KNOTS",
    "BEZIER_CURVE",
    "UNIFORM_CURVE",
    "QUASI_UNIFORM_CURVE",
];
const SPLINE_SURFACES: [&str; 5] = [
    "B_SPLINE_SURFACE",
    "B_SPLINE_SURFACE_WITH_KNOTS",
    "BEZIER_SURFACE",
    "UNIFORM_SURFACE",
    "QUASI_UNIFORM_SURFACE",
];
/// Ten kilometres: nothing scanned is larger, and a thousandth of a millimetre keeps its digits.
pub(super) const LARGEST: f64 = 1e7;
const MOST_CONTROLS: usize = 200_000;
const DEEPEST: usize = 8;
