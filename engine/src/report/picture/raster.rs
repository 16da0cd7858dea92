//! Triangles and points into a depth buffer, in fixed bands of rows.

use rayon::prelude::*;

use super::bands::Bands;
use super::camera::Camera;
use super::scene::{Mesh, Paint, Scene};
use super::weights::Weights;
use crate::primitive::Vec3;

/// Colour and depth of each sample, row by row from the top.
pub(super) struct Canvas {
    pub width: usize,
    pub height: usize,
    /// Towards the viewer, mm; minus infinity where nothing is.
    pub depth: Vec<f32>,
    /// Straight alpha.
    pub colour: Vec<[u8; 4]>,
}

/// Draws the meshes of a scene: solids first, so that their cut faces hide what is inside them.
pub(super) fn rasterise(scene: &Scene<'_>, camera: &Camera) -> Canvas {
    let (width, height) = (camera.width, camera.height);
    let mut depth = vec![f32::NEG_INFINITY; width * height];
    let mut colour = vec![[0; 4]; width * height];
    let bands = height.div_ceil(ROWS);
    let (solids, scans): (Vec<&Mesh<'_>>, Vec<_>) =
        scene.meshes.iter().partition(|m| m.paint.is_solid());
    let ready = |meshes: &[&Mesh<'_>]| -> Vec<Sorted> {
        meshes.iter().map(|m| Sorted::new(m, camera, bands)).collect()
    };
    let (sorted_solids, sorted_scans) = (ready(&solids), ready(&scans));
    depth
        .par_chunks_mut(width * ROWS)
        .zip(colour.par_chunks_mut(width * ROWS))
        .enumerate()
        .for_each(|(band, (depth, colour))| {
            let mut tile = Tile { first: band * ROWS, width, depth, colour, camera };
            solids
                .iter()
                .zip(&sorted_solids)
                .for_each(|(m, sorted)| sorted.fill(m, band, &mut tile));
            tile.close_cuts();
            scans.iter().zip(&sorted_scans).for_each(|(m, sorted)| sorted.fill(m, band, &mut tile));
        });
    Canvas { width, height, depth, colour }
}

/// A corner as the camera sees it.
#[derive(Clone, Copy)]
struct Corner {
    x: f32,
    y: f32,
    /// Towards the viewer, mm.
    z: f32,
    /// Distance before the cut, mm.
    cut: f32,
    /// Cosine between normal and light.
    lit: f32,
    /// What the paint colours by.
    value: f32,
}

/// Corners of a mesh and the ids of its triangles (or points) that touch each band.
struct Sorted {
    corners: Vec<Corner>,
    /// By chunk of the ids, then by band.
    ids: Vec<Vec<Vec<u32>>>,
}

impl Sorted {
    fn new(mesh: &Mesh<'_>, camera: &Camera, bands: usize) -> Self {
        let light = light(camera);
        let values = match mesh.paint {
            Paint::Clearance(values, _) | Paint::Labels(values, _) => values,
            Paint::Scan | Paint::Solid | Paint::Other => &[],
        };
        let corner = |id: usize, p: &crate::primitive::Point3| {
            let p = mesh.machine_from_mesh * p;
            let [x, y, z] = camera.project(&p).map(|v| v as f32);
            let normal = mesh.normals.and_then(|n| n.get(id));
            let lit = normal.map_or(0.0, |n| (mesh.machine_from_mesh * n).dot(&light) as f32);
            let value = values.get(id).map_or(f32::NAN, |v| *v as f32);
            Corner { x, y, z, cut: camera.before_cut(&p) as f32, lit, value }
        };
        let corners: Vec<Corner> =
            mesh.points.par_iter().enumerate().map(|(id, p)| corner(id, p)).collect();
        let splat = splat_radius(mesh, camera);
        let box_of = |id: usize| match mesh.triangles.get(id) {
            Some(t) => triangle(&corners, t).and_then(|t| rows(&t, camera)),
            None => corners.get(id).and_then(|c| point_rows(c, splat, camera)),
        };
        let count = if mesh.triangles.is_empty() { corners.len() } else { mesh.triangles.len() };
        let starts: Vec<usize> = (0..count).step_by(CHUNK).collect();
        let sort = |start: usize| {
            let mut lists = vec![Vec::new(); bands];
            for id in start..count.min(start + CHUNK) {
                let Some((top, bottom)) = box_of(id) else { continue };
                for list in &mut lists[top / ROWS..=bottom / ROWS] {
                    list.push(id as u32);
                }
            }
            lists
        };
        let ids = starts.into_par_iter().map(sort).collect();
        Sorted { corners, ids }
    }

    fn fill(&self, mesh: &Mesh<'_>, band: usize, tile: &mut Tile<'_>) {
        let ids = self.ids.iter().flat_map(|lists| &lists[band]);
        if mesh.triangles.is_empty() {
            let radius = splat_radius(mesh, tile.camera);
            let colour = |c: &Corner| match mesh.paint {
                Paint::Labels(_, palette) => label_colour(palette, c.value),
                _ => SCAN,
            };
            ids.map(|id| &self.corners[*id as usize])
                .for_each(|c| tile.point(c, radius, colour(c)));
            return;
        }
        let light = light(tile.camera);
        for id in ids {
            if let Some(t) = triangle(&self.corners, &mesh.triangles[*id as usize]) {
                tile.triangle(&t, mesh, &light);
            }
        }
    }
}

/// Some rows of the picture.
struct Tile<'a> {
    first: usize,
    width: usize,
    depth: &'a mut [f32],
    colour: &'a mut [[u8; 4]],
    camera: &'a Camera,
}

