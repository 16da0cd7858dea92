//! Plane polygon with its exact signed distance, the cross-section of extruded and turned bodies.

/// Simple polygon, counter-clockwise, shrunk by a corner radius that the distance gives back.
#[derive(Debug, Clone)]
pub(super) struct Profile {
    core: Vec<[f64; 2]>,
    radius: f64,
}

impl Profile {
    /// Polygon of the given counter-clockwise corners whose convex corners are rounded with `radius`.
    pub(super) fn new(corners: &[[f64; 2]], radius: f64) -> Self {
        Profile { core: inset(corners, radius), radius }
    }

    /// Distance to the core, `radius` more than to the rounded polygon; negative inside.
    pub(super) fn core_distance(&self, x: f64, y: f64) -> f64 {
        let mut square = f64::INFINITY;
        let mut inside = false;
        let mut a = self.core[self.core.len() - 1];
        for &b in &self.core {
            square = square.min(segment_square(a, b, x, y));
            let crosses = (a[1] > y) != (b[1] > y);
            if crosses && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) {
                inside = !inside;
            }
            a = b;
        }
        if inside { -square.sqrt() } else { square.sqrt() }
    }

    /// Corner radius, mm.
    pub(super) fn radius(&self) -> f64 {
        self.radius
    }

    /// Smallest and largest coordinates of the rounded polygon.
    pub(super) fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        let pick = |axis: usize, f: fn(f64, f64) -> f64, start: f64| {
            self.core.iter().map(|c| c[axis]).fold(start, f)
        };
        let low = [0, 1].map(|a| pick(a, f64::min, f64::INFINITY) - self.radius);
        let high = [0, 1].map(|a| pick(a, f64::max, f64::NEG_INFINITY) + self.radius);
        (low, high)
    }
}

fn segment_square(a: [f64; 2], b: [f64; 2], x: f64, y: f64) -> f64 {
    let (ex, ey) = (b[0] - a[0], b[1] - a[1]);
    let (wx, wy) = (x - a[0], y - a[1]);
    let t = ((wx * ex + wy * ey) / (ex * ex + ey * ey)).clamp(0.0, 1.0);
    let (dx, dy) = (wx - t * ex, wy - t * ey);
    dx * dx + dy * dy
}

/// Corners moved inwards so that every edge moves by `distance`.
fn inset(corners: &[[f64; 2]], distance: f64) -> Vec<[f64; 2]> {
    let n = corners.len();
    let normal = |i: usize| {
        let (a, b) = (corners[i % n], corners[(i + 1) % n]);
        let (ex, ey) = (b[0] - a[0], b[1] - a[1]);
        let length = ex.hypot(ey);
        [-ey / length, ex / length]
    };
    (0..n)
        .map(|i| {
            let (p, q) = (normal(i + n - 1), normal(i));
            let scale = distance / (1.0 + p[0] * q[0] + p[1] * q[1]);
            [corners[i][0] + (p[0] + q[0]) * scale, corners[i][1] + (p[1] + q[1]) * scale]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distance_of_a_rounded_square_is_the_analytic_one() {
        let square = [[-5.0, -5.0], [5.0, -5.0], [5.0, 5.0], [-5.0, 5.0]];
        let profile = Profile::new(&square, 2.0);
        let distance = |x: f64, y: f64| profile.core_distance(x, y) - profile.radius();
        for (x, y, expected) in [
            (7.0, 0.0, 2.0),
            (0.0, 0.0, -5.0),
            (0.0, 4.0, -1.0),
            // The corner is an arc about (3, 3).
            (7.0, 6.0, 5.0 - 2.0),
            (-6.0, 7.0, 5.0 - 2.0),
        ] {
            assert!((distance(x, y) - expected).abs() < 1e-12, "{x} {y}");
        }
    }

    #[test]
    fn reflex_corner_stays_sharp() {
        let corner = [[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [6.0, 10.0], [6.0, 6.0], [0.0, 6.0]];
        let profile = Profile::new(&corner, 1.0);
        assert!((profile.core_distance(6.0, 6.0) - 1.0).abs() < 1e-12);
        assert!((profile.core_distance(5.0, 8.0) - 1.0 - 1.0).abs() < 1e-12);
    }
}
