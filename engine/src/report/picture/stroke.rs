//! Lines and dots over the surfaces, faint where a surface hides them.

use super::camera::Camera;
use super::raster::Canvas;
use super::scene::Stroke;
use crate::primitive::Point3;

/// Draws the strokes in order; crossing lines of one stroke do not darken each other.
pub(super) fn draw(canvas: &mut Canvas, camera: &Camera, strokes: &[Stroke]) {
    let mut pen = Pen { cover: vec![0; canvas.depth.len()], touched: Vec::new() };
    let size = (camera.width.min(camera.height) as f64 / 1600.0).max(0.6);
    for stroke in strokes {
        let half = (stroke.width * size) as f32;
        if stroke.seam {
            pen.stroke(canvas, camera, stroke, half + 2.0);
            pen.put(canvas, 0.75, SEAM);
        }
        pen.stroke(canvas, camera, stroke, half);
        pen.put(canvas, 1.0, stroke.colour);
    }
}

/// How much of each sample the stroke in hand covers, 0 to 255.
struct Pen {
    cover: Vec<u8>,
    touched: Vec<usize>,
}

impl Pen {
    fn stroke(&mut self, canvas: &Canvas, camera: &Camera, stroke: &Stroke, half: f32) {
        for line in &stroke.lines {
            if let [dot] = line.as_slice() {
                self.piece(canvas, camera, stroke, half, [dot, dot]);
            }
            for pair in line.windows(2) {
                self.piece(canvas, camera, stroke, half, [&pair[0], &pair[1]]);
            }
        }
    }

    /// One straight piece, cut short at the cut and walked in short steps: boxes stay small.
    fn piece(
        &mut self,
        canvas: &Canvas,
        camera: &Camera,
        stroke: &Stroke,
        half: f32,
        [a, b]: [&Point3; 2],
    ) {
        let lift = stroke.lift + 1.0 / camera.scale;
        let Some([a, b]) = (if stroke.cut { behind(camera, lift, a, b) } else { Some([*a, *b]) })
        else {
            return;
        };
        let (from, to) = (camera.project(&a), camera.project(&b));
        let Some([t0, t1]) = inside(camera, &from, &to, f64::from(half)) else { return };
        let length = (to[0] - from[0]).hypot(to[1] - from[1]) * (t1 - t0);
        let steps = ((length / STEP).ceil() as usize).max(1);
        let at = |i: usize| {
            let t = t0 + (t1 - t0) * i as f64 / steps as f64;
            [0, 1, 2].map(|k| (from[k] + (to[k] - from[k]) * t) as f32)
        };
        for i in 0..steps {
            self.capsule(canvas, at(i), at(i + 1), half, stroke.hidden as f32, lift as f32);
        }
    }

    fn capsule(
        &mut self,
        canvas: &Canvas,
        a: [f32; 3],
        b: [f32; 3],
        half: f32,
        hidden: f32,
        lift: f32,
    ) {
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let square = dx * dx + dy * dy;
        let low = |a: f32, b: f32| (a.min(b) - half - 1.0).max(0.0) as usize;
        let high = |a: f32, b: f32, n: usize| ((a.max(b) + half + 2.0).max(0.0) as usize).min(n);
        for y in low(a[1], b[1])..high(a[1], b[1], canvas.height) {
            for x in low(a[0], b[0])..high(a[0], b[0], canvas.width) {
                let (px, py) = (x as f32 + 0.5 - a[0], y as f32 + 0.5 - a[1]);
                let t = ((px * dx + py * dy) / square.max(1e-12)).clamp(0.0, 1.0);
                let cover = (half + 0.5 - (px - t * dx).hypot(py - t * dy)).clamp(0.0, 1.0);
                if cover == 0.0 {
                    continue;
                }
                let at = y * canvas.width + x;
                let seen = a[2] + t * (b[2] - a[2]) + lift >= canvas.depth[at];
                let cover = (cover * if seen { 1.0 } else { hidden } * 255.0) as u8;
                if self.cover[at] == 0 && cover > 0 {
                    self.touched.push(at);
                }
                self.cover[at] = self.cover[at].max(cover);
            }
        }
    }

    /// Lays the covered samples over the picture and takes up the pen.
    fn put(&mut self, canvas: &mut Canvas, strength: f32, colour: [u8; 3]) {
        for at in self.touched.drain(..) {
            let under = canvas.colour[at];
            let alpha = f32::from(self.cover[at]) / 255.0 * strength;
            canvas.colour[at] = over(colour, alpha, under);
            self.cover[at] = 0;
        }
    }
}

/// The part of a piece that is not before the cut.
fn behind(camera: &Camera, lift: f64, a: &Point3, b: &Point3) -> Option<[Point3; 2]> {
    if camera.cut.is_none() {
        return Some([*a, *b]);
    }
    let (sa, sb) = (camera.before_cut(a) - lift, camera.before_cut(b) - lift);
    let edge = || a + (b - a) * (sa / (sa - sb));
    match (sa > 0.0, sb > 0.0) {
        (false, false) => Some([*a, *b]),
        (false, true) => Some([*a, edge()]),
        (true, false) => Some([edge(), *b]),
        (true, true) => None,
    }
}

/// Range of a projected piece that may touch the picture (Liang and Barsky, 1984).
fn inside(camera: &Camera, a: &[f64; 3], b: &[f64; 3], margin: f64) -> Option<[f64; 2]> {
    if !a.iter().chain(b).all(|v| v.is_finite()) {
        return None;
    }
    let (mut t0, mut t1) = (0.0_f64, 1.0_f64);
    for (k, size) in [(0, camera.width), (1, camera.height)] {
        let step = b[k] - a[k];
        let (low, high) = (-margin - 1.0, size as f64 + margin + 1.0);
        if step == 0.0 {
            if a[k] < low || a[k] > high {
                return None;
            }
            continue;
        }
        let (u, v) = ((low - a[k]) / step, (high - a[k]) / step);
        t0 = t0.max(u.min(v));
        t1 = t1.min(u.max(v));
    }
    (t0 <= t1).then_some([t0, t1])
}

fn over(colour: [u8; 3], alpha: f32, under: [u8; 4]) -> [u8; 4] {
    let below = f32::from(under[3]) / 255.0 * (1.0 - alpha);
    let total = alpha + below;
    if total <= 0.0 {
        return under;
    }
    let mix = |i: usize| {
        ((f32::from(colour[i]) * alpha + f32::from(under[i]) * below) / total).round() as u8
    };
    [mix(0), mix(1), mix(2), (total * 255.0).round() as u8]
}

/// Longest step along a line, samples.
const STEP: f64 = 48.0;
const SEAM: [u8; 3] = [252, 252, 250];