impl Tile<'_> {
    fn triangle(&mut self, t: &[Corner; 3], mesh: &Mesh<'_>, light: &Vec3) {
        let Some(weights) = Weights::new(t.map(|c| [c.x, c.y])) else { return };
        let cut = self.camera.cut.is_some();
        let lit = if mesh.normals.is_some() { None } else { Some(flat(t, self.camera, light)) };
        let slope = weights.gradient(t.map(|c| c.value));
        let rows = self.depth.len() / self.width;
        let top = (t[0].y.min(t[1].y).min(t[2].y) - 0.5).ceil().max(self.first as f32) as usize;
        let bottom = (t[0].y.max(t[1].y).max(t[2].y) - 0.5).floor();
        if bottom < self.first as f32 {
            return;
        }
        let bottom = (bottom as usize).min(self.first + rows - 1);
        for y in top..=bottom {
            let row = weights.row(y as f32 + 0.5 - t[0].y);
            let Some((from, to)) = row.span(t[0].x, self.width) else { continue };
            for x in from..=to {
                let w = row.at(x as f32 + 0.5 - t[0].x);
                let mix =
                    |f: fn(&Corner) -> f32| w[0] * f(&t[0]) + w[1] * f(&t[1]) + w[2] * f(&t[2]);
                let (at, z) = ((y - self.first) * self.width + x, mix(|c| c.z));
                if z <= self.depth[at] || (cut && mix(|c| c.cut) > 0.0) {
                    continue;
                }
                self.depth[at] = z;
                let lit = lit.unwrap_or_else(|| mix(|c| c.lit));
                self.colour[at] = match mesh.paint {
                    Paint::Clearance(_, bands) if weights.front => {
                        let hatch = (x + y) % 12 < 3;
                        clearance_colour(bands, mix(|c| c.value), LINE * slope, lit, hatch)
                    }
                    Paint::Labels(_, palette) if weights.front => {
                        let same = t[0].value == t[1].value && t[1].value == t[2].value;
                        shaded(label_colour(palette, if same { t[0].value } else { -1.0 }), lit)
                    }
                    _ => plain_colour(mesh.paint, weights.front, cut, lit),
                };
            }
        }
    }

    fn point(&mut self, c: &Corner, radius: f32, colour: [u8; 3]) {
        if c.cut > 0.0 {
            return;
        }
        let rows = self.depth.len() / self.width;
        let range = |v: f32, from: usize, to: usize| {
            let low = (v - radius).round().max(from as f32) as usize;
            let high = (v + radius).round().min(to as f32).max(0.0) as usize;
            low..high
        };
        for y in range(c.y, self.first, self.first + rows) {
            for x in range(c.x, 0, self.width) {
                let at = (y - self.first) * self.width + x;
                if c.z > self.depth[at] {
                    self.depth[at] = c.z;
                    self.colour[at] = shaded(colour, c.lit.abs());
                }
            }
        }
    }

    /// Where the first thing seen behind the cut is a solid's inside, the cut face itself is seen.
    fn close_cuts(&mut self) {
        let Some(cut) = self.camera.cut else { return };
        let slope = cut.normal.dot(&self.camera.back);
        if slope < 1e-3 {
            return;
        }
        for at in 0..self.depth.len() {
            let mark = self.colour[at][3];
            if mark != INSIDE && mark != INSIDE_OTHER {
                continue;
            }
            let (x, y) = (at % self.width, self.first + at / self.width);
            let dx = (x as f64 + 0.5 - self.camera.width as f64 / 2.0) / self.camera.scale;
            let dy = (self.camera.height as f64 / 2.0 - y as f64 - 0.5) / self.camera.scale;
            let p = self.camera.target + self.camera.right * dx + self.camera.up * dy;
            self.depth[at] = (-self.camera.before_cut(&p) / slope) as f32;
            self.colour[at] = match mark {
                INSIDE if (x + y) % 16 < 3 => HATCH,
                INSIDE => CUT_FACE,
                // The other way, so that two parts in one another are told apart.
                _ if (x + 15 * y) % 16 < 3 => HATCH_OTHER,
                _ => CUT_FACE_OTHER,
            };
        }
    }
}

