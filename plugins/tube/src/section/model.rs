//! Rounded rectangle drawn along an axis, with twist: signed distance and its derivatives.
//!
//! The distance is that in the section through the point, which is the true one but for the square of
//! the twist's slope (10 degrees a metre, 50 mm from the axis: 4e-5 of a distance).

use crate::V3;
use crate::gauss::{Loss, Model, Normal};

/// Unknowns: shift along the two sides, tilt about them, roll, width, height, corner radius, twist rate.
pub(crate) const UNKNOWNS: usize = 9;
pub(crate) const WIDTH: usize = 5;
pub(crate) const HEIGHT: usize = 6;
pub(crate) const CORNER: usize = 7;
pub(crate) const TWIST: usize = 8;

/// A hollow section's outer surface.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Section {
    /// On the axis; the side's direction holds here.
    pub(crate) origin: V3,
    pub(crate) axis: V3,
    /// Direction of the width.
    pub(crate) side: V3,
    pub(crate) width: f64,
    pub(crate) height: f64,
    pub(crate) corner: f64,
    /// Right-handed turn about the axis, rad a millimetre.
    pub(crate) twist: f64,
    /// Which unknowns are free.
    pub(crate) free: [bool; UNKNOWNS],
    /// Whether height follows width.
    pub(crate) square: bool,
}

/// Distance in the section and its derivatives.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Foot {
    pub(crate) distance: f64,
    pub(crate) x: f64,
    pub(crate) y: f64,
    /// By the sides' half difference from the centre: outward normal.
    pub(crate) normal: [f64; 2],
    /// By width, height, corner radius.
    pub(crate) sizes: [f64; 3],
    pub(crate) on_corner: bool,
}

impl Section {
    pub(crate) fn other(&self) -> V3 {
        self.axis.cross(&self.side)
    }

    /// Place along the axis and in the (twisted) section.
    #[inline]
    pub(crate) fn local(&self, p: &V3) -> (f64, f64, f64) {
        let d = p - self.origin;
        let (z, x, y) = (self.axis.dot(&d), self.side.dot(&d), self.other().dot(&d));
        let (sin, cos) = (self.twist * z).sin_cos();
        (z, cos * x + sin * y, cos * y - sin * x)
    }

    #[inline]
    pub(crate) fn foot(&self, x: f64, y: f64) -> Foot {
        let (a, b) = (0.5 * self.width - self.corner, 0.5 * self.height - self.corner);
        let (sx, sy) = (1f64.copysign(x), 1f64.copysign(y));
        let (qx, qy) = (x.abs() - a, y.abs() - b);
        if qx > 0.0 && qy > 0.0 {
            let length = qx.hypot(qy);
            let (ex, ey) = (qx / length, qy / length);
            return Foot {
                distance: length - self.corner,
                x,
                y,
                normal: [sx * ex, sy * ey],
                sizes: [-0.5 * ex, -0.5 * ey, ex + ey - 1.0],
                on_corner: true,
            };
        }
        let (distance, normal, sizes) = if qx > qy {
            (qx - self.corner, [sx, 0.0], [-0.5, 0.0, 0.0])
        } else {
            (qy - self.corner, [0.0, sy], [0.0, -0.5, 0.0])
        };
        Foot { distance, x, y, normal, sizes, on_corner: false }
    }

    /// Moved by a whole step, fixed unknowns too.
    pub(crate) fn moved(&self, step: &[f64; UNKNOWNS]) -> Option<Self> {
        let other = self.other();
        let turn = self.side * step[2] + other * step[3] + self.axis * step[4];
        let rotation = nalgebra::UnitQuaternion::from_scaled_axis(turn);
        let axis = (rotation * self.axis).normalize();
        let side = rotation * self.side;
        let side = (side - axis * axis.dot(&side)).normalize();
        let width = self.width + step[WIDTH];
        let height = if self.square { width } else { self.height + step[HEIGHT] };
        let corner = (self.corner + step[CORNER]).max(0.0);
        let moved = Section {
            origin: self.origin + self.side * step[0] + other * step[1],
            axis,
            side,
            width,
            height,
            corner,
            twist: self.twist + step[TWIST],
            ..self.clone()
        };
        (turn.norm() < 0.5 && 2.0 * corner <= width.min(height)).then_some(moved)
    }

