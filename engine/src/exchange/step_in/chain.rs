//! Curves of several pieces end to end (ISO 10303-42, composite curve): piece i is the parameters i to i + 1.

use super::curve::Curve;
use crate::primitive::{Point3, Vec3};

/// Pieces end to end, at least one.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Chain {
    pieces: Vec<Piece>,
}

/// A curve between two of its parameters; `from` may be the larger.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Piece {
    pub curve: Curve,
    pub from: f64,
    pub to: f64,
}

impl Piece {
    pub(super) fn ends(&self) -> [Point3; 2] {
        [self.curve.at(self.from), self.curve.at(self.to)]
    }

    fn at(&self, fraction: f64) -> f64 {
        self.from + (self.to - self.from) * fraction
    }

    /// Fraction of the piece's nearest point, and the distance squared.
    fn nearest(&self, p: &Point3) -> (f64, f64) {
        let width = self.to - self.from;
        let mut fraction = (self.curve.parameter(p) - self.from) / width;
        if let Some(period) = self.curve.period() {
            fraction = fraction.rem_euclid((period / width).abs());
        }
        [fraction.clamp(0.0, 1.0), 0.0, 1.0]
            .map(|f| (f, (self.curve.at(self.at(f)) - p).norm_squared()))
            .into_iter()
            .fold((0.0, f64::INFINITY), |best, next| if next.1 < best.1 { next } else { best })
    }
}

impl Chain {
    /// None without pieces.
    pub(super) fn new(pieces: Vec<Piece>) -> Option<Self> {
        (!pieces.is_empty()).then_some(Chain { pieces })
    }

    pub(super) fn range(&self) -> (f64, f64) {
        (0.0, self.pieces.len() as f64)
    }

    pub(super) fn jet(&self, t: f64) -> (Point3, Vec3) {
        let index = (t.max(0.0) as usize).min(self.pieces.len() - 1);
        let piece = &self.pieces[index];
        let (point, slope) = piece.curve.jet(piece.at(t - index as f64));
        (point, slope * (piece.to - piece.from))
    }

    pub(super) fn parameter(&self, p: &Point3) -> f64 {
        let mut best = (0.0, f64::INFINITY);
        for (index, piece) in self.pieces.iter().enumerate() {
            let (fraction, square) = piece.nearest(p);
            if square < best.1 {
                best = (index as f64 + fraction, square);
            }
        }
        best.0
    }

    /// The parameters that `inner` gives for each piece, in the chain's own.
    pub(super) fn gathered(&self, inner: impl Fn(&Piece) -> Vec<f64>) -> Vec<f64> {
        let mut all = Vec::new();
        for (index, piece) in self.pieces.iter().enumerate() {
            let fraction = |t: f64| (t - piece.from) / (piece.to - piece.from);
            all.extend(inner(piece).into_iter().map(|t| index as f64 + fraction(t)));
        }
        all
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::{FRAC_PI_2, PI};

    use super::*;
    use crate::exchange::step_in::curve::Frame;

    /// A line of 4 mm, half a circle of radius 1 run against its own direction, and the line back.
    fn hairpin() -> Option<Chain> {
        let line = |x: f64, y: f64, along: f64| Piece {
            curve: Curve::Line { point: Point3::new(x, y, 0.0), direction: Vec3::x() * along },
            from: 0.0,
            to: 4.0,
        };
        let frame = Frame::new(Point3::new(4.0, 1.0, 0.0), -Vec3::z_axis(), Some(Vec3::x()));
        let arc = Curve::Ellipse { frame, a: 1.0, b: 1.0 };
        let arc = Piece { curve: arc, from: FRAC_PI_2, to: -FRAC_PI_2 };
        Chain::new(vec![line(0.0, 0.0, 1.0), arc, line(4.0, 2.0, -1.0)])
    }

    #[test]
    fn places_along_a_hairpin_are_where_geometry_says() -> Result<(), &'static str> {
        let chain = hairpin().ok_or("pieces")?;
        for (t, x, y) in [(0.5, 2.0, 0.0), (1.5, 5.0, 1.0), (2.0, 4.0, 2.0), (3.0, 0.0, 2.0)] {
            let p = Point3::new(x, y, 0.0);
            assert!((chain.jet(t).0 - p).norm() < 1e-12, "{t}");
            assert!((chain.parameter(&p) - t).abs() < 1e-9, "{t} {}", chain.parameter(&p));
        }
        // Once round the half circle takes one unit of the parameter.
        assert!((chain.jet(1.5).1 - Vec3::new(0.0, PI, 0.0)).norm() < 1e-12);
        Ok(())
    }
}
