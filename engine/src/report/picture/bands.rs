//! Colours of signed clearance: seven bands around the limit; and of signed deviations: seven around zero.
//!
//! Even steps of lightness (0.1 in OKLab: Ottosson, 2020, "A perceptual color space for image
//! processing") and a doubled step, warm to cool, at the limit. Neighbours stay at least 0.09
//! apart under protanopia, deuteranopia and tritanopia (Machado, Oliveira, Fernandes, 2009, "A
//! physiologically-based model for simulation of color vision deficiency"). Deviations run from blue over a pale middle to
//! orange, which all of these tell apart; missing material is hatched besides.

/// Band limits in mm, ascending, with the colours between them.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::report) struct Bands {
    /// Six limits; the second is zero and the fourth is the required clearance.
    pub limits: [f64; 6],
    /// Whether a limit is asked for by the job, so that it is marked.
    pub required: bool,
    /// Colours between the limits.
    pub colours: [[u8; 3]; 7],
    /// Values below this are hatched besides.
    pub hatched: f64,
    /// Values at which a dark line is drawn, not a number for none.
    marked: [f64; 2],
    /// Colour of what is not a number.
    pub(in crate::report) unknown: [u8; 3],
    /// Share of the colour that light and shade may take: a map is read by its colours, not by its shape.
    pub(super) shade: f32,
}

impl Bands {
    /// Bands about a required clearance, or about a round number that suits the values (mm).
    pub(in crate::report) fn new(required: Option<f64>, values: &[f64]) -> Self {
        let asked = required.filter(|l| l.is_finite() && *l > 0.0);
        let l = asked.unwrap_or_else(|| round_scale(values));
        let limits = [-0.5 * l, 0.0, 0.5 * l, l, 2.0 * l, 4.0 * l];
        Bands {
            limits,
            required: asked.is_some(),
            colours: BAND_COLOURS,
            hatched: 0.0,
            // Contact, and the limit if there is one.
            marked: [0.0, asked.unwrap_or(0.0)],
            unknown: BAND_COLOURS[6],
            shade: 0.5,
        }
    }

    /// Bands of deviations about the tolerance, or about a round number that suits the values (mm).
    pub(in crate::report) fn of_deviations(tolerance: Option<f64>, values: &[f64]) -> Self {
        let asked = tolerance.filter(|t| t.is_finite() && *t > 0.0);
        let t = asked.unwrap_or_else(|| round_scale(values));
        Bands {
            limits: [-2.0 * t, -t, -0.5 * t, 0.5 * t, t, 2.0 * t],
            required: asked.is_some(),
            colours: DEVIATION_COLOURS,
            hatched: -0.5 * t,
            marked: [f64::NAN; 2],
            unknown: UNSEEN,
            shade: 0.12,
        }
    }

    /// Colour of a value; that of the unknown for one that is not a number.
    pub(super) fn colour(&self, value: f32) -> [u8; 3] {
        let value = f64::from(value);
        if value.is_nan() {
            return self.unknown;
        }
        self.colours[self.limits.iter().filter(|l| value >= **l).count()]
    }

    /// Values at which a dark line is drawn, not a number for none.
    pub(in crate::report) fn marked(&self) -> [f32; 2] {
        self.marked.map(|m| m as f32)
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

/// From missing material to too much.
const DEVIATION_COLOURS: [[u8; 3]; 7] = [
    [20, 52, 104],
    [56, 116, 176],
    [150, 190, 224],
    [240, 240, 236],
    [248, 200, 128],
    [216, 124, 40],
    [124, 60, 8],
];
/// What was not seen.
pub(in crate::report) const UNSEEN: [u8; 3] = [116, 116, 120];

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
    fn deviations_are_symmetric_and_the_unseen_is_no_deviation() {
        let bands = Bands::of_deviations(Some(0.2), &[]);
        assert_eq!(bands.limits, [-0.4, -0.2, -0.1, 0.1, 0.2, 0.4]);
        assert_eq!(bands.colour(0.0), DEVIATION_COLOURS[3]);
        assert_eq!(bands.colour(-0.3), DEVIATION_COLOURS[1]);
        assert_eq!(bands.colour(0.3), DEVIATION_COLOURS[5]);
        assert_eq!(bands.colour(f32::NAN), UNSEEN);
        assert!(!DEVIATION_COLOURS.contains(&UNSEEN));
    }

    #[test]
    fn without_a_limit_the_scale_is_round_and_unmarked() {
        let bands = Bands::new(None, &[0.3, 9.0, -1.0]);
        assert_eq!(bands.limits[3], 2.0);
        assert!(!bands.required);
        assert_eq!(Bands::new(Some(f64::NAN), &[]).limits[3], 1.0);
    }
}
