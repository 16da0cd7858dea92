//! What machine and part are warmed to, in the job file: `[check.temperature]`.

use schemars::JsonSchema;
use serde::Deserialize;

use super::spec::Job;
use crate::error::{Error, Result};
use crate::fitcheck::{Material, Temperature, Warming};
use crate::primitive::Point3;

/// Temperatures at which the fit is asked for, beside that of the scan; °C.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TemperatureSpec {
    /// Temperature of the machine when it was scanned; default 20. The part's sizes hold at 20 °C (ISO 1).
    pub reference: Option<f64>,
    /// The machine.
    pub machine: BodySpec,
    /// The part.
    pub part: BodySpec,
    /// Point that stays where it is while both grow, machine coordinates; default the first mount's
    /// bolt at its seat.
    pub fixed: Option<[f64; 3]>,
}

/// What a body is of and how warm it gets.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BodySpec {
    /// `steel`, `stainless steel`, `ferritic stainless steel`, `cast iron`, `aluminium`, `brass`,
    /// `titanium` or `printed plastic`, with common values and ranges.
    pub material: Option<String>,
    /// Coefficient of linear expansion per kelvin instead, such as 23e-6; taken as good to 5 %.
    pub expansion: Option<f64>,
    /// Temperature.
    pub at: f64,
    /// To within how many kelvin either way that is known; default 0.
    pub within: Option<f64>,
}

impl TemperatureSpec {
    /// What the fit check takes, after checking that no key contradicts another.
    pub(super) fn temperature(&self, job: &Job) -> Result<Temperature> {
        let mm = job.length_unit()?.to_mm();
        let reference = self.reference.unwrap_or(ISO_1);
        if !(COLDEST..HOTTEST).contains(&reference) {
            return Err(wrong("", "`reference` is the scan's temperature in °C"));
        }
        if self.fixed.is_none() && job.part.as_ref().is_none_or(|p| p.mount.is_empty()) {
            return Err(wrong(
                "",
                "the part has no `mount`: give `fixed`, a point [x, y, z] that stays where it is",
            ));
        }
        if self.fixed.is_some_and(|p| p.iter().any(|x| !x.is_finite())) {
            return Err(wrong("", "`fixed` must be three finite numbers"));
        }
        Ok(Temperature {
            machine: self.machine.warming("machine", reference)?,
            part: self.part.warming("part", ISO_1)?,
            fixed: self.fixed.map(|p| Point3::from(p) * mm),
        })
    }
}

impl BodySpec {
    fn warming(&self, name: &str, from: f64) -> Result<Warming> {
        let material = match (&self.material, self.expansion) {
            (Some(material), None) => {
                Material::parse(material).map_err(|e| wrong(name, &e.to_string()))?
            }
            (None, Some(a)) if a.abs() < LARGEST_EXPANSION => Material::with_expansion(a),
            (None, Some(_)) => {
                return Err(wrong(name, "`expansion` is per kelvin: 23e-6 for aluminium"));
            }
            (Some(_), Some(_)) => {
                return Err(wrong(
                    name,
                    "`material` and `expansion` contradict each other: give one of them",
                ));
            }
            (None, None) => return Err(wrong(name, "needs `material` or `expansion`")),
        };
        if !(COLDEST..HOTTEST).contains(&self.at) {
            return Err(wrong(name, "`at` is a temperature in °C, -273.15 to 2000"));
        }
        let within = self.within.unwrap_or(0.0);
        if !(0.0..1000.0).contains(&within) {
            return Err(wrong(name, "`within` is in kelvin, zero or more"));
        }
        Ok(Warming::of(&material, from, self.at, within))
    }
}

fn wrong(body: &str, reason: &str) -> Error {
    let dot = if body.is_empty() { "" } else { "." };
    Error::Job { place: format!("[check.temperature{dot}{body}]"), reason: reason.into() }
}

/// Temperature at which sizes are meant (ISO 1), °C.
const ISO_1: f64 = 20.0;
const COLDEST: f64 = -273.15;
const HOTTEST: f64 = 2000.0;
const LARGEST_EXPANSION: f64 = 1e-3;
