//! Further designed parts of a job: `[[other_part]]`.

use super::check::{PartFile, read_part};
use super::outcome::OtherPartOutcome;
use super::read::{at, unique, wrong};
use super::run::Folder;
use super::spec::{Job, OtherPartSpec};
use crate::context::Context;
use crate::error::{Error, Result};
use crate::fitcheck::OtherPart;
use crate::plugin::Registry;
use crate::units::LengthUnit;

impl Job {
    /// Refuses names that something else has, numbers that are no lengths, and keys that contradict each other.
    pub(super) fn validate_other_parts(&self) -> Result<()> {
        let Some(first) = self.other_parts.first() else { return Ok(()) };
        if self.part.is_none() {
            return Err(wrong(&first.place(), "needs a [part] that is held against it"));
        }
        unique("other part", self.other_parts.iter().map(|o| o.name.as_str()))?;
        for other in &self.other_parts {
            let place = other.place();
            if self.features.iter().any(|f| f.name == other.name) {
                return Err(wrong(&place, "a feature has this name already: give it another one"));
            }
            if self.scans.iter().any(|s| s.name == other.name) {
                return Err(wrong(&place, "a scan has this name already: give it another one"));
            }
            if let Some(unit) = &other.unit {
                at(&format!("{place} unit"), LengthUnit::parse(unit))?;
            }
            if other.chord_error.is_some_and(|e| !(e > 0.0 && e.is_finite())) {
                return Err(wrong(&format!("{place} chord_error"), "must be a positive length"));
            }
            if other.keep_clear.is_some_and(|c| !(c >= 0.0 && c.is_finite())) {
                let reason = "must be a length, not negative";
                return Err(wrong(&format!("{place} keep_clear"), reason));
            }
            if other.touches && other.keep_clear.is_some() {
                let reason = "`touches` and `keep_clear` contradict each other: give one of them";
                return Err(wrong(&place, reason));
            }
        }
        Ok(())
    }
}

impl OtherPartSpec {
    fn place(&self) -> String {
        format!("[[other_part]] \"{}\"", self.name)
    }
}

/// Reads all of them; `chord_error` (mm) is the part's own.
pub(super) fn read(
    job: &Job,
    folder: &Folder,
    registry: &Registry,
    chord_error: f64,
    context: &Context,
) -> Result<Vec<OtherPartOutcome>> {
    let mm = job.length_unit()?.to_mm();
    let one = |spec: &OtherPartSpec| {
        context.report(&format!("reading {}", spec.name), 0.0)?;
        let file = PartFile {
            path: folder.path(&spec.file),
            unit: spec.unit.as_deref().map_or_else(|| job.length_unit(), LengthUnit::parse)?,
            chord_error: spec.chord_error.map_or(chord_error, |e| e * mm),
            reader: spec.reader.as_deref(),
            place: spec.place(),
        };
        let part = read_part(&file, registry, context).map_err(|e| match e {
            Error::Cancelled | Error::Internal(_) | Error::Job { .. } => e,
            e => Error::Job { place: spec.place(), reason: e.to_string() },
        })?;
        Ok(OtherPartOutcome {
            name: spec.name.clone(),
            part,
            keep_clear: spec.keep_clear.map(|c| c * mm),
            touches: spec.touches,
        })
    };
    job.other_parts.iter().map(one).collect()
}

/// For the fit check.
pub(super) fn of_scene(others: &[OtherPartOutcome]) -> Vec<OtherPart<'_>> {
    others
        .iter()
        .map(|o| OtherPart {
            name: &o.name,
            part: &o.part,
            keep_clear: o.keep_clear,
            touches: o.touches,
        })
        .collect()
}
