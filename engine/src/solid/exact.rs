//! Signs of small determinants that rounding cannot turn.
//!
//! A floating-point filter, then products and sums carried as unevaluated pairs (T. J. Dekker 1971,
//! A floating-point technique for extending the available precision; filter constant from
//! J. R. Shewchuk 1997, Adaptive precision floating-point arithmetic).

use crate::primitive::{Point3, Vec3};

/// Exact sign of `a·b − c·d`: −1, 0 or 1 (barring underflow).
pub(super) fn sign_of_difference(a: f64, b: f64, c: f64, d: f64) -> i8 {
    let (p, q) = (a * b, c * d);
    // Rounding is monotone: unequal rounded products are ordered as the exact ones.
    if p != q { sign(p - q) } else { sign(a.mul_add(b, -p) - c.mul_add(d, -q)) }
}

/// Sign of the volume of the tetrahedron `a b c d`: positive if `d` is below the triangle `a b c`,
/// that is, sees it counter-clockwise from behind.
pub(super) fn orientation(a: &Point3, b: &Point3, c: &Point3, d: &Point3) -> i8 {
    determinant_sign(&(a - d), &(b - d), &(c - d))
}

/// Sign of `u · (v × w)`.
pub(super) fn determinant_sign(u: &Vec3, v: &Vec3, w: &Vec3) -> i8 {
    let minors =
        [(u.x, v.y * w.z, v.z * w.y), (u.y, v.z * w.x, v.x * w.z), (u.z, v.x * w.y, v.y * w.x)];
    let det: f64 = minors.iter().map(|(f, p, q)| f * (p - q)).sum();
    let permanent: f64 = minors.iter().map(|(f, p, q)| f.abs() * (p.abs() + q.abs())).sum();
    if det.abs() > FILTER * permanent {
        return sign(det);
    }
    let pair = Pair::product(v.y, w.z).minus(Pair::product(v.z, w.y)).times(u.x);
    let pair = pair.plus(Pair::product(v.z, w.x).minus(Pair::product(v.x, w.z)).times(u.y));
    let pair = pair.plus(Pair::product(v.x, w.y).minus(Pair::product(v.y, w.x)).times(u.z));
    if pair.0.abs() > PAIR_ERROR * permanent { sign(pair.0) } else { 0 }
}

/// An unevaluated sum of a number and its rounding error.
#[derive(Clone, Copy)]
struct Pair(f64, f64);

impl Pair {
    fn product(a: f64, b: f64) -> Self {
        let p = a * b;
        Pair(p, a.mul_add(b, -p))
    }

    fn sum(a: f64, b: f64) -> Self {
        let s = a + b;
        let t = s - a;
        Pair(s, (a - (s - t)) + (b - t))
    }

    fn plus(self, o: Pair) -> Self {
        let Pair(s, e) = Pair::sum(self.0, o.0);
        let Pair(t, f) = Pair::sum(self.1, o.1);
        let Pair(s, e) = Pair::sum(s, e + t);
        Pair::sum(s, e + f)
    }

    fn minus(self, o: Pair) -> Self {
        self.plus(Pair(-o.0, -o.1))
    }

    fn times(self, f: f64) -> Self {
        let Pair(p, e) = Pair::product(self.0, f);
        Pair::sum(p, self.1.mul_add(f, e))
    }
}

fn sign(x: f64) -> i8 {
    i8::from(x > 0.0) - i8::from(x < 0.0)
}

/// Relative error of the plain determinant of given differences.
const FILTER: f64 = 8.0 * f64::EPSILON;
/// Relative error of the determinant in pairs, well above its true bound of a few 2⁻¹⁰⁴.
const PAIR_ERROR: f64 = 1e-29;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn difference_of_products_is_exact_in_the_last_bit() {
        let e = f64::EPSILON;
        // (1+e)(1-e) = 1 - e², which rounds to 1.
        assert_eq!(sign_of_difference(1.0 + e, 1.0 - e, 1.0, 1.0), -1);
        assert_eq!(sign_of_difference(1.0, 1.0, 1.0 + e, 1.0 - e), 1);
        assert_eq!(sign_of_difference(3.0, 0.1, 0.1, 3.0), 0);
    }

    #[test]
    fn orientation_sees_one_unit_in_the_last_place() {
        let p = |x, y, z| Point3::new(x, y, z);
        let (a, b, c) = (p(0.0, 0.0, 0.0), p(1.0, 0.0, 1.0), p(0.0, 1.0, 1.0));
        // The plane is z = x + y; 0.5 + 0.25 is exact.
        let on = p(0.5, 0.25, 0.75);
        assert_eq!(orientation(&a, &b, &c, &on), 0);
        assert_eq!(orientation(&a, &b, &c, &p(0.5, 0.25, 0.75f64.next_down())), 1);
        assert_eq!(orientation(&a, &b, &c, &p(0.5, 0.25, 0.75f64.next_up())), -1);
    }
}