/// Colour of a value of clearance or of a deviation; `line` is half the width of a marked value's line in mm.
fn clearance_colour(bands: &Bands, value: f32, line: f32, lit: f32, hatch: bool) -> [u8; 4] {
    let base = bands.colour(value);
    if bands.marked().into_iter().any(|m| (value - m).abs() < line) {
        MARK
    } else if f64::from(value) < bands.hatched && hatch {
        shaded_by(base.map(|c| c / 2 + 110), lit, bands.shade)
    } else {
        shaded_by(base, lit, bands.shade)
    }
}

/// Colour of a scan or of a solid without values; a solid's inside behind a cut is only marked.
fn plain_colour(paint: Paint<'_>, front: bool, cut: bool, lit: f32) -> [u8; 4] {
    match (paint, front) {
        (Paint::Scan, true) => shaded(SCAN, lit),
        (Paint::Scan | Paint::Labels(..), false) => shaded(SCAN_BACK, -lit),
        (Paint::Other, false) if cut => [0, 0, 0, INSIDE_OTHER],
        (Paint::Other, true) => shaded(OTHER, lit),
        (Paint::Other, false) => shaded(OTHER, -lit),
        (_, false) if cut => [0, 0, 0, INSIDE],
        (_, true) => shaded(SOLID, lit),
        (_, false) => shaded(SOLID, -lit),
    }
}

/// Colour of a label; the scan's own for none.
fn label_colour(palette: &[[u8; 3]], label: f32) -> [u8; 3] {
    if label >= 0.0 { palette.get(label as usize).copied().unwrap_or(SCAN) } else { SCAN }
}

fn triangle(corners: &[Corner], ids: &[u32; 3]) -> Option<[Corner; 3]> {
    let corner = |i: u32| corners.get(i as usize).copied();
    Some([corner(ids[0])?, corner(ids[1])?, corner(ids[2])?])
}

