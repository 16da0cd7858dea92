//! Temperatures and coefficients of expansion: part of the scene.

use crate::error::{Error, Result};
use crate::primitive::Point3;

/// What machine and part are warmed (or cooled) to. Both grow evenly in all directions from one point
/// that stays where it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Temperature {
    /// The machine, from the temperature it was scanned at.
    pub machine: Warming,
    /// The part, from the temperature its sizes are meant at (20 °C, ISO 1).
    pub part: Warming,
    /// The point that stays, machine coordinates, mm; `None`: where the first mount's bolt passes its seat.
    pub fixed: Option<Point3>,
}

/// Change of a body's temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warming {
    /// Coefficient of linear expansion, 1/K.
    pub expansion: f64,
    /// Its standard deviation, 1/K.
    pub expansion_deviation: f64,
    /// Temperature before, °C.
    pub from: f64,
    /// Temperature after, °C.
    pub to: f64,
    /// Standard deviation of the change, K.
    pub deviation: f64,
}

/// Coefficient of linear expansion of a material near room temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Material {
    /// Name in job files.
    pub name: &'static str,
    /// Usual coefficient, 1/K.
    pub expansion: f64,
    /// Half the range over the materials of that name, 1/K.
    pub half_range: f64,
}

impl Warming {
    /// A body of a material warmed between two temperatures, °C, the change known to within so many
    /// kelvin either way.
    #[must_use]
    pub fn of(material: &Material, from: f64, to: f64, within: f64) -> Self {
        // Both lie anywhere within their bounds (rectangular distribution, JCGM 100, 4.3.7).
        Warming {
            expansion: material.expansion,
            expansion_deviation: material.half_range / 3f64.sqrt(),
            from,
            to,
            deviation: within / 3f64.sqrt(),
        }
    }

    /// By how much each length grows, as a share of it.
    #[must_use]
    pub fn growth(&self) -> f64 {
        self.expansion * (self.to - self.from)
    }

    /// Standard deviation of [`Warming::growth`].
    #[must_use]
    pub fn growth_deviation(&self) -> f64 {
        (self.expansion_deviation * (self.to - self.from)).hypot(self.expansion * self.deviation)
    }
}

impl Material {
    /// Material of a name: `steel`, `aluminium`, ….
    ///
    /// # Errors
    /// [`Error::Argument`] for any other, naming the known ones.
    pub fn parse(name: &str) -> Result<Self> {
        let plain = name.trim().to_lowercase().replace(['-', '_'], " ");
        let plain = if plain == "aluminum" { "aluminium".into() } else { plain };
        MATERIALS.iter().find(|m| m.name == plain).copied().ok_or_else(|| {
            let known: Vec<&str> = MATERIALS.iter().map(|m| m.name).collect();
            Error::argument("material", name, known.join(", "))
        })
    }

    /// A material known by its coefficient alone (1/K), good to 5 %.
    #[must_use]
    pub fn with_expansion(expansion: f64) -> Self {
        Material { name: "given", expansion, half_range: 0.05 * expansion.abs() }
    }

    /// All known materials.
    #[must_use]
    pub fn all() -> &'static [Material] {
        &MATERIALS
    }
}

const fn material(name: &'static str, expansion: f64, half_range: f64) -> Material {
    Material { name, expansion: expansion * 1e-6, half_range: half_range * 1e-6 }
}

/// Common handbook values, not taken from one citable table: the ranges are over the alloys of a name.
/// Who needs better gives the coefficient itself.
const MATERIALS: [Material; 8] = [
    material("steel", 11.5, 0.7),
    material("stainless steel", 16.5, 0.8),
    material("ferritic stainless steel", 10.5, 0.6),
    material("cast iron", 10.5, 0.6),
    material("aluminium", 23.0, 1.2),
    material("brass", 19.0, 1.0),
    material("titanium", 8.6, 0.5),
    material("printed plastic", 85.0, 15.0),
];
