//! Numbers for people: in the job's units, with the digits their uncertainty allows.
//!
//! Uncertainty rounded up to two significant digits, the value to the same decimal place (JCGM 100, 7.2.6).
//! The decimal sign is a point and minus is the ASCII hyphen, so that a copied number stays one.

use crate::fitcheck::Measure;
use crate::job::Outcome;
use crate::primitive::Point3;
use crate::units::{AngleUnit, LengthUnit};

/// Units and how many decimals they bear.
#[derive(Debug, Clone, Copy)]
pub(super) struct Units {
    pub length: LengthUnit,
    pub angle: AngleUnit,
}

/// A value and its expanded uncertainty, as text.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stated {
    pub value: String,
    /// `None` if it is not known.
    pub uncertainty: Option<String>,
}

impl Units {
    pub(super) fn of(outcome: &Outcome) -> Self {
        Units { length: outcome.length, angle: outcome.angle }
    }

    /// A length given in mm.
    pub(super) fn length(&self, mm: f64, uncertainty: Option<f64>) -> Stated {
        let to = self.length.to_mm();
        stated(mm / to, uncertainty.map(|u| u / to), self.length_decimals())
    }

    /// An angle given in rad.
    pub(super) fn angle(&self, rad: f64, uncertainty: Option<f64>) -> Stated {
        let to = self.angle.to_rad();
        stated(rad / to, uncertainty.map(|u| u / to), self.angle_decimals())
    }

    /// What a check measured, without its unit.
    pub(super) fn measured(&self, value: f64, uncertainty: Option<f64>, what: Measure) -> Stated {
        let to = self.length.to_mm();
        let as_power = |power: i32| {
            let by = to.powi(power);
            // Three significant digits of what is no more than an estimate.
            let size = (value / by).abs().max(1e-9).log10().floor();
            let decimals = (2.0 - size).clamp(0.0, 6.0) as usize;
            stated(value / by, uncertainty.map(|u| u / by), (decimals, decimals))
        };
        match what {
            Measure::Length => self.length(value, uncertainty),
            Measure::Angle => self.angle(value, uncertainty),
            Measure::Area => as_power(2),
            Measure::Volume => as_power(3),
            Measure::Ratio => as_power(0),
        }
    }

    /// Unit of what a check measured, for people; empty for a ratio.
    pub(super) fn symbol(&self, what: Measure) -> String {
        match what {
            Measure::Length => self.length.symbol().into(),
            Measure::Angle => self.angle.symbol().into(),
            Measure::Area => format!("{}²", self.length.symbol()),
            Measure::Volume => format!("{}³", self.length.symbol()),
            Measure::Ratio => String::new(),
        }
    }

    /// A length without an uncertainty of its own, mm.
    pub(super) fn plain(&self, mm: f64) -> String {
        self.length(mm, None).value
    }

    /// A place, mm.
    pub(super) fn point(&self, p: &Point3) -> String {
        p.iter().map(|v| self.plain(*v)).collect::<Vec<_>>().join(", ")
    }

    /// A small length such as a noise or a residual, mm: one digit more than a place.
    pub(super) fn small(&self, mm: f64) -> String {
        fixed(mm / self.length.to_mm(), self.length_decimals().0 + 1)
    }

    /// An arc, rad, to a whole degree.
    pub(super) fn arc(&self, rad: f64) -> String {
        let decimals = self.angle_decimals().0.saturating_sub(2);
        fixed(rad / self.angle.to_rad(), decimals)
    }

    /// Decimals of a place (0.01 mm).
    pub(super) fn decimals(&self) -> usize {
        self.length_decimals().0
    }

    /// Decimals of a place where room is short (0.1 mm).
    pub(super) fn coarse_decimals(&self) -> usize {
        self.length_decimals().0 - 1
    }

    /// Decimals without an uncertainty (0.01 mm), and at most (0.1 µm).
    fn length_decimals(&self) -> (usize, usize) {
        match self.length {
            LengthUnit::Millimetre => (2, 4),
            LengthUnit::Centimetre => (3, 5),
            LengthUnit::Metre => (5, 7),
            LengthUnit::Inch => (4, 6),
        }
    }

    /// Decimals without an uncertainty (0.01°), and at most (0.0001°).
    fn angle_decimals(&self) -> (usize, usize) {
        match self.angle {
            AngleUnit::Degree => (2, 4),
            AngleUnit::Radian => (4, 6),
        }
    }
}

/// A bare number with as many decimals as asked; a dash for one that is not finite.
pub(super) fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "–".into();
    }
    let text = format!("{value:.decimals$}");
    let is_zero = text.chars().all(|c| matches!(c, '-' | '0' | '.'));
    if is_zero { text.trim_start_matches('-').into() } else { text }
}

fn stated(value: f64, uncertainty: Option<f64>, (plain, most): (usize, usize)) -> Stated {
    let Some(u) = uncertainty.filter(|u| u.is_finite() && *u > 0.0) else {
        return Stated { value: fixed(value, plain), uncertainty: None };
    };
    // Rounding up to two digits may carry into a third (0.0996 to 0.10): count after it.
    let up = |place: f64| (u / place - 1e-6).ceil() * place;
    let carried = up(10f64.powf(u.log10().floor() - 1.0));
    let place = 1.0 - (carried * (1.0 + 1e-9)).log10().floor();
    let decimals = place.clamp(0.0, most as f64) as usize;
    let text = fixed(up(10f64.powi(-(decimals as i32))), decimals);
    Stated { value: fixed(value, decimals), uncertainty: Some(text) }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MM: Units = Units { length: LengthUnit::Millimetre, angle: AngleUnit::Degree };

    fn both(s: &Stated) -> (&str, Option<&str>) {
        (&s.value, s.uncertainty.as_deref())
    }

    /// The second is the mass of JCGM 100:2008, 7.2.2: 100.021 47 with 0.000 35, cut at 0.0001 mm.
    #[test]
    fn digits_follow_the_uncertainty() {
        assert_eq!(both(&MM.length(123.456_789, Some(0.034_6))), ("123.457", Some("0.035")));
        assert_eq!(both(&MM.length(100.021_47, Some(0.000_35))), ("100.0215", Some("0.0004")));
        assert_eq!(both(&MM.length(123.456_789, Some(7.0))), ("123.5", Some("7.0")));
        assert_eq!(both(&MM.length(1234.6, Some(230.0))), ("1235", Some("230")));
        assert_eq!(both(&MM.length(1.0, Some(0.0996))), ("1.00", Some("0.10")));
        assert_eq!(both(&MM.length(-0.001, None)), ("0.00", None));
        assert_eq!(both(&MM.length(1.0, Some(1e-9))), ("1.0000", Some("0.0001")));
        assert_eq!(both(&MM.length(f64::NAN, Some(f64::NAN))), ("–", None));
    }

    #[test]
    fn units_are_the_jobs() {
        let inch = Units { length: LengthUnit::Inch, angle: AngleUnit::Radian };
        assert_eq!(both(&inch.length(25.4, Some(0.254))), ("1.000", Some("0.010")));
        assert_eq!(inch.arc(std::f64::consts::PI), "3.14");
        assert_eq!(MM.arc(std::f64::consts::PI), "180");
        assert_eq!(
            both(&MM.angle(std::f64::consts::FRAC_PI_2, Some(0.001))),
            ("90.000", Some("0.058"))
        );
    }
}