/// First and last row whose middle a triangle may cover; none outside the picture or cut away.
fn rows(t: &[Corner; 3], camera: &Camera) -> Option<(usize, usize)> {
    if !t.iter().all(|c| (c.x + c.y + c.z).is_finite()) || t.iter().all(|c| c.cut > 0.0) {
        return None;
    }
    let left = t[0].x.min(t[1].x).min(t[2].x);
    let right = t[0].x.max(t[1].x).max(t[2].x);
    if right < 0.5 || left > camera.width as f32 - 0.5 {
        return None;
    }
    let top = (t[0].y.min(t[1].y).min(t[2].y) - 0.5).ceil().max(0.0);
    let bottom = (t[0].y.max(t[1].y).max(t[2].y) - 0.5).floor().min(camera.height as f32 - 1.0);
    (top <= bottom).then_some((top as usize, bottom as usize))
}

fn point_rows(c: &Corner, radius: f32, camera: &Camera) -> Option<(usize, usize)> {
    if !(c.x + c.y + c.z).is_finite() {
        return None;
    }
    let top = (c.y - radius).round().max(0.0);
    let bottom = (c.y + radius).round().min(camera.height as f32 - 1.0);
    (top <= bottom).then_some((top as usize, bottom as usize))
}

fn splat_radius(mesh: &Mesh<'_>, camera: &Camera) -> f32 {
    ((mesh.point_radius * camera.scale) as f32).clamp(1.0, 12.0)
}

/// From above and left of the viewer's shoulder.
fn light(camera: &Camera) -> Vec3 {
    camera.right * -0.36 + camera.up * 0.48 + camera.back * 0.8
}

/// Cosine between the light and the side of a triangle that is seen.
fn flat(t: &[Corner; 3], camera: &Camera, light: &Vec3) -> f32 {
    let edge = |c: &Corner| {
        let (x, y) = (f64::from(c.x - t[0].x), f64::from(t[0].y - c.y));
        let z = f64::from(c.z - t[0].z) * camera.scale;
        camera.right * x + camera.up * y + camera.back * z
    };
    let normal = edge(&t[1]).cross(&edge(&t[2]));
    let towards = if normal.dot(&camera.back) < 0.0 { -normal } else { normal };
    towards.try_normalize(0.0).map_or(0.0, |n| n.dot(light) as f32)
}

/// Colour under a light, in steps of four: noise below that costs file size and shows nothing.
fn shaded(colour: [u8; 3], lit: f32) -> [u8; 4] {
    shaded_by(colour, lit, 0.5)
}

/// The same with the share that the light takes.
fn shaded_by(colour: [u8; 3], lit: f32, share: f32) -> [u8; 4] {
    let strength = 1.0 - share + share * lit.clamp(-0.2, 1.0);
    let [r, g, b] = colour.map(|c| (f32::from(c) * strength) as u8 & 0xfc);
    [r, g, b, 255]
}

/// Rows of samples in a band.
const ROWS: usize = 64;
/// Triangles sorted into bands as one piece of work.
const CHUNK: usize = 1 << 15;
/// Half width of a marked value's line, samples.
const LINE: f32 = 1.6;
/// Alpha that marks a sample whose first surface is a solid's inside, until the cut is closed.
const INSIDE: u8 = 254;
/// The same of another part.
const INSIDE_OTHER: u8 = 253;
const SCAN: [u8; 3] = [186, 188, 190];
const SCAN_BACK: [u8; 3] = [150, 136, 124];
const SOLID: [u8; 3] = [161, 200, 222];
const OTHER: [u8; 3] = [232, 218, 160];
const MARK: [u8; 4] = [28, 28, 32, 255];
const CUT_FACE: [u8; 4] = [244, 236, 208, 255];
const HATCH: [u8; 4] = [176, 156, 96, 255];
const CUT_FACE_OTHER: [u8; 4] = [228, 232, 236, 255];
const HATCH_OTHER: [u8; 4] = [112, 124, 136, 255];
