//! What a scanner's maker admits of its errors of length.

use crate::error::{Error, Result};

/// Largest permissible error of a length, `fixed + per_length · length`, as makers state it (ISO 10360-8,
/// VDI/VDE 2634-3).
///
/// It is a scale and a fixed error of the whole scan, so no residual shows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LengthError {
    /// Part that does not depend on the length, mm.
    pub fixed: f64,
    /// Part in proportion to the length, mm per mm.
    pub per_length: f64,
}

impl LengthError {
    /// Checked parts.
    ///
    /// # Errors
    /// [`Error::Argument`] for a part that is negative or not finite, or a length error of more than a
    /// tenth of the length, which no scanner has (a per-metre figure given as per-millimetre).
    pub fn new(fixed: f64, per_length: f64) -> Result<Self> {
        if !(fixed >= 0.0 && fixed.is_finite()) {
            return Err(Error::argument("length error, fixed", fixed, "0 or more"));
        }
        if !(0.0..=0.1).contains(&per_length) {
            let allowed = "0 to 0.1 (a figure of 0.05 mm per metre is 0.00005)";
            return Err(Error::argument("length error, per length", per_length, allowed));
        }
        Ok(LengthError { fixed, per_length })
    }

    /// Standard deviation of a length (mm): the error lies anywhere within its bounds (rectangular
    /// distribution, JCGM 100 (GUM), 4.3.7).
    #[must_use]
    pub fn deviation(&self, length: f64) -> f64 {
        (self.fixed + self.per_length * length.abs()) / 3f64.sqrt()
    }
}
