//! Pictures of scan, features and part by a small software renderer.
//!
//! Orthographic, depth buffer, two by two supersampling. Work is divided into fixed bands of rows,
//! so the same scene gives the same bits for any number of threads. The background stays
//! transparent: the picture lies on light and on dark paper.

mod bands;
mod camera;
mod crease;
mod finish;
mod image;
mod palette;
mod raster;
mod scene;
mod section;
mod stroke;
mod trace;
mod weights;

pub(super) use bands::{BAND_COLOURS, Bands, UNSEEN};
pub(super) use camera::{Camera, Cut, look};
pub(super) use crease::creases;
pub(super) use image::Image;
pub(super) use scene::{Mesh, Paint, Scene, Stroke};
pub(super) use section::section;
pub(super) use trace::{anchor, axis_lines, lines, ring};

/// Draws a scene as a camera sees it.
pub(super) fn draw(scene: &Scene<'_>, camera: &Camera) -> Image {
    let fine = camera.magnified(SAMPLES);
    let mut canvas = raster::rasterise(scene, &fine);
    finish::darken_hollows(&mut canvas, &fine);
    stroke::draw(&mut canvas, &fine, &scene.strokes);
    finish::shrink(&canvas, SAMPLES)
}

/// Towards the viewer, mm, in each pixel, row by row from the top; minus infinity where nothing is.
pub(super) fn depths(scene: &Scene<'_>, camera: &Camera) -> Vec<f32> {
    raster::rasterise(scene, camera).depth
}

/// Samples along each side of a pixel.
const SAMPLES: usize = 2;

#[cfg(test)]
mod tests;
