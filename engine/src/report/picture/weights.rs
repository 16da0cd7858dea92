//! Which pixels a triangle covers, and how its corners weigh in each: linear in x and y.

/// Barycentric weights of a triangle's corners.
pub(super) struct Weights {
    /// Change along x of the weights of the second and third corner.
    x: [f32; 2],
    /// Change along y.
    y: [f32; 2],
    /// Whether the triangle turns its front to the viewer.
    pub front: bool,
}

/// The weights along one row.
pub(super) struct Row {
    start: [f32; 3],
    step: [f32; 3],
}

impl Weights {
    /// Weights of three corners in the picture; `None` for a triangle seen edge-on.
    pub(super) fn new(t: [[f32; 2]; 3]) -> Option<Self> {
        let [bx, by] = [t[1][0] - t[0][0], t[1][1] - t[0][1]];
        let [cx, cy] = [t[2][0] - t[0][0], t[2][1] - t[0][1]];
        let area = bx * cy - by * cx;
        // Rows run down, so a triangle counter-clockwise for the viewer has a negative area.
        let inverse = 1.0 / area;
        let made = Weights {
            x: [cy * inverse, -by * inverse],
            y: [-cx * inverse, bx * inverse],
            front: area < 0.0,
        };
        inverse.is_finite().then_some(made)
    }

    /// Weights along a row, `dy` below the first corner.
    pub(super) fn row(&self, dy: f32) -> Row {
        let (b, c) = (self.y[0] * dy, self.y[1] * dy);
        Row { start: [1.0 - b - c, b, c], step: [-self.x[0] - self.x[1], self.x[0], self.x[1]] }
    }

    /// Steepest change of a corner value per pixel.
    pub(super) fn gradient(&self, v: [f32; 3]) -> f32 {
        let (b, c) = (v[1] - v[0], v[2] - v[0]);
        (self.x[0] * b + self.x[1] * c).hypot(self.y[0] * b + self.y[1] * c)
    }
}

impl Row {
    /// Weights of the three corners `dx` right of the first.
    pub(super) fn at(&self, dx: f32) -> [f32; 3] {
        [0, 1, 2].map(|i| self.start[i] + self.step[i] * dx)
    }

    /// First and last pixel of the row whose middle is inside, a hair more to leave no crack.
    pub(super) fn span(&self, x0: f32, width: usize) -> Option<(usize, usize)> {
        let (mut low, mut high) = (f32::NEG_INFINITY, f32::INFINITY);
        for i in 0..3 {
            let root = -self.start[i] / self.step[i];
            if self.step[i] > 0.0 {
                low = low.max(root);
            } else if self.step[i] < 0.0 {
                high = high.min(root);
            } else if self.start[i] < 0.0 {
                return None;
            }
        }
        let from = (x0 + low - 0.5 - HAIR).ceil().max(0.0);
        let to = (x0 + high - 0.5 + HAIR).floor().min(width as f32 - 1.0);
        (from <= to).then_some((from as usize, to as usize))
    }
}

/// Widening of a row's span, samples.
const HAIR: f32 = 1e-3;
