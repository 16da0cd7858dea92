//! Curves of edges and profiles: point, derivative, parameter of a point, division to a chord error.

use std::f64::consts::{PI, TAU};

use super::chain::Chain;
use super::spline::SplineCurve;
use crate::error::{Error, Result};
use crate::primitive::{Direction, Point3, Vec3, any_perpendicular, unit};

/// Right-handed orthonormal frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Frame {
    pub origin: Point3,
    pub x: Vec3,
    pub y: Vec3,
    pub z: Vec3,
}

/// Curve in space; parameters are our own: radians, or millimetres on a line.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Curve {
    Line {
        point: Point3,
        direction: Vec3,
    },
    Ellipse {
        frame: Frame,
        a: f64,
        b: f64,
    },
    Hyperbola {
        frame: Frame,
        a: f64,
        b: f64,
    },
    Parabola {
        frame: Frame,
        focal: f64,
    },
    Spline(SplineCurve),
    Chain(Chain),
    /// `distance` along reference x tangent from the basis.
    Offset {
        basis: Box<Curve>,
        distance: f64,
        reference: Vec3,
    },
}

impl Frame {
    /// Frame with `z` along the axis and `x` as near to `towards` as that allows.
    pub(super) fn new(origin: Point3, axis: Direction, towards: Option<Vec3>) -> Self {
        let z = axis.into_inner();
        let across = towards.and_then(|v| {
            let rest = v - z * v.dot(&z);
            // Nearly parallel directions carry no information about the angle.
            if rest.norm() > 1e-9 * v.norm() { unit(rest) } else { None }
        });
        let x = across.unwrap_or_else(|| any_perpendicular(&axis)).into_inner();
        Frame { origin, x, y: z.cross(&x), z }
    }

    pub(super) fn at(&self, x: f64, y: f64, z: f64) -> Point3 {
        self.origin + self.x * x + self.y * y + self.z * z
    }

    pub(super) fn local(&self, p: &Point3) -> Vec3 {
        let d = p - self.origin;
        Vec3::new(d.dot(&self.x), d.dot(&self.y), d.dot(&self.z))
    }
}

impl Curve {
    pub(super) fn at(&self, t: f64) -> Point3 {
        self.jet(t).0
    }

    /// Point and derivative; a closed curve with ends goes on round past them.
    pub(super) fn jet(&self, t: f64) -> (Point3, Vec3) {
        match self {
            Curve::Line { point, direction } => (point + direction * t, *direction),
            Curve::Ellipse { frame: f, a, b } => {
                let (sin, cos) = t.sin_cos();
                (f.at(a * cos, b * sin, 0.0), f.y * (b * cos) - f.x * (a * sin))
            }
            Curve::Hyperbola { frame: f, a, b } => {
                let (sinh, cosh) = (t.sinh(), t.cosh());
                (f.at(a * cosh, b * sinh, 0.0), f.x * (a * sinh) + f.y * (b * cosh))
            }
            Curve::Parabola { frame: f, focal } => (
                f.at(focal * t * t, 2.0 * focal * t, 0.0),
                f.x * (2.0 * focal * t) + f.y * (2.0 * focal),
            ),
            Curve::Spline(spline) => spline.jet(wrapped(t, spline.knots.range())),
            Curve::Chain(chain) => chain.jet(wrapped(t, chain.range())),
            Curve::Offset { .. } => {
                let (low, high) = self.range().unwrap_or((t - 1.0, t + 1.0));
                let step = 1e-5 * (high - low);
                let (before, after) = ((t - step).max(low), (t + step).min(high));
                let slope = (self.lifted(after) - self.lifted(before)) / (after - before);
                (self.lifted(t), slope)
            }
        }
    }

    /// Where the curve ends, if it does.
    pub(super) fn range(&self) -> Option<(f64, f64)> {
        match self {
            Curve::Spline(spline) => Some(spline.knots.range()),
            Curve::Chain(chain) => Some(chain.range()),
            Curve::Offset { basis, .. } => basis.range(),
            _ => None,
        }
    }

