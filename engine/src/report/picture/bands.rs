//! Colours of signed clearance: seven bands around the limit.
//!
//! Even steps of lightness (0.1 in OKLab: Ottosson, 2020, "A perceptual color space for image
//! processing") and a doubled step, warm to cool, at the limit. Neighbours stay at least 0.09
//! apart under protanopia, deuteranopia and tritanopia (Machado, Oliveira, Fernandes, 2009, "A
//! physiologically-based model for simulation of color vision deficiency").

/// Band limits in mm, ascending, with the colours between them.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::report) struct Bands {
    /// Six limits; the second is zero and the fourth is the required clearance.
    pub limits: [f64; 6],
    /// Whether the fourth limit is asked for by the job, so that it is marked.
    pub required: bool,
}

impl Bands {
    /// Bands about a required clearance, or about a round number that suits the values (mm).
    pub(in crate::report) fn new(required: Option<f64>, values: &[f64]) -> Self {
        let asked = required.filter(|l| l.is_finite() && *l > 0.0);
        let l = asked.unwrap_or_else(|| round_scale(values));
        let limits = [-0.5 * l, 0.0, 0.5 * l, l, 2.0 * l, 4.0 * l];
        Bands { limits, required: asked.is_some() }
    }

    /// Colour of a value; the palest for one that is not a number.
    pub(super) fn colour(&self, value: f32) -> [u8; 3] {
        let value = f64::from(value);
        if value.is_nan() {
            return BAND_COLOURS[6];
        }
        BAND_COLOURS[self.limits.iter().filter(|l| value >= **l).count()]
    }

    /// Values at which a dark line is drawn: contact, and the limit if there is one.
    pub(super) fn marked(&self) -> [f32; 2] {
        let limit = if self.required { self.limits[3] } else { 0.0 };
        [0.0, limit as f32]
    }
}

/// Quarter of the largest value, as 1, 2 or 5 times a power of ten.
fn round_scale(values: &[f64]) -> f64 {
    let largest = values.iter().filter(|v| v.is_finite()).fold(0.0_f64, |a, v| a.max(v.abs()));
    let quarter = if largest > 0.0 { largest / 4.0 } else { 1.0 };
    let power = 10f64.powf(quarter.log10().floor());
    let step = [5.0, 2.0].into_iter().find(|s| quarter >= s * power);
    step.unwrap_or(1.0) * power
}

/// From deep overlap to ample air.
pub(in crate::report) const BAND_COLOURS: [[u8; 3]; 7] = [
    [96, 22, 64],
    [140, 40, 68],
    [181, 69, 49],
    [200, 116, 41],
    [102, 185, 204],
    [161, 212, 232],
    [222, 238, 246],
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_at_the_limit_is_met() {
        let bands = Bands::new(Some(3.0), &[]);
        assert_eq!(bands.colour(3.0), BAND_COLOURS[4]);
        assert_eq!(bands.colour(2.999), BAND_COLOURS[3]);
        assert_eq!(bands.colour(-0.001), BAND_COLOURS[1]);
        assert_eq!(bands.colour(-10.0), BAND_COLOURS[0]);
    }

    #[test]
    fn without_a_limit_the_scale_is_round_and_unmarked() {
        let bands = Bands::new(None, &[0.3, 9.0, -1.0]);
        assert_eq!(bands.limits[3], 2.0);
        assert!(!bands.required);
        assert_eq!(Bands::new(Some(f64::NAN), &[]).limits[3], 1.0);
    }
}
