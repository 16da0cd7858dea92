//! B-spline curves and surfaces, rational too: point and first derivatives.
//!
//! Basis functions by the recurrence of Cox and de Boor as in Piegl and Tiller (1997), The NURBS
//! Book, algorithms A2.1 and A2.2; rational points as homogeneous coordinates.

use crate::primitive::{Point3, Vec3};

/// Full knot vector of one direction.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Knots {
    degree: usize,
    values: Vec<f64>,
}

/// B-spline curve; points are (w x, w y, w z, w).
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SplineCurve {
    pub knots: Knots,
    pub points: Vec<[f64; 4]>,
}

/// B-spline surface; points are (w x, w y, w z, w), row by row, v running fastest.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct SplineSurface {
    pub u: Knots,
    pub v: Knots,
    pub points: Vec<[f64; 4]>,
}

/// Point and derivatives along u and v.
pub(super) type Jet = (Point3, Vec3, Vec3);

/// The functions that do not vanish at a parameter, with their derivatives.
struct Basis {
    first: usize,
    value: [f64; ORDER],
    slope: [f64; ORDER],
}

impl Knots {
    /// Knot vector for `controls` control points; the reason if it does not fit.
    pub(super) fn new(
        degree: usize,
        multiplicities: &[usize],
        distinct: &[f64],
        controls: usize,
    ) -> Result<Self, String> {
        if degree == 0 || degree >= ORDER {
            return Err(format!("degree {degree}, allowed 1 to {}", ORDER - 1));
        }
        if controls <= degree {
            return Err(format!("{controls} control points, degree {degree} needs more"));
        }
        let total = multiplicities.iter().try_fold(0_usize, |sum, m| sum.checked_add(*m));
        let needed = controls + degree + 1;
        if total != Some(needed) || multiplicities.len() != distinct.len() {
            return Err(format!("knot multiplicities that do not add up to {needed}"));
        }
        if distinct.windows(2).any(|pair| pair[1] <= pair[0]) {
            return Err("knots that do not increase".into());
        }
        let values: Vec<f64> = distinct
            .iter()
            .zip(multiplicities)
            .flat_map(|(knot, count)| std::iter::repeat_n(*knot, *count))
            .collect();
        let knots = Knots { degree, values };
        let (low, high) = knots.range();
        if high > low { Ok(knots) } else { Err("an empty parameter range".into()) }
    }

    /// Parameters between which the basis is complete.
    pub(super) fn range(&self) -> (f64, f64) {
        (self.values[self.degree], self.values[self.values.len() - 1 - self.degree])
    }

    pub(super) fn degree(&self) -> usize {
        self.degree
    }

    /// Distinct knots of the range.
    pub(super) fn breaks(&self) -> Vec<f64> {
        let (low, high) = self.range();
        let mut breaks: Vec<f64> =
            self.values.iter().copied().filter(|k| (low..=high).contains(k)).collect();
        breaks.dedup();
        breaks
    }

    fn basis(&self, t: f64) -> Basis {
        let (low, high) = self.range();
        let t = t.clamp(low, high);
        let last = self.values.len() - 2 - self.degree;
        let span =
            self.values.partition_point(|k| *k <= t).saturating_sub(1).clamp(self.degree, last);
        // At the end of the range the span before it that is not empty.
        let span = (self.degree..=span).rev().find(|s| self.values[s + 1] > self.values[*s]);
        let span = span.unwrap_or(self.degree);
        let p = self.degree;
        let lower = self.functions(span, t, p - 1);
        let value = self.functions(span, t, p);
        let mut slope = [0.0; ORDER];
        for (j, slot) in slope.iter_mut().enumerate().take(p + 1) {
            let i = span + j - p;
            if j > 0 {
                *slot += p as f64 * lower[j - 1] / (self.values[i + p] - self.values[i]);
            }
            if j < p {
                *slot -= p as f64 * lower[j] / (self.values[i + p + 1] - self.values[i + 1]);
            }
        }
        Basis { first: span - p, value, slope }
    }

    fn functions(&self, span: usize, t: f64, degree: usize) -> [f64; ORDER] {
        let mut n = [0.0; ORDER];
        n[0] = 1.0;
        for j in 1..=degree {
            let mut carried = 0.0;
            for (r, slot) in n.iter_mut().enumerate().take(j) {
                let right = self.values[span + r + 1];
                let left = self.values[span + r + 1 - j];
                let part = *slot / (right - left);
                *slot = carried + (right - t) * part;
                carried = (t - left) * part;
            }
            n[j] = carried;
        }
        n
    }
}

impl SplineCurve {
    /// Point and derivative.
    pub(super) fn jet(&self, t: f64) -> (Point3, Vec3) {
        let basis = self.knots.basis(t);
        let (mut value, mut slope) = ([0.0; 4], [0.0; 4]);
        for j in 0..=self.knots.degree {
            let control = &self.points[basis.first + j];
            add(&mut value, control, basis.value[j]);
            add(&mut slope, control, basis.slope[j]);
        }
        let point = cartesian(&value);
        (point, rational_slope(&slope, &point, value[3]))
    }
}