    /// Point of an offset curve.
    fn lifted(&self, t: f64) -> Point3 {
        let Curve::Offset { basis, distance, reference } = self else { return self.at(t) };
        let (point, slope) = basis.jet(t);
        match unit(reference.cross(&slope)) {
            Some(across) => point + across.into_inner() * *distance,
            None => point,
        }
    }

    /// Parameter after which the curve repeats.
    pub(super) fn period(&self) -> Option<f64> {
        match self {
            Curve::Ellipse { .. } => Some(TAU),
            Curve::Spline(_) | Curve::Chain(_) => {
                let (low, high) = self.range()?;
                let gap = (self.at(low) - self.at(high)).norm();
                let away = |f: f64| (self.at(low) - self.at(low + f * (high - low))).norm();
                // A chain of two pieces may be back where it began at any one place.
                let size = away(0.5).max(away(0.3));
                (gap <= 1e-6 * size).then_some(high - low)
            }
            Curve::Offset { basis, .. } => basis.period(),
            Curve::Line { .. } | Curve::Hyperbola { .. } | Curve::Parabola { .. } => None,
        }
    }

    /// Parameter of the nearest point of the curve.
    pub(super) fn parameter(&self, p: &Point3) -> f64 {
        match self {
            Curve::Line { point, direction } => {
                (p - point).dot(direction) / direction.norm_squared()
            }
            Curve::Ellipse { frame, a, b } => {
                let q = frame.local(p);
                let start = (q.y / b).atan2(q.x / a);
                if a == b { start } else { self.polish(p, start) }
            }
            Curve::Hyperbola { frame, b, .. } => self.polish(p, (frame.local(p).y / b).asinh()),
            Curve::Parabola { frame, focal } => self.polish(p, frame.local(p).y / (2.0 * focal)),
            Curve::Spline(_) => self.nearest_of_samples(p),
            Curve::Chain(chain) => chain.parameter(p),
            Curve::Offset { .. } if self.range().is_some() => self.nearest_of_samples(p),
            Curve::Offset { basis, .. } => self.polish(p, basis.parameter(p)),
        }
    }

    /// Parameters from `from` to `to`, both included, whose chords stay within `error` of the curve.
    ///
    /// # Errors
    /// [`Error::Limit`] when that needs too many of them.
    pub(super) fn divide(&self, from: f64, to: f64, error: f64) -> Result<Vec<f64>> {
        if let Curve::Ellipse { a, b, .. } = self
            && a == b
        {
            return Ok(even(from, to, pieces((to - from).abs() / arc_step(*a, error))?));
        }
        if let Curve::Line { .. } = self {
            return Ok(vec![from, to]);
        }
        let coarse = match self.range() {
            Some(range) => between(&self.breaks(range.0, range.1)?, range, from, to)?,
            None => self.breaks(from, to)?,
        };
        let mut parameters = vec![from];
        for pair in coarse.windows(2) {
            self.bisect(pair[0], pair[1], error, 0, &mut parameters)?;
        }
        Ok(parameters)
    }

    fn bisect(&self, from: f64, to: f64, error: f64, depth: u32, out: &mut Vec<f64>) -> Result<()> {
        let (a, b) = (self.at(from), self.at(to));
        let off = |f: f64| distance_to_chord(&self.at(from + (to - from) * f), &a, &b) > error;
        if depth < DEEPEST_BISECTION && (off(0.5) || off(0.25) || off(0.75)) {
            let middle = 0.5 * (from + to);
            self.bisect(from, middle, error, depth + 1, out)?;
            return self.bisect(middle, to, error, depth + 1, out);
        }
        out.push(to);
        pieces(out.len() as f64).map(|_| ())
    }

    /// Parameters that see every bend of the curve.
    pub(super) fn samples(&self) -> Vec<f64> {
        match self {
            Curve::Spline(spline) => parts(&spline.knots.breaks(), 2 * spline.knots.degree() + 1),
            Curve::Chain(chain) => chain.gathered(|piece| match piece.curve {
                Curve::Spline(_) | Curve::Chain(_) => piece.curve.samples(),
                _ => even(piece.from, piece.to, 8),
            }),
            Curve::Offset { basis, .. } => basis.samples(),
            Curve::Ellipse { .. } => even(0.0, TAU, 16),
            // Unbounded curves are monotone along their main direction: any start leads there.
            Curve::Line { .. } | Curve::Hyperbola { .. } | Curve::Parabola { .. } => {
                even(-2.0, 2.0, 16)
            }
        }
    }

