//! What a plug-in returns: a kind, named parameters with units, and the bounded standard pieces it consists of.

use nalgebra::DMatrix;

use super::{Bounded, Direction, Point3, Pose};
use crate::units::Quantity;

/// A named parameter of a shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Parameter {
    /// Name, as in the published result format.
    pub name: String,
    /// Its value.
    pub value: Value,
}

/// Value of a parameter.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A position, mm; moves with the shape.
    Point(Point3),
    /// A unit direction; turns with the shape.
    Direction(Direction),
    /// A number of the given quantity (mm, rad or bare).
    Scalar(f64, Quantity),
    /// Numbers in rows.
    Table(Table),
}

/// Numbers in rows, such as a bend table.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// Columns from left to right.
    pub columns: Vec<Column>,
    /// Row by row, as many as columns in each.
    pub values: Vec<f64>,
}

/// Column of a table.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Name.
    pub name: String,
    /// What its numbers are.
    pub quantity: Quantity,
    /// Whether it is a coordinate of a place: three such columns side by side are x, y, z and move with the
    /// shape; other columns do not.
    pub place: bool,
}

impl Table {
    /// Its rows.
    pub fn rows(&self) -> impl Iterator<Item = &[f64]> {
        self.values.chunks_exact(self.columns.len().max(1))
    }

    /// The table with its places moved.
    fn transformed(&self, pose: &Pose) -> Self {
        let mut moved = self.clone();
        let width = self.columns.len().max(1);
        let places: Vec<usize> =
            (0..width).filter(|&k| self.columns.get(k).is_some_and(|c| c.place)).collect();
        for row in moved.values.chunks_exact_mut(width) {
            for of in places.chunks_exact(3) {
                let p = pose * Point3::new(row[of[0]], row[of[1]], row[of[2]]);
                (row[of[0]], row[of[1]], row[of[2]]) = (p.x, p.y, p.z);
            }
        }
        moved
    }
}

impl Value {
    /// Numbers that its uncertainty is stated of: three of a position or direction, none of a table.
    #[must_use]
    pub fn components(&self) -> usize {
        match self {
            Value::Point(_) | Value::Direction(_) => 3,
            Value::Scalar(..) => 1,
            Value::Table(_) => 0,
        }
    }
}

impl Parameter {
    /// A position, mm.
    #[must_use]
    pub fn point(name: &str, value: Point3) -> Self {
        Parameter { name: name.into(), value: Value::Point(value) }
    }

    /// A unit direction.
    #[must_use]
    pub fn direction(name: &str, value: Direction) -> Self {
        Parameter { name: name.into(), value: Value::Direction(value) }
    }

    /// A length, mm.
    #[must_use]
    pub fn length(name: &str, value: f64) -> Self {
        Parameter { name: name.into(), value: Value::Scalar(value, Quantity::Length) }
    }

    /// An angle, rad.
    #[must_use]
    pub fn angle(name: &str, value: f64) -> Self {
        Parameter { name: name.into(), value: Value::Scalar(value, Quantity::Angle) }
    }
}

/// A shape known by its pieces; distances and pictures need nothing else.
#[derive(Debug, Clone, PartialEq)]
pub struct Composite {
    /// Kind as the plug-in names it.
    pub kind: String,
    /// Named parameters in the plug-in's order.
    pub parameters: Vec<Parameter>,
    /// Covariance (k = 1) of the components of all parameters in their order; empty: unknown.
    pub covariance: DMatrix<f64>,
    /// Bounded standard pieces, never composites themselves; at least one.
    pub pieces: Vec<Bounded>,
}

impl Composite {
    /// Distance to the nearest piece, mm, never negative; infinite without pieces.
    #[must_use]
    pub fn distance(&self, p: &Point3) -> f64 {
        self.nearest(p).map_or(f64::INFINITY, |(_, distance)| distance)
    }

    /// Nearest point on any piece, mm; `p` itself without pieces.
    #[must_use]
    pub fn project(&self, p: &Point3) -> Point3 {
        self.nearest(p).map_or(*p, |(k, _)| self.pieces[k].project(p))
    }

    /// Nearest piece and its distance, mm. Curves (an axis) count only where there are no surfaces.
    #[must_use]
    pub fn nearest(&self, p: &Point3) -> Option<(usize, f64)> {
        let curves = self.pieces.iter().all(Bounded::is_curve);
        let mut best: Option<(usize, f64)> = None;
        for (k, piece) in self.pieces.iter().enumerate() {
            let least = best.map_or(f64::INFINITY, |(_, d)| d);
            // The whole shape is never farther than a piece of it.
            if piece.is_curve() != curves || piece.shape.distance(p).abs() >= least {
                continue;
            }
            let distance = piece.distance(p);
            if distance < least {
                best = Some((k, distance));
            }
        }
        best
    }

    /// Largest standard deviation (k = 1) of a parameter in any direction, mm or rad; `None` where unknown.
    #[must_use]
    pub fn deviation(&self, index: usize) -> Option<f64> {
        let before = self.parameters[..index].iter().map(|p| p.value.components()).sum::<usize>();
        let size = self.parameters[index].value.components();
        if size == 0 || before + size > self.covariance.nrows() {
            return None;
        }
        let block = self.covariance.view((before, before), (size, size)).into_owned();
        Some(block.symmetric_eigenvalues().max().max(0.0).sqrt())
    }

    /// Location of the first piece, the origin without pieces.
    #[must_use]
    pub fn point(&self) -> Point3 {
        self.pieces.first().map_or_else(Point3::origin, |b| b.shape.point())
    }

    /// The shape moved by a rigid motion, parameters and pieces together.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        let moved = |p: &Parameter| Parameter {
            name: p.name.clone(),
            value: match &p.value {
                Value::Point(x) => Value::Point(pose * x),
                Value::Direction(d) => Value::Direction(pose * d),
                Value::Scalar(x, q) => Value::Scalar(*x, *q),
                Value::Table(table) => Value::Table(table.transformed(pose)),
            },
        };
        let mut turn = DMatrix::identity(self.covariance.nrows(), self.covariance.nrows());
        let mut row = 0;
        for size in self.parameters.iter().map(|p| p.value.components()) {
            if size == 3 && row + 3 <= turn.nrows() {
                let rotation = pose.rotation.to_rotation_matrix();
                turn.view_mut((row, row), (3, 3)).copy_from(rotation.matrix());
            }
            row += size;
        }
        Composite {
            kind: self.kind.clone(),
            parameters: self.parameters.iter().map(moved).collect(),
            covariance: &turn * &self.covariance * turn.transpose(),
            pieces: self.pieces.iter().map(|b| b.transformed(pose)).collect(),
        }
    }

    /// The plug-in's parameters.
    #[must_use]
    pub fn parameters(&self) -> Vec<Parameter> {
        self.parameters.clone()
    }
}
