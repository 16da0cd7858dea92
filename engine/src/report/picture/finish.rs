//! After the surfaces: hollows darkened for depth, samples averaged to pixels.
//!
//! Method: second difference of the depth in screen space, after Boucheny, 2009, "Visualisation
//! scientifique de grands volumes de données" (eye-dome lighting).

use rayon::prelude::*;

use super::camera::Camera;
use super::image::Image;
use super::raster::Canvas;

/// Darkens what lies beside or between nearer surfaces; even slopes stay as they are.
pub(super) fn darken_hollows(canvas: &mut Canvas, camera: &Camera) {
    let (width, height, depth) = (canvas.width, canvas.height, &canvas.depth);
    let per_mm = camera.scale as f32;
    canvas.colour.par_chunks_mut(width).enumerate().for_each(|(y, row)| {
        for (x, colour) in row.iter_mut().enumerate() {
            let z = depth[y * width + x];
            if z == f32::NEG_INFINITY {
                continue;
            }
            let at = |dx: isize, dy: isize| {
                let (Some(x), Some(y)) = (x.checked_add_signed(dx), y.checked_add_signed(dy))
                else {
                    return z;
                };
                if x >= width || y >= height {
                    return z;
                }
                let near = depth[y * width + x];
                if near == f32::NEG_INFINITY { z } else { near }
            };
            let mut sum = 0.0;
            for (radius, weight) in REACH {
                for (dx, dy) in [(radius, 0), (0, radius), (radius, radius), (radius, -radius)] {
                    let bend = (at(dx, dy) + at(-dx, -dy) - 2.0 * z) * per_mm;
                    sum += weight * (bend / radius as f32 - QUIET).clamp(0.0, 2.0);
                }
            }
            if sum == 0.0 {
                continue;
            }
            let strength = 1.0 - 0.55 * (1.0 - (-sum).exp());
            for c in &mut colour[..3] {
                *c = (f32::from(*c) * strength) as u8 & 0xfc;
            }
        }
    });
}

/// Averages `samples` by `samples` samples into a pixel, weighted by their alpha.
pub(super) fn shrink(canvas: &Canvas, samples: usize) -> Image {
    let (width, height) = (canvas.width / samples, canvas.height / samples);
    let mut rgba = vec![0; width * height * 4];
    rgba.par_chunks_mut(width * 4).enumerate().for_each(|(y, row)| {
        for (x, pixel) in row.chunks_exact_mut(4).enumerate() {
            let mut sum = [0u32; 4];
            for k in 0..samples * samples {
                let (sx, sy) = (x * samples + k % samples, y * samples + k / samples);
                let [r, g, b, a] = canvas.colour[sy * canvas.width + sx].map(u32::from);
                sum = [sum[0] + r * a, sum[1] + g * a, sum[2] + b * a, sum[3] + a];
            }
            let alpha = sum[3].max(1);
            pixel[0] = (sum[0] / alpha) as u8 & STEPS;
            pixel[1] = (sum[1] / alpha) as u8 & STEPS;
            pixel[2] = (sum[2] / alpha) as u8 & STEPS;
            pixel[3] = (sum[3] / (samples * samples) as u32) as u8;
        }
    });
    Image { width, height, rgba }
}

/// Steps of four in each colour: finer ones do not show and swell the file.
const STEPS: u8 = 0xfc;
/// Distances in samples at which neighbours are looked at, and the weight of each.
const REACH: [(isize, f32); 2] = [(2, 0.08), (6, 0.09)];
/// Bend in pixels of depth a pixel of distance that still counts as even.
const QUIET: f32 = 0.15;