    /// Parameters from `from` to `to` between which the curve is smooth and bends one way.
    fn breaks(&self, from: f64, to: f64) -> Result<Vec<f64>> {
        Ok(match self {
            Curve::Line { .. } => vec![from, to],
            Curve::Ellipse { .. } => even(from, to, pieces((to - from).abs() / LARGEST_ARC)?),
            Curve::Hyperbola { .. } | Curve::Parabola { .. } => even(from, to, 4),
            Curve::Spline(spline) => {
                let each = if spline.knots.degree() == 1 { 1 } else { 2 };
                parts(&spline.knots.breaks(), each)
            }
            Curve::Chain(chain) => chain.gathered(|piece| {
                let of_piece = piece.curve.breaks(piece.from, piece.to);
                of_piece.unwrap_or_else(|_| vec![piece.from, piece.to])
            }),
            Curve::Offset { basis, .. } => basis.breaks(from, to)?,
        })
    }

    /// Gauss-Newton on the squared distance.
    fn polish(&self, p: &Point3, start: f64) -> f64 {
        let mut t = start;
        for _ in 0..MOST_STEPS {
            let (q, slope) = self.jet(t);
            let square = slope.norm_squared();
            if square <= 0.0 {
                break;
            }
            let step = (p - q).dot(&slope) / square;
            t += step.clamp(-0.5 * (1.0 + t.abs()), 0.5 * (1.0 + t.abs()));
            if step.abs() <= 1e-15 * (1.0 + t.abs()) {
                break;
            }
        }
        t
    }

    fn nearest_of_samples(&self, p: &Point3) -> f64 {
        let (low, high) = self.range().unwrap_or_default();
        let samples = self.samples();
        let square = |t: f64| (self.at(t) - p).norm_squared();
        let distances: Vec<f64> = samples.iter().map(|t| square(*t)).collect();
        let mut best = (f64::INFINITY, low);
        for i in 0..samples.len() {
            let before = i == 0 || distances[i] <= distances[i - 1];
            let after = i + 1 == samples.len() || distances[i] <= distances[i + 1];
            if !(before && after) {
                continue;
            }
            let t = self.polish(p, samples[i]).clamp(low, high);
            for candidate in [t, samples[i]] {
                let value = square(candidate);
                if value < best.0 {
                    best = (value, candidate);
                }
            }
        }
        best.1
    }
}

/// Parameters past the ends go on at the other end.
fn wrapped(t: f64, (low, high): (f64, f64)) -> f64 {
    if (low..=high).contains(&t) { t } else { low + (t - low).rem_euclid(high - low) }
}

/// The breaks with `each` even parts between them.
fn parts(breaks: &[f64], each: usize) -> Vec<f64> {
    let mut all = breaks[..1].to_vec();
    for pair in breaks.windows(2) {
        all.extend(even(pair[0], pair[1], each).into_iter().skip(1));
    }
    all
}

/// Distance of a point from the segment `a` to `b`.
pub(super) fn distance_to_chord(p: &Point3, a: &Point3, b: &Point3) -> f64 {
    let along = b - a;
    let square = along.norm_squared();
    let t = if square > 0.0 { ((p - a).dot(&along) / square).clamp(0.0, 1.0) } else { 0.0 };
    (p - (a + along * t)).norm()
}

/// Angle of an arc whose chord is `error` off the circle, at most [`LARGEST_ARC`].
pub(super) fn arc_step(radius: f64, error: f64) -> f64 {
    // 1 - cos(s / 2) = error / radius, in the form that keeps its digits for small errors.
    (4.0 * (error / (2.0 * radius)).sqrt().min(1.0).asin()).min(LARGEST_ARC)
}

