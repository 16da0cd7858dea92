//! Curves of edges and profiles: point, derivative, parameter of a point, division to a chord error.

use std::f64::consts::{PI, TAU};

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
    Line { point: Point3, direction: Vec3 },
    Ellipse { frame: Frame, a: f64, b: f64 },
    Hyperbola { frame: Frame, a: f64, b: f64 },
    Parabola { frame: Frame, focal: f64 },
    Spline(SplineCurve),
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

    /// Point and derivative; a closed spline goes on round past its ends.
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
            Curve::Spline(spline) => {
                let (low, high) = spline.knots.range();
                let inside = (low..=high).contains(&t);
                let t = if inside { t } else { low + (t - low).rem_euclid(high - low) };
                spline.jet(t)
            }
        }
    }

    /// Parameter after which the curve repeats.
    pub(super) fn period(&self) -> Option<f64> {
        match self {
            Curve::Ellipse { .. } => Some(TAU),
            Curve::Spline(spline) => {
                let (low, high) = spline.knots.range();
                let gap = (spline.jet(low).0 - spline.jet(high).0).norm();
                let size = (spline.jet(low).0 - spline.jet(0.5 * (low + high)).0).norm();
                (gap <= 1e-6 * size).then_some(high - low)
            }
            _ => None,
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
            Curve::Spline(spline) => self.nearest_on_spline(spline, p),
        }
    }

    /// Parameters from `from` to `to`, both included, whose chords stay within `error` of the curve.
    ///
    /// # Errors
    /// [`Error::Limit`] when that needs too many of them.
    pub(super) fn divide(&self, from: f64, to: f64, error: f64) -> Result<Vec<f64>> {
        let coarse = match self {
            Curve::Line { .. } => return Ok(vec![from, to]),
            Curve::Ellipse { a, b, .. } if a == b => {
                return Ok(even(from, to, pieces((to - from).abs() / arc_step(*a, error))?));
            }
            Curve::Ellipse { .. } => even(from, to, pieces((to - from).abs() / LARGEST_ARC)?),
            Curve::Hyperbola { .. } | Curve::Parabola { .. } => even(from, to, 4),
            Curve::Spline(spline) => spans(spline, from, to)?,
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

    fn nearest_on_spline(&self, spline: &SplineCurve, p: &Point3) -> f64 {
        let (low, high) = spline.knots.range();
        let samples = spline_samples(spline);
        let square = |t: f64| (spline.jet(t).0 - p).norm_squared();
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

/// Parameters that see every bend of a spline: some in each span.
pub(super) fn spline_samples(spline: &SplineCurve) -> Vec<f64> {
    let breaks = spline.knots.breaks();
    let each = 2 * spline.knots.degree() + 1;
    let mut samples = vec![breaks[0]];
    for pair in breaks.windows(2) {
        samples.extend(even(pair[0], pair[1], each).into_iter().skip(1));
    }
    samples
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

fn spans(spline: &SplineCurve, from: f64, to: f64) -> Result<Vec<f64>> {
    let (low, high) = spline.knots.range();
    let width = high - low;
    let (first, last) = (from.min(to), from.max(to));
    let mut inner = Vec::new();
    for knot in spline_breaks(spline) {
        // A closed spline may run past its end.
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

fn spline_breaks(spline: &SplineCurve) -> Vec<f64> {
    let breaks = spline.knots.breaks();
    let each = if spline.knots.degree() == 1 { 1 } else { 2 };
    let mut all = vec![breaks[0]];
    for pair in breaks.windows(2) {
        all.extend(even(pair[0], pair[1], each).into_iter().skip(1));
    }
    all
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
