//! Units of a representation's context: millimetres and radians in one unit of the file.

use super::file::StepFile;
use super::record::Record;
use crate::error::Result;

/// Factors from the file's units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Units {
    /// Millimetres in one unit of length.
    pub length: f64,
    /// Radians in one unit of angle.
    pub angle: f64,
}

impl Units {
    /// Told apart by these.
    pub(super) fn bits(&self) -> [u64; 2] {
        [self.length.to_bits(), self.angle.to_bits()]
    }

    /// Units that a representation context assigns; none if it assigns no unit of length.
    pub(super) fn of_context(file: &StepFile<'_>, id: u64) -> Result<Option<Units>> {
        let record = file.record(id)?;
        let Some(assigned) = record.part(file, "GLOBAL_UNIT_ASSIGNED_CONTEXT") else {
            return Ok(None);
        };
        let (mut length, mut angle) = (None, None);
        for unit in assigned.references(0)? {
            let unit = file.record(unit)?;
            if unit.is("LENGTH_UNIT") {
                length = Some(factor(file, &unit, MM_IN_METRE, 0)?);
            } else if unit.is("PLANE_ANGLE_UNIT") {
                angle = Some(factor(file, &unit, 0, 0)?);
            }
        }
        Ok(length.map(|length| Units { length, angle: angle.unwrap_or(1.0) }))
    }
}

/// One unit in 10^-`scale` metres or radians.
fn factor(file: &StepFile<'_>, unit: &Record<'_>, scale: i32, depth: usize) -> Result<f64> {
    if let Some(si) = unit.part(file, "SI_UNIT") {
        // A complex instance gives (prefix, name); a simple one has the dimensions before them.
        let at = usize::from(unit.parts.len() == 1);
        // A missing prefix is `$`.
        let prefix = si.enumeration(at).unwrap_or_default();
        let power = PREFIXES.iter().find(|(name, _)| *name == prefix).map(|(_, power)| *power);
        let power = power.ok_or_else(|| si.fault(at, prefix, "a prefix of the SI"))?;
        return Ok(10_f64.powi(power + scale));
    }
    let Some(converted) = unit.part(file, "CONVERSION_BASED_UNIT") else {
        return Err(unit.unsupported(file, "a unit of this type"));
    };
    if depth > DEEPEST {
        return Err(unit.fault(
            file,
            "units that refer to each other",
            "a unit of the SI in the end",
        ));
    }
    let at = usize::from(unit.parts.len() == 1) + 1;
    let measure = file.record(converted.reference(at)?)?;
    let measure = measure
        .parts
        .iter()
        .find(|(name, _)| name.ends_with("MEASURE_WITH_UNIT"))
        .and_then(|(name, _)| measure.part(file, name))
        .ok_or_else(|| measure.fault(file, measure.name(), "a measure with unit"))?;
    let base = factor(file, &file.record(measure.reference(1)?)?, scale, depth + 1)?;
    let size = measure.positive(0)? * base;
    // From a nanometre to a million kilometres, from a nanoradian to a billion turns.
    if (1e-9..=1e9).contains(&size) {
        Ok(size)
    } else {
        Err(measure.fault(0, size.to_string(), "1e-9 to 1e9"))
    }
}

const PREFIXES: [(&str, i32); 17] = [
    ("", 0),
    ("EXA", 18),
    ("PETA", 15),
    ("TERA", 12),
    ("GIGA", 9),
    ("MEGA", 6),
    ("KILO", 3),
    ("HECTO", 2),
    ("DECA", 1),
    ("DECI", -1),
    ("CENTI", -2),
    ("MILLI", -3),
    ("MICRO", -6),
    ("NANO", -9),
    ("PICO", -12),
    ("FEMTO", -15),
    ("ATTO", -18),
];
/// Power of ten from the metre to the millimetre.
const MM_IN_METRE: i32 = 3;
const DEEPEST: usize = 4;
