//! Straights and bends in their places, and what of them is nearest to a point.

use super::chain::Chain;
use crate::V3;

/// A straight or a bend in its place.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Part {
    /// From a place along a direction for a length.
    Straight { from: V3, along: V3, length: f64 },
    /// From a place, starting along `along`, about the axis `normal` through `centre`.
    Arc { from: V3, along: V3, normal: V3, centre: V3, radius: f64, angle: f64 },
}

/// A part with what each question needs.
#[derive(Debug, Clone, Copy)]
pub(super) enum Span {
    Straight {
        from: V3,
        along: V3,
        length: f64,
    },
    /// Arms from the centre to the middle of the bend and along it there, half the angle.
    Arc {
        centre: V3,
        out: V3,
        on: V3,
        sin: f64,
        cos: f64,
    },
}

/// The nearest place of the centre line.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Nearest {
    pub(crate) part: usize,
    /// Place.
    pub(crate) foot: V3,
    /// Squared distance.
    pub(crate) squared: f64,
}

impl Part {
    /// Directions from the centre of a bend to its middle, and along it there.
    fn middle(from: &V3, along: &V3, centre: &V3, radius: f64, angle: f64) -> (V3, V3) {
        let m = (centre - from) / radius;
        let (sin, cos) = (0.5 * angle).sin_cos();
        (along * sin - m * cos, along * cos + m * sin)
    }

    /// Ready for many questions.
    pub(super) fn span(&self) -> Span {
        match *self {
            Part::Straight { from, along, length } => Span::Straight { from, along, length },
            Part::Arc { from, along, centre, radius, angle, .. } => {
                // Counted from the middle of the bend, so that the jump lies opposite.
                let (out, on) = Self::middle(&from, &along, &centre, radius, angle);
                let (sin, cos) = (0.5 * angle).sin_cos();
                Span::Arc { centre, out: out * radius, on: on * radius, sin, cos }
            }
        }
    }

    /// Length along a straight or angle along a bend of a place on it.
    fn at(&self, foot: &V3) -> f64 {
        match *self {
            Part::Straight { from, along, .. } => along.dot(&(foot - from)),
            Part::Arc { from, along, centre, radius, angle, .. } => {
                let (out, on) = Self::middle(&from, &along, &centre, radius, angle);
                let d = foot - centre;
                on.dot(&d).atan2(out.dot(&d)) + 0.5 * angle
            }
        }
    }

    /// A ball that holds the part.
    fn ball(&self) -> (V3, f64) {
        match *self {
            Part::Straight { from, along, length } => {
                (from + along * (0.5 * length), 0.5 * length.abs())
            }
            Part::Arc { from, along, centre, radius, angle, .. } => {
                let half = 0.5 * angle;
                let m = (centre - from) / radius;
                let top = centre + (along * half.sin() - m * half.cos()) * radius;
                (top, 2.0 * radius * (0.5 * half).sin())
            }
        }
    }

    /// What the part's own radius does to a place on it: it moves away from the start of the bend.
    pub(super) fn by_radius(&self, foot: &V3) -> V3 {
        match *self {
            Part::Straight { .. } => V3::zeros(),
            Part::Arc { from, radius, .. } => (foot - from) / radius,
        }
    }
}

impl Span {
    /// Nearest place of the part; `open` lets a straight go on before its start or beyond its end.
    #[inline]
    pub(super) fn nearest(&self, p: &V3, open: (bool, bool)) -> V3 {
        match *self {
            Span::Straight { from, along, length } => {
                let mut s = along.dot(&(p - from));
                if s < 0.0 && !open.0 {
                    s = 0.0;
                }
                if s > length && !open.1 {
                    s = length.max(0.0);
                }
                from + along * s
            }
            Span::Arc { centre, out, on, sin, cos } => {
                let d = p - centre;
                let (c, s) = (out.dot(&d), on.dot(&d));
                let away = (c * c + s * s).sqrt();
                if c >= cos * away && away > 0.0 {
                    centre + (out * c + on * s) / away
                } else {
                    centre + out * cos + on * sin.copysign(s)
                }
            }
        }
    }
}

/// A chain's parts, for many questions about what is nearest.
pub(crate) struct Line {
    pub(crate) parts: Vec<Part>,
    spans: Vec<Span>,
    balls: Vec<(V3, f64)>,
}

impl Line {
    pub(crate) fn new(chain: &Chain) -> Self {
        let parts = chain.parts();
        let mut balls: Vec<_> = parts.iter().map(Part::ball).collect();
        // The ends are open.
        let last = balls.len() - 1;
        (balls[0].1, balls[last].1) = (f64::INFINITY, f64::INFINITY);
        let spans = parts.iter().map(Part::span).collect();
        Line { parts, spans, balls }
    }

    /// The nearest place of all parts.
    #[inline]
    pub(crate) fn nearest(&self, p: &V3) -> Nearest {
        let last = self.parts.len() - 1;
        let mut best = Nearest { part: 0, foot: V3::zeros(), squared: f64::INFINITY };
        let mut away = f64::INFINITY;
        for (part, span) in self.spans.iter().enumerate() {
            let (centre, radius) = self.balls[part];
            if (p - centre).norm_squared() > (radius + away).powi(2) {
                continue;
            }
            let foot = span.nearest(p, (part == 0, part == last));
            let squared = (p - foot).norm_squared();
            if squared < best.squared {
                best = Nearest { part, foot, squared };
                away = squared.sqrt();
            }
        }
        best
    }

    /// Length along the straight or angle along the bend of the nearest place.
    pub(crate) fn at(&self, near: &Nearest) -> f64 {
        self.parts[near.part].at(&near.foot)
    }
}