    /// Places of the free unknowns.
    pub(crate) fn places(&self) -> Vec<usize> {
        (0..UNKNOWNS).filter(|k| self.free[*k] && !(*k == HEIGHT && self.square)).collect()
    }

    /// A step of the free unknowns among all.
    pub(crate) fn spread(&self, step: &[f64]) -> [f64; UNKNOWNS] {
        let mut whole = [0.0; UNKNOWNS];
        self.places().iter().zip(step).for_each(|(k, x)| whole[*k] = *x);
        whole
    }
}

impl Model for Section {
    fn unknowns(&self) -> usize {
        self.places().len()
    }

    fn distance(&self, p: &V3) -> f64 {
        let (_, x, y) = self.local(p);
        self.foot(x, y).distance
    }

    fn gather(&self, points: &[V3], loss: Loss, into: &mut Normal) {
        let places = self.places();
        let other = self.other();
        let mut matrix = [[0.0; UNKNOWNS]; UNKNOWNS];
        let mut gradient = [0.0; UNKNOWNS];
        for p in points {
            let d = p - self.origin;
            let (z, x0, y0) = (self.axis.dot(&d), self.side.dot(&d), other.dot(&d));
            let (sin, cos) = (self.twist * z).sin_cos();
            let foot = self.foot(cos * x0 + sin * y0, cos * y0 - sin * x0);
            let (cost, weight) = loss.of(foot.distance);
            into.cost += cost;
            if weight == 0.0 {
                continue;
            }
            let [nx, ny] = foot.normal;
            // Untwisted normal, and how the distance changes by turning the section.
            let (gx, gy) = (cos * nx - sin * ny, sin * nx + cos * ny);
            let roll = ny * foot.x - nx * foot.y;
            let gz = -self.twist * roll;
            let mut row = [
                -gx,
                -gy,
                -(gz * y0 - gy * z),
                -(gx * z - gz * x0),
                -roll,
                foot.sizes[0],
                foot.sizes[1],
                foot.sizes[2],
                -z * roll,
            ];
            if self.square {
                row[WIDTH] += row[HEIGHT];
            }
            for i in 0..UNKNOWNS {
                gradient[i] += weight * row[i] * foot.distance;
                for j in 0..=i {
                    matrix[i][j] += weight * row[i] * row[j];
                }
            }
        }
        for (i, a) in places.iter().enumerate() {
            into.gradient[i] += gradient[*a];
            for (j, b) in places.iter().enumerate() {
                into.matrix[(i, j)] += matrix[*a.max(b)][*a.min(b)];
            }
        }
    }

    fn stepped(&self, step: &[f64]) -> Option<Self> {
        self.moved(&self.spread(step))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The derivatives of the cost against differences of it.
    #[test]
    fn gradient_is_that_of_the_cost() {
        let axis = V3::new(0.2, -0.3, 0.9).normalize();
        let side = V3::new(1.0, 0.1, 0.0).cross(&axis).normalize();
        let section = Section {
            origin: V3::new(1.0, 2.0, 3.0),
            axis,
            side,
            width: 60.0,
            height: 40.0,
            corner: 6.0,
            twist: 2e-4,
            free: [true; UNKNOWNS],
            square: false,
        };
        let at = |k: f64| {
            let (x, y, z) = (35.0 * (1.7 * k).cos(), 25.0 * (1.7 * k).sin(), 3.0 * k - 60.0);
            section.origin + section.side * x + section.other() * y + section.axis * z
        };
        let points: Vec<V3> = (0..40).map(|k| at(f64::from(k))).collect();
        let loss = Loss::Biweight(30.0);
        let cost = |s: &Section| {
            let mut normal = Normal::new(UNKNOWNS);
            s.gather(&points, loss, &mut normal);
            normal
        };
        let here = cost(&section);
        for k in 0..UNKNOWNS {
            let h = if k == TWIST { 1e-8 } else { 1e-6 };
            let moved = |x: f64| {
                let mut step = [0.0; UNKNOWNS];
                step[k] = x;
                cost(&section.moved(&step).expect("a small step")).cost
            };
            let numeric = (moved(h) - moved(-h)) / (2.0 * h);
            let scale = here.matrix[(k, k)].sqrt() * here.cost.sqrt();
            let off = (numeric - here.gradient[k]).abs();
            assert!(off < 1e-5 * scale, "unknown {k}: {numeric} and {}", here.gradient[k]);
        }
    }
}
