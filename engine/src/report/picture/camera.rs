//! An orthographic camera: where it looks, how large a millimetre is, what is cut away before it.

use crate::primitive::{Direction, Point3, Vec3, unit};

/// Orthographic camera over a picture of `width` by `height` pixels.
#[derive(Debug, Clone)]
pub(in crate::report) struct Camera {
    /// To the right in the picture.
    pub right: Vec3,
    /// Upwards in the picture.
    pub up: Vec3,
    /// Out of the picture, to the viewer.
    pub back: Vec3,
    /// Point in the middle of the picture, mm.
    pub target: Point3,
    /// Pixels per mm.
    pub scale: f64,
    /// Pixels.
    pub width: usize,
    /// Pixels.
    pub height: usize,
    /// What is cut away.
    pub cut: Option<Cut>,
}

/// A plane; everything on the side of its normal is cut away.
#[derive(Debug, Clone, Copy)]
pub(in crate::report) struct Cut {
    pub point: Point3,
    pub normal: Direction,
}

impl Camera {
    /// Right and down in pixels, towards the viewer in mm.
    pub(in crate::report) fn project(&self, p: &Point3) -> [f64; 3] {
        let v = p - self.target;
        [
            self.width as f64 / 2.0 + self.right.dot(&v) * self.scale,
            self.height as f64 / 2.0 - self.up.dot(&v) * self.scale,
            self.back.dot(&v),
        ]
    }

    /// The same view with more pixels on each side.
    pub(super) fn magnified(&self, times: usize) -> Self {
        Camera {
            scale: self.scale * times as f64,
            width: self.width * times,
            height: self.height * times,
            ..self.clone()
        }
    }

    /// Distance into the part that is cut away, mm; never positive without a cut.
    pub(in crate::report) fn before_cut(&self, p: &Point3) -> f64 {
        self.cut.map_or(f64::NEG_INFINITY, |c| c.normal.dot(&(p - c.point)))
    }

    /// Moves and sizes the view so that the middle and half extents (picture axes, mm) fill it.
    pub(in crate::report) fn framed(mut self, middle: Point3, half: [f64; 2]) -> Self {
        self.target = middle;
        let fit = |pixels: usize, half: f64| pixels as f64 / (2.0 * half.max(1e-3));
        self.scale = fit(self.width, half[0]).min(fit(self.height, half[1])) * FILL;
        self
    }
}

/// Camera at the origin, one pixel a millimetre, that looks along `-to_viewer` with +z upwards
/// (+y when it looks along z).
pub(in crate::report) fn look(to_viewer: &Direction, width: usize, height: usize) -> Camera {
    let back = to_viewer.into_inner();
    let steep = back.z.abs() > 0.999;
    let hint = if steep { Vec3::y() } else { Vec3::z() };
    let right = unit(hint.cross(&back)).map_or(Vec3::x(), Direction::into_inner);
    let up = back.cross(&right);
    Camera { right, up, back, target: Point3::origin(), scale: 1.0, width, height, cut: None }
}

/// Share of the picture that the framed box fills.
const FILL: f64 = 0.94;
