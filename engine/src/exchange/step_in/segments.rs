//! Composite, trimmed and offset curves of a STEP file (ISO 10303-42).

use super::chain::{Chain, Piece};
use super::curve::Curve;
use super::geometry::Geometry;
use super::record::{Attributes, Value};
use crate::error::Result;

impl Geometry<'_, '_> {
    /// A curve of segments, each of which begins where the one before ends.
    pub(super) fn composite(&self, a: &Attributes<'_, '_>, depth: usize) -> Result<Curve> {
        let mut pieces: Vec<Piece> = Vec::new();
        for (index, id) in a.references(1)?.into_iter().enumerate() {
            super::geometry::limited(index + 1)?;
            let record = self.file.record(id)?;
            let segment = record.first(self.file)?;
            if !segment.name.ends_with("COMPOSITE_CURVE_SEGMENT") {
                return Err(record.fault(self.file, record.name(), "COMPOSITE_CURVE_SEGMENT"));
            }
            let mut piece = self.bounded(segment.reference(2)?, depth + 1)?;
            if !segment.flag(1)? {
                std::mem::swap(&mut piece.from, &mut piece.to);
            }
            if let Some(before) = pieces.last() {
                let gap = (before.ends()[1] - piece.ends()[0]).norm();
                if gap > LARGEST_GAP {
                    let found = format!("a segment that begins {gap} mm off the end before it");
                    return Err(record.fault(self.file, found, "segments end to end"));
                }
            }
            pieces.push(piece);
        }
        let chain = Chain::new(pieces).map(Curve::Chain);
        chain.ok_or_else(|| a.fault(1, "no segment", "at least one"))
    }

    /// The offset of a curve along `reference` x tangent.
    pub(super) fn offset_curve(&self, a: &Attributes<'_, '_>, depth: usize) -> Result<Curve> {
        let (basis, with) = self.curve_at(a.reference(1)?, depth + 1)?;
        let distance = a.number(2)? * self.units.length;
        if distance.abs() > super::geometry::LARGEST {
            return Err(a.fault(2, format!("{distance} mm"), "at most 1e7 mm"));
        }
        let reference = self.direction(a.reference(4)?)?.into_inner();
        let distance = if with { distance } else { -distance };
        Ok(Curve::Offset { basis: Box::new(basis), distance, reference })
    }

    /// A curve with its ends.
    fn bounded(&self, id: u64, depth: usize) -> Result<Piece> {
        let record = self.file.record(id)?;
        if record.is("TRIMMED_CURVE") {
            return self.trimmed(&record.first(self.file)?, depth);
        }
        let (curve, with) = self.curve_at(id, depth)?;
        let range = curve.range().or(curve.period().map(|period| (0.0, period)));
        let Some((from, to)) = range else {
            return Err(record.unsupported(self.file, "a segment without ends"));
        };
        Ok(if with { Piece { curve, from, to } } else { Piece { curve, from: to, to: from } })
    }

    fn trimmed(&self, a: &Attributes<'_, '_>, depth: usize) -> Result<Piece> {
        let (curve, with) = self.curve_at(a.reference(1)?, depth + 1)?;
        let (from, mut to) = (self.trim(a, 2, &curve, with)?, self.trim(a, 3, &curve, with)?);
        let sign = if a.flag(4)? == with { 1.0 } else { -1.0 };
        if let Some(period) = curve.period() {
            let turn = (sign * (to - from)).rem_euclid(period);
            // Both trims in one place are the whole turn.
            let whole = turn <= 1e-9 * period || turn >= (1.0 - 1e-9) * period;
            to = from + sign * if whole { period } else { turn };
        }
        if sign * (to - from) > 0.0 {
            return Ok(Piece { curve, from, to });
        }
        Err(a.fault(3, format!("trims at {from} and {to}"), "two trims in the curve's direction"))
    }

    /// Parameter of a trim; its point is preferred, which depends on no units.
    fn trim(&self, a: &Attributes<'_, '_>, at: usize, curve: &Curve, with: bool) -> Result<f64> {
        let trims = a.list(at)?;
        let point = trims.iter().find_map(|trim| match trim {
            Value::Reference(id) => Some(*id),
            _ => None,
        });
        if let Some(id) = point {
            return Ok(curve.parameter(&self.point(id)?));
        }
        let value = trims.iter().find_map(|trim| match trim {
            Value::Typed(inner) => match inner.as_slice() {
                [Value::Number(number)] => Some(*number),
                _ => None,
            },
            _ => None,
        });
        let scale = match curve {
            Curve::Line { .. } => self.line_scale(a.reference(1)?)?,
            Curve::Ellipse { .. } => Some(self.units.angle),
            Curve::Hyperbola { .. } | Curve::Parabola { .. } | Curve::Spline(_) => Some(1.0),
            // Their parameters are our own.
            Curve::Chain(_) | Curve::Offset { .. } => None,
        };
        match (value, scale.filter(|_| with)) {
            (Some(value), Some(scale)) => Ok(value * scale),
            _ => Err(a.fault(at, "no point", "a point of the curve")),
        }
    }

    /// Millimetres in one unit of a line's parameter.
    fn line_scale(&self, id: u64) -> Result<Option<f64>> {
        let record = self.file.record(id)?;
        let Some(line) = record.part(self.file, "LINE") else { return Ok(None) };
        let vector = self.file.record(line.reference(2)?)?;
        let length = vector.expect(self.file, "VECTOR")?.positive(2)?;
        Ok(Some(length * self.units.length))
    }
}

/// Millimetres: CAD kernels keep ends together to a hundredth at worst.
const LARGEST_GAP: f64 = 1e-2;
