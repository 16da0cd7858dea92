//! Tails of the distributions that tests of fits use.
//!
//! Incomplete beta function by its continued fraction (DLMF 8.17.22) with the recurrence of Lentz
//! (Thompson, Barnett 1986, Coulomb and Bessel functions of complex arguments and order); logarithm
//! of the gamma function by Stirling's series (DLMF 5.11.1).

/// Probability that an F-distributed number with `d1` and `d2` degrees of freedom is beyond `f`.
pub(crate) fn f_upper_tail(f: f64, d1: f64, d2: f64) -> f64 {
    if f <= 0.0 {
        return 1.0;
    }
    incomplete_beta(0.5 * d2, 0.5 * d1, d2 / (d2 + d1 * f), d1 * f / (d2 + d1 * f))
}

/// Half-width of the interval that holds 95.45 % of Student's t, over 2: with it a deviation from few
/// degrees of freedom gives that coverage with the factor 2 (JCGM 100 (GUM), table G.2).
pub(crate) fn widening(freedoms: f64) -> f64 {
    if freedoms > FEW {
        return expansion(freedoms);
    }
    let outside = |t: f64| f_upper_tail(t * t, 1.0, freedoms.max(1.0));
    let (mut low, mut high) = (2.0, 14.0);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if outside(middle) > TWO_SIGMA { low = middle } else { high = middle }
    }
    0.5 * high
}

/// The same by the expansion in powers of 1 / freedoms (Abramowitz, Stegun 1964, 26.7.5, at two
/// standard deviations).
fn expansion(freedoms: f64) -> f64 {
    const G: [f64; 5] = [1.0, 1.25, 147.0 / 96.0, 549.0 / 384.0, 84_975.0 / 92_160.0];
    G.iter().rev().fold(0.0, |sum, g| sum / freedoms + g)
}

/// Regularised incomplete beta function of `x`; `y` is 1 - x, given apart so that it is not lost.
fn incomplete_beta(a: f64, b: f64, x: f64, y: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if y <= 0.0 {
        return 1.0;
    }
    let front = (a * x.ln() + b * y.ln() - ln_beta(a, b)).exp();
    // Each form converges fast on its own side of the mean.
    if x < (a + 1.0) / (a + b + 2.0) {
        front * fraction(a, b, x) / a
    } else {
        1.0 - front * fraction(b, a, y) / b
    }
}

fn fraction(a: f64, b: f64, x: f64) -> f64 {
    let clear = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut d = 1.0 / clear(1.0 - (a + b) * x / (a + 1.0));
    let (mut c, mut value) = (1.0, d);
    for m in 1..TERMS {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let before = value;
        for term in [even, odd] {
            d = 1.0 / clear(1.0 + term * d);
            c = clear(1.0 + term / c);
            value *= c * d;
        }
        if (value - before).abs() <= f64::EPSILON * value.abs() {
            break;
        }
    }
    value
}

fn ln_beta(a: f64, b: f64) -> f64 {
    ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b)
}

/// Logarithm of the gamma function for x > 0.
fn ln_gamma(x: f64) -> f64 {
    // The series is good to rounding from ten on; below, Γ(x) = Γ(x + n) / (x (x + 1) …).
    let (mut x, mut product) = (x, 1.0);
    while x < 10.0 {
        product *= x;
        x += 1.0;
    }
    let s = 1.0 / (x * x);
    let series =
        (1.0 / 12.0 - s * (1.0 / 360.0 - s * (1.0 / 1260.0 - s * (1.0 / 1680.0 - s / 1188.0)))) / x;
    (x - 0.5) * x.ln() - x + 0.5 * (2.0 * std::f64::consts::PI).ln() + series - product.ln()
}

/// Probability outside two standard deviations.
const TWO_SIGMA: f64 = 0.045_500_263_896_358_4;
/// Degrees of freedom from which on the expansion is good to three digits.
const FEW: f64 = 3.0;
const TINY: f64 = 1e-300;
/// Terms of the fraction: it needs some √max(a, b), and no fit has 1e10 points.
const TERMS: u32 = 100_000;

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 100:2008, table G.2, column 95.45 %.
    #[test]
    fn the_factor_is_that_of_the_guide() {
        let table = [
            (1.0, 13.97),
            (2.0, 4.53),
            (3.0, 3.31),
            (4.0, 2.87),
            (5.0, 2.65),
            (10.0, 2.28),
            (20.0, 2.13),
            (50.0, 2.05),
            (100.0, 2.025),
        ];
        for (freedoms, t) in table {
            assert!((2.0 * widening(freedoms) - t).abs() < 0.006, "{freedoms}");
        }
    }

    /// Upper 5 % and 1 % points of F from Abramowitz, Stegun 1964, table 26.9, to its digits.
    #[test]
    fn f_is_that_of_the_tables() {
        for (d1, d2, five, one) in [
            (1.0, 1.0, 161.4, 4052.0),
            (1.0, 10.0, 4.96, 10.04),
            (2.0, 5.0, 5.79, 13.27),
            (3.0, 20.0, 3.10, 4.94),
            (5.0, 60.0, 2.37, 3.34),
            (8.0, 120.0, 2.02, 2.66),
        ] {
            for (f, level, half) in
                [(five, 0.05, 0.5 * last_digit(five)), (one, 0.01, 0.5 * last_digit(one))]
            {
                let (low, high) = (f_upper_tail(f + half, d1, d2), f_upper_tail(f - half, d1, d2));
                assert!(low <= level && level <= high, "F({d1}, {d2}) at {f}: {low}..{high}");
            }
        }
    }

    fn last_digit(tabled: f64) -> f64 {
        if tabled > 1000.0 {
            1.0
        } else if tabled > 100.0 {
            0.1
        } else {
            0.01
        }
    }

    /// With two degrees of freedom above the tail is (1 + 2 f / d2)^(-d2 / 2); with one each it is
    /// 1 - 2/π atan √f (both elementary integrals).
    #[test]
    fn f_is_its_closed_form_where_it_has_one() {
        for f in [1e-6f64, 0.3, 1.0, 4.0, 60.0] {
            for d2 in [1.0f64, 7.0, 400.0, 2e6] {
                let exact = (-0.5 * d2 * (2.0 * f / d2).ln_1p()).exp();
                let found = f_upper_tail(f, 2.0, d2);
                assert!((found / exact - 1.0).abs() < 1e-8, "{f}, {d2}: {found}, {exact}");
            }
            let exact = 1.0 - 2.0 * f.sqrt().atan() / std::f64::consts::PI;
            assert!((f_upper_tail(f, 1.0, 1.0) - exact).abs() < 1e-14);
        }
        assert_eq!(f_upper_tail(0.0, 3.0, 9.0), 1.0);
        assert_eq!(f_upper_tail(f64::INFINITY, 3.0, 9.0), 0.0);
    }
}
