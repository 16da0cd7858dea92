//! What a fitter found: parameters with their covariance, pieces, notes.

use fitwright_plugin::{Answer, Column, Piece, Unit};
use nalgebra::DMatrix;

/// Value of a parameter.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub enum Value {
    Number(Unit, f64),
    Point([f64; 3]),
    Direction([f64; 3]),
    Table(Vec<(&'static str, Unit)>, Vec<f64>),
}

/// Parameters in the order in which results show them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Report {
    /// Names and values.
    pub items: Vec<(String, Value)>,
}

/// All that a fitter answers.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// Parameters.
    pub report: Report,
    /// Their covariance, as in `Answer::covariance`.
    pub covariance: DMatrix<f64>,
    /// Bounded pieces.
    pub pieces: Vec<Piece>,
    /// Points left out.
    pub rejected: Vec<u32>,
    /// Sentences for the user.
    pub notes: Vec<String>,
}

impl Report {
    /// The value of a name.
    #[must_use]
    pub fn get(&self, name: &str) -> Option<&Value> {
        self.items.iter().find(|i| i.0 == name).map(|i| &i.1)
    }

    pub(crate) fn add(&mut self, name: impl Into<String>, value: Value) {
        self.items.push((name.into(), value));
    }

    pub(crate) fn length(&mut self, name: impl Into<String>, value: f64) {
        self.add(name, Value::Number(Unit::Mm, value));
    }

    pub(crate) fn angle(&mut self, name: impl Into<String>, value: f64) {
        self.add(name, Value::Number(Unit::Rad, value));
    }

    /// Row of the covariance at which a parameter starts.
    #[must_use]
    pub fn row(&self, name: &str) -> Option<usize> {
        let place = self.items.iter().position(|i| i.0 == name)?;
        Some(self.items[..place].iter().map(|i| i.1.rows()).sum())
    }

    /// All values that have rows in the covariance.
    pub(crate) fn flat(&self) -> Vec<f64> {
        let values = self.items.iter().flat_map(|(_, value)| match value {
            Value::Number(_, x) => vec![*x],
            Value::Point(p) | Value::Direction(p) => p.to_vec(),
            Value::Table(..) => Vec::new(),
        });
        values.collect()
    }

    fn turns(&self) -> Vec<bool> {
        let is_turn = |v: &Value| matches!(v, Value::Number(Unit::Rad, _));
        self.items.iter().flat_map(|(_, v)| vec![is_turn(v); v.rows()]).collect()
    }
}

impl Value {
    fn rows(&self) -> usize {
        match self {
            Value::Number(..) => 1,
            Value::Point(_) | Value::Direction(_) => 3,
            Value::Table(..) => 0,
        }
    }
}

/// Derivatives of what `report` says of unknowns shifted by a step, by central differences; `sizes` are
/// the steps.
pub(crate) fn jacobian(report: impl Fn(&[f64]) -> Report, sizes: &[f64]) -> DMatrix<f64> {
    let turns = report(&vec![0.0; sizes.len()]).turns();
    let mut out = DMatrix::zeros(turns.len(), sizes.len());
    for (k, h) in sizes.iter().enumerate() {
        let shifted = |x: f64| {
            let mut step = vec![0.0; sizes.len()];
            step[k] = x;
            report(&step).flat()
        };
        let (up, down) = (shifted(*h), shifted(-h));
        for (row, turn) in turns.iter().enumerate() {
            let mut d = up[row] - down[row];
            if *turn {
                d -= std::f64::consts::TAU * (d / std::f64::consts::TAU).round();
            }
            out[(row, k)] = d / (2.0 * h);
        }
    }
    out
}

/// Covariance of the report from that of the unknowns, symmetric to the bit.
pub(crate) fn propagated(jacobian: &DMatrix<f64>, unknowns: &DMatrix<f64>) -> DMatrix<f64> {
    let full = jacobian * unknowns * jacobian.transpose();
    0.5 * (&full + full.transpose())
}

impl Outcome {
    /// Standard uncertainty of a number, mm or rad.
    #[must_use]
    pub fn uncertainty(&self, name: &str) -> Option<f64> {
        let row = self.report.row(name)?;
        Some(self.covariance.get((row, row))?.sqrt())
    }

    /// As it goes to the host.
    #[must_use]
    pub fn into_answer(self) -> Answer {
        let mut answer = Answer::new();
        for (name, value) in self.report.items {
            answer = match value {
                Value::Number(unit, x) => answer.number(name, unit, x),
                Value::Point(p) => answer.point(name, p),
                Value::Direction(d) => answer.direction(name, d),
                Value::Table(columns, values) => {
                    let column = |c: &(&'static str, Unit)| Column { name: c.0, unit: c.1 };
                    let columns: Vec<Column> = columns.iter().map(column).collect();
                    answer.table(name, &columns, values)
                }
            };
        }
        answer = answer.covariance(self.covariance.as_slice().to_vec()).rejected(self.rejected);
        answer = self.pieces.into_iter().fold(answer, Answer::piece);
        self.notes.into_iter().fold(answer, Answer::note)
    }
}
