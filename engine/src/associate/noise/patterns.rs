//! Deviations that tell a neighbouring shape from the one asked for: what the residuals of a cone
//! look like that was fitted as a cylinder.
//!
//! To first order the residuals against the asked shape follow fixed patterns in its own coordinates;
//! each is scaled to at most about 1 over the data, so that its amplitude is a deviation in mm.

use crate::associate::model::radial;
use crate::primitive::Kind;

use super::cells::WIDTH;

/// A shape that could be there instead, with the columns of its patterns.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Alternative {
    pub(crate) name: &'static str,
    pub(crate) columns: (usize, usize),
}

/// Other shapes a kind is tested against.
pub(crate) fn alternatives(kind: Kind) -> &'static [Alternative] {
    const fn other(name: &'static str, from: usize, to: usize) -> Alternative {
        Alternative { name, columns: (from, to) }
    }
    match kind {
        Kind::Plane => const { &[other("sphere", 0, 1), other("cylinder or twist", 1, 3)] },
        Kind::Line => const { &[other("arc", 0, 2)] },
        Kind::Circle => const { &[other("ellipse", 0, 2)] },
        Kind::Sphere => const { &[other("ellipsoid or torus", 0, 5)] },
        Kind::Cylinder => {
            const {
                &[
                    other("cone", 0, 1),
                    other("barrel", 1, 2),
                    other("ellipse", 2, 4),
                    other("bent tube", 4, 6),
                ]
            }
        }
        Kind::Cone => const { &[other("barrel", 0, 1), other("ellipse", 1, 3)] },
        Kind::Torus => const { &[other("oval tube", 0, 2), other("oval ring", 2, 4)] },
        Kind::Composite => &[],
    }
}

/// Number of pattern columns of a kind.
pub(crate) fn count(kind: Kind) -> usize {
    alternatives(kind).last().map_or(0, |a| a.columns.1)
}

/// Patterns of residual `k` at a point in the shape's local coordinates; `reach` is half the data's extent.
#[inline(always)]
pub(crate) fn at(
    kind: Kind,
    constants: &[f64; 4],
    x: [f64; 3],
    k: usize,
    reach: f64,
) -> [f64; WIDTH] {
    let mut out = [0.0; WIDTH];
    let (u, v, h) = (x[0] / reach, x[1] / reach, x[2] / reach);
    let twice = |c: f64, s: f64| (c * c - s * s, 2.0 * c * s);
    match kind {
        Kind::Plane => {
            out[0] = u * u + v * v;
            (out[1], out[2]) = twice(u, v);
        }
        Kind::Line => out[k] = h * h,
        Kind::Circle => {
            if k == 0 {
                let (_, e) = radial(x);
                (out[0], out[1]) = twice(e[0], e[1]);
            }
        }
        Kind::Sphere => {
            let rho = (x[0] * x[0] + x[1] * x[1] + x[2] * x[2]).sqrt().max(f64::MIN_POSITIVE);
            let [a, b, c] = x.map(|x| x / rho);
            (out[0], out[1]) = twice(a, b);
            (out[2], out[3], out[4]) = (2.0 * a * c, 2.0 * b * c, 1.5 * c * c - 0.5);
        }
        Kind::Cylinder => {
            let (_, e) = radial(x);
            (out[0], out[1]) = (h, h * h);
            (out[2], out[3]) = twice(e[0], e[1]);
            (out[4], out[5]) = (h * h * e[0], h * h * e[1]);
        }
        Kind::Cone => {
            let (_, e) = radial(x);
            out[0] = h * h;
            (out[1], out[2]) = twice(e[0], e[1]);
        }
        Kind::Torus => {
            let (rho, e) = radial(x);
            let (c, s) = (rho - constants[0], x[2]);
            let inverse = 1.0 / (c * c + s * s).sqrt().max(f64::MIN_POSITIVE);
            (out[0], out[1]) = twice(c * inverse, s * inverse);
            (out[2], out[3]) = twice(e[0], e[1]);
        }
        Kind::Composite => {}
    }
    out
}
