//! What a fitter answers.

use fitwright_plugin_abi as abi;

use crate::piece::Piece;

/// Unit of a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// None.
    None,
    /// Millimetre.
    Mm,
    /// Radian.
    Rad,
    /// Of a table's column: a coordinate of a place, mm; three side by side are x, y, z and move with the
    /// shape into other coordinates.
    Place,
}

/// Column of a table.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// Name: lower case letters, digits, `_`.
    pub name: &'static str,
    /// Unit of its numbers.
    pub unit: Unit,
}

/// A fitted shape: parameters in the order in which they appear in results, and pieces.
#[derive(Debug, Clone, Default)]
pub struct Answer {
    pub(crate) parameters: Vec<Parameter>,
    pub(crate) covariance: Option<Vec<f64>>,
    pub(crate) pieces: Vec<Piece>,
    pub(crate) rejected: Vec<u32>,
    pub(crate) notes: Vec<String>,
}

#[derive(Debug, Clone)]
pub(crate) enum Parameter {
    Number(String, Unit, f64),
    Point(String, [f64; 3]),
    Direction(String, [f64; 3]),
    Table(String, Vec<Column>, Vec<f64>),
}

impl Answer {
    /// An answer with nothing in it yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a number.
    #[must_use]
    pub fn number(mut self, name: impl Into<String>, unit: Unit, value: f64) -> Self {
        self.parameters.push(Parameter::Number(name.into(), unit, value));
        self
    }

    /// Adds a length, mm.
    #[must_use]
    pub fn length(self, name: impl Into<String>, value: f64) -> Self {
        self.number(name, Unit::Mm, value)
    }

    /// Adds an angle, rad.
    #[must_use]
    pub fn angle(self, name: impl Into<String>, value: f64) -> Self {
        self.number(name, Unit::Rad, value)
    }

    /// Adds a place, mm.
    #[must_use]
    pub fn point(mut self, name: impl Into<String>, value: [f64; 3]) -> Self {
        self.parameters.push(Parameter::Point(name.into(), value));
        self
    }

    /// Adds a unit direction.
    #[must_use]
    pub fn direction(mut self, name: impl Into<String>, value: [f64; 3]) -> Self {
        self.parameters.push(Parameter::Direction(name.into(), value));
        self
    }

    /// Adds a table, row by row.
    #[must_use]
    pub fn table(mut self, name: impl Into<String>, columns: &[Column], values: Vec<f64>) -> Self {
        self.parameters.push(Parameter::Table(name.into(), columns.to_vec(), values));
        self
    }

    /// Covariance of all parameters (k = 1), a square symmetric matrix row by row: three rows for a place or
    /// direction, one for a number, none for a table. Needed for composites.
    #[must_use]
    pub fn covariance(mut self, matrix: Vec<f64>) -> Self {
        self.covariance = Some(matrix);
        self
    }

    /// Adds a piece; an answer needs one.
    #[must_use]
    pub fn piece(mut self, piece: Piece) -> Self {
        self.pieces.push(piece);
        self
    }

    /// Points left out, by position in the input.
    #[must_use]
    pub fn rejected(mut self, points: Vec<u32>) -> Self {
        self.rejected = points;
        self
    }

    /// Adds a sentence that the user should read.
    #[must_use]
    pub fn note(mut self, text: impl Into<String>) -> Self {
        self.notes.push(text.into());
        self
    }
}

impl Unit {
    pub(crate) fn code(self) -> i32 {
        match self {
            Unit::None => abi::FITW_PLUGIN_UNIT_NONE,
            Unit::Mm => abi::FITW_PLUGIN_UNIT_MM,
            Unit::Rad => abi::FITW_PLUGIN_UNIT_RAD,
            Unit::Place => abi::FITW_PLUGIN_UNIT_PLACE,
        }
    }
}
