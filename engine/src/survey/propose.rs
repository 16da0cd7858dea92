//! The likeliest datum system: three large faces near square to each other, or a face and an axis.

use super::{Survey, Surveyed};
use crate::primitive::{Kind, Vec3};

/// Positions in [`Survey::primitives`] of what a person would take, in order of precedence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ProposedDatum {
    /// The largest plane.
    pub primary: usize,
    /// The largest plane near square to it, else the largest cylinder near parallel to its face.
    pub secondary: Option<usize>,
    /// The largest plane near square to both; where there is none, a hole in the primary sets the origin.
    pub tertiary: Option<usize>,
    /// Position in [`Survey::holes`] of that hole.
    pub hole: Option<usize>,
}

impl Survey {
    /// The likeliest datum system; `None` without any plane.
    #[must_use]
    pub fn proposed_datum(&self) -> Option<ProposedDatum> {
        let of = |kind: Kind| {
            let all = self.primitives.iter().enumerate();
            all.filter(move |(_, p)| p.feature.shape.kind() == kind)
        };
        let along = |p: &Surveyed| p.feature.shape.direction().map(|d| d.into_inner());
        let square = |p: &Surveyed, to: &Vec3| along(p).is_some_and(|d| d.dot(to).abs() < SQUARE);
        let largest = |list: &mut dyn Iterator<Item = (usize, &Surveyed)>| {
            list.max_by(|a, b| a.1.area.total_cmp(&b.1.area).then(b.0.cmp(&a.0))).map(|p| p.0)
        };
        let primary = largest(&mut of(Kind::Plane))?;
        let first = along(&self.primitives[primary])?;
        let plane = largest(&mut of(Kind::Plane).filter(|(_, p)| square(p, &first)));
        let secondary =
            plane.or_else(|| largest(&mut of(Kind::Cylinder).filter(|(_, p)| square(p, &first))));
        let second = secondary.and_then(|k| along(&self.primitives[k]));
        let tertiary = plane.zip(second).and_then(|(_, second)| {
            let third = |p: &Surveyed| square(p, &first) && square(p, &second);
            largest(&mut of(Kind::Plane).filter(|(_, p)| third(p)))
        });
        let hole = match tertiary {
            None => self.holes.iter().position(|h| h.face == Some(primary) && h.wall.is_some()),
            Some(_) => None,
        };
        Some(ProposedDatum { primary, secondary, tertiary, hole })
    }
}

/// Cosine of the angle up to which directions count as near square: 80 degrees.
const SQUARE: f64 = 0.174;