impl SplineSurface {
    /// Point and both derivatives.
    pub(super) fn jet(&self, u: f64, v: f64) -> Jet {
        let (across, along) = (self.u.basis(u), self.v.basis(v));
        let columns = self.points.len() / self.rows();
        let (mut value, mut by_u, mut by_v) = ([0.0; 4], [0.0; 4], [0.0; 4]);
        for i in 0..=self.u.degree {
            let row = (across.first + i) * columns + along.first;
            let (mut line, mut line_v) = ([0.0; 4], [0.0; 4]);
            for j in 0..=self.v.degree {
                add(&mut line, &self.points[row + j], along.value[j]);
                add(&mut line_v, &self.points[row + j], along.slope[j]);
            }
            add(&mut value, &line, across.value[i]);
            add(&mut by_u, &line, across.slope[i]);
            add(&mut by_v, &line_v, across.value[i]);
        }
        let point = cartesian(&value);
        let weight = value[3];
        (point, rational_slope(&by_u, &point, weight), rational_slope(&by_v, &point, weight))
    }

    fn rows(&self) -> usize {
        self.u.values.len() - self.u.degree - 1
    }
}

/// Homogeneous control point.
pub(super) fn weighted(point: &Point3, weight: f64) -> [f64; 4] {
    [point.x * weight, point.y * weight, point.z * weight, weight]
}

fn add(sum: &mut [f64; 4], term: &[f64; 4], factor: f64) {
    for (s, t) in sum.iter_mut().zip(term) {
        *s += t * factor;
    }
}

fn cartesian(p: &[f64; 4]) -> Point3 {
    Point3::new(p[0] / p[3], p[1] / p[3], p[2] / p[3])
}

fn rational_slope(slope: &[f64; 4], point: &Point3, weight: f64) -> Vec3 {
    (Vec3::new(slope[0], slope[1], slope[2]) - point.coords * slope[3]) / weight
}

/// One more than the highest degree.
const ORDER: usize = 26;

#[cfg(test)]
mod tests {
    use super::*;

    // Piegl and Tiller, section 7.3: a quarter circle as a rational quadratic with weights 1, 1, 2.
    #[test]
    fn quarter_circle_is_exact_and_its_slope_is_the_finite_difference() -> Result<(), String> {
        let points = [([1.0, 0.0], 1.0), ([1.0, 1.0], 1.0), ([0.0, 1.0], 2.0)]
            .map(|([x, y], w)| weighted(&Point3::new(x, y, 0.0), w));
        let knots = Knots::new(2, &[3, 3], &[0.0, 1.0], 3)?;
        let curve = SplineCurve { knots, points: points.to_vec() };
        for i in 1..10 {
            let t = f64::from(i) / 10.0;
            let (p, slope) = curve.jet(t);
            assert!((p.coords.norm() - 1.0).abs() < 1e-15);
            let h = 1e-6;
            let difference = (curve.jet(t + h).0 - curve.jet(t - h).0) / (2.0 * h);
            assert!((difference - slope).norm() < 1e-9, "{difference} {slope}");
        }
        Ok(())
    }

    // A bilinear patch in cubic form: z = x y, so that all values are known.
    #[test]
    fn surface_reproduces_a_polynomial_with_inner_knots() -> Result<(), String> {
        // Greville abscissae of (0 0 0 1/2 1 1 1), degree 2, reproduce linear functions.
        let knots = Knots::new(2, &[3, 1, 3], &[0.0, 0.5, 1.0], 4)?;
        let greville = [0.0, 0.25, 0.75, 1.0];
        let points = greville
            .iter()
            .flat_map(|x| greville.map(|y| weighted(&Point3::new(*x, y, x * y), 1.0)))
            .collect();
        let surface = SplineSurface { u: knots.clone(), v: knots, points };
        for (u, v) in [(0.0, 0.0), (0.3, 0.9), (0.5, 0.5), (1.0, 1.0), (1.0, 0.2)] {
            let (p, du, dv) = surface.jet(u, v);
            assert!((p - Point3::new(u, v, u * v)).norm() < 1e-15);
            assert!((du - Vec3::new(1.0, 0.0, v)).norm() < 1e-14);
            assert!((dv - Vec3::new(0.0, 1.0, u)).norm() < 1e-14);
        }
        Ok(())
    }

    #[test]
    fn knots_that_do_not_fit_are_refused() {
        for (degree, multiplicities, distinct, controls) in [
            (2, vec![3, 2], vec![0.0, 1.0], 3),
            (2, vec![3, 3], vec![1.0, 0.0], 3),
            (0, vec![2, 2], vec![0.0, 1.0], 3),
            (99, vec![3, 3], vec![0.0, 1.0], 3),
            (2, vec![usize::MAX, 3], vec![0.0, 1.0], 3),
            (2, vec![6], vec![0.0], 3),
        ] {
            assert!(Knots::new(degree, &multiplicities, &distinct, controls).is_err());
        }
    }
}