/// Evenly spaced parameters, both ends included exactly.
pub(super) fn even(from: f64, to: f64, pieces: usize) -> Vec<f64> {
    let inner = (1..pieces).map(|i| from + (to - from) * (i as f64 / pieces as f64));
    std::iter::once(from).chain(inner).chain(std::iter::once(to)).collect()
}

/// Number of pieces, at least one, bounded.
pub(super) fn pieces(wanted: f64) -> Result<usize> {
    // A hair less than the next whole number: rounding must not add a piece.
    let wanted = (wanted - 1e-9).ceil().max(1.0);
    if wanted <= MOST_PIECES as f64 {
        return Ok(wanted as usize);
    }
    let found = if wanted.is_finite() { wanted as u64 } else { u64::MAX };
    Err(Error::Limit { what: "pieces of one edge".into(), found, limit: MOST_PIECES })
}

/// The breaks of a curve with ends that lie between two parameters, which may run past an end.
fn between(breaks: &[f64], (low, high): (f64, f64), from: f64, to: f64) -> Result<Vec<f64>> {
    let width = high - low;
    let (first, last) = (from.min(to), from.max(to));
    let mut inner = Vec::new();
    for knot in breaks {
        for turn in [-1.0, 0.0, 1.0] {
            let at = knot + turn * width;
            if at > first + 1e-9 * width && at < last - 1e-9 * width {
                inner.push(at);
            }
        }
    }
    inner.sort_by(f64::total_cmp);
    inner.dedup_by(|a, b| (*a - *b).abs() <= 1e-9 * width);
    if to < from {
        inner.reverse();
    }
    pieces(inner.len() as f64)?;
    Ok(std::iter::once(from).chain(inner).chain(std::iter::once(to)).collect())
}

/// No arc is longer than a twelfth of a turn, however coarse the chord error.
pub(super) const LARGEST_ARC: f64 = PI / 6.0;
const MOST_PIECES: u64 = 200_000;
const DEEPEST_BISECTION: u32 = 18;
const MOST_STEPS: usize = 60;

#[cfg(test)]
mod tests {
    use super::*;

    fn ellipse(a: f64, b: f64) -> Curve {
        let frame = Frame::new(Point3::new(3.0, -1.0, 2.0), Vec3::z_axis(), Some(Vec3::x()));
        Curve::Ellipse { frame, a, b }
    }

    #[test]
    fn chords_of_a_circle_have_the_sagitta_asked_for() -> Result<()> {
        let curve = ellipse(50.0, 50.0);
        let t = curve.divide(0.3, 0.3 + TAU, 0.01)?;
        // Sagitta of a chord over the angle s: r (1 - cos(s / 2)).
        let sagitta = 50.0 * (1.0 - (0.5 * (t[1] - t[0])).cos());
        assert!(sagitta <= 0.01 && sagitta > 0.009, "{sagitta}");
        assert_eq!(t.last(), Some(&(0.3 + TAU)));
        Ok(())
    }

    #[test]
    fn parameter_of_a_point_on_the_curve_comes_back() {
        let frame = Frame::new(Point3::origin(), Vec3::y_axis(), None);
        for curve in [
            ellipse(7.0, 2.0),
            ellipse(4.0, 4.0),
            Curve::Hyperbola { frame, a: 2.0, b: 3.0 },
            Curve::Parabola { frame, focal: 1.5 },
            Curve::Line { point: Point3::origin(), direction: Vec3::new(1.0, 2.0, 3.0) },
        ] {
            for t in [-1.3, -0.2, 0.0, 0.9, 2.1] {
                assert!((curve.parameter(&curve.at(t)) - t).abs() < 1e-9, "{curve:?} {t}");
            }
        }
    }

    #[test]
    fn a_division_without_end_is_refused() {
        assert!(matches!(ellipse(1e9, 1e9).divide(0.0, TAU, 1e-9), Err(Error::Limit { .. })));
        assert!(matches!(ellipse(1e9, 9e8).divide(0.0, TAU, 1e-9), Err(Error::Limit { .. })));
    }
}
