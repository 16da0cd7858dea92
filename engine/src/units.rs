//! Units of length and angle: inside everything is millimetre and radian; units appear only at the edges.

use crate::error::{Error, Result};

/// Unit of length of a file or a caller.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LengthUnit {
    /// 1e-3 m.
    #[default]
    Millimetre,
    /// 1e-2 m.
    Centimetre,
    /// The SI unit.
    Metre,
    /// 25.4 mm exactly.
    Inch,
}

impl LengthUnit {
    /// Millimetres in one unit.
    #[must_use]
    pub fn to_mm(self) -> f64 {
        match self {
            LengthUnit::Millimetre => 1.0,
            LengthUnit::Centimetre => 10.0,
            LengthUnit::Metre => 1000.0,
            LengthUnit::Inch => 25.4,
        }
    }

    /// Symbol: `mm`, `cm`, `m`, `in`.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            LengthUnit::Millimetre => "mm",
            LengthUnit::Centimetre => "cm",
            LengthUnit::Metre => "m",
            LengthUnit::Inch => "in",
        }
    }

    /// Unit of a symbol.
    ///
    /// # Errors
    /// [`Error::Argument`] for any symbol but `mm`, `cm`, `m`, `in`.
    pub fn parse(symbol: &str) -> Result<Self> {
        match symbol {
            "mm" => Ok(LengthUnit::Millimetre),
            "cm" => Ok(LengthUnit::Centimetre),
            "m" => Ok(LengthUnit::Metre),
            "in" => Ok(LengthUnit::Inch),
            _ => Err(Error::argument("unit of length", symbol, "mm, cm, m, in")),
        }
    }
}

/// Unit of angle of a file or a caller.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum AngleUnit {
    /// 1/360 of a turn.
    #[default]
    Degree,
    /// The SI unit.
    Radian,
}

impl AngleUnit {
    /// Radians in one unit.
    #[must_use]
    pub fn to_rad(self) -> f64 {
        match self {
            AngleUnit::Degree => std::f64::consts::PI / 180.0,
            AngleUnit::Radian => 1.0,
        }
    }

    /// Symbol: `deg`, `rad`.
    #[must_use]
    pub fn symbol(self) -> &'static str {
        match self {
            AngleUnit::Degree => "deg",
            AngleUnit::Radian => "rad",
        }
    }

    /// Unit of a symbol.
    ///
    /// # Errors
    /// [`Error::Argument`] for any symbol but `deg`, `rad`.
    pub fn parse(symbol: &str) -> Result<Self> {
        match symbol {
            "deg" => Ok(AngleUnit::Degree),
            "rad" => Ok(AngleUnit::Radian),
            _ => Err(Error::argument("unit of angle", symbol, "deg, rad")),
        }
    }
}

/// What a number means, for parameters that are carried by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Millimetres.
    Length,
    /// Radians.
    Angle,
    /// A bare number: direction component, count, ratio.
    Number,
}
